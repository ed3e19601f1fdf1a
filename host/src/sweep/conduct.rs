//! Conducts a sweep: the plan first, then whatever the unit's answers call for.
//!
//! A good unit costs one run per state. Only a gate, an open, an undecided value or a bench that misbehaves brings
//! another: each is a short plan of its own, built from what is known so far, with the residual check first.
//!
//! ```text
//! plan ──gate──► dry look ──carries──► load look
//!   │               └──open──► (bridge) ──► re-force on both sides ──gate──► dry look …
//!   └──undecided──► long look          any ──bench misbehaves──► diagnosis ──► void
//! ```

use std::collections::BTreeSet;

use copperwalk_wire::{
    Shot,
    message::{Fault, RunEnd},
};

use super::{
    diagnose,
    facts::Facts,
    judge, locate,
    outcome::{BenchFault, Sweep},
};
use crate::{
    board::{Board, SegmentId, StateId},
    fixture::Fixture,
    link::{LinkError, Session, Transport},
    measure::Malformed,
    measurement::{Purpose, Run, RunShot},
    operator::{Operator, Unattended},
    plan::{
        self, LegKind, Plan, PlannedShot, Sampling, Stage, Stretch,
        builder::{Builder, Walk},
        forest::Forest,
        stretch::cover,
    },
};

/// Opens found one behind the other before a sweep gives up looking for more.
const DEPTH: usize = 8;
/// Attempts to discharge a unit before its voltage counts as a battery's.
const BLEEDS: usize = 3;
/// Capacitance assumed for a discharge where the board file states none, farad.
const UNKNOWN_FARADS: f64 = 100e-6;

/// What is swept, and for whom.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Subject {
    /// Serial number.
    pub serial: String,
    /// Lot.
    pub lot: Option<String>,
    /// Start, microseconds since 1970-01-01 UTC.
    pub started_us: i64,
}

/// Why there is no sweep at all. Nothing was booked.
#[derive(Debug, thiserror::Error)]
pub enum SweepError {
    /// The controller.
    #[error(transparent)]
    Link(#[from] LinkError),
    /// Nobody put the unit into the state asked for.
    #[error(transparent)]
    Unattended(#[from] Unattended),
    /// Codes that do not fit their shot.
    #[error("the controller's codes make no sense: {0}")]
    Malformed(#[from] Malformed),
}

/// Sweeps one unit.
pub fn sweep<T: Transport>(
    session: &mut Session<T>,
    operator: &mut dyn Operator,
    fixture: &Fixture,
    plan: &Plan,
    subject: Subject,
) -> Result<Sweep, SweepError> {
    let mut conductor = Conductor {
        session,
        operator,
        fixture,
        plan,
        runs: Vec::new(),
        facts: Vec::new(),
        bench_faults: Vec::new(),
    };
    for stage in &plan.stages {
        conductor.stage(stage)?;
        if !conductor.bench_faults.is_empty() {
            break;
        }
    }
    let Conductor { session, runs, facts, bench_faults, .. } = conductor;
    Ok(judge::sweep(fixture, plan, subject, session.name(), judge::Material { runs, facts, bench_faults }))
}

struct Conductor<'a, T: Transport> {
    session: &'a mut Session<T>,
    operator: &'a mut dyn Operator,
    fixture: &'a Fixture,
    plan: &'a Plan,
    runs: Vec<Run>,
    /// One for each run.
    facts: Vec<Facts>,
    bench_faults: Vec<BenchFault>,
}

impl<T: Transport> Conductor<'_, T> {
    fn board(&self) -> &Board {
        &self.fixture.board
    }

    fn builder(&self) -> Builder<'_> {
        Builder::new(self.fixture, self.plan.sampling)
    }

    /// One run of the controller; its facts are the last of `self.facts`.
    fn run(&mut self, state: StateId, purpose: Purpose, shots: &[PlannedShot]) -> Result<RunEnd, SweepError> {
        let wire: Vec<Shot> = shots.iter().map(|planned| planned.shot).collect();
        let report = self.session.run(&wire)?;
        let shots = shots
            .iter()
            .zip(report.shots)
            .map(|(planned, ran)| RunShot {
                role: planned.role,
                shot: planned.shot,
                codes: ran.codes,
                why: ran.why,
                from_us: ran.span_us.0,
                to_us: ran.span_us.1,
            })
            .collect();
        let name = self.board().states[state.0].name.clone();
        let run = Run {
            state: name,
            purpose,
            end: report.end,
            closures: report.closures,
            device_us: report.device_us,
            shots,
        };
        self.facts.push(Facts::of(self.fixture, state, &run)?);
        self.runs.push(run);
        if let RunEnd::Fault(fault) = report.end {
            self.bench_faults.push(controller_fault(fault));
        }
        Ok(report.end)
    }

