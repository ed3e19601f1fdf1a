//! A job: one piece of work of the bench from start to record, told as events, cancellable.
//!
//! The one place where the machine that decides meets the line and the operator that act. The command line, the demo
//! and whatever serves a page run the same job and differ in what they make of its events.

use copperwalk_wire::{
    Shot,
    message::{Fault, Refusal, RunEnd},
};

use crate::{
    board::StateId,
    evidence::{Evidence, EvidenceError},
    fitted::{self, NoBypass, Wire},
    fixture::Fixture,
    hypothesis::Rates,
    judge,
    limits::LimitSet,
    link::{LinkError, RanShot, RunReport, Session, Transport, discover::serial_text},
    machine::{Machine, MachineError, Policy, Request, Step, hunting::Hunting, planned::Planned},
    measure::ratio::{self, Surroundings},
    measurement::{self, Basis, BedBasis, Manner, Measurement, Purpose},
    meter::Meter,
    operator::{Operator, Seen, Unattended, Watch},
    plan::{Plan, PlannedShot, Role},
    position::{self, Position, Probe},
    proof::{self, Proof},
    quantity::Ohms,
    records::{self, Records, SweepId},
    sweep::Sweep,
    verdict::{self, Verdict},
};

/// What is swept, and for whom.
#[derive(Clone, PartialEq, Debug)]
pub struct Subject {
    /// Serial number.
    pub serial: String,
    /// Lot.
    pub lot: Option<String>,
    /// Start, microseconds since 1970-01-01 UTC.
    pub started_us: i64,
    /// When the last repair of it was noted, if one was; [`Job::record`] looks it up.
    pub repaired_us: Option<i64>,
    /// Wires that repairs fitted to it, likewise.
    pub wires: Vec<Wire>,
}

impl Subject {
    /// A unit of which nothing else is known yet.
    pub fn new(serial: impl Into<String>, lot: Option<String>, started_us: i64) -> Self {
        Self { serial: serial.into(), lot, started_us, repaired_us: None, wires: Vec::new() }
    }
}

/// Something that happened.
#[derive(Clone, PartialEq, Debug)]
pub enum Event<'a> {
    /// The unit is to be put into a state.
    Placing {
        /// Its name.
        state: &'a str,
        /// What the operator is asked to do; empty where nothing is to be done.
        prompt: &'a str,
    },
    /// It is there.
    Placed,
    /// A run of the controller begins.
    Running {
        /// Why.
        purpose: Purpose,
        /// Shots in it.
        shots: usize,
    },
    /// A shot is over.
    ShotDone {
        /// Which of the run, counted from 1.
        number: usize,
    },
    /// A segment was read. Later readings may change what it is judged to be; the record has the last word.
    SegmentRead {
        /// Its name.
        name: &'a str,
        /// As measured.
        resistance: Ohms,
        /// Expanded uncertainty, 95 %.
        u95: Ohms,
        /// What this reading says by itself.
        verdict: Verdict,
    },
    /// The sweep is in the record store.
    Recorded(SweepId),
}

/// Why there is no sweep in the records. Nothing was booked.
#[derive(Debug, thiserror::Error)]
pub enum JobError {
    /// The controller.
    #[error(transparent)]
    Link(#[from] LinkError),
    /// The operator.
    #[error(transparent)]
    Unattended(#[from] Unattended),
    /// A fixture made for a larger bench.
    #[error(
        "the fixture needs {} force and {} sense channels, this controller has {} and {}; use the bench it was made for",
        needed[0], needed[1], here[0], here[1]
    )]
    Channels {
        /// Force and sense channels of the controller.
        here: [u16; 2],
        /// Of the fixture.
        needed: [u16; 2],
    },
    /// The machine.
    #[error(transparent)]
    Machine(#[from] MachineError),
    /// The records do not say what is known of the bench.
    #[error("{0}")]
    Proof(records::Error),
    /// Codes that make no sense.
    #[error("the controller's conversions make no sense: {0}")]
    Evidence(#[from] EvidenceError),
    /// A wire that was fitted to the unit does not belong on its board.
    #[error(
        "the records say that the unit has a {}, but {why}; if it is gone, write so with `copperwalk repair SN --at '{}' --action {}`",
        wire.name(), wire.name(), fitted::REMOVED
    )]
    Wire {
        /// The wire.
        wire: Box<Wire>,
        /// Why not.
        why: NoBypass,
    },
    /// A hunt takes the unit for one of its type, and this one is not.
    #[error("the unit has a {0}, and a hunt knows only what the board file has: sweep it")]
    Hunted(String),
    /// The record store did not take the sweep.
    #[error("{error}")]
    Records {
        /// What was measured and judged.
        sweep: Box<Sweep>,
        /// Why not.
        error: records::Error,
    },
}

