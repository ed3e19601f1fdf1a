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

use serde::Serialize;

use crate::measurement::{Basis, BenchWork};
use crate::plan::Sampling;
use crate::sweep::Judgement;
use crate::verdict::{Class, Verdict};

/// Number of a sweep in its store: counts up in the order of writing, never used twice.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug, Serialize)]
pub struct SweepId(pub i64);

impl fmt::Display for SweepId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.fmt(f)
    }
}

/// Everything kept about one unit.
#[derive(Clone, PartialEq, Debug, Serialize)]
pub struct UnitHistory {
    /// Serial number.
    pub serial: String,
    /// The lot it belongs to: the one its latest sweep with a lot names. `None` if no sweep ever named one.
    pub lot: Option<String>,
    /// What happened to it, in order. Begins with a sweep.
    pub events: Vec<Event>,
}

/// One entry of a unit's history.
#[derive(Clone, PartialEq, Debug, Serialize)]
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
}

/// A sweep as the history shows it: everything but the raw codes.
#[derive(Clone, PartialEq, Debug, Serialize)]
pub struct PastSweep {
    /// Its number; [`super::Store::sweep`] gives the whole of it.
    pub id: SweepId,
    /// The lot named when it was made.
    pub lot: Option<String>,
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

/// A sweep declared void.
#[derive(Clone, PartialEq, Eq, Debug, Serialize)]
pub struct Void {
    /// When, µs since 1970-01-01 UTC.
    pub at_us: i64,
    /// Which sweep.
    pub sweep: SweepId,
    /// The reason given.
    pub because: String,
}

/// One judgement of a measurement.
#[derive(Clone, PartialEq, Debug, Serialize)]
pub struct PastJudgement {
    /// When it was made, µs since 1970-01-01 UTC.
    pub made_us: i64,
    /// The judgement.
    #[serde(flatten)]
    pub judgement: Judgement,
}

/// An operator's note.
#[derive(Clone, PartialEq, Eq, Debug, Serialize)]
pub struct Note {
    /// When, µs since 1970-01-01 UTC.
    pub at_us: i64,
    /// What was written.
    pub text: String,
}

/// A repair.
#[derive(Clone, PartialEq, Eq, Debug, Serialize)]
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

/// Everything about one lot. A unit belongs to the lot that its latest sweep with a lot names; all its sweeps
/// count here, so one swept again after a repair without naming the lot is still seen.
#[derive(Clone, PartialEq, Debug, Serialize)]
pub struct LotSummary {
    /// Name.
    pub lot: String,
    /// Start of the first sweep written, µs since 1970-01-01 UTC.
    pub first_us: i64,
    /// Start of the last sweep written.
    pub last_us: i64,
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
    /// Every unit, in the order they were first swept.
    pub units: Vec<UnitState>,
}

impl LotSummary {
    /// Units that failed first and pass now.
    pub fn won_back(&self) -> impl Iterator<Item = &UnitState> {
        self.units.iter().filter(|unit| unit.won_back())
    }
}

/// Units per verdict.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default, Serialize)]
pub struct Counts {
    /// Proven good.
    pub pass: u32,
    /// Proven bad.
    pub fail: u32,
    /// Neither.
    pub unproven: u32,
    /// Only ever swept void: nothing is known about them, and they count in no yield.
    pub void: u32,
}

impl Counts {
    /// One more.
    pub fn add(&mut self, verdict: Verdict) {
        *match verdict {
            Verdict::Pass => &mut self.pass,
            Verdict::Fail => &mut self.fail,
            Verdict::Unproven => &mut self.unproven,
            Verdict::Void => &mut self.void,
        } += 1;
    }

    /// All units.
    pub fn total(self) -> u32 {
        self.judged() + self.void
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
#[derive(Clone, PartialEq, Eq, Debug, Serialize)]
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
#[derive(Clone, PartialEq, Eq, Debug, Serialize)]
pub struct UnitState {
    /// Serial number.
    pub serial: String,
    /// Board of its last sweep.
    pub board: String,
    /// Revision of that board.
    pub revision: String,
    /// Sweeps made, void ones included.
    pub sweeps: u32,
    /// Repairs written down.
    pub repairs: u32,
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
    /// Failed first, passes now.
    pub fn won_back(&self) -> bool {
        self.first == Verdict::Fail && self.now == Verdict::Pass
    }
}

/// Where and how a unit fails.
#[derive(Clone, PartialEq, Eq, Debug, Serialize)]
pub struct Place {
    /// A segment's name, or `point~point`.
    #[serde(rename = "where")]
    pub place: String,
    /// In what way.
    pub class: Class,
}

/// One line of the list of lots.
#[derive(Clone, PartialEq, Eq, Debug, Serialize)]
pub struct LotLine {
    /// Name.
    pub lot: String,
    /// Units that belong to it, by the verdict of their last sweep that was not void.
    pub now: Counts,
    /// Start of the last sweep written, µs since 1970-01-01 UTC.
    pub last_us: i64,
}

/// One line of the list of units.
#[derive(Clone, PartialEq, Eq, Debug, Serialize)]
pub struct UnitLine {
    /// Its lot, if any sweep named one.
    pub lot: Option<String>,
    /// How it stands.
    #[serde(flatten)]
    pub unit: UnitState,
}
