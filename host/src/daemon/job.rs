//! A job of the daemon: what is asked for, and how it stands.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use crate::{
    plan::Sampling,
    records::{
        SweepId,
        summary::{Event, UnitHistory},
    },
    report::{figures, words},
    sweep::{Sweep, UnitFault},
    verdict::{Class, Verdict},
};

/// Number of a job; counts up from 1 while the daemon runs.
pub type JobId = u64;

/// What is asked for: one unit is to be swept and recorded.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Wanted {
    /// Serial number, as the records keep it.
    pub serial: String,
    /// Lot, as the records keep it.
    pub lot: Option<String>,
    /// Name of the fixture.
    pub fixture: String,
    /// How long to look.
    pub sampling: Sampling,
    /// What the records say of the unit already.
    pub before: Option<Before>,
}

/// A unit that is in the records already.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, ToSchema)]
pub struct Before {
    /// Verdict of its last sweep that was not void; `void` if all were.
    pub verdict: Verdict,
    /// What that came to, in a sentence.
    pub said: String,
    /// Was a repair written down after it?
    pub repaired: bool,
}

impl Before {
    /// Of a unit's history; `None` while it has no sweep.
    pub fn of(history: &UnitHistory) -> Option<Self> {
        let last = history.judged().next_back().or_else(|| history.sweeps().next_back())?;
        let after = history.events.iter().rev().take_while(|event| match event {
            Event::Sweep(sweep) => sweep.id != last.id,
            _ => true,
        });
        Some(Self {
            verdict: last.judgement.verdict,
            said: words::headline(&last.into()),
            repaired: after.into_iter().any(|event| matches!(event, Event::Repair(_))),
        })
    }
}

/// How a job stands.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Stage {
    /// Another job is before it.
    Queued,
    /// Waits until the unit lies on the bed and the lid is closed.
    WaitingForLid,
    /// The bench reads.
    Measuring,
    /// Waits until the unit is in the state that `ask` describes.
    WaitingForState,
    /// Measured, judged and in the records.
    Recorded,
    /// Ended by somebody; nothing is recorded.
    Cancelled,
    /// Could not be done; `error` says why.
    Failed,
}

impl Stage {
    /// Is it over?
    pub fn is_over(self) -> bool {
        matches!(self, Self::Recorded | Self::Cancelled | Self::Failed)
    }
}

/// A job as everybody may see it.
#[derive(Clone, PartialEq, Debug, Serialize, ToSchema)]
pub struct JobPicture {
    /// Its number.
    pub id: JobId,
    /// Serial number of the unit.
    pub serial: String,
    /// Lot.
    pub lot: Option<String>,
    /// Name of the fixture.
    pub fixture: String,
    /// Is every reading's whole budget spent?
    pub full: bool,
    /// How it stands.
    pub stage: Stage,
    /// The one thing to do now, in a sentence; `None` where nothing is.
    pub ask: Option<String>,
    /// What the records said of the unit before.
    pub before: Option<Before>,
    /// When it was asked for, microseconds since 1970-01-01 UTC.
    pub asked_us: i64,
    /// What came of it, once it is recorded.
    pub result: Option<Outcome>,
    /// Why it failed.
    pub error: Option<String>,
    /// It failed by what was asked for, such as a fixture too large for the controller, and not by the bench.
    pub by_input: bool,
}

/// What a recorded sweep comes to.
#[derive(Clone, PartialEq, Debug, Serialize, ToSchema)]
pub struct Outcome {
    /// Number of the sweep in the records.
    pub sweep: SweepId,
    /// Verdict.
    pub verdict: Verdict,
    /// What it comes to, in a sentence or two.
    pub headline: String,
    /// Every segment in each state it was read in.
    pub segments: Vec<Read>,
    /// Faults of the unit, most probable first; none where the sweep is void.
    pub faults: Vec<Fault>,
    /// What was wrong with the bench, in words; empty unless void.
    pub bench_faults: Vec<String>,
    /// Time the controller took, seconds.
    pub device_seconds: f64,
}

/// What a segment reads.
#[derive(Clone, PartialEq, Debug, Serialize, ToSchema)]
pub struct Read {
    /// Its name.
    pub name: String,
    /// Verdict.
    pub verdict: Verdict,
    /// Value and uncertainty, or why there is none, as a person reads it.
    pub text: String,
}

/// A fault with what to do about it.
#[derive(Clone, PartialEq, Debug, Serialize, ToSchema)]
pub struct Fault {
    /// A segment's name, or `point~point`.
    #[serde(rename = "where")]
    pub place: String,
    /// In what way.
    pub class: Class,
    /// In a clause: `via pair is open`.
    pub said: String,
    /// Probability that this is a fault, 0 to 1.
    pub probability: f64,
    /// What usually causes it.
    pub cause: String,
    /// The fitting repair.
    pub repair: String,
    /// What to take care of.
    pub caution: String,
}

impl Fault {
    fn of(fault: &UnitFault) -> Self {
        Self {
            place: fault.place.clone(),
            class: fault.class,
            said: words::finding(fault),
            probability: fault.probability,
            cause: fault.advice.cause.clone(),
            repair: fault.advice.repair.clone(),
            caution: fault.advice.caution.clone(),
        }
    }
}

impl Outcome {
    /// Of a sweep under its number.
    pub fn of(id: SweepId, sweep: &Sweep) -> Self {
        let bench_faults = sweep.judgement.bench_faults.iter();
        Self {
            sweep: id,
            verdict: sweep.judgement.verdict,
            headline: words::headline(&sweep.into()),
            segments: sweep
                .judgement
                .segments
                .iter()
                .map(|row| Read { name: row.name.clone(), verdict: row.verdict, text: figures::segment(row) })
                .collect(),
            faults: words::booked(&sweep.judgement).iter().map(Fault::of).collect(),
            bench_faults: bench_faults.map(|fault| format!("{}: {}", fault.part, fault.what)).collect(),
            device_seconds: sweep.measurement.work().device_us as f64 / 1e6,
        }
    }
}

impl JobPicture {
    pub(super) fn new(id: JobId, wanted: &Wanted, asked_us: i64) -> Self {
        Self {
            id,
            serial: wanted.serial.clone(),
            lot: wanted.lot.clone(),
            fixture: wanted.fixture.clone(),
            full: wanted.sampling == Sampling::Full,
            stage: Stage::Queued,
            ask: None,
            before: wanted.before.clone(),
            asked_us,
            result: None,
            error: None,
            by_input: false,
        }
    }
}