    /// A run that begins with the residual check, discharging the unit first if the run before left a capacitor
    /// charged.
    fn excited_run(
        &mut self,
        state: StateId,
        purpose: Purpose,
        shots: &[PlannedShot],
    ) -> Result<RunEnd, SweepError> {
        let mut last = RunEnd::Residual;
        for _ in 0..BLEEDS {
            let end = self.run(state, purpose, shots)?;
            // A unit that charged itself up in the run before may look live, or unsteady.
            if !matches!(end, RunEnd::Residual | RunEnd::NoContact) {
                return Ok(end);
            }
            last = end;
            self.discharge(state)?;
        }
        if last == RunEnd::Residual {
            self.bench_faults.push(self.live_unit());
        } else if self.bench_faults.is_empty() {
            self.supply_contacts(state)?;
        }
        Ok(last)
    }

    fn stage(&mut self, stage: &Stage) -> Result<(), SweepError> {
        let state = stage.state;
        let prompt = self.board().states[state.0].prompt.clone();
        self.operator.place(state, &prompt)?;
        let first = self.facts.len();
        let mut next = 0;
        while next < stage.legs.len() && self.bench_faults.is_empty() {
            let mut shots = Vec::new();
            if next > 0 {
                let mut builder = self.builder();
                builder.residual();
                shots = builder.finish();
            }
            let mut ends = Vec::new();
            for leg in &stage.legs[next..] {
                shots.extend_from_slice(&leg.shots);
                ends.push(shots.len());
            }
            match self.excited_run(state, Purpose::Plan, &shots)? {
                RunEnd::Gate => {
                    let ran = self.runs.last().map_or(0, |run| run.shots.len());
                    let leg = next + ends.iter().take_while(|&&end| end < ran).count();
                    if let Some(LegKind::Walk(stretch)) = stage.legs.get(leg).map(|leg| &leg.kind) {
                        self.investigate(state, stretch, &[], DEPTH)?;
                    }
                    next = leg + 1;
                }
                RunEnd::Complete => next = stage.legs.len(),
                RunEnd::Stopped => return Err(LinkError::Stopped.into()),
                RunEnd::Residual | RunEnd::NoContact | RunEnd::Fault(_) => {}
            }
        }
        if self.bench_faults.is_empty() {
            self.long_look(state, first)?;
        }
        if self.bench_faults.is_empty() {
            self.check_bench(state, first)?;
        }
        Ok(())
    }

    /// A stretch whose end-to-end reading was not as expected: every segment dry, then what can still be read
    /// under load, or around an open.
    fn investigate(
        &mut self,
        state: StateId,
        stretch: &Stretch,
        broken: &[SegmentId],
        depth: usize,
    ) -> Result<(), SweepError> {
        let everything =
            Stretch { wanted: stretch.steps.iter().map(|step| step.segment).collect(), ..stretch.clone() };
        let mut builder = self.builder();
        builder.residual();
        builder.walk(&everything, Walk::Dry);
        builder.guard_after(&everything);
        let shots = builder.finish();
        self.excited_run(state, Purpose::DryLook, &shots)?;
        let Some(look) = self.facts.last().cloned() else { return Ok(()) };
        if !self.bench_faults.is_empty() {
            return Ok(());
        }
        if locate::carries(&look) {
            return self.load_look(state, stretch, &look);
        }
        self.bridge(state, &everything, &look)?;

        let known: Vec<&Facts> = self.facts.iter().filter(|facts| facts.state == state).collect();
        let mut broken = broken.to_vec();
        for (segment, _) in locate::opens(&known) {
            if !broken.contains(&segment) {
                broken.push(segment);
            }
        }
        if depth == 0 || broken.is_empty() {
            return Ok(());
        }
        let forest = Forest::new(self.board(), state, &broken);
        let wanted: BTreeSet<_> =
            stretch.wanted.iter().copied().filter(|segment| !broken.contains(segment)).collect();
        let (pieces, _) = cover(&forest, self.fixture, &wanted);
        for piece in pieces {
            let mut builder = self.builder();
            builder.residual();
            let expected = plan::expected_ohms(self.board(), &piece);
            builder.whole(&piece, expected, plan::gate_ohms(self.board(), &piece));
            builder.walk(&piece, Walk::Usual);
            let shots = builder.finish();
            if self.excited_run(state, Purpose::Reforce, &shots)? == RunEnd::Gate {
                self.investigate(state, &piece, &broken, depth - 1)?;
            }
            if !self.bench_faults.is_empty() {
                break;
            }
        }
        Ok(())
    }

    /// The path carries current: copper and parts under load, and those contacts too that failed dry, to tell a film
    /// from a bad contact.
    fn load_look(&mut self, state: StateId, stretch: &Stretch, dry: &Facts) -> Result<(), SweepError> {
        let failed_dry = |segment: SegmentId| {
            dry.segments.iter().any(|fact| {
                fact.segment == segment
                    && fact.reading.ohms - fact.reading.budget.expanded()
                        > self.board().segment(segment).limits.max_ohms
            })
        };
        let (contacts, rest): (BTreeSet<_>, BTreeSet<_>) = stretch
            .wanted
            .iter()
            .copied()
            .partition(|&id| self.board().segment(id).kind.is_contact() && !failed_dry(id));
        let mut builder = self.builder();
        builder.residual();
        // Contacts have been read dry; with all the time in the world, once more, and before any load.
        if self.plan.sampling == Sampling::Full {
            builder.walk(&Stretch { wanted: contacts, ..stretch.clone() }, Walk::Usual);
        }
        builder.walk(&Stretch { wanted: rest, ..stretch.clone() }, Walk::Load);
        builder.drain(stretch);
        let shots = builder.finish();
        self.excited_run(state, Purpose::LoadLook, &shots)?;
        Ok(())
    }

