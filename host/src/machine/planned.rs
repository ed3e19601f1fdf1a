//! The policy of a sweep: the plan first, then whatever the unit's answers call for.
//!
//! A good unit costs one run per state. Only a gate, an open, an undecided value or a bench that misbehaves brings
//! another: each is a short list of shots of its own, built from what is known so far.
//!
//! ```text
//! plan ──gate──► survey ──carries──► load look
//!   │               └──open──► (around silent pins) ──► re-force on both sides ──gate──► survey …
//!   └──undecided──► long look          any ──bench misbehaves──► questions
//! ```

use std::collections::BTreeSet;

use copperwalk_wire::message::RunEnd;

use super::{Move, Policy, SoFar, spacing::spaced};
use crate::{
    board::{Board, SegmentId, StateId},
    evidence::{Evidence, RunEvidence},
    finding::{
        self, bench,
        isolation::{self, Barrier},
        open,
    },
    fixture::Fixture,
    measurement::Purpose,
    plan::{
        self, LegKind, Plan, PlannedShot, Role, Sampling, Stage, Stretch,
        builder::{Builder, Walk},
        forest::Forest,
        mesh::Current,
        stretch::cover,
    },
    verdict::{Verdict, judge},
};

/// Opens found one behind the other before a sweep gives up looking for more.
pub(super) const DEPTH: usize = 8;

/// What is still to be done, the next thing last.
#[derive(Clone, PartialEq, Debug)]
pub(super) enum Task {
    /// A stage of the plan, from its beginning.
    Stage(usize),
    /// A stage's legs from this one on.
    Legs { stage: usize, from: usize },
    /// A stretch whose end-to-end reading was not as expected: every segment dry.
    Survey { stretch: Stretch, broken: Vec<SegmentId>, depth: usize },
    /// The same of the wanted segments alone, which a hunt has led to.
    Proof(Stretch),
    /// A mesh whose end-to-end reading was not as expected: every segment dry.
    MeshSurvey(Current),
    /// Copper and parts of a surveyed stretch under load.
    Load(Vec<PlannedShot>),
    /// Readings past the pins of a surveyed stretch that do not answer.
    Around(Vec<PlannedShot>),
    /// What lies on both sides of the opens of a stretch.
    Beside { stretch: Stretch, broken: Vec<SegmentId>, depth: usize },
    /// A piece of a stretch beside an open, forced by itself.
    Reforce { piece: Stretch, broken: Vec<SegmentId>, depth: usize },
    /// The whole budget for segments that are still undecided, and for all when only an end-to-end reading moved.
    FullBudget(usize),
    /// Isolation of a stage that failed, with its sides exchanged and at a lower voltage: a leak, or a semiconductor?
    Exchanged(usize),
    /// Everything the runs of a state say against the bench.
    Bench(usize),
    /// Shots that answer a question about the bench.
    Ask(Vec<PlannedShot>),
    /// The next state, if nothing is wrong with the bench.
    Conclude(usize),
}

/// The policy.
pub struct Planned<'p> {
    fixture: &'p Fixture,
    plan: &'p Plan,
    agenda: Vec<Task>,
    /// The task whose runs are being made, and how many had been made before.
    waiting: Option<(Task, usize)>,
}

impl<'p> Planned<'p> {
    /// Runs a plan.
    pub fn new(fixture: &'p Fixture, plan: &'p Plan) -> Self {
        let agenda = if plan.stages.is_empty() { Vec::new() } else { vec![Task::Stage(0)] };
        Self { fixture, plan, agenda, waiting: None }
    }

    /// With nothing to do until something is asked for.
    pub(super) fn idle(fixture: &'p Fixture, plan: &'p Plan) -> Self {
        Self { fixture, plan, agenda: Vec::new(), waiting: None }
    }

    /// Does this next.
    pub(super) fn ask(&mut self, task: Task) {
        self.agenda.push(task);
    }

