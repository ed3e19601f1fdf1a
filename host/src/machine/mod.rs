//! The machine that makes the runs of a sweep, without I/O: it says what comes next and takes what came of it.
//!
//! What to measure is a [`Policy`]'s decision; what every policy has in common stands here. Each run of the
//! controller begins with the residual check; a unit that is found charged is discharged and tried again; one that
//! stays live, a supply contact that stays silent and a controller that broke end everything. Shots that do not fit
//! the controller together are made in several runs.
//!
//! ```text
//!          ┌────────────── place ◄─────────────┐
//!          ▼                                   │
//!   policy asked ──────► run ──complete, gate──┤         ┌──► done
//!          ▲             │ ▲                   └─ policy ┘
//!          └─────────────┘ │ residual, no contact (not the last try)
//!                        bleed
//!   last try: residual ──► done      no contact ──► supply contacts asked one by one ──► done
//! ```

pub mod hunting;
pub mod planned;
pub mod spacing;
#[cfg(test)]
mod tests;

use std::collections::VecDeque;

use copperwalk_wire::{hardware, message::RunEnd};

use crate::{
    board::StateId,
    evidence::{Evidence, EvidenceError},
    finding::bench,
    fixture::Fixture,
    link::RunReport,
    measurement::{Purpose, Run, RunShot},
    plan::{PlannedShot, Role, Sampling, builder::Builder},
    quantity::Farads,
};

/// Tries before a unit's voltage counts as a battery's, and a silent supply contact as silent.
const TRIES: usize = 3;
/// Capacitance assumed for a discharge where the board file states none.
const UNKNOWN_BULK: Farads = Farads(100e-6);
/// Runs after which a bench leads nowhere: opens one behind the other on a large board take a tenth of it.
const MOST_RUNS: usize = 1_000;

/// Decides what is measured next from everything seen so far.
pub trait Policy {
    /// The next move; asked once at the start and once after each move was made.
    fn next(&mut self, so_far: SoFar<'_>) -> Move;
}

/// What a policy may look at.
#[derive(Clone, Copy, Debug)]
pub struct SoFar<'a> {
    /// Everything the runs said.
    pub evidence: &'a Evidence,
    /// How the last run that the policy asked for ended.
    pub ended: Option<Ended>,
}

/// How a run that a policy asked for ended.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Ended {
    /// Why.
    pub end: RunEnd,
    /// How many of the policy's shots were made.
    pub shots: usize,
}

/// What a policy wants.
#[derive(Clone, PartialEq, Debug)]
pub enum Move {
    /// The unit in this state.
    Place(StateId),
    /// These shots, after a residual check.
    Run {
        /// Why.
        purpose: Purpose,
        /// The shots.
        shots: Vec<PlannedShot>,
    },
    /// Nothing more.
    Done,
}

/// What the machine wants of the world.
#[derive(Clone, PartialEq, Debug)]
pub enum Step {
    /// Put the unit into this state, then say [`Machine::placed`].
    Place(StateId),
    /// Have the controller run these shots, then say [`Machine::ran`].
    Run(Request),
    /// Nothing more: [`Machine::finish`].
    Done,
}

/// One run of the controller.
#[derive(Clone, PartialEq, Debug)]
pub struct Request {
    /// Why.
    pub purpose: Purpose,
    /// The shots.
    pub shots: Vec<PlannedShot>,
}

/// Why the machine cannot go on. Nothing is booked.
#[derive(Debug, thiserror::Error)]
pub enum MachineError {
    /// A run that says nothing.
    #[error("the controller's conversions make no sense: {0}")]
    Evidence(#[from] EvidenceError),
    /// No end in sight.
    #[error(
        "the bench's answers led to more than {MOST_RUNS} runs without an end: check the pins and relays, then sweep again"
    )]
    Endless,
}

/// Where the machine stands.
#[derive(Debug)]
enum Phase {
    /// The policy is to be asked.
    Asking,
    Placing(StateId),
    Running(Work),
    /// Discharging the unit before the next try.
    Bleeding(Work),
    /// Rounds of shots left that ask the supply's contacts one by one.
    Supply(VecDeque<Vec<PlannedShot>>),
    Done,
}

/// A policy's run on its way.
#[derive(Clone, Debug)]
struct Work {
    purpose: Purpose,
    shots: Vec<PlannedShot>,
    /// Shots already made.
    made: usize,
    /// Tries of the part that is next.
    tries: usize,
}

/// The machine.
pub struct Machine<'f, P> {
    fixture: &'f Fixture,
    policy: P,
    /// Shots the controller holds.
    capacity: usize,
    state: StateId,
    phase: Phase,
    ended: Option<Ended>,
    evidence: Evidence,
    runs: Vec<Run>,
}

impl<'f, P: Policy> Machine<'f, P> {
    /// A machine for a controller that holds so many shots, with what is known of bench and unit before the first run.
    pub fn new(fixture: &'f Fixture, policy: P, capacity: u16, known: Evidence) -> Self {
        Self {
            fixture,
            policy,
            // Two: a residual check and what follows it.
            capacity: usize::from(capacity.min(hardware::PLAN_CAPACITY)).max(2),
            state: StateId::new(0),
            phase: Phase::Asking,
            ended: None,
            evidence: known,
            runs: Vec::new(),
        }
    }

