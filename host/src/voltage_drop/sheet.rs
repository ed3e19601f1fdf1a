//! What a path costs, as plain data: reports and JSON are made from it.

use serde::Serialize;

use super::capacity::Capacity;
use crate::quantity::{Amps, Celsius, Ohms, Volts};
use crate::verdict::Verdict;

/// What the supply path of a board, or of one unit of it, costs.
#[derive(Clone, PartialEq, Debug, Serialize)]
pub struct DropSheet {
    /// Board name.
    pub board: String,
    /// Board revision.
    pub revision: String,
    /// The unit whose readings count; without one, the limits do.
    pub unit: Option<UnitRead>,
    /// Where the limits come from, as [`LimitSet::origin`](crate::limits::LimitSet::origin) has it.
    pub limits: String,
    /// Worst verdict over all loads.
    pub verdict: Verdict,
    /// What it is judged by.
    pub judged_by: JudgedBy,
    /// Lowest and highest supply voltage.
    #[serde(rename = "supply_volts")]
    pub supply: [Volts; 2],
    /// Full load.
    #[serde(rename = "load_amps")]
    pub load: Amps,
    /// Internal resistance of the cell; `None`: not stated, taken as nothing.
    #[serde(rename = "source_ohms")]
    pub source: Option<Ohms>,
    /// Lowest voltage with which a load works, if that is stated.
    #[serde(rename = "brown_out_volts")]
    pub brown_out: Option<Volts>,
    /// What the path may cost.
    #[serde(rename = "max_drop_volts")]
    pub max_drop: Volts,
    /// Coldest and warmest.
    #[serde(rename = "celsius")]
    pub temperature: [Celsius; 2],
    /// Each load in each state in which it is supplied.
    pub loads: Vec<LoadDrop>,
    /// What to know besides, in sentences.
    pub notes: Vec<String>,
}

/// Whose readings count.
#[derive(Clone, PartialEq, Eq, Debug, Serialize)]
pub struct UnitRead {
    /// Serial number.
    pub serial: String,
    /// Number of the sweep in the records, where it is kept.
    pub sweep: Option<i64>,
}

/// By what a load's voltage is judged.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum JudgedBy {
    /// `brown_out`: the voltage at the load in the worst case.
    BrownOut,
    /// `max_drop`: what the path costs at 20 °C. No brown-out voltage is stated.
    MaxDrop,
}

/// One load in one state.
#[derive(Clone, PartialEq, Debug, Serialize)]
pub struct LoadDrop {
    /// Name of the load.
    pub load: String,
    /// Name of the state.
    pub state: String,
    /// Where the return is taken to begin: its costliest end.
    pub back: String,
    /// Verdict.
    pub verdict: Verdict,
    /// Lowest at full load: lowest supply, most resistance, the worse temperature.
    #[serde(rename = "lowest_volts")]
    pub lowest: Volts,
    /// Highest at full load: highest supply, least resistance, the better temperature.
    #[serde(rename = "highest_volts")]
    pub highest: Volts,
    /// The temperature at which it is lowest.
    #[serde(rename = "worst_at_celsius")]
    pub worst_at: Celsius,
    /// At the lowest supply and that temperature, with every resistance in the middle of what it may be.
    #[serde(rename = "middle_volts")]
    pub middle: Volts,
    /// Expanded uncertainty of that, 95 %, if the errors of the segments are independent.
    #[serde(rename = "u95_volts")]
    pub u95: Volts,
    /// What is left in the worst case: above `brown_out`, or of `max_drop`.
    #[serde(rename = "margin_volts")]
    pub margin: Volts,
    /// What all parts together cost, the cell included: the sum of their shares.
    #[serde(rename = "drop_volts")]
    pub drop: Volts,
    /// The cell, the way out, the way back: in the order a current takes.
    pub parts: Vec<Part>,
    /// The part that costs most.
    pub dominates: Option<String>,
    /// The segment of which half the resistance would gain most.
    pub halved: Option<Gain>,
    /// The segment that would gain most if it read what a healthy one does.
    pub healthy: Option<Gain>,
    /// Open segments that keep all current from the load. The voltages are those once they are repaired.
    pub cut: Vec<String>,
    /// Segments on the way that were not read; their limits stand in their place.
    pub not_read: Vec<String>,
}

/// What a change of one segment gains.
#[derive(Clone, PartialEq, Debug, Serialize)]
pub struct Gain {
    /// Its name.
    pub segment: String,
    /// Voltage gained at the load.
    #[serde(rename = "gain_volts")]
    pub gain: Volts,
}

/// One part of the path.
#[derive(Clone, PartialEq, Debug, Serialize)]
pub struct Part {
    /// Its name; of the cell `source`.
    pub name: String,
    /// Its number on the board, counted from 1; `None` for the cell.
    pub number: Option<usize>,
    /// The word for its kind.
    pub kind: String,
    /// On which way it lies.
    pub side: PartSide,
    /// Where its resistance comes from.
    pub origin: Origin,
    /// Its resistance at the worse temperature; of a diode its voltage over the load.
    #[serde(rename = "ohms")]
    pub resistance: Ohms,
    /// The current through it.
    #[serde(rename = "amps")]
    pub current: Amps,
    /// What it costs.
    #[serde(rename = "drop_volts")]
    pub drop: Volts,
    /// Its share of everything that is lost, 0 to 1.
    pub share: f64,
    /// Heat in it, watt.
    pub heat_watts: f64,
    /// What current it carries, where it is copper of the board.
    pub capacity: Option<Capacity>,
}

/// On which way a part lies.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum PartSide {
    /// It is the cell.
    Source,
    /// From the supply to the load.
    Out,
    /// Back to the supply.
    Return,
}

/// Where a resistance comes from.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Origin {
    /// Read on the unit.
    Reading,
    /// Its upper limit, which it is proven to keep, or which counts for every unit.
    Limit,
    /// Its upper limit: nothing was read on the unit.
    NotRead,
    /// Its upper limit: on the unit it is open.
    Open,
    /// Stated in the board file.
    Stated,
}
