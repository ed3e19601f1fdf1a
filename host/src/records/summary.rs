//! What the record store answers: plain data that reports are made from.
//!
//! [`UnitHistory`] is the answer to `unit SN`, [`LotSummary`] the answer to `lot L`. Both are complete: a report
//! needs no second question to the store. How the figures are worked out stands in `history.rs` and
//! `lot.rs`; what a whole sweep looks like stands in [`crate::sweep`].
//!
//! Times are microseconds since 1970-01-01 UTC, as the caller of the store gave them. *Order* is the order of
//! writing, not of those times: a bench computer with a flat clock battery would otherwise put "after" before
//! "before".

use std::fmt;

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::status::{Said, Status};
use crate::measurement::{Basis, BenchWork, Manner};
use crate::plan::Sampling;
use crate::quantity::{Amps, Ohms, Volts};
use crate::remedy::{Predicted, Taken};
use crate::sweep::Judgement;
use crate::trade::Dealing;
use crate::verdict::{Class, Verdict};

/// Number of a sweep in its store: counts up in the order of writing, never used twice.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug, Serialize, Deserialize, ToSchema)]
pub struct SweepId(pub i64);

impl fmt::Display for SweepId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.fmt(f)
    }
}

/// Everything kept about one unit.
#[derive(Clone, PartialEq, Debug, Serialize, ToSchema)]
pub struct UnitHistory {
    /// Serial number.
    pub serial: String,
    /// The lot it belongs to: the one that its latest sweep or receipt with a lot names. `None` if none ever named one.
    pub lot: Option<String>,
    /// Where it stands in the work.
    pub status: Status,
    /// The latest answer to each check, in the order in which they were first answered.
    pub checklist: Vec<Tick>,
    /// What happened to it, in order. Never empty; a unit may be received and never swept.
    pub events: Vec<Event>,
}

/// One entry of a unit's history.
#[derive(Clone, PartialEq, Debug, Serialize, ToSchema)]
#[serde(tag = "event", rename_all = "lowercase")]
pub enum Event {
    /// It was swept.
    Sweep(Box<PastSweep>),
    /// The operator wrote something down.
    Note(Note),
    /// It was repaired.
    Repair(Repair),
    /// A sweep was declared void.
    Void(Void),
    /// Somebody said where it stands in the work.
    Status(StatusSaid),
    /// A photo was added.
    Photo(Photo),
    /// A check was answered.
    Tick(Tick),
    /// A segment was watched.
    Watch(WatchEntry),
    /// It was worked on, sold, given back, or a part was taken off it.
    Trade(TradeEntry),
    /// It was given power for the first time.
    Started(StartEntry),
}

/// A sweep as the history shows it: everything but the raw codes.
#[derive(Clone, PartialEq, Debug, Serialize, ToSchema)]
pub struct PastSweep {
    /// Its number; [`super::Store::sweep`] gives the whole of it.
    pub id: SweepId,
    /// The lot named when it was made.
    pub lot: Option<String>,
    /// How it was made.
    pub manner: Manner,
    /// The files it stands on.
    pub basis: Basis,
    /// Start, µs since 1970-01-01 UTC.
    pub started_us: i64,
    /// What measured it.
    pub bench_name: String,
    /// How long its plan looked.
    pub sampling: Sampling,
    /// What the bench did.
    pub bench: BenchWork,
    /// Declared void afterwards: then its verdict is `void`, whatever was judged.
    pub voided: Option<Void>,
    /// What is made of it; the latest judgement.
    #[serde(flatten)]
    pub judgement: Judgement,
}

/// A sweep by itself, without its raw codes. Whether it was declared void since stands in the history of its unit.
#[derive(Clone, PartialEq, Debug, Serialize, ToSchema)]
pub struct SweepView {
    /// Its number.
    pub id: SweepId,
    /// Serial number of the unit.
    pub serial: String,
    /// How it was made.
    pub manner: Manner,
    /// The files it stands on.
    pub basis: Basis,
    /// Start, µs since 1970-01-01 UTC.
    pub started_us: i64,
    /// What measured it.
    pub bench_name: String,
    /// What the bench did.
    pub bench: BenchWork,
    /// What is made of it; the latest judgement.
    #[serde(flatten)]
    pub judgement: Judgement,
}