impl JobError {
    /// Did somebody ask for this end?
    pub fn is_cancelled(&self) -> bool {
        matches!(
            self,
            Self::Link(LinkError::Cancelled { .. })
                | Self::Unattended(Unattended::Cancelled | Unattended::Link(LinkError::Cancelled { .. }))
        )
    }

    /// Is what was asked for the reason, and not the bench: its firmware or its size does not fit, the records take no sweep?
    pub fn is_input(&self) -> bool {
        matches!(
            self,
            Self::Link(LinkError::Version { .. })
                | Self::Channels { .. }
                | Self::Records { .. }
                | Self::Proof(_)
                | Self::Wire { .. }
                | Self::Hunted(_)
        )
    }
}

/// Whoever listens to a job.
pub type Listener<'l> = &'l mut dyn FnMut(Event<'_>);

/// A bench with a fixture on it, and the plan for it.
pub struct Job<'j, T: Transport> {
    /// The conversation with the controller.
    pub session: &'j mut Session<T>,
    /// Whoever puts the unit into its states.
    pub operator: &'j mut dyn Operator,
    /// The fixture.
    pub fixture: &'j Fixture,
    /// The plan.
    pub plan: &'j Plan,
}

impl<T: Transport> Job<'_, T> {
    /// Sweeps one unit and judges it, by this proof of the bench, if there is one.
    ///
    /// # Errors
    /// Whatever keeps the bench from it, cancellation included.
    pub fn sweep(
        &mut self,
        subject: Subject,
        proof: Option<Proof>,
        listener: Listener<'_>,
    ) -> Result<Sweep, JobError> {
        let policy = Planned::new(self.fixture, self.plan);
        self.measure(policy, Manner::Sweep, Rates::table(), subject, proof, listener)
    }

    /// Hunts for what is wrong with one unit, by these rates, and judges it likewise.
    ///
    /// # Errors
    /// As [`sweep`](Self::sweep).
    pub fn hunt(
        &mut self,
        subject: Subject,
        proof: Option<Proof>,
        rates: Rates,
        listener: Listener<'_>,
    ) -> Result<Sweep, JobError> {
        let policy = Hunting::new(self.fixture, self.plan, rates.clone());
        self.measure(policy, Manner::Hunt, rates, subject, proof, listener)
    }

    fn measure<P: Policy>(
        &mut self,
        policy: P,
        manner: Manner,
        rates: Rates,
        subject: Subject,
        proof: Option<Proof>,
        listener: Listener<'_>,
    ) -> Result<Sweep, JobError> {
        fits(self.session, self.fixture)?;
        let capacity = self.session.identity().plan_capacity;
        let proven = proof::usable(proof.as_ref(), self.fixture, subject.started_us);
        let rested = measurement::rested(subject.repaired_us, subject.started_us);
        let known = Evidence::on(proven).rested_for(rested);
        let meter = *known.meter();
        let mut machine = Machine::new(self.fixture, policy, capacity, known);
        self.drive(&mut machine, &meter, listener)?;
        let board = &self.fixture.board;
        let measurement = Measurement {
            serial: subject.serial,
            lot: subject.lot,
            started_us: subject.started_us,
            repaired_us: subject.repaired_us,
            wires: subject.wires,
            bench_name: self.session.name(),
            manner,
            basis: Basis::of(
                board,
                Some(BedBasis {
                    fixture: self.fixture.name.clone(),
                    fixture_hash: self.fixture.hash.clone(),
                    plan_hash: self.plan.hash.clone(),
                }),
            ),
            sampling: self.plan.sampling,
            proof,
            runs: machine.finish(),
            rates,
            by_hand: None,
        };
        let judgement = judge::judge(self.fixture, &self.plan.limits, self.plan, &measurement)?;
        Ok(Sweep { measurement, judgement })
    }

    /// Sweeps one unit, judges it by the bench's latest proof in the records, and records it before anybody is shown anything.
    ///
    /// # Errors
    /// As [`sweep`](Self::sweep), and those of the record store.
    pub fn record(
        &mut self,
        subject: Subject,
        records: &Records,
        listener: Listener<'_>,
    ) -> Result<(SweepId, Sweep), JobError> {
        self.record_as(None, subject, records, listener)
    }

    /// Hunts in one unit by these rates, judges and records it likewise.
    ///
    /// # Errors
    /// As [`record`](Self::record).
    pub fn record_hunt(
        &mut self,
        subject: Subject,
        rates: Rates,
        records: &Records,
        listener: Listener<'_>,
    ) -> Result<(SweepId, Sweep), JobError> {
        self.record_as(Some(rates), subject, records, listener)
    }

    /// Hunts by these rates, or sweeps.
    fn record_as(
        &mut self,
        hunt: Option<Rates>,
        mut subject: Subject,
        records: &Records,
        listener: Listener<'_>,
    ) -> Result<(SweepId, Sweep), JobError> {
        let bench = serial_text(self.session.identity().serial);
        let proof = records.latest_proof(&bench, &self.fixture.name).map_err(JobError::Proof)?;
        // A store that does not answer now says so when the sweep is to be kept, and the sweep is not lost by it.
        if let Ok(unit) = records.unit(&subject.serial) {
            subject.repaired_us = unit.repaired_before(subject.started_us);
            subject.wires = unit.wires_before(subject.started_us);
        }
        for wire in &subject.wires {
            let refused = |why| JobError::Wire { wire: Box::new(wire.clone()), why };
            wire.bypasses(&self.fixture.board).map_err(refused)?;
        }
        if let (Some(_), Some(wire)) = (&hunt, subject.wires.first()) {
            return Err(JobError::Hunted(wire.name()));
        }
        let sweep = match hunt {
            Some(rates) => self.hunt(subject, proof, rates, listener)?,
            None => self.sweep(subject, proof, listener)?,
        };
        match records.store(&sweep, self.fixture) {
            Ok(id) => {
                listener(Event::Recorded(id));
                Ok((id, sweep))
            }
            Err(error) => Err(JobError::Records { sweep: Box::new(sweep), error }),
        }
    }

    /// Does what a machine asks for until it asks for nothing more.
    fn drive<P: Policy>(
        &mut self,
        machine: &mut Machine<'_, P>,
        meter: &Meter,
        listener: Listener<'_>,
    ) -> Result<(), JobError> {
        let probes = position::probes(self.fixture);
        loop {
            match machine.step() {
                Step::Place(state) => {
                    let placed = self.fixture.board.state(state);
                    listener(Event::Placing { state: &placed.name, prompt: &placed.prompt });
                    place(self.session, self.operator, self.fixture, &probes, state)?;
                    listener(Event::Placed);
                    machine.placed();
                }
                Step::Run(request) => {
                    let report = self.run(&request, meter, listener)?;
                    machine.ran(report)?;
                }
                Step::Done => return Ok(()),
            }
        }
    }

    fn run(
        &mut self,
        request: &Request,
        meter: &Meter,
        listener: Listener<'_>,
    ) -> Result<RunReport, JobError> {
        let shots: Vec<Shot> = request.shots.iter().map(|planned| planned.shot).collect();
        listener(Event::Running { purpose: request.purpose, shots: shots.len() });
        let (fixture, limits, mut number) = (self.fixture, &self.plan.limits, 0);
        let report = self.session.run_watched(&shots, &mut |ran| {
            if let Some(planned) = request.shots.get(number) {
                tell_segment((fixture, limits, meter), planned, ran, listener);
            }
            number += 1;
            listener(Event::ShotDone { number });
        })?;
        Ok(report)
    }
}

