//! How the readings of each segment spread over the units of a lot.

use std::collections::BTreeMap;

use serde::Serialize;
use utoipa::ToSchema;

use super::unreadable::Unreadable;
use crate::{quantity::Ohms, records::summary::SweepView, verdict::Verdict};

/// The readings of one segment in one state, a unit each.
#[derive(Clone, PartialEq, Debug, Serialize, ToSchema)]
pub struct Spread {
    /// Board, by name.
    pub board: String,
    /// Its revision.
    pub revision: String,
    /// Name of the segment.
    pub segment: String,
    /// State it was read in.
    pub state: String,
    /// Lower limit at 20 °C of the latest sweep among them; `None`: there is none.
    #[serde(rename = "min_ohms")]
    pub min: Option<Ohms>,
    /// Upper limit at 20 °C of the latest sweep among them.
    #[serde(rename = "max_ohms")]
    pub max: Ohms,
    /// Median of the resistances; `None` if none was read.
    #[serde(rename = "median_ohms")]
    pub median: Option<Ohms>,
    /// The readings, by unit in the order of the sweeps.
    pub readings: Vec<SpreadReading>,
    /// Units in which it was not reached, or conducts nothing.
    pub without: u32,
}

/// A reading of a spread.
#[derive(Clone, PartialEq, Debug, Serialize, ToSchema)]
pub struct SpreadReading {
    /// Serial number of the unit.
    pub serial: String,
    /// Resistance, copper referred to 20 °C.
    #[serde(rename = "ohms")]
    pub resistance: Ohms,
    /// Its verdict.
    pub verdict: Verdict,
}

/// How the readings of a lot spread.
#[derive(Clone, PartialEq, Debug, Serialize, ToSchema)]
pub struct Spreads {
    /// One for each segment and state, in the order in which they first appear.
    pub segments: Vec<Spread>,
    /// Sweeps that were to be looked at and cannot be read, with the reason.
    pub left_out: Vec<Unreadable>,
}

/// Gathers the readings of sweeps, one for each unit: in the order in which segments first appear.
pub fn spreads(sweeps: &[SweepView]) -> Vec<Spread> {
    let mut spreads: Vec<Spread> = Vec::new();
    let mut places = BTreeMap::new();
    for sweep in sweeps {
        for row in &sweep.judgement.segments {
            let basis = &sweep.basis;
            let key = (basis.board.as_str(), basis.revision.as_str(), row.name.as_str(), row.state.as_str());
            let place = *places.entry(key).or_insert(spreads.len());
            if place == spreads.len() {
                spreads.push(Spread {
                    board: basis.board.clone(),
                    revision: basis.revision.clone(),
                    segment: row.name.clone(),
                    state: row.state.clone(),
                    min: None,
                    max: Ohms::ZERO,
                    median: None,
                    readings: Vec::new(),
                    without: 0,
                });
            }
            let Some(spread) = spreads.get_mut(place) else { continue };
            (spread.min, spread.max) = (row.min, row.max);
            match row.at_20c {
                Some(resistance) => spread.readings.push(SpreadReading {
                    serial: sweep.serial.clone(),
                    resistance,
                    verdict: row.verdict,
                }),
                None => spread.without += 1,
            }
        }
    }
    for spread in &mut spreads {
        spread.median =
            median(spread.readings.iter().map(|reading| reading.resistance.0).collect()).map(Ohms);
    }
    spreads
}

/// The middle value; of an even number of values the mean of the two in the middle.
fn median(mut values: Vec<f64>) -> Option<f64> {
    values.sort_by(f64::total_cmp);
    let middle = values.len() / 2;
    let upper = *values.get(middle)?;
    match values.len() % 2 {
        0 => values.get(middle - 1).map(|lower| (lower + upper) / 2.0),
        _ => Some(upper),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_median_stands_in_the_middle() {
        assert_eq!(median(vec![]), None);
        assert_eq!(median(vec![3.0, 1.0, 2.0]), Some(2.0));
        assert_eq!(median(vec![4.0, 1.0, 2.0, 3.0]), Some(2.5));
    }
}
