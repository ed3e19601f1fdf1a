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

use std::collections::BTreeSet;

use super::{
    Move, Policy, SoFar,
    planned::{Planned, Task},
};
use crate::{
    board::{PointId, SegmentId, StateId},
    evidence::Evidence,
    finding::{
        self, bench,
        isolation::{self, Barrier},
        path, witness,
    },
    fixture::Fixture,
    hypothesis::{Answer, Belief, Defect, Place, Rates},
    measurement::Purpose,
    plan::{LegKind, Plan, PlannedShot, Role, Stretch, builder::Builder, forest::Forest},
    verdict::{Class, Verdict},
};

/// A hunt ends when everything but what was proven has no more probability than this.
pub const UNEXPLAINED: f64 = 0.02;
/// A place is read by itself once something is wrong there with at least this probability.
const STANDS_OUT: f64 = 0.9;
/// A look that tells less than this, bits, is not worth its time: a question with yes or no of which one answer comes in one case of
/// a thousand.
const LEAST_BITS: f64 = 0.01;
/// Looks after which a hunt becomes a sweep: three times what halving the largest board takes.
const MOST_LOOKS: usize = 24;
/// Opens found one behind the other before a survey gives up looking for more.
const DEPTH: usize = 8;

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
        }
    }

    fn state(&self, stage: usize) -> StateId {
        self.plan.stages[stage].state
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

    /// Places of the stage where something is proven to be wrong.
    fn proven(&self, stage: usize, evidence: &Evidence) -> BTreeSet<Place> {
        let segments = finding::segments(self.fixture, &self.plan.limits, self.plan, evidence);
        let faulty = segments.iter().filter(|finding| {
            finding.state == self.state(stage)
                && (finding.verdict == Verdict::Fail || finding.class == Class::RedundancyLost)
        });
        let bridges = isolation::find(&self.fixture.board, self.plan, evidence);
        let bridges =
            bridges.into_iter().filter(|finding| finding.verdict == Verdict::Fail).map(
                |finding| match finding.barrier {
                    Barrier::Between(index) => Place::Bridge(index),
                    Barrier::Switch(id) => Place::Segment(id),
                },
            );
        faulty.map(|finding| Place::Segment(finding.segment)).chain(bridges).collect()
    }

    /// What the hypotheses call for.
    fn weigh(&mut self, stage: usize, evidence: &Evidence) -> Option<Move> {
        let board = &self.fixture.board;
        let mut belief = Belief::new(board, &self.plan.limits, &self.rates, &self.pins);
        let answers = witness::answers(board, evidence);
        let floats = answers.iter().any(|(_, _, answer)| matches!(answer, Answer::Floats { .. }));
        belief.see_all(answers.into_iter().map(|(_, question, answer)| (question, answer)));
        let proven = self.proven(stage, evidence);
        let bridged = proven.iter().any(|place| matches!(place, Place::Bridge(_)));
        if bridged && !std::mem::replace(&mut self.exchanged, true) {
            self.follow.ask(Task::Exchanged(stage));
            return None;
        }
        let stretches = path::carrying(board, &self.plan.limits, &self.plan.stages[stage], evidence);
        let carried: BTreeSet<SegmentId> =
            stretches.flat_map(|stretch| stretch.steps.iter().map(|step| step.segment)).collect();
        if unexplained(&belief, &proven, &carried) <= UNEXPLAINED {
            return self.end(stage);
        }
        if floats && !std::mem::replace(&mut self.surveyed, true) {
            self.survey(stage, evidence);
            return None;
        }
        let open = |(place, probability): &(Place, f64)| {
            *probability >= STANDS_OUT && !proven.contains(place) && !self.proved.contains(place)
        };
        if let Some((place @ Place::Segment(id), _)) = belief.places().into_iter().find(open) {
            self.proved.insert(place);
            if let Some(stretch) = self.stretch(stage, id, &proven) {
                self.follow.ask(Task::Proof(stretch));
                return None;
            }
        }
        let best = looks::best(self.fixture, &belief, self.state(stage), &proven);
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
            _ => self.end(stage),
        }
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
    fn stretch(&self, stage: usize, id: SegmentId, proven: &BTreeSet<Place>) -> Option<Stretch> {
        let broken: Vec<SegmentId> = looks::opens(proven);
        let forest = Forest::new(&self.fixture.board, self.state(stage), &broken);
        let wanted = BTreeSet::from([id]);
        let (stretches, _) = crate::plan::stretch::cover(&forest, self.fixture, &wanted);
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
                    match asked
                        .iter()
                        .any(|question| !matches!(question, finding::question::Question::Sense { .. }))
                    {
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
fn unexplained(belief: &Belief<'_>, proven: &BTreeSet<Place>, carried: &BTreeSet<SegmentId>) -> f64 {
    let matters = |defect: Defect| {
        let carries = defect.segment().is_some_and(|id| carried.contains(&id));
        !proven.contains(&Place::of(defect)) && !carries && !matches!(defect, Defect::StaysClosed(_))
    };
    let elsewhere = belief.weighed().filter(|(hypothesis, _)| hypothesis.defects().any(matters));
    elsewhere.map(|(_, probability)| probability).sum()
}

fn is_segment(planned: &PlannedShot) -> bool {
    matches!(planned.role, Role::Segment { .. })
}
