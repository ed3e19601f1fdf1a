//! A unit's first power, to people and programs: plain data, put together once for the terminal, for JSON and for the records.

use serde::Serialize;

use crate::{
    quantity::{Amps, Volts},
    records::summary::StartEntry,
    verdict::Verdict,
};

/// A first power. Its JSON has these keys.
#[derive(Clone, PartialEq, Debug, Serialize)]
pub struct StartSheet {
    /// Serial number.
    pub serial: String,
    /// Board name.
    pub board: String,
    /// Board revision.
    pub revision: String,
    /// Name of the state it was in.
    pub state: String,
    /// What supplied it.
    pub supply: String,
    /// Is the unit known to be good, so that the window is learnt from it?
    pub golden: bool,
    /// The voltage it was to be run at.
    pub volts: Volts,
    /// The current that the supply was limited to.
    pub limit_amps: Amps,
    /// Above this the supply switches itself off.
    pub over_voltage_volts: Volts,
    /// Likewise.
    pub over_current_amps: Amps,
    /// What was set and read, step by step.
    pub steps: Vec<StepRow>,
    /// The highest current that was read.
    pub inrush_amps: Option<Amps>,
    /// What the board file allows for that.
    pub max_inrush_amps: Option<Amps>,
    /// Current at rest.
    pub steady_amps: Option<Amps>,
    /// Its expanded uncertainty, 95 %.
    pub u95_amps: Option<Amps>,
    /// Window of the current at rest.
    pub min_amps: Option<Amps>,
    /// Likewise.
    pub max_amps: Option<Amps>,
    /// Where the window is from: `board file`, or so many golden units; `null` where there is none.
    pub window: Option<String>,
    /// Rails.
    pub rails: Vec<RailRow>,
    /// The checklist.
    pub checks: Vec<CheckRow>,
    /// Pieces that cannot be judged unpowered and were seen to conduct.
    pub conducts: Vec<PieceRow>,
    /// The alarm that was given, if contact was lost while the output may have been on.
    pub alarm: Option<String>,
    /// The verdict.
    pub verdict: Verdict,
    /// Why, a sentence each; empty for a pass.
    pub reasons: Vec<String>,
}

/// A step of the ramp.
#[derive(Clone, Copy, PartialEq, Debug, Serialize)]
pub struct StepRow {
    /// What was set.
    pub set_volts: Volts,
    /// What the supply showed at its end.
    pub volts: Volts,
    /// Likewise.
    pub amps: Amps,
    /// The highest current in it.
    pub peak_amps: Amps,
}

/// A rail.
#[derive(Clone, PartialEq, Debug, Serialize)]
pub struct RailRow {
    /// Name.
    pub name: String,
    /// Point it was read at.
    pub at: String,
    /// What was read; `null`: it was left out.
    pub volts: Option<Volts>,
    /// Expanded uncertainty of that, as the meter's manual states it.
    pub u95_volts: Option<Volts>,
    /// Lowest.
    pub min_volts: Volts,
    /// Highest.
    pub max_volts: Volts,
    /// Its verdict.
    pub verdict: Verdict,
}

/// A check of the board file.
#[derive(Clone, PartialEq, Eq, Debug, Serialize)]
pub struct CheckRow {
    /// Name.
    pub name: String,
    /// The answer; `null`: it was left out.
    pub answer: Option<bool>,
}

/// A diode or a transistor that was seen to conduct.
#[derive(Clone, PartialEq, Eq, Debug, Serialize)]
pub struct PieceRow {
    /// The segment.
    pub segment: String,
    /// The rail behind it that says so.
    pub rail: String,
}

impl StartSheet {
    /// The same for the records.
    pub fn entry(&self, at_us: i64, sheet: String) -> StartEntry {
        StartEntry {
            at_us,
            board: self.board.clone(),
            revision: self.revision.clone(),
            supply: self.supply.clone(),
            golden: self.golden,
            voltage: self.volts,
            steady: self.steady_amps,
            inrush: self.inrush_amps,
            verdict: self.verdict,
            because: self.reasons.first().cloned().unwrap_or_default(),
            sheet,
        }
    }
}
