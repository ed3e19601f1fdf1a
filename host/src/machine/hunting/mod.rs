//! The policy of a hunt: the next look is the one that tells most about the hypotheses in the time it takes.
//!
//! A hunt begins with every stretch end to end and the insulation of one state, which shows a good unit at once. Then
//! it looks where the hypotheses differ most, until one place stands out; that place is read by itself, as a sweep would,
//! and what is still possible besides it is looked at in the same way. Where no look tells anything more, the state is
//! swept.
//!
//! ```text
//! opening ──► weigh ──nothing else is probable──────────► bench's questions ──► done
//!   ▲          │ ▲ ├─one place stands out──► proof ──┐
//!   │          │ └─┼─────────────────────────────────┤
//!   │          │   ├─something floats──► dry survey ─┤
//!   │          │   └─the most telling look ──────────┘
//!   └─next state, or the rest of this one as in a sweep
//! ```

mod looks;

use std::collections::{BTreeMap, BTreeSet};

use super::{
    Move, Policy, SoFar,
    planned::{DEPTH, Planned, Task},
};
use crate::{
    board::{PointId, SegmentId, StateId},
    evidence::{Evidence, RunEvidence},
    finding::{
        self, bench,
        isolation::{self, Barrier},
        path, question, witness,
    },
    fixture::Fixture,
    hypothesis::{Answer, Belief, Defect, Place, Question, Rates},
    measurement::Purpose,
    plan::{
        self, LegKind, Plan, PlannedShot, Role, Stretch, builder::Builder, forest::Forest, stretch::cover,
    },
    verdict::{Class, Verdict},
};

/// A hunt ends when everything but what was proven has no more probability than this.
const UNEXPLAINED: f64 = 0.02;
/// A place is read by itself once something is wrong there with at least this probability.
const STANDS_OUT: f64 = 0.9;
/// A look that tells less than this, bits, is not worth its time: a question with yes or no of which one answer comes in one case of
/// a thousand.
const LEAST_BITS: f64 = 0.01;
/// Looks after which a hunt becomes a sweep: three times what halving the largest board takes.
const MOST_LOOKS: usize = 24;

/// Where something is proven to be wrong, and what.
type Proven = BTreeMap<Place, Class>;

/// The policy.
pub struct Hunting<'h> {
    fixture: &'h Fixture,
    plan: &'h Plan,
    rates: Rates,
    pins: Vec<PointId>,
    /// What a sweep would do about a segment, a survey, the bench.
    follow: Planned<'h>,
    /// Stages of the plan still to be looked at, the next one last.
    stages: Vec<usize>,
    step: Step,
    looks: usize,
    proved: BTreeSet<Place>,
    surveyed: bool,
    exchanged: bool,
    /// Stretches of which every segment was read because nothing else explained them.
    read_through: Vec<(PointId, PointId)>,
}

#[derive(Clone, Copy, PartialEq, Eq, Debug)]
enum Step {
    /// The next stage is to be begun.
    Begin,
    /// The unit is in its state.
    Opening(usize),
    Weighing(usize),
    /// The rest of the stage has been swept.
    Swept(usize),
    /// The bench has been asked.
    Asked,
}

impl<'h> Hunting<'h> {
    /// Hunts with the looks that a plan's fixture allows, by these rates.
    pub fn new(fixture: &'h Fixture, plan: &'h Plan, rates: Rates) -> Self {
        let segments = |stage: &usize| -> usize {
            path::stretches(&plan.stages[*stage]).map(|stretch| stretch.wanted.len()).sum()
        };
        let mut stages: Vec<usize> = (0..plan.stages.len()).collect();
        stages.sort_by_key(|stage| (segments(stage), std::cmp::Reverse(*stage)));
        Self {
            fixture,
            plan,
            rates,
            pins: fixture.sensed_points(),
            follow: Planned::idle(fixture, plan),
            stages,
            step: Step::Begin,
            looks: 0,
            proved: BTreeSet::new(),
            surveyed: false,
            exchanged: false,
            read_through: Vec::new(),
        }
    }

    fn state(&self, stage: usize) -> StateId {
        self.plan.stages[stage].state
    }

    fn carries(&self, stage: usize, evidence: &Evidence, stretch: &Stretch) -> bool {
        path::carries(&self.fixture.board, &self.plan.limits, self.state(stage), evidence, stretch)
    }