/// What a bench has done in all its sweeps.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Worked {
    /// What measured them.
    pub bench_name: String,
    /// Sweeps.
    pub sweeps: u64,
    /// Relays closed in them.
    pub closures: u64,
}

/// One line of the list of sweeps.
#[derive(Clone, PartialEq, Debug, Serialize, ToSchema)]
pub struct SweepLine {
    /// Its number.
    pub id: SweepId,
    /// Serial number of the unit.
    pub serial: String,
    /// The lot named when it was made.
    pub lot: Option<String>,
    /// The files it stands on.
    pub basis: Basis,
    /// Start, µs since 1970-01-01 UTC.
    pub started_us: i64,
    /// What measured it.
    pub bench_name: String,
    /// What the bench did.
    pub bench: BenchWork,
    /// The verdict; the latest one.
    pub verdict: Verdict,
    /// Faults of the unit, the most probable first.
    pub faults: Vec<Place>,
}

/// A segment that was watched while somebody tapped it.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, ToSchema)]
pub struct WatchEntry {
    /// When it ended, µs since 1970-01-01 UTC.
    pub at_us: i64,
    /// Name of the segment.
    pub segment: String,
    /// Name of the state.
    pub state: String,
    /// What watched.
    pub bench_name: String,
    /// For how long, ms.
    pub watched_ms: u64,
    /// Interruptions of the segment.
    pub dropouts: u64,
    /// The longest of them, µs.
    pub longest_us: u64,
    /// Steps.
    pub steps: u64,
    /// Times of excess noise.
    pub noises: u64,
    /// The verdict.
    pub verdict: Verdict,
    /// All that was seen, as `watch --json` prints it.
    pub sheet: String,
}

/// A first power.
#[derive(Clone, PartialEq, Debug, Serialize, ToSchema)]
pub struct StartEntry {
    /// When it ended, µs since 1970-01-01 UTC.
    pub at_us: i64,
    /// Board name.
    pub board: String,
    /// Board revision.
    pub revision: String,
    /// What supplied it.
    pub supply: String,
    /// Known to be good: the board's window is learnt from it.
    pub golden: bool,
    /// What it was to be run at.
    #[serde(rename = "volts")]
    pub voltage: Volts,
    /// Current at rest, if it came to that.
    #[serde(rename = "steady_amps")]
    pub steady: Option<Amps>,
    /// The highest current that was read, if any was.
    #[serde(rename = "inrush_amps")]
    pub inrush: Option<Amps>,
    /// The verdict; it says nothing about that of a sweep.
    pub verdict: Verdict,
    /// The first reason; empty for a pass.
    pub because: String,
    /// All that was seen, as `start --json` prints it.
    pub sheet: String,
}

/// A sweep declared void.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, ToSchema)]
pub struct Void {
    /// When, µs since 1970-01-01 UTC.
    pub at_us: i64,
    /// Which sweep.
    pub sweep: SweepId,
    /// The reason given.
    pub because: String,
}

/// One judgement of a measurement.
#[derive(Clone, PartialEq, Debug, Serialize, ToSchema)]
pub struct PastJudgement {
    /// When it was made, µs since 1970-01-01 UTC.
    pub made_us: i64,
    /// The judgement.
    #[serde(flatten)]
    pub judgement: Judgement,
}

/// An operator's note.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, ToSchema)]
pub struct Note {
    /// When, µs since 1970-01-01 UTC.
    pub at_us: i64,
    /// What was written.
    pub text: String,
}

/// A repair.
#[derive(Clone, PartialEq, Debug, Serialize, ToSchema)]
pub struct Repair {
    /// When, µs since 1970-01-01 UTC.
    pub at_us: i64,
    /// A segment's name, or `point~point`.
    #[serde(rename = "where")]
    pub place: String,
    /// What was done, in a word or two: `reflow`, `replace`.
    pub action: String,
    /// More about it; may be empty.
    pub text: String,
    /// The proposal that was taken, if one was.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub taken: Option<Taken>,
}

/// What a repair promised of the next sweep, held against it.
#[derive(Clone, PartialEq, Debug, Serialize, ToSchema)]
pub struct Promise {
    /// When the repair was noted, µs since 1970-01-01 UTC.
    pub at_us: i64,
    /// What was predicted.
    pub predicted: Predicted,
    /// What the next sweep that counts read there at 20 °C; `None`: it has not been read since.
    #[serde(rename = "read_ohms")]
    pub read: Option<Ohms>,
}