    /// Past every block of silent pins.
    fn bridge(&mut self, state: StateId, stretch: &Stretch, look: &Facts) -> Result<(), SweepError> {
        let mut builder = self.builder();
        builder.residual();
        let mut any = false;
        for suspect in locate::suspects(&look.segments) {
            if let locate::Suspect::Silent(block) = suspect
                && let Some(&around) = block.pins.first()
            {
                builder.bridge(stretch, around, block.before, block.after);
                any = true;
            }
        }
        let shots = builder.finish();
        if any {
            self.excited_run(state, Purpose::Bridge, &shots)?;
        }
        Ok(())
    }

    /// The whole budget for segments that are still undecided, and for all contacts when only the end-to-end
    /// reading flickered.
    fn long_look(&mut self, state: StateId, first: usize) -> Result<(), SweepError> {
        let undecided = judge::undecided(self.fixture, self.plan, state, &self.facts[first..]);
        if undecided.is_empty() {
            return Ok(());
        }
        let known: Vec<&Facts> = self.facts[first..].iter().collect();
        let broken: Vec<_> = locate::opens(&known).into_iter().map(|(segment, _)| segment).collect();
        let forest = Forest::new(self.board(), state, &broken);
        let (pieces, _) = cover(&forest, self.fixture, &undecided);
        let mut builder = Builder::new(self.fixture, Sampling::Full);
        builder.residual();
        for piece in &pieces {
            builder.walk(piece, Walk::Usual);
        }
        let shots = builder.finish();
        if !pieces.is_empty() {
            self.excited_run(state, Purpose::LongLook, &shots)?;
        }
        Ok(())
    }

    fn discharge(&mut self, state: StateId) -> Result<(), SweepError> {
        let supply = &self.board().supply;
        let farads = supply.bulk_farads.max(UNKNOWN_FARADS);
        let (from, ret) = (supply.from, supply.ret);
        let mut builder = self.builder();
        builder.bleed(from, ret, farads);
        let shots = builder.finish();
        self.run(state, Purpose::Bleed, &shots)?;
        Ok(())
    }

    fn live_unit(&self) -> BenchFault {
        let supply = &self.board().supply;
        let volts = self.facts.iter().rev().find_map(|facts| facts.residual_volts).unwrap_or(0.0);
        diagnose::live_unit(self.board(), supply.from, supply.ret, volts)
    }

    /// The residual check could not prove its contacts: which pin or relay?
    fn supply_contacts(&mut self, state: StateId) -> Result<(), SweepError> {
        let checked = self.facts.iter().rev().find(|facts| facts.residual_volts.is_some());
        let Some(facts) = checked.cloned() else { return Ok(()) };
        for question in diagnose::supply_questions(self.fixture, &facts) {
            let first = self.facts.len();
            // Nothing here is excited, so no residual check is needed, and none could pass.
            for shots in question.rounds(self.fixture) {
                self.run(state, Purpose::Diagnosis, &shots)?;
            }
            let answers = &self.facts[first..];
            self.bench_faults.extend(question.conclude(self.fixture, answers));
        }
        if self.bench_faults.is_empty() {
            self.bench_faults.push(diagnose::unsteady_supply_contacts());
        }
        Ok(())
    }

    /// Everything the runs of this state say against the bench.
    fn check_bench(&mut self, state: StateId, first: usize) -> Result<(), SweepError> {
        let questions = {
            let known: Vec<&Facts> = self.facts[first..].iter().collect();
            self.bench_faults.extend(diagnose::standards(self.fixture, &known));
            diagnose::questions(self.fixture, &known)
        };
        for question in questions {
            let first = self.facts.len();
            for round in question.rounds(self.fixture) {
                let mut builder = self.builder();
                builder.residual();
                let shots = [builder.finish(), round].concat();
                self.excited_run(state, Purpose::Diagnosis, &shots)?;
            }
            let answers = &self.facts[first..];
            self.bench_faults.extend(question.conclude(self.fixture, answers));
        }
        Ok(())
    }
}

/// What the controller found wrong with itself, in words.
fn controller_fault(fault: Fault) -> BenchFault {
    let (part, what) = match fault {
        Fault::Lid => ("lid", "the lid was opened during the sweep; close it and sweep again"),
        Fault::Heartbeat => ("line to the host", "the controller heard nothing from the host and let go"),
        Fault::AdcTimeout => ("meter", "the ADC did not say ready in time; check its wiring and supply"),
        Fault::AdcRegisters => ("meter", "the ADC's registers do not read back as written; check its wiring"),
        Fault::Matrix => ("matrix", "the shift-register chain could not be written; check its wiring"),
        Fault::Line => ("line to the host", "codes could not be sent; check the cable"),
    };
    BenchFault { part: part.into(), what: what.into() }
}