    /// What begins a stage: the checks, and of its legs everything but single segments.
    fn opening(&self, stage: usize) -> Vec<PlannedShot> {
        let mut builder = Builder::new(self.fixture, self.plan.sampling);
        builder.residual();
        let first = self.looks == 0;
        if first {
            builder.temperature();
            builder.hum();
        }
        let mut shots = builder.finish();
        let standards = self.plan.stages.iter().flat_map(|stage| &stage.legs);
        if first {
            let built_in = standards.filter(|leg| leg.kind == LegKind::Standards);
            shots.extend(built_in.flat_map(|leg| leg.shots.iter().copied()));
        }
        for leg in &self.plan.stages[stage].legs {
            let looks = match leg.kind {
                LegKind::Check | LegKind::Standards => continue,
                LegKind::Walk(_) => leg.shots.iter().filter(|shot| !is_segment(shot)).copied().collect(),
                // A mesh is told by all its readings together or not at all.
                LegKind::Mesh(_) | LegKind::OneWay | LegKind::Isolation => leg.shots.clone(),
            };
            shots.extend(looks);
        }
        shots
    }

    /// Places of the stage where something is proven to be wrong, and what.
    fn proven(&self, stage: usize, evidence: &Evidence) -> Proven {
        let segments = finding::segments(self.fixture, &self.plan.limits, self.plan, evidence);
        let faulty = segments.iter().filter(|finding| {
            finding.state == self.state(stage)
                && (finding.verdict == Verdict::Fail || finding.class == Class::RedundancyLost)
        });
        let faulty = faulty.map(|finding| (Place::Segment(finding.segment), finding.class));
        let bridges = isolation::find(&self.fixture.board, self.plan, evidence);
        let bridges = bridges.into_iter().filter(|finding| finding.verdict == Verdict::Fail);
        let bridges = bridges.map(|finding| {
            let place = match finding.barrier {
                Barrier::Between(index) => Place::Bridge(index),
                Barrier::Switch(id) => Place::Segment(id),
            };
            (place, finding.class)
        });
        faulty.chain(bridges).collect()
    }

    /// What the hypotheses call for.
    fn weigh(&mut self, stage: usize, evidence: &Evidence) -> Option<Move> {
        let board = &self.fixture.board;
        let mut belief = Belief::new(board, &self.plan.limits, &self.rates, &self.pins);
        let answers = witness::answers(board, evidence);
        let floats = answers.iter().any(|(_, _, answer)| matches!(answer, Answer::Floats { .. }));
        belief.see_all(answers.into_iter().map(|(_, question, answer)| (question, answer)));
        let proven = self.proven(stage, evidence);
        let bridged = proven.keys().any(|place| matches!(place, Place::Bridge(_)));
        if bridged && !std::mem::replace(&mut self.exchanged, true) {
            self.follow.ask(Task::Exchanged(stage));
            return None;
        }
        let stretches = path::stretches(&self.plan.stages[stage]);
        let carried: BTreeSet<SegmentId> = stretches
            .filter(|stretch| self.carries(stage, evidence, stretch))
            .flat_map(|stretch| stretch.steps.iter().map(|step| step.segment))
            .collect();
        if unexplained(&belief, &proven, &carried) <= UNEXPLAINED {
            return self.end_or_read_on(stage, evidence, &belief, &proven);
        }
        if floats && !std::mem::replace(&mut self.surveyed, true) {
            self.survey(stage, evidence);
            return None;
        }
        let open = |&(place, probability): &(Place, f64)| {
            probability >= STANDS_OUT && !proven.contains_key(&place) && !self.proved.contains(&place)
        };
        let places = belief.places();
        if let Some(&(place @ Place::Segment(id), _)) = places.iter().find(|place| open(place)) {
            self.proved.insert(place);
            if let Some(stretch) = self.stretch(stage, id, &proven) {
                self.follow.ask(Task::Proof(stretch));
                return None;
            }
        }
        let best = looks::best(self.fixture, &belief, &places, self.state(stage), &opens(&proven));
        match best {
            Some(look) if look.bits >= LEAST_BITS && self.looks < MOST_LOOKS => {
                self.looks += 1;
                Some(Move::Run { purpose: Purpose::Look, shots: look.shots })
            }
            _ if proven.is_empty() => {
                self.step = Step::Swept(stage);
                self.follow.ask(Task::Exchanged(stage));
                self.follow.ask(Task::FullBudget(stage));
                self.follow.ask(Task::Legs { stage, from: 0 });
                None
            }
            _ => self.end_or_read_on(stage, evidence, &belief, &proven),
        }
    }