/// Where a unit stands in the work, as somebody said it.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, ToSchema)]
pub struct StatusSaid {
    /// When, µs since 1970-01-01 UTC.
    pub at_us: i64,
    /// What was said.
    pub status: Said,
    /// The lot it was received with, if one was named.
    pub lot: Option<String>,
}

/// Number of a photo in its store: counts up in the order of writing, never used twice.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug, Serialize, ToSchema)]
pub struct PhotoId(pub i64);

impl fmt::Display for PhotoId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.fmt(f)
    }
}

/// A photo without its picture, which [`super::Store::picture`] gives.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, ToSchema)]
pub struct Photo {
    /// When it was added, µs since 1970-01-01 UTC.
    pub at_us: i64,
    /// Its number.
    pub id: PhotoId,
    /// What it shows; may be empty.
    pub caption: String,
    /// Width of the picture, pixels.
    pub width_px: u32,
    /// Height of the picture, pixels.
    pub height_px: u32,
    /// Length of the picture as a JPEG file, byte.
    pub length: u32,
    /// SHA-256 of the picture, lower-case hex.
    pub jpeg_hash: String,
}

/// An answer to a check of the unit's board.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, ToSchema)]
pub struct Tick {
    /// When, µs since 1970-01-01 UTC.
    pub at_us: i64,
    /// Name of the check.
    pub check: String,
    /// The answer: is it so?
    pub done: bool,
    /// More about it; may be empty.
    pub note: String,
}

/// What was written down about a unit's trade.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, ToSchema)]
pub struct TradeEntry {
    /// When, µs since 1970-01-01 UTC.
    pub at_us: i64,
    /// What.
    #[serde(flatten)]
    pub dealing: Dealing,
}

/// One segment or isolation over all sweeps of a unit that were not void, in order. Never empty.
#[derive(Clone, PartialEq, Debug)]
pub struct Trend<'h, Row> {
    /// Name of the board.
    pub board: &'h str,
    /// The readings, each with its sweep.
    pub readings: Vec<(&'h PastSweep, &'h Row)>,
}

impl<'h, Row> Trend<'h, Row> {
    /// As the unit came in.
    pub fn before(&self) -> Option<&'h Row> {
        self.readings.first().map(|(_, row)| *row)
    }

    /// As it is now; the same as before if it was measured once.
    pub fn after(&self) -> Option<&'h Row> {
        self.readings.last().map(|(_, row)| *row)
    }
}

/// Everything about one lot. A unit belongs to the lot that its latest sweep or receipt with a lot names; all its sweeps
/// count here, so one swept again after a repair without naming the lot is still seen.
#[derive(Clone, PartialEq, Debug, Serialize, ToSchema)]
pub struct LotSummary {
    /// Name.
    pub lot: String,
    /// Start of the first sweep written, µs since 1970-01-01 UTC; `None` while no unit has been swept.
    pub first_us: Option<i64>,
    /// Start of the last sweep written; `None` like the first.
    pub last_us: Option<i64>,
    /// Sweeps made, void ones included.
    pub sweeps: u32,
    /// Void ones among them.
    pub void_sweeps: u32,
    /// Units by the verdict of their first sweep that was not void: the state they came in.
    pub first: Counts,
    /// Units by the verdict of their last sweep that was not void: the state they are in.
    pub now: Counts,
    /// Where units failed, most units first.
    pub pareto: Vec<ParetoRow>,
    /// Every unit, in the order of their serial numbers.
    pub units: Vec<UnitState>,
}

impl LotSummary {
    /// Units that failed first and pass now.
    pub fn won_back(&self) -> impl Iterator<Item = &UnitState> {
        self.units.iter().filter(|unit| unit.won_back())
    }
}

/// Units per verdict.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default, Serialize, ToSchema)]
pub struct Counts {
    /// Proven good.
    pub pass: u32,
    /// Proven bad.
    pub fail: u32,
    /// Neither.
    pub unproven: u32,
    /// Only ever swept void: nothing is known about them, and they count in no yield.
    pub void: u32,
    /// Received and not swept yet; they count in no yield either.
    pub unswept: u32,
}

