//! Proposals: what can be done about one fault, with what it promises and what it costs.

use serde::Serialize;

use super::healthy::StandsOn;
use super::taken::{Predicted, Taken};
use super::wiring::Wiring;
use crate::fault::method::{Method, Minutes};
use crate::quantity::Ohms;
use crate::verdict::{Class, Verdict};

/// After every repair the unit is swept again: so many minutes to lay it on the bed and take it off (common practice).
pub const SWEEP_MINUTES: f64 = 2.0;

/// One repair of one fault.
#[derive(Clone, PartialEq, Debug, Serialize)]
pub struct Proposal {
    /// Its number in the list, from 1: `copperwalk repair SN --remedy N` takes it.
    pub number: usize,
    /// Where the fault is.
    #[serde(rename = "where")]
    pub place: String,
    /// How it looks.
    pub class: Class,
    /// How probable it is that the fault is there, 0 to 1; of a wire, anywhere below it.
    pub probability: f64,
    /// What is done.
    pub method: Method,
    /// How, in a sentence.
    pub how: String,
    /// The chance that it works on this fault.
    pub works: Works,
    /// The chance that the unit is cured of this fault by it: it is there, the repair works, and the board is not spoilt.
    pub chance: f64,
    /// How long it takes, without the sweep after it, by common practice.
    pub minutes: Minutes,
    /// How long it is expected to take, minutes: the lot's own record counts.
    pub expected_minutes: f64,
    /// Minutes, the sweep included, for each unit cured, were many such units repaired so: what the list is sorted by.
    pub minutes_per_cure: f64,
    /// The chance that it spoils the board.
    pub spoils: f64,
    /// What is used up; empty for nothing worth counting.
    pub parts: String,
    /// What is needed besides.
    pub tools: String,
    /// What to take care of.
    pub caution: String,
    /// What the next sweep should read; `None` where that cannot be said.
    pub predicted: Option<Prediction>,
    /// The wire, where one is laid.
    pub wire: Option<Box<Wiring>>,
}

/// The chance that a method works.
#[derive(Clone, Copy, PartialEq, Debug, Serialize)]
pub struct Works {
    /// Its mean, 0 to 1.
    pub chance: f64,
    /// Nine of ten times it lies between these two.
    pub interval_90: [f64; 2],
    /// Repairs of this kind in the lot's record after which the fault was gone, and after which it was not.
    pub counted: [u32; 2],
    /// The lot's other repairs whose outcome is known: they tell how well repairs go on this bench.
    pub others: u32,
}

/// A row of the next sweep.
#[derive(Clone, PartialEq, Debug, Serialize)]
pub struct Prediction {
    /// What it reads.
    #[serde(flatten)]
    pub read: Predicted,
    /// On what that stands.
    pub stands_on: StandsOn,
    /// Its lower limit.
    #[serde(rename = "min_ohms")]
    pub min: Option<Ohms>,
    /// Its upper limit.
    #[serde(rename = "max_ohms")]
    pub max: Ohms,
    /// The verdict on it, if the repair works: proven only where all of the interval lies on one side of the limits.
    pub verdict: Verdict,
}

impl Prediction {
    /// Of a reading and its limits.
    pub fn new(read: Predicted, stands_on: StandsOn, min: Option<Ohms>, max: Ohms) -> Self {
        let [low, high] = read.interval;
        let verdict = match () {
            () if high <= max && min.is_none_or(|min| low >= min) => Verdict::Pass,
            () if low > max || min.is_some_and(|min| high < min) => Verdict::Fail,
            () => Verdict::Unproven,
        };
        Self { read, stands_on, min, max, verdict }
    }
}

impl Proposal {
    /// The proposal as the records keep it once it is taken.
    pub fn taken(&self) -> Taken {
        Taken {
            place: self.place.clone(),
            class: self.class,
            method: self.method,
            chance: self.chance,
            minutes: self.expected_minutes,
            predicted: self.predicted.as_ref().map(|prediction| prediction.read.clone()),
            wire: self.wire.as_ref().map(|wiring| wiring.wire.clone()),
        }
    }
}

/// A method that fits the fault and cannot be used here.
#[derive(Clone, PartialEq, Debug, Serialize)]
pub struct Excluded {
    /// Where the fault is.
    #[serde(rename = "where")]
    pub place: String,
    /// The method.
    pub method: Method,
    /// Why not.
    pub why: String,
}
