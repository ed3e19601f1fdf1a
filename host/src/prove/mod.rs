//! Proving a bench before it judges anything: an empty bed, its standards and its meter, a bare plate, a golden unit that is
//! seated again and again.
//!
//! Read in this order: `pins` (what there is to prove), `bench` (how shots are run, each after the residual check on a
//! standard's pins), then what is asked of each: `empty` (pins that touch each other, relays that stick), `meter` (noise,
//! hum, gains, Rm, the standards), `plate` (every pin by way of every relay), `miswired` and `leads` (leads on
//! each other's pins), `repeat` (what the bed can judge).
//! Each of these has its shots and what their codes say as pure functions.

mod bench;
mod empty;
mod leads;
mod meter;
mod miswired;
mod pins;
mod plate;
mod repeat;

use copperwalk_wire::message::RunEnd;
use jiff::{Timestamp, civil::Date, tz::TimeZone};

use crate::{
    evidence::EvidenceError,
    fixture::{Certificate, Fixture},
    job::JobError,
    link::{LinkError, Session, Transport},
    measure::Malformed,
    operator::{Lying, Operator, Seen, Unattended, Watch},
    plan::Plan,
    proof::{Fault, Figures, NotAProof, Proof},
};

pub use repeat::LEAST_SEATINGS;

/// What is to be proven.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
pub struct Wanted {
    /// Every pin by way of every relay, on a plate.
    pub plate: bool,
    /// Times that a golden unit is seated; 0 for none.
    pub seatings: usize,
}

/// Something that happened.
#[derive(Clone, Copy, PartialEq, Debug)]
pub enum Event<'a> {
    /// Somebody is asked to do something.
    Asking(&'a str),
    /// So many shots of a part are made, of so many.
    Shots(&'static str, usize, usize),
}

/// Why there is no proof. Nothing was kept.
#[derive(Debug, thiserror::Error)]
pub enum ProveError {
    /// The line or the operator.
    #[error(transparent)]
    Job(#[from] JobError),
    /// Codes that make no sense.
    #[error("the controller's conversions make no sense: {0}")]
    Codes(#[from] Malformed),
    /// No standard.
    #[error(
        "the fixture \"{0}\" has no standard, and a proof begins on one: wire a resistor of 1 ohm to two free force and two free sense channels and add it as [[standard]]"
    )]
    NoStandard(String),
    /// A certificate that cannot be used.
    #[error("the certificate of standard \"{name}\" {what}")]
    Certificate {
        /// The standard.
        name: String,
        /// Why not, and what to do.
        what: String,
    },
    /// The contacts of the standard that everything begins on.
    #[error(
        "the contacts of standard \"{0}\" do not answer, or voltage stands on it: check its wiring and its relays, then prove again"
    )]
    Standard(String),
    /// Nothing touches.
    #[error(
        "no pin touches the plate: lay a sheet of bare copper on the pins, press it down, and prove again"
    )]
    NoPlate,
    /// The lid.
    #[error("the lid was opened midway: nothing is kept; close it and prove again")]
    Lid,
    /// The controller broke.
    #[error(
        "the controller ended the run by itself ({0:?}): nothing is kept; `copperwalk bench` says what is wrong with it"
    )]
    Ended(RunEnd),
    /// The golden unit is not good.
    #[error("the unit that was to be golden does not pass ({0}): take a good one, and prove again")]
    NotGolden(String),
    /// A figure that is no number.
    #[error(transparent)]
    NotAProof(#[from] NotAProof),
}

impl From<LinkError> for ProveError {
    fn from(error: LinkError) -> Self {
        if error.is_open_lid() { Self::Lid } else { Self::Job(error.into()) }
    }
}

impl From<Unattended> for ProveError {
    fn from(error: Unattended) -> Self {
        Self::Job(error.into())
    }
}

impl From<EvidenceError> for ProveError {
    fn from(error: EvidenceError) -> Self {
        Self::Job(error.into())
    }
}

impl ProveError {
    /// Is what was asked for the reason, and not the bench?
    pub fn is_input(&self) -> bool {
        match self {
            Self::Job(error) => error.is_input(),
            Self::NoStandard(_) | Self::Certificate { .. } | Self::NotGolden(_) => true,
            _ => false,
        }
    }
}

/// What whoever is at the bench is asked to do.
const EMPTY: &str = "Take the board off the pins";
const PLATE: &str = "Lay a sheet of bare copper on the pins";
const GOLDEN: &str = "Lay a golden unit on the pins";
const AGAIN: &str = "Lift the golden unit and lay it down again";

/// A bench with its bed, and whoever lays things on the pins.
pub struct Prover<'p, T: Transport> {
    /// The conversation with the controller.
    pub session: &'p mut Session<T>,
    /// Whoever lays things on the pins.
    pub operator: &'p mut dyn Operator,
    /// The fixture.
    pub fixture: &'p Fixture,
    /// Its plan: what settings it uses, and what golden units are swept by.
    pub plan: &'p Plan,
}