impl Counts {
    /// One more unit, with the verdict it counts by; `None` if it was never swept.
    pub fn add(&mut self, verdict: Option<Verdict>) {
        *match verdict {
            Some(Verdict::Pass) => &mut self.pass,
            Some(Verdict::Fail) => &mut self.fail,
            Some(Verdict::Unproven) => &mut self.unproven,
            Some(Verdict::Void) => &mut self.void,
            None => &mut self.unswept,
        } += 1;
    }

    /// All units.
    pub fn total(self) -> u32 {
        self.judged() + self.void + self.unswept
    }

    /// Units about which something is known.
    pub fn judged(self) -> u32 {
        self.pass + self.fail + self.unproven
    }

    /// Share of the judged units that pass, 0 to 1. Over [`LotSummary::first`] this is the first-pass yield, over
    /// [`LotSummary::now`] the yield now. `None` while no unit has been judged.
    pub fn passed(self) -> Option<f64> {
        (self.judged() > 0).then(|| f64::from(self.pass) / f64::from(self.judged()))
    }

    /// Where the yield of any number of such units lies, 0 to 1, as far as these tell: Wilson's score interval at 95 %.
    /// `None` while no unit has been judged.
    pub fn passed_interval(self) -> Option<[f64; 2]> {
        super::wilson::interval(self.pass, self.judged())
    }
}

/// Units that failed in one place in one way.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, ToSchema)]
pub struct ParetoRow {
    /// Name of the board.
    pub board: String,
    /// A segment's name, or `point~point` for a short or a leak.
    #[serde(rename = "where")]
    pub place: String,
    /// In what way.
    pub class: Class,
    /// Units that ever showed it, each counted once.
    pub units: u32,
    /// Those among them that showed it in their last sweep that was not void.
    pub still: u32,
}

/// One unit of a lot, or of the store, as it stands now.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, ToSchema)]
pub struct UnitState {
    /// Serial number.
    pub serial: String,
    /// Where it stands in the work.
    pub status: Status,
    /// Repairs written down.
    pub repairs: u32,
    /// What its sweeps say; `None` while it has not been swept.
    #[serde(flatten)]
    pub swept: Option<Swept>,
}

/// What the sweeps of a unit say of it.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, ToSchema)]
pub struct Swept {
    /// Board of its last sweep.
    pub board: String,
    /// Revision of that board.
    pub revision: String,
    /// Sweeps made, void ones included.
    pub sweeps: u32,
    /// Verdict of its first sweep that was not void; `void` if all were.
    pub first: Verdict,
    /// Verdict of its last sweep that was not void; `void` if all were.
    pub now: Verdict,
    /// That last sweep; where all were void, the last of them.
    pub last_sweep: SweepId,
    /// Start of that sweep, µs since 1970-01-01 UTC.
    pub last_us: i64,
    /// Most probable fault in that sweep; `None` where it named none.
    pub fault: Option<Place>,
}

impl UnitState {
    /// Verdict of its first sweep that was not void; `void` if all were, `None` if none was made.
    pub fn first(&self) -> Option<Verdict> {
        self.swept.as_ref().map(|swept| swept.first)
    }

    /// Verdict of its last sweep that was not void, like the first.
    pub fn now(&self) -> Option<Verdict> {
        self.swept.as_ref().map(|swept| swept.now)
    }

    /// Failed first, passes now.
    pub fn won_back(&self) -> bool {
        self.first() == Some(Verdict::Fail) && self.now() == Some(Verdict::Pass)
    }
}

/// Where and how a unit fails.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, ToSchema)]
pub struct Place {
    /// A segment's name, or `point~point`.
    #[serde(rename = "where")]
    pub place: String,
    /// In what way.
    pub class: Class,
}

/// One line of the list of lots.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, ToSchema)]
pub struct LotLine {
    /// Name.
    pub lot: String,
    /// Units that belong to it, by the verdict of their last sweep that was not void.
    pub now: Counts,
    /// Start of the last sweep written, µs since 1970-01-01 UTC; `None` while no unit has been swept.
    pub last_us: Option<i64>,
}

/// One line of the list of units.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, ToSchema)]
pub struct UnitLine {
    /// Its lot, if any sweep or receipt named one.
    pub lot: Option<String>,
    /// How it stands.
    #[serde(flatten)]
    pub unit: UnitState,
}