/// Has the operator put the unit into a state, while the bench looks at the lid and at the unit's own switches.
///
/// # Errors
/// Nobody does, or the controller does not answer.
pub fn place<T: Transport>(
    session: &mut Session<T>,
    operator: &mut dyn Operator,
    fixture: &Fixture,
    probes: &[Probe],
    state: StateId,
) -> Result<(), Unattended> {
    let mut watch = Watching { session, fixture, probes, state };
    operator.place(state, &fixture.board.state(state).prompt, &mut watch)
}

/// Has the controller the channels that the fixture uses?
///
/// # Errors
/// [`JobError::Channels`] where it has not.
pub fn fits<T: Transport>(session: &Session<T>, fixture: &Fixture) -> Result<(), JobError> {
    let identity = session.identity();
    let here = [identity.force_channels, identity.sense_channels];
    let needed = [fixture.force_channels, fixture.sense_channels];
    match here[0] < needed[0] || here[1] < needed[1] {
        true => Err(JobError::Channels { here, needed }),
        false => Ok(()),
    }
}

/// The bench's own look at the lid and at the unit's switches.
struct Watching<'w, T: Transport> {
    session: &'w mut Session<T>,
    fixture: &'w Fixture,
    probes: &'w [Probe],
    state: StateId,
}

impl<T: Transport> Watch for Watching<'_, T> {
    fn look(&mut self) -> Result<Seen, LinkError> {
        if self.session.status()?.lid_open {
            return Ok(Seen::LidOpen);
        }
        if self.probes.is_empty() {
            return Ok(Seen::Unknown);
        }
        let shots: Vec<Shot> = self.probes.iter().map(|probe| probe.shot).collect();
        let report = match self.session.run(&shots) {
            Err(LinkError::Refused(Refusal::LidOpen)) => return Ok(Seen::LidOpen),
            report => report?,
        };
        if report.end == RunEnd::Fault(Fault::Lid) {
            return Ok(Seen::LidOpen);
        }
        // A look that went wrong says nothing; the sweep after it names what is wrong.
        let conducts =
            |(probe, ran): (&Probe, &RanShot)| position::conducts(probe, &ran.codes).ok().flatten();
        let contacts: Vec<_> = self.probes.iter().zip(&report.shots).map(conducts).collect();
        Ok(match position::position(self.fixture, self.probes, &contacts, self.state) {
            Position::There => Seen::There,
            Position::Elsewhere => Seen::Elsewhere,
            Position::Unknown => Seen::Unknown,
        })
    }
}

/// What a reading says by itself, while the sweep goes on.
fn tell_segment(
    (fixture, limits, meter): (&Fixture, &LimitSet, &Meter),
    planned: &PlannedShot,
    ran: &RanShot,
    listener: Listener<'_>,
) {
    let Role::Segment { segment, swapped } = planned.role else { return };
    let reading = ratio::read(
        meter,
        &planned.shot,
        &ran.codes,
        ran.why,
        swapped,
        Some(Ohms::ZERO),
        &Surroundings::UNKNOWN,
    );
    let Ok(reading) = reading else { return };
    if !reading.flows {
        return;
    }
    let (segment, limits) = (fixture.board.segment(segment), limits.of(segment));
    let u95 = reading.budget.expanded();
    let verdict = verdict::judge(reading.resistance, reading.budget.guard(), limits);
    listener(Event::SegmentRead { name: &segment.name, resistance: reading.resistance, u95, verdict });
}