    /// What nobody has read end to end is read before the hunt ends, however improbable it is that anything is wrong there: a second fault
    /// found later costs another repair.
    fn end_or_read_on(
        &mut self,
        stage: usize,
        evidence: &Evidence,
        belief: &Belief<'_>,
        proven: &Proven,
    ) -> Option<Move> {
        if let Some(stretch) = self.unexplained_stretch(stage, evidence, proven) {
            self.read_through.push((stretch.from, stretch.to));
            let (broken, depth) = (opens(proven), DEPTH);
            self.follow.ask(Task::Survey { stretch, broken, depth });
            return None;
        }
        let unread = self.unread(stage, belief, proven);
        if unread.is_empty() || self.looks >= MOST_LOOKS {
            return self.end(stage);
        }
        self.looks += 1;
        Some(Move::Run { purpose: Purpose::Look, shots: unread })
    }

    /// A stretch that is not within its limit, although nothing on it is proven to be wrong.
    fn unexplained_stretch(&self, stage: usize, evidence: &Evidence, proven: &Proven) -> Option<Stretch> {
        let was_read = |ends: (PointId, PointId)| {
            let mut seen = evidence.in_state(self.state(stage)).flat_map(RunEvidence::end_to_ends);
            seen.any(|seen| (seen.from, seen.to) == ends)
        };
        let faulty = |stretch: &Stretch| {
            stretch.steps.iter().any(|step| proven.contains_key(&Place::Segment(step.segment)))
        };
        path::stretches(&self.plan.stages[stage])
            .find(|stretch| {
                let ends = (stretch.from, stretch.to);
                was_read(ends)
                    && !self.carries(stage, evidence, stretch)
                    && !faulty(stretch)
                    && !self.read_through.contains(&ends)
            })
            .cloned()
    }

    /// The stretches that nobody has read end to end yet: those behind the one that ended the opening, and the pieces that force pins
    /// reach beside what is proven to be wrong.
    fn unread(&self, stage: usize, belief: &Belief<'_>, proven: &Proven) -> Vec<PlannedShot> {
        let (board, state) = (&self.fixture.board, self.state(stage));
        let broken: Vec<SegmentId> = opens(proven);
        let forest = Forest::new(board, state, &broken);
        let of_stage =
            path::stretches(&self.plan.stages[stage]).flat_map(|stretch| stretch.wanted.iter().copied());
        let wanted: BTreeSet<SegmentId> = of_stage.filter(|id| !broken.contains(id)).collect();
        let (pieces, _) = cover(&forest, self.fixture, &wanted);
        let looks: Vec<(&[SegmentId], bool)> = belief
            .answered()
            .iter()
            .filter_map(|(question, answer)| match question {
                Question::Look(look) if look.state == state => {
                    // What moved or went beyond the range was read as well as it can be.
                    let read = matches!(answer, Answer::Reads { .. } | Answer::AtLeast(_) | Answer::Moves);
                    Some((look.between(), read))
                }
                _ => None,
            })
            .collect();
        // In one reading with a current, or each of its segments by itself.
        let is_read = |piece: &Stretch| {
            looks.iter().any(|(between, read)| *read && piece.wanted.iter().all(|id| between.contains(id)))
                || piece.wanted.iter().all(|id| looks.iter().any(|(between, _)| *between == [*id]))
        };
        let unread: Vec<&Stretch> = pieces.iter().filter(|piece| !is_read(piece)).collect();
        if unread.is_empty() {
            return Vec::new();
        }
        let mut builder = Builder::new(self.fixture, self.plan.sampling);
        builder.residual();
        for piece in unread {
            let gate = plan::gate_resistance(board, &self.plan.limits, piece);
            builder.whole(piece, plan::expected_resistance(board, piece), gate);
        }
        builder.finish()
    }

    /// Nothing more in this state.
    fn end(&mut self, stage: usize) -> Option<Move> {
        self.step = Step::Asked;
        self.follow.ask(Task::Bench(stage));
        None
    }