    /// What is wanted next. The same answer until it has been done.
    pub fn step(&mut self) -> Step {
        if matches!(self.phase, Phase::Asking) {
            let so_far = SoFar { evidence: &self.evidence, ended: self.ended.take() };
            self.phase = match self.policy.next(so_far) {
                Move::Place(state) => Phase::Placing(state),
                Move::Run { purpose, shots } => Phase::Running(Work { purpose, shots, made: 0, tries: 0 }),
                Move::Done => Phase::Done,
            };
        }
        match &self.phase {
            Phase::Placing(state) => Step::Place(*state),
            Phase::Running(work) => Step::Run(Request { purpose: work.purpose, shots: self.part(work) }),
            Phase::Bleeding(_) => Step::Run(Request { purpose: Purpose::Bleed, shots: self.bleed() }),
            Phase::Supply(rounds) => match rounds.front() {
                Some(shots) => Step::Run(Request { purpose: Purpose::Diagnosis, shots: shots.clone() }),
                None => Step::Done,
            },
            Phase::Asking | Phase::Done => Step::Done,
        }
    }

    /// The unit is in the state asked for.
    pub fn placed(&mut self) {
        if let Phase::Placing(state) = self.phase {
            self.state = state;
            self.phase = Phase::Asking;
        }
    }

    /// The run asked for was made.
    ///
    /// # Errors
    /// Codes that do not fit their shots; runs without an end.
    pub fn ran(&mut self, report: RunReport) -> Result<(), MachineError> {
        let Step::Run(request) = self.step() else { return Ok(()) };
        if self.runs.len() >= MOST_RUNS {
            return Err(MachineError::Endless);
        }
        let count = report.shots.len();
        let end = report.end;
        let state = self.fixture.board.state(self.state).name.clone();
        let run = recorded(state, &request, report);
        self.evidence.add(self.fixture, &run)?;
        self.runs.push(run);
        let phase = std::mem::replace(&mut self.phase, Phase::Done);
        self.phase = match (end, phase) {
            (RunEnd::Fault(_), _) => Phase::Done,
            (_, Phase::Bleeding(work)) => Phase::Running(work),
            (_, Phase::Supply(mut rounds)) => {
                rounds.pop_front();
                Phase::Supply(rounds)
            }
            (RunEnd::Residual | RunEnd::NoContact, Phase::Running(work)) if work.tries + 1 < TRIES => {
                // A unit that charged itself up in the run before may look live, or unsteady.
                Phase::Bleeding(Work { tries: work.tries + 1, ..work })
            }
            (RunEnd::Residual, Phase::Running(_)) => Phase::Done,
            (RunEnd::NoContact, Phase::Running(_)) => Phase::Supply(self.supply_rounds()),
            (_, Phase::Running(work)) => self.went_on(work, end, count),
            (_, phase) => phase,
        };
        Ok(())
    }

    /// The runs made, in order.
    pub fn finish(self) -> Vec<Run> {
        self.runs
    }

    /// The part of a work that the controller can hold: a residual check, and what is next.
    fn part(&self, work: &Work) -> Vec<PlannedShot> {
        let rest = &work.shots[work.made..];
        let mut shots = if has_check(rest) { Vec::new() } else { self.residual_check() };
        shots.extend(rest.iter().take(self.capacity - shots.len()));
        shots
    }

    /// After `count` shots of a work's part: the next part, or the policy's turn.
    fn went_on(&mut self, work: Work, end: RunEnd, count: usize) -> Phase {
        let check = usize::from(!has_check(&work.shots[work.made..]));
        let made = work.made + count.saturating_sub(check);
        if end == RunEnd::Complete && made < work.shots.len() {
            return Phase::Running(Work { made, tries: 0, ..work });
        }
        self.ended = Some(Ended { end, shots: made });
        Phase::Asking
    }

    fn builder(&self) -> Builder<'f> {
        Builder::new(self.fixture, Sampling::Quick)
    }

    fn residual_check(&self) -> Vec<PlannedShot> {
        let mut builder = self.builder();
        builder.residual();
        builder.finish()
    }

    fn bleed(&self) -> Vec<PlannedShot> {
        let supply = &self.fixture.board.supply;
        let mut builder = self.builder();
        builder.bleed(supply.from, supply.ret, supply.bulk.max(UNKNOWN_BULK));
        builder.finish()
    }

    /// Nothing in these rounds is excited beyond 20 mV, so no residual check is needed, and none could pass.
    fn supply_rounds(&self) -> VecDeque<Vec<PlannedShot>> {
        let questions = self.evidence.last().map(|run| bench::supply_questions(self.fixture, run));
        questions.unwrap_or_default().iter().flat_map(|question| question.rounds(self.fixture)).collect()
    }
}

fn has_check(shots: &[PlannedShot]) -> bool {
    shots.first().is_some_and(|planned| planned.role == Role::Residual)
}

/// A run as it is kept.
fn recorded(state: String, request: &Request, report: RunReport) -> Run {
    let shots = request.shots.iter().zip(report.shots).map(|(planned, ran)| RunShot {
        role: planned.role,
        shot: planned.shot,
        codes: ran.codes,
        why: ran.why,
        from_us: ran.span_us.0,
        to_us: ran.span_us.1,
    });
    Run {
        state,
        purpose: request.purpose,
        end: report.end,
        closures: report.closures,
        device_us: report.device_us,
        shots: shots.collect(),
    }
}