    fn board(&self) -> &'p Board {
        &self.fixture.board
    }

    fn stage(&self, stage: usize) -> &'p Stage {
        &self.plan.stages[stage]
    }

    fn builder(&self) -> Builder<'p> {
        Builder::new(self.fixture, self.plan.sampling)
    }

    /// The state the unit is in: that of the evidence's last run, or of the stage that is about to begin.
    fn state(evidence: &Evidence) -> StateId {
        evidence.last().map_or(StateId::new(0), |run| run.state)
    }

    /// Starts a task; gives its move, if it makes one.
    fn start(&mut self, task: Task, evidence: &Evidence) -> Option<Move> {
        let (purpose, shots) = match &task {
            &Task::Stage(stage) => {
                let after = [Task::Conclude, Task::Bench, Task::Exchanged, Task::FullBudget];
                self.agenda.extend(after.map(|task| task(stage)));
                self.agenda.push(Task::Legs { stage, from: 0 });
                return Some(Move::Place(self.stage(stage).state));
            }
            &Task::Legs { stage, from } => {
                let legs = self.stage(stage).legs.get(from..).unwrap_or_default();
                (Purpose::Plan, legs.iter().flat_map(|leg| leg.shots.iter().copied()).collect())
            }
            Task::Survey { stretch, .. } => (Purpose::DrySurvey, self.survey(&whole(stretch))),
            Task::Proof(stretch) => (Purpose::Proof, self.survey(stretch)),
            Task::MeshSurvey(current) => (Purpose::DrySurvey, self.mesh(current, Walk::Survey)),
            Task::Load(shots) => (Purpose::LoadSurvey, shots.clone()),
            Task::Around(shots) => (Purpose::PastPin, shots.clone()),
            Task::Beside { stretch, broken, depth } => {
                let pieces = self.pieces(stretch, broken, *depth, evidence);
                self.agenda.extend(pieces.into_iter().rev());
                return None;
            }
            Task::Reforce { piece, .. } => (Purpose::Reforce, self.reforce(piece)),
            &Task::FullBudget(stage) => (Purpose::FullBudget, self.full_budget(stage, evidence)),
            &Task::Exchanged(stage) => (Purpose::FullBudget, self.exchanged(stage, evidence)),
            &Task::Bench(stage) => {
                let questions = bench::questions(self.fixture, evidence, self.stage(stage).state);
                let rounds = questions.iter().flat_map(|question| question.rounds(self.fixture));
                let asks: Vec<Task> = rounds.map(Task::Ask).collect();
                self.agenda.extend(asks.into_iter().rev());
                return None;
            }
            Task::Ask(shots) => (Purpose::Diagnosis, shots.clone()),
            &Task::Conclude(stage) => {
                let state = self.stage(stage).state;
                let faulty = !bench::findings_in(self.fixture, evidence, state).is_empty();
                if !faulty && stage + 1 < self.plan.stages.len() {
                    self.agenda.push(Task::Stage(stage + 1));
                }
                return None;
            }
        };
        if shots.is_empty() {
            return None;
        }
        let shots = match evidence.surroundings().hum {
            Some(hum) => spaced(shots, &self.plan.limits, hum),
            None => shots,
        };
        self.waiting = Some((task, evidence.runs().len()));
        Some(Move::Run { purpose, shots })
    }

    /// What the end of a task's run calls for.
    fn conclude(&mut self, task: Task, so_far: SoFar<'_>, runs: &[RunEvidence]) {
        let Some(ended) = so_far.ended else { return };
        match task {
            Task::Legs { stage, from } if ended.end == RunEnd::Gate => {
                let legs = &self.stage(stage).legs;
                let leg = gated_leg(&legs[from..], ended.shots).map_or(legs.len(), |leg| from + leg);
                self.agenda.push(Task::Legs { stage, from: leg + 1 });
                match legs.get(leg).map(|leg| &leg.kind) {
                    Some(LegKind::Walk(stretch)) => self.agenda.push(Task::Survey {
                        stretch: stretch.clone(),
                        broken: Vec::new(),
                        depth: DEPTH,
                    }),
                    Some(LegKind::Mesh(current)) => self.agenda.push(Task::MeshSurvey(current.clone())),
                    _ => {}
                }
            }
            Task::MeshSurvey(current) if runs.iter().any(RunEvidence::carries) => {
                let shots = self.mesh(&current, Walk::Load);
                self.agenda.push(Task::Load(shots));
            }
            Task::Survey { stretch, broken, depth } => {
                if runs.iter().any(|run| run.carries()) {
                    let shots = self.load_look(&stretch, runs);
                    self.agenda.push(Task::Load(shots));
                } else {
                    self.agenda.push(Task::Beside { stretch: stretch.clone(), broken, depth });
                    self.agenda.push(Task::Around(self.around(&stretch, runs)));
                }
            }
            Task::Proof(stretch) if runs.iter().any(RunEvidence::carries) => {
                self.agenda.push(Task::Load(self.load_look(&stretch, runs)));
            }
            Task::Reforce { piece, broken, depth } if ended.end == RunEnd::Gate && depth > 0 => {
                self.agenda.push(Task::Survey { stretch: piece, broken, depth: depth - 1 });
            }
            _ => {}
        }
    }

    /// Every wanted segment of a stretch, dry.
    fn survey(&self, stretch: &Stretch) -> Vec<PlannedShot> {
        let mut builder = self.builder();
        builder.walk(&self.plan.limits, stretch, Walk::Survey);
        builder.guard_after(stretch);
        builder.finish()
    }

    /// Every segment of a mesh, with one current.
    fn mesh(&self, current: &Current, mode: Walk) -> Vec<PlannedShot> {
        let mut builder = self.builder();
        builder.mesh(&self.plan.limits, current, mode);
        builder.drain(&current.path);
        builder.finish()
    }

    /// The path carries current: copper and parts under load, and those contacts too that failed dry, to tell a film
    /// from a bad contact.
    fn load_look(&self, stretch: &Stretch, survey: &[RunEvidence]) -> Vec<PlannedShot> {
        let failed_dry = |id: SegmentId| {
            let limits = self.plan.limits.of(id);
            survey.iter().flat_map(|run| run.segments()).any(|seen| {
                seen.segment == id
                    && judge(seen.reading.resistance, seen.reading.budget.guard(), limits) == Verdict::Fail
            })
        };
        let (contacts, rest): (BTreeSet<_>, BTreeSet<_>) = stretch
            .wanted
            .iter()
            .copied()
            .partition(|&id| self.board().segment(id).kind.is_contact() && !failed_dry(id));
        let mut builder = self.builder();
        // Contacts have been read dry; with all the time in the world, once more, and before any load.
        if self.plan.sampling == Sampling::Full {
            builder.walk(&self.plan.limits, &Stretch { wanted: contacts, ..stretch.clone() }, Walk::Usual);
        }
        builder.walk(&self.plan.limits, &Stretch { wanted: rest, ..stretch.clone() }, Walk::Load);
        builder.drain(stretch);
        builder.finish()
    }

    /// Readings past every block of silent pins.
    fn around(&self, stretch: &Stretch, survey: &[RunEvidence]) -> Vec<PlannedShot> {
        let mut builder = self.builder();
        for suspect in survey.iter().flat_map(|run| open::suspects(run.segments())) {
            if let open::Suspect::Silent(block) = suspect
                && let Some(&around) = block.pins.first()
            {
                builder.bridge(stretch, around, block.before, block.after);
            }
        }
        builder.finish()
    }

    /// What can still be forced beside the opens found so far.
    fn pieces(
        &self,
        stretch: &Stretch,
        broken: &[SegmentId],
        depth: usize,
        evidence: &Evidence,
    ) -> Vec<Task> {
        let state = Self::state(evidence);
        let mut broken = broken.to_vec();
        for open in open::opens(evidence.in_state(state)) {
            if !broken.contains(&open.segment) {
                broken.push(open.segment);
            }
        }
        if depth == 0 || broken.is_empty() {
            return Vec::new();
        }
        let forest = Forest::new(self.board(), state, &broken);
        let wanted: BTreeSet<_> = stretch.wanted.iter().copied().filter(|id| !broken.contains(id)).collect();
        let (pieces, _) = cover(&forest, self.fixture, &wanted);
        pieces.into_iter().map(|piece| Task::Reforce { piece, broken: broken.clone(), depth }).collect()
    }

    fn reforce(&self, piece: &Stretch) -> Vec<PlannedShot> {
        let mut builder = self.builder();
        let board = self.board();
        builder.whole(
            piece,
            plan::expected_resistance(board, piece),
            plan::gate_resistance(board, &self.plan.limits, piece),
        );
        builder.walk(&self.plan.limits, piece, Walk::Usual);
        builder.finish()
    }

    fn full_budget(&self, stage: usize, evidence: &Evidence) -> Vec<PlannedShot> {
        let stage = self.stage(stage);
        let undecided = finding::undecided(self.fixture, &self.plan.limits, stage, evidence);
        if undecided.is_empty() {
            return Vec::new();
        }
        let opens = open::opens(evidence.in_state(stage.state));
        let broken: Vec<_> = opens.into_iter().map(|open| open.segment).collect();
        let forest = Forest::new(self.board(), stage.state, &broken);
        let (pieces, _) = cover(&forest, self.fixture, &undecided);
        let unsettled = finding::unsettled(evidence, stage.state);
        let mut builder = Builder::new(self.fixture, Sampling::Full);
        for piece in &pieces {
            let (patient, usual): (BTreeSet<_>, BTreeSet<_>) =
                piece.wanted.iter().copied().partition(|id| unsettled.contains(id));
            builder.walk(&self.plan.limits, &Stretch { wanted: usual, ..piece.clone() }, Walk::Usual);
            builder.walk(&self.plan.limits, &Stretch { wanted: patient, ..piece.clone() }, Walk::Patient);
        }
        let carried: Vec<_> = evidence
            .in_state(stage.state)
            .flat_map(RunEvidence::meshes)
            .filter(|seen| seen.reading.flows)
            .map(|seen| seen.forced)
            .collect();
        for leg in &stage.legs {
            if let LegKind::Mesh(current) = &leg.kind
                && !current.wanted.is_disjoint(&undecided)
                && carried.contains(&[current.path.from, current.path.to])
            {
                let patient = !current.wanted.is_disjoint(&unsettled);
                builder.mesh(&self.plan.limits, current, if patient { Walk::Patient } else { Walk::Usual });
            }
        }
        builder.finish()
    }
}