impl<T: Transport> Prover<'_, T> {
    /// Proves the bench.
    ///
    /// # Errors
    /// Whatever keeps it from a proof. That the bench is not fit is none: the proof says so.
    pub fn prove(
        &mut self,
        wanted: Wanted,
        now: Timestamp,
        listener: &mut dyn FnMut(Event<'_>),
    ) -> Result<Proof, ProveError> {
        let fixture = self.fixture;
        certificates(fixture, TimeZone::UTC.to_datetime(now).date())?;
        let plan = self.plan;
        let pins = pins::all(fixture);

        self.lay(Lying::Nothing, EMPTY, listener)?;
        let mut bench = bench::Bench::new(self.session, fixture, listener)?;
        let mut figures = Figures {
            bench: bench.serial(),
            bench_name: bench.name(),
            fixture: fixture.name.clone(),
            bed_hash: fixture.bed_hash(),
            program: env!("CARGO_PKG_VERSION").into(),
            made_us: now.as_microsecond(),
            meter: None,
            standards: Vec::new(),
            thermometers: Vec::new(),
            noise: Vec::new(),
            hum: None,
            contacts: Vec::new(),
            repeats: Vec::new(),
            faults: Vec::new(),
            shots: 0,
            device_us: 0,
        };
        figures.faults.extend(empty::prove(&mut bench, &pins)?);
        meter::prove(&mut bench, fixture, plan, &mut figures)?;
        bench.book(&mut figures);

        if wanted.plate {
            self.lay(Lying::Plate, PLATE, listener)?;
            let mut bench = bench::Bench::new(self.session, fixture, listener)?;
            let (contacts, faults) = plate::prove(&mut bench, &pins)?;
            figures.contacts = contacts;
            figures.faults.extend(faults);
            bench.book(&mut figures);
        }
        if wanted.seatings > 0 {
            let mut groups = Vec::new();
            for seating in 0..wanted.seatings {
                let ask = if seating == 0 { GOLDEN } else { AGAIN };
                self.lay(Lying::Unit, ask, listener)?;
                if seating == 0 {
                    let exchanged = self.leads(&mut figures, listener)?;
                    if !exchanged.is_empty() {
                        // Its sweeps would say nothing of the bed as it is meant to be.
                        figures.faults.extend(exchanged);
                        break;
                    }
                }
                let (session, operator) = (&mut *self.session, &mut *self.operator);
                groups.push(repeat::sweeps(session, operator, fixture, plan, &mut figures)?);
                listener(Event::Shots("seatings of the golden unit", seating + 1, wanted.seatings));
            }
            figures.repeats = repeat::repeats(&groups);
        }
        Ok(Proof::new(&figures)?)
    }

    /// Leads that go to each other's pins, by what the unit on them reads.
    fn leads(
        &mut self,
        figures: &mut Figures,
        listener: &mut dyn FnMut(Event<'_>),
    ) -> Result<Vec<Fault>, ProveError> {
        let (fixture, plan) = (self.fixture, self.plan);
        let Some(state) = leads::state(plan) else { return Ok(Vec::new()) };
        self.operator.place(state, &fixture.ask(state), &mut Lid(self.session))?;
        let mut bench = bench::Bench::new(self.session, fixture, listener)?;
        let exchanged = leads::prove(&mut bench, fixture, plan, state)?;
        bench.book(figures);
        Ok(exchanged)
    }

    fn lay(
        &mut self,
        lying: Lying,
        prompt: &str,
        listener: &mut dyn FnMut(Event<'_>),
    ) -> Result<(), ProveError> {
        listener(Event::Asking(prompt));
        Ok(self.operator.lay(lying, prompt, &mut Lid(self.session))?)
    }
}

/// Nothing tells what lies on the pins, so somebody has to say so; but the controller is asked all the while, or it would take
/// the host for gone.
struct Lid<'s, T: Transport>(&'s mut Session<T>);

impl<T: Transport> Watch for Lid<'_, T> {
    fn look(&mut self) -> Result<Seen, LinkError> {
        Ok(if self.0.status()?.lid_open { Seen::LidOpen } else { Seen::Unknown })
    }
}

/// Every certificate can be used on this day.
fn certificates(fixture: &Fixture, on: Date) -> Result<(), ProveError> {
    for standard in &fixture.standards {
        let Some(Certificate { from, due, .. }) = standard.certificate else { continue };
        let what = match () {
            () if on < from => {
                format!("is dated {from}, and today is {on}: correct the date, or this computer's clock")
            }
            () if on > due => format!(
                "was due on {due}: have the standard calibrated and enter the new certificate, or take the entry out"
            ),
            () => continue,
        };
        return Err(ProveError::Certificate { name: standard.name.clone(), what });
    }
    Ok(())
}
