//! What one sweep gave: plain data that the record store keeps and every report is made from.

use copperwalk_wire::{Shot, message::RunEnd};
use serde::{Deserialize, Serialize};

use crate::plan::Role;

/// Everything about one sweep. Owned, serialisable, complete: reports need nothing else.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct Sweep {
    /// Serial number of the unit.
    pub serial: String,
    /// Lot it came in.
    pub lot: Option<String>,
    /// What it was judged by.
    pub basis: Basis,
    /// Start, microseconds since 1970-01-01 UTC.
    pub started_us: i64,
    /// What measured it: `virtual, seed 7`, or a port and a controller's serial number.
    pub bench_name: String,
    /// Air temperature from the meter's sensor, °C, if it was read.
    pub celsius: Option<f64>,
    /// Verdict on the unit.
    pub verdict: Verdict,
    /// Why the sweep is void: bench faults, in words, each naming its pin, relay or part. Empty unless void.
    pub bench_faults: Vec<BenchFault>,
    /// One row per segment and state it is measured in, in walking order.
    pub segments: Vec<SegmentRow>,
    /// One row per insulation and per open switch.
    pub isolation: Vec<IsolationRow>,
    /// Check standards.
    pub standards: Vec<StandardRow>,
    /// Does the series add up to its end-to-end reading? One per stretch that was measured whole.
    pub closures: Vec<ClosureRow>,
    /// Faults of the unit, most probable first.
    pub faults: Vec<Fault>,
    /// Things the operator should know that change no verdict.
    pub notes: Vec<String>,
    /// What the bench did.
    pub bench: BenchWork,
    /// Raw material: every run with its shots and codes, so that the sweep can be judged again.
    pub runs: Vec<Run>,
}

/// The files a sweep was judged by.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct Basis {
    /// Board name.
    pub board: String,
    /// Board revision.
    pub revision: String,
    /// SHA-256 of the board file.
    pub board_hash: String,
    /// Fixture name.
    pub fixture: String,
    /// SHA-256 of the fixture file.
    pub fixture_hash: String,
    /// SHA-256 of the compiled plan.
    pub plan_hash: String,
}

/// Verdict, per segment and per unit.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Verdict {
    /// Proven inside the limits.
    Pass,
    /// Proven outside.
    Fail,
    /// The uncertainty straddles the limit, or it could not be reached.
    Unproven,
    /// The bench, not the unit, was at fault.
    Void,
}

/// What a segment or a fault looks like.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
#[allow(missing_docs)]
pub enum Class {
    Ok,
    Open,
    High,
    Low,
    Flaky,
    Shorted,
    Leaky,
    /// Reads high dry and low under load: an insulating film on a contact.
    Film,
    /// One barrel of a parallel group is dead; the rest still carries.
    RedundancyLost,
    NotReached,
}

/// One segment in one state.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct SegmentRow {
    /// Segment name.
    pub name: String,
    /// The word for its kind, as in board files.
    pub kind: String,
    /// State it was measured in.
    pub state: String,
    /// As measured; `None` where nothing could be measured or the value is above every range.
    pub ohms: Option<f64>,
    /// Copper referred to 20 °C, all else as measured.
    pub ohms_20c: Option<f64>,
    /// Expanded uncertainty of `ohms_20c`, 95 %.
    pub u95_ohms: Option<f64>,
    /// Lower limit at 20 °C.
    pub min_ohms: Option<f64>,
    /// Upper limit at 20 °C.
    pub max_ohms: f64,
    /// Is the upper limit this segment's share of the drop budget rather than stated?
    pub limit_derived: bool,
    /// Expected value, at 20 °C.
    pub typical_ohms: f64,
    /// Verdict.
    pub verdict: Verdict,
    /// Class.
    pub class: Class,
}

