//! Limits learned from golden units: what the last sweeps of good units read, as normal tolerance limits.
//!
//! Read in this order: `golden` (whose sweeps count, and why those of others do not), `limit` (limits of one segment
//! from the readings of all), `file` (the limits as a file that [`crate::limits`] reads). A reading of a golden unit
//! differs from the next one's by the units and by the uncertainty of the measurement alike: the spread holds both, and
//! no uncertainty is added to the limits. A unit is then judged with the guard band of its own uncertainty, as by any
//! other limit.

mod file;
mod golden;
mod limit;

use serde::Serialize;

use crate::{
    board::{Board, Segment},
    hash,
    limits::LimitSet,
    quantity::Ohms,
    records::{self, Records, SweepId},
    statistics::{
        outlier,
        tolerance::{self, Sides},
    },
};

pub use file::{MARK, text};
pub use golden::{Golden, LeftOut, Of};

/// Limits from so few units may be at most so many times as wide as from ever so many. At 99 % coverage and 95 %
/// confidence that takes ten units; with five, limits would be 2.6 times as wide and let nearly everything pass.
const WIDEST: f64 = 1.75;
/// Fewer are not looked at: one bad unit among ten is what the screening withstands.
const FEWEST: usize = 10;
/// No claim of coverage and confidence takes more: beyond, a count is no help.
const MOST: usize = 1_000;
/// Probability that a good unit is left out of a lot of good ones, over all its segments. Losing one now and then costs
/// a sweep; a bad one kept widens every limit.
const ALARM: f64 = 0.05;
/// One bad unit in so many is withstood.
const ONE_BAD_IN: usize = 10;

/// What limits are to hold.
#[derive(Clone, Copy, PartialEq, Debug, Serialize)]
pub struct Claim {
    /// Share of good units within the limits of a segment, 0 to 1.
    pub coverage: f64,
    /// Probability that the limits hold at least that share, 0 to 1.
    pub confidence: f64,
}

impl Claim {
    /// The least number of golden units: where the wider of the two factors stays below its bound.
    pub fn least(&self) -> usize {
        let is_wide = |count: usize| {
            [Sides::One, Sides::Two].into_iter().any(|sides| {
                let most = WIDEST * tolerance::smallest(sides, self.coverage);
                tolerance::factor(sides, count, self.coverage, self.confidence).is_none_or(|k| k > most)
            })
        };
        (FEWEST..MOST).find(|count| !is_wide(*count)).unwrap_or(MOST)
    }
}

/// What was learned.
#[derive(Clone, PartialEq, Debug, Serialize)]
pub struct Learned {
    /// Board.
    pub board: String,
    /// Its revision.
    pub revision: String,
    /// The lot whose units these are; `None` if they were named.
    pub lot: Option<String>,
    /// What the limits hold.
    #[serde(flatten)]
    pub claim: Claim,
    /// The golden units, each with the sweep that counts.
    pub units: Vec<Used>,
    /// Units that do not count.
    pub left_out: Vec<LeftOut>,
    /// One for each segment, in the board's order.
    pub segments: Vec<LearnedSegment>,
    /// SHA-256 over the readings that all this was learned from, lower-case hex.
    pub basis: String,
}

/// A golden unit.
#[derive(Clone, PartialEq, Debug, Serialize)]
pub struct Used {
    /// Serial number.
    pub serial: String,
    /// Its last sweep.
    pub sweep: SweepId,
    /// Start of that sweep, µs since 1970-01-01 UTC.
    pub started_us: i64,
}

/// What the golden units say of a segment.
#[derive(Clone, PartialEq, Debug, Serialize)]
pub struct LearnedSegment {
    /// Name.
    pub name: String,
    /// Mean at 20 °C.
    #[serde(rename = "mean_ohms")]
    pub mean: Ohms,
    /// Standard deviation, measurement included.
    #[serde(rename = "deviation_ohms")]
    pub deviation: Ohms,
    /// Tolerance factor.
    pub factor: f64,
    /// Lower limit; `None` where the board file's counts, or none is wanted.
    #[serde(rename = "min_ohms")]
    pub min: Option<Ohms>,
    /// Upper limit; `None` where the board file's counts, because it is tighter.
    #[serde(rename = "max_ohms")]
    pub max: Option<Ohms>,
    /// What is to be said of it besides; empty if nothing.
    pub remark: &'static str,
}