impl Planned<'_> {
    /// Isolation that failed, in the order it was read.
    fn exchanged(&self, stage: usize, evidence: &Evidence) -> Vec<PlannedShot> {
        let (board, stage) = (self.board(), self.stage(stage));
        let forest = Forest::new(board, stage.state, &[]);
        let failed: Vec<usize> = isolation::find(board, self.plan, evidence)
            .iter()
            .filter(|finding| finding.state == stage.state && finding.verdict == Verdict::Fail)
            .filter_map(|finding| match finding.barrier {
                Barrier::Between(index) => Some(index),
                Barrier::Switch(_) => None,
            })
            .collect();
        let mut builder = self.builder();
        for planned in stage.legs.iter().flat_map(|leg| &leg.shots) {
            if let Role::Isolation(index) = planned.role
                && failed.contains(&index)
            {
                let [a, b] = board.isolation[index].between;
                builder.exchanged(index, planned.shot, plan::bulk_behind(board, &forest, (a, b)));
            }
        }
        builder.finish()
    }
}

impl Policy for Planned<'_> {
    fn next(&mut self, so_far: SoFar<'_>) -> Move {
        if let Some((task, before)) = self.waiting.take() {
            let runs = so_far.evidence.runs().get(before..).unwrap_or_default();
            self.conclude(task, so_far, runs);
        }
        while let Some(task) = self.agenda.pop() {
            if let Some(made) = self.start(task, so_far.evidence) {
                return made;
            }
        }
        Move::Done
    }
}

/// The stretch with all its segments wanted.
fn whole(stretch: &Stretch) -> Stretch {
    Stretch { wanted: stretch.steps.iter().map(|step| step.segment).collect(), ..stretch.clone() }
}

/// Which of the legs a run that ended at a gate after so many shots ended in.
fn gated_leg(legs: &[plan::Leg], shots: usize) -> Option<usize> {
    let mut before = 0;
    legs.iter().position(|leg| {
        before += leg.shots.len();
        shots <= before
    })
}
