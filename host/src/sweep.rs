//! What is made of a measurement: plain data that the record store keeps and every report is made from.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use crate::{
    measurement::{Measurement, Method},
    quantity::{Celsius, Ohms},
    verdict::{Class, Verdict},
};

/// A measurement and one judgement of it: what reports show.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct Sweep {
    /// What the bench brought back.
    pub measurement: Measurement,
    /// What is made of it.
    pub judgement: Judgement,
}

/// What one version of this program makes of a measurement with one limit set. Any number may be made of one
/// measurement.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize, ToSchema)]
pub struct Judgement {
    /// Version of the program that made it.
    pub program: String,
    /// The limits it was made with.
    pub limits: LimitsUsed,
    /// Air temperature from the meter's sensor, if it was read.
    #[serde(rename = "celsius")]
    pub air: Option<Celsius>,
    /// Hash of the proof of the bench whose figures the uncertainties stand on; `None`: published worst cases.
    pub proof: Option<String>,
    /// Verdict on the unit.
    pub verdict: Verdict,
    /// Why the sweep is void: bench faults, in words, each naming its pin, relay or part. Empty unless void.
    pub bench_faults: Vec<BenchFault>,
    /// One row per segment and state it is measured in, in walking order.
    pub segments: Vec<SegmentRow>,
    /// One row per isolation and per open switch.
    pub isolation: Vec<IsolationRow>,
    /// Thermometers of the bed.
    pub thermometers: Vec<ThermometerRow>,
    /// Check standards.
    pub standards: Vec<StandardRow>,
    /// Does the series add up to its end-to-end reading? One per stretch that was measured whole.
    pub closures: Vec<ClosureRow>,
    /// Faults of the unit, most probable first.
    pub faults: Vec<UnitFault>,
    /// Things the operator should know that change no verdict.
    pub notes: Vec<String>,
    /// Of a hunt, what was asked, in order; of a sweep none.
    pub steps: Vec<StepRow>,
}

/// One question of a hunt.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize, ToSchema)]
pub struct StepRow {
    /// What was asked.
    pub asked: Asked,
    /// What came.
    pub answered: Answered,
    /// What is most probable after it, most probable first; at most [`StepRow::LEFT`] of it are kept.
    pub left: Vec<Left>,
    /// What the answer told, in bits: how much less is open than before it.
    pub bits: f64,
}

impl StepRow {
    /// So much of what is left is kept with each step.
    pub const LEFT: usize = 3;
}

/// A question of a hunt.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize, ToSchema)]
pub struct Asked {
    /// Name of one point.
    pub from: String,
    /// Name of the other.
    pub to: String,
    /// State of the unit.
    pub state: String,
    /// What was looked for between them, in words.
    pub what: String,
}

/// The answer to it.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize, ToSchema)]
pub struct Answered {
    /// In words, or as it was typed.
    pub text: String,
    /// The resistance, if there was a number.
    #[serde(rename = "ohms")]
    pub resistance: Option<Ohms>,
}

/// What may be wrong with the unit, as far as a hunt has come.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize, ToSchema)]
pub struct Left {
    /// In words.
    pub what: String,
    /// Its probability, 0 to 1.
    pub probability: f64,
}

/// The limit set of a judgement.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize, ToSchema)]
pub struct LimitsUsed {
    /// Where it comes from: `board file`, or a file of its own.
    pub origin: String,
    /// SHA-256 of its text, lower-case hex.
    pub hash: String,
}

impl LimitsUsed {
    /// The limits stated in the board file with this hash, or derived from it.
    pub fn of_board(board_hash: &str) -> Self {
        Self { origin: "board file".into(), hash: board_hash.into() }
    }
}

/// One segment in one state.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize, ToSchema)]
pub struct SegmentRow {
    /// Segment name.
    pub name: String,
    /// The word for its kind, as in board files.
    pub kind: String,
    /// State it was measured in.
    pub state: String,
    /// As measured; `None` where nothing could be measured or the value is above every range.
    #[serde(rename = "ohms")]
    pub resistance: Option<Ohms>,
    /// Copper referred to 20 °C, all else as measured.
    #[serde(rename = "ohms_20c")]
    pub at_20c: Option<Ohms>,
    /// Expanded uncertainty of `at_20c`, 95 %.
    #[serde(rename = "u95_ohms")]
    pub u95: Option<Ohms>,
    /// Lower limit at 20 °C.
    #[serde(rename = "min_ohms")]
    pub min: Option<Ohms>,
    /// Upper limit at 20 °C.
    #[serde(rename = "max_ohms")]
    pub max: Ohms,
    /// Is the upper limit this segment's share of the drop budget rather than stated?
    pub limit_derived: bool,
    /// Expected value, at 20 °C.
    #[serde(rename = "typical_ohms")]
    pub typical: Ohms,
    /// Verdict.
    pub verdict: Verdict,
    /// Class.
    pub class: Class,
    /// How it was read; `None` where it was not.
    pub method: Option<Method>,
    /// Why nothing is proven, in a sentence; `None` unless the verdict is unproven.
    pub reason: Option<String>,
}