/// Why nothing was learned.
#[derive(Debug, thiserror::Error)]
pub enum LearnError {
    /// Not enough golden units.
    #[error(
        "{have} golden units of board {board:?} are too few: limits for {:.4} % coverage at {:.4} % confidence need {need}; \
         sweep {} more that are known to be good",
        100.0 * claim.coverage, 100.0 * claim.confidence, need.saturating_sub(*have)
    )]
    TooFew {
        /// Board.
        board: String,
        /// Golden units.
        have: usize,
        /// The least number.
        need: usize,
        /// What was asked for.
        claim: Claim,
        /// Units that do not count.
        left_out: Vec<LeftOut>,
    },
    /// More units stand apart than can be left out.
    #[error(
        "{} of {of} golden units read unlike the rest ({}), more than one in ten: look at them, and name those that are good \
         with --serials",
        odd.len(), odd.iter().map(|odd| format!("{:?}: {}", odd.serial, odd.why)).collect::<Vec<_>>().join("; ")
    )]
    Odd {
        /// Those, and in which segment.
        odd: Vec<LeftOut>,
        /// Of how many.
        of: usize,
    },
    /// The record store.
    #[error(transparent)]
    Records(#[from] records::Error),
}

/// Learns limits for a board from the units of a lot, or from those named.
///
/// # Errors
/// A unit or lot that is not known; too few golden units; units that do not belong together; a store that cannot be
/// read.
pub fn learn(records: &Records, board: &Board, of: Of<'_>, claim: Claim) -> Result<Learned, LearnError> {
    let (units, left_out) = golden::of(records, board, of)?;
    of_units(board, of.lot(), claim, units, left_out)
}

fn of_units(
    board: &Board,
    lot: Option<&str>,
    claim: Claim,
    mut units: Vec<Golden>,
    mut left_out: Vec<LeftOut>,
) -> Result<Learned, LearnError> {
    let odd = odd(board, &units);
    if odd.len() > units.len().div_ceil(ONE_BAD_IN) {
        return Err(LearnError::Odd { odd, of: units.len() });
    }
    units.retain(|unit| odd.iter().all(|odd| odd.serial != unit.serial));
    left_out.extend(odd);
    let need = claim.least();
    if units.len() < need {
        return Err(LearnError::TooFew {
            board: board.name.clone(),
            have: units.len(),
            need,
            claim,
            left_out,
        });
    }
    let usual = LimitSet::of_board(board);
    Ok(Learned {
        board: board.name.clone(),
        revision: board.revision.clone(),
        lot: lot.map(Into::into),
        claim,
        segments: board
            .segments
            .iter()
            .zip(usual.iter())
            .filter_map(|(segment, usual)| {
                limit::of(segment, usual, &series(segment, &units), claim, &board.assumed)
            })
            .collect(),
        basis: basis(board, &units),
        units: units
            .into_iter()
            .map(|Golden { serial, sweep, started_us, .. }| Used { serial, sweep, started_us })
            .collect(),
        left_out,
    })
}

/// The readings of a segment, a unit each: one list for each state it was read in by all of them.
fn series(segment: &Segment, units: &[Golden]) -> Vec<Vec<f64>> {
    let states = units.first().map(|unit| unit.states_of(&segment.name)).unwrap_or_default();
    let of_state =
        |state| units.iter().filter_map(move |unit| unit.reading(&segment.name, state)).map(|ohms| ohms.0);
    states.into_iter().map(|state| of_state(state).collect()).collect()
}

/// Units that read unlike the rest in some segment.
fn odd(board: &Board, units: &[Golden]) -> Vec<LeftOut> {
    let all: Vec<(&Segment, Vec<f64>)> = board
        .segments
        .iter()
        .flat_map(|segment| series(segment, units).into_iter().map(move |readings| (segment, readings)))
        .collect();
    // As many chances of a false alarm as there are series.
    let alarm = ALARM / all.len().max(1) as f64;
    // Twice as many as are withstood, so that too many are told and not cut off.
    let most = 2 * units.len().div_ceil(ONE_BAD_IN);
    let mut odd: Vec<LeftOut> = Vec::new();
    for (segment, readings) in &all {
        for place in outlier::outliers(readings, most, alarm) {
            let (Some(unit), Some(reading)) = (units.get(place), readings.get(place)) else { continue };
            if odd.iter().all(|odd| odd.serial != unit.serial) {
                let why = limit::unlike(segment, Ohms(*reading), readings);
                odd.push(LeftOut { serial: unit.serial.clone(), why });
            }
        }
    }
    odd
}

/// SHA-256 over the board file and every reading.
fn basis(board: &Board, units: &[Golden]) -> String {
    let mut lines = format!("{}\n", board.hash);
    for unit in units {
        lines.push_str(&format!("{:?} {} {}", unit.serial, unit.sweep, unit.started_us));
        unit.readings()
            .for_each(|(name, state, ohms)| lines.push_str(&format!(" {name:?} {state:?} {:e}", ohms.0)));
        lines.push('\n');
    }
    hash::of(lines)
}

#[cfg(test)]
mod tests;