/// Insulation between two points, or an open switch.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
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
    pub ohms: Option<f64>,
    /// Expanded uncertainty, 95 %.
    pub u95_ohms: Option<f64>,
    /// The unit is at least this insulating (95 %); a charging capacitor only ever makes this too low.
    pub at_least_ohms: Option<f64>,
    /// Lower limit.
    pub min_ohms: f64,
    /// Verdict.
    pub verdict: Verdict,
    /// `ok`, `leaky`, `shorted` or `not_reached`.
    pub class: Class,
    /// Still charging when the time was up.
    pub still_charging: bool,
}

/// A check standard.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct StandardRow {
    /// Name.
    pub name: String,
    /// Stated value.
    pub stated_ohms: f64,
    /// Tolerance, relative.
    pub tolerance: f64,
    /// Measured; `None` when its contacts failed.
    pub ohms: Option<f64>,
    /// Expanded uncertainty, 95 %.
    pub u95_ohms: Option<f64>,
    /// Within tolerance and uncertainty?
    pub verdict: Verdict,
}

/// Series closure of one stretch.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct ClosureRow {
    /// End points.
    pub from: String,
    /// End points.
    pub to: String,
    /// End-to-end reading, ohm.
    pub whole_ohms: f64,
    /// Sum of the segments, ohm, as measured.
    pub sum_ohms: f64,
    /// Expanded uncertainty of their difference, 95 %.
    pub u95_ohms: f64,
    /// Do they agree?
    pub agrees: bool,
}

/// A fault of the unit.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct Fault {
    /// A segment's name, or `point~point` for a short or a leak.
    #[serde(rename = "where")]
    pub place: String,
    /// Class.
    pub class: Class,
    /// Probability that this is a fault, 0 to 1.
    pub probability: f64,
    /// What to do, in the trade's terms, with its caution.
    pub advice: Advice,
}

/// Advice on one fault.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct Advice {
    /// What usually causes it.
    pub cause: String,
    /// The fitting repair.
    pub repair: String,
    /// What to take care of.
    pub caution: String,
}

/// A fault of the bench.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct BenchFault {
    /// What: `pin cell+ (sense channel 0)`, `relay sense+ channel 3`, `standard 1R`, `residual voltage` …
    pub part: String,
    /// What is wrong with it and what to do.
    pub what: String,
}

/// What the bench did.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default, Serialize, Deserialize)]
pub struct BenchWork {
    /// Shots run.
    pub shots: u32,
    /// Relays closed.
    pub closures: u32,
    /// Device time, µs, waiting for the operator not counted.
    pub device_us: u64,
}

/// Why a run was made.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Purpose {
    /// The plan as compiled, or what is left of it after a gate.
    Plan,
    /// To discharge the unit.
    Bleed,
    /// Every segment of a stretch dry, because its end-to-end reading was not as expected.
    DryLook,
    /// The stretch's segments under load, after the dry look.
    LoadLook,
    /// Past a pin that does not answer.
    Bridge,
    /// Between force pins on one side of an open.
    Reforce,
    /// The whole budget for what was left undecided.
    LongLook,
    /// Which pin or relay of the bench is at fault.
    Diagnosis,
}

impl Purpose {
    /// The word kept in records.
    pub fn word(self) -> &'static str {
        match self {
            Self::Plan => "plan",
            Self::Bleed => "bleed",
            Self::DryLook => "dry_look",
            Self::LoadLook => "load_look",
            Self::Bridge => "bridge",
            Self::Reforce => "reforce",
            Self::LongLook => "long_look",
            Self::Diagnosis => "diagnosis",
        }
    }
}

/// One run of the controller.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct Run {
    /// State of the unit during the run.
    pub state: String,
    /// Why it was made.
    pub purpose: Purpose,
    /// Why it ended.
    pub end: RunEnd,
    /// Shots with their codes, as far as they were run.
    pub shots: Vec<RunShot>,
}

/// One shot as it was run.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct RunShot {
    /// What it was for.
    pub role: Role,
    /// The shot.
    pub shot: Shot,
    /// Raw codes in the order of the shot's method.
    pub codes: Vec<i32>,
    /// Device time at its start and its end since the run began, µs.
    pub from_us: u32,
    /// End.
    pub to_us: u32,
}