/// Isolation between two points, or an open switch.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize, ToSchema)]
pub struct IsolationRow {
    /// The points, `a~b`; for an open switch its name.
    pub name: String,
    /// Names of the two points.
    pub between: [String; 2],
    /// True for an open switch.
    pub is_switch: bool,
    /// State.
    pub state: String,
    /// Best value; `None` above the range.
    #[serde(rename = "ohms")]
    pub resistance: Option<Ohms>,
    /// Expanded uncertainty, 95 %.
    #[serde(rename = "u95_ohms")]
    pub u95: Option<Ohms>,
    /// The unit is at least this insulating (95 %); a charging capacitor only ever makes this too low.
    #[serde(rename = "at_least_ohms")]
    pub at_least: Option<Ohms>,
    /// Lower limit.
    #[serde(rename = "min_ohms")]
    pub min: Ohms,
    /// Verdict.
    pub verdict: Verdict,
    /// `ok`, `leaky`, `shorted` or `not_reached`.
    pub class: Class,
    /// How it was read; `None` where it was not.
    pub method: Option<Method>,
    /// Still charging when the time was up.
    pub still_charging: bool,
    /// Why nothing is proven, in a sentence; `None` unless the verdict is unproven.
    pub reason: Option<String>,
}

/// A check standard.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize, ToSchema)]
pub struct StandardRow {
    /// Name.
    pub name: String,
    /// Stated value.
    #[serde(rename = "stated_ohms")]
    pub stated: Ohms,
    /// Tolerance, relative.
    pub tolerance: f64,
    /// Measured; `None` when its contacts failed.
    #[serde(rename = "ohms")]
    pub resistance: Option<Ohms>,
    /// Expanded uncertainty, 95 %.
    #[serde(rename = "u95_ohms")]
    pub u95: Option<Ohms>,
    /// Within tolerance and uncertainty?
    pub verdict: Verdict,
}

/// A thermometer of the bed.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize, ToSchema)]
pub struct ThermometerRow {
    /// Name.
    pub name: String,
    /// Its resistance; `None` when its contacts failed or no current flowed.
    #[serde(rename = "ohms")]
    pub resistance: Option<Ohms>,
    /// The bed's temperature by it; `None` where what was read is none.
    #[serde(rename = "celsius")]
    pub temperature: Option<Celsius>,
    /// Expanded uncertainty of that, 95 %.
    pub u95_kelvin: Option<f64>,
    /// Were values referred to 20 °C from this temperature?
    pub counts: bool,
}

/// Series closure of one stretch.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize, ToSchema)]
pub struct ClosureRow {
    /// End points.
    pub from: String,
    /// End points.
    pub to: String,
    /// End-to-end reading.
    #[serde(rename = "whole_ohms")]
    pub whole: Ohms,
    /// Sum of the segments, as measured.
    #[serde(rename = "sum_ohms")]
    pub sum: Ohms,
    /// Expanded uncertainty of their difference, 95 %.
    #[serde(rename = "u95_ohms")]
    pub u95: Ohms,
    /// Do they agree?
    pub agrees: bool,
}

/// A fault of the unit.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize, ToSchema)]
pub struct UnitFault {
    /// A segment's name, or `point~point` for a short or a leak.
    #[serde(rename = "where")]
    pub place: String,
    /// Class.
    pub class: Class,
    /// Probability that this is a fault, 0 to 1.
    pub probability: f64,
    /// Faults with the same number stand on the same evidence: either of them or both.
    pub alternative: Option<u8>,
    /// What to do, in the trade's terms, with its caution.
    pub advice: Advice,
}

/// Advice on one fault.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize, ToSchema)]
pub struct Advice {
    /// What usually causes it.
    pub cause: String,
    /// The fitting repair.
    pub repair: String,
    /// What to take care of.
    pub caution: String,
}

/// A fault of the bench.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize, ToSchema)]
pub struct BenchFault {
    /// What: `pin cell+ (sense channel 0)`, `relay sense+ channel 3`, `standard 1R`, `residual voltage` …
    pub part: String,
    /// What is wrong with it and what to do.
    pub what: String,
}