    /// Every segment of the state's longest stretch, dry, and what lies beside the opens found there.
    fn survey(&mut self, stage: usize, evidence: &Evidence) {
        let gated = evidence.in_state(self.state(stage)).flat_map(|run| run.end_to_ends());
        let stopped = gated.filter(|seen| !seen.reading.flows).map(|seen| [seen.from, seen.to]).last();
        let mut stretches = path::stretches(&self.plan.stages[stage]);
        let of = |stretch: &&Stretch| stopped.is_none_or(|ends| ends == [stretch.from, stretch.to]);
        if let Some(stretch) = stretches.find(of).or_else(|| path::stretches(&self.plan.stages[stage]).next())
        {
            self.follow.ask(Task::Survey { stretch: stretch.clone(), broken: Vec::new(), depth: DEPTH });
        }
    }

    /// A way to force a segment, itself alone to be read.
    fn stretch(&self, stage: usize, id: SegmentId, proven: &Proven) -> Option<Stretch> {
        let broken: Vec<SegmentId> = opens(proven);
        let forest = Forest::new(&self.fixture.board, self.state(stage), &broken);
        let wanted = BTreeSet::from([id]);
        let (stretches, _) = cover(&forest, self.fixture, &wanted);
        stretches.into_iter().next()
    }
}

impl Policy for Hunting<'_> {
    fn next(&mut self, so_far: SoFar<'_>) -> Move {
        let evidence = so_far.evidence;
        loop {
            match self.follow.next(so_far) {
                Move::Done => {}
                wanted => return wanted,
            }
            let made = match self.step {
                Step::Begin => match self.stages.pop() {
                    Some(stage) => {
                        self.step = Step::Opening(stage);
                        Some(Move::Place(self.state(stage)))
                    }
                    None => Some(Move::Done),
                },
                Step::Opening(stage) => {
                    self.step = Step::Weighing(stage);
                    let shots = self.opening(stage);
                    self.looks += 1;
                    Some(Move::Run { purpose: Purpose::Look, shots })
                }
                Step::Weighing(stage) => {
                    let asked = bench::questions(self.fixture, evidence, self.state(stage));
                    match asked.iter().any(|asked| !matches!(asked, question::Question::Sense { .. })) {
                        true => self.end(stage),
                        false => self.weigh(stage, evidence),
                    }
                }
                Step::Swept(stage) => match bench::findings_in(self.fixture, evidence, self.state(stage))
                    .is_empty()
                    && self.proven(stage, evidence).is_empty()
                    && !self.stages.is_empty()
                {
                    true => {
                        self.step = Step::Begin;
                        None
                    }
                    false => self.end(stage),
                },
                Step::Asked => Some(Move::Done),
            };
            if let Some(made) = made {
                return made;
            }
        }
    }
}

/// Probability of all hypotheses with a defect anywhere but where one is proven or on a stretch that carries.
fn unexplained(belief: &Belief<'_>, proven: &Proven, carried: &BTreeSet<SegmentId>) -> f64 {
    let matters = |defect: Defect| {
        let carries = defect.segment().is_some_and(|id| carried.contains(&id));
        let explained = proven.get(&Place::of(defect)).is_some_and(|class| is_proven_by(defect, *class));
        !explained && !carries && !matches!(defect, Defect::StaysClosed(_))
    };
    let elsewhere = belief.weighed().filter(|(hypothesis, _)| hypothesis.defects().any(matters));
    elsewhere.map(|(_, probability)| probability).sum()
}

/// Does what was proven at its place prove a defect? What reads high by itself may be filmed; that it comes and goes is another matter,
/// which would explain any reading along the path.
fn is_proven_by(defect: Defect, class: Class) -> bool {
    match defect {
        Defect::Flaky(_) => class == Class::Flaky,
        Defect::SilentPin(_) => false,
        _ => class != Class::Flaky,
    }
}

/// The segments that conduct nothing, past which no current comes.
fn opens(proven: &Proven) -> Vec<SegmentId> {
    let open = |(place, class): (&Place, &Class)| match (place, class) {
        (Place::Segment(id), Class::Open) => Some(*id),
        _ => None,
    };
    proven.iter().filter_map(open).collect()
}

fn is_segment(planned: &PlannedShot) -> bool {
    matches!(planned.role, Role::Segment { .. })
}
