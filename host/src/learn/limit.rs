//! Limits of one segment from the readings of golden units.
//!
//! Which sides: an upper limit always. A lower one where the board file states one, and for whatever is not a contact:
//! copper, fuses, chokes and shunts have a value, and one that reads clearly less is bridged, or another part. A
//! contact (switch, connector, joint) has no value of its own; less is only better.
//!
//! Learned limits only ever tighten: where the board file's are tighter they stay, because they say what the circuit
//! needs. A lower limit is never below what copper of this drawing has at its thickest and widest, and never below
//! zero.

use super::{Claim, LearnedSegment};
use crate::{
    board::{Assumed, Segment, assumed, expected},
    limits::Limits,
    quantity::{Ohms, engineering},
    statistics::{
        sample,
        tolerance::{self, Sides},
    },
};

/// On which sides a segment gets limits.
fn sides(segment: &Segment, usual: &Limits) -> Sides {
    if usual.min.is_some() || !segment.kind.is_contact() { Sides::Two } else { Sides::One }
}

/// The limits of a segment whose readings are these, a list for each state: the widest of its states. `None` if it was
/// not read. `assumed`: what the board's file does not say.
pub(super) fn of(
    segment: &Segment,
    usual: &Limits,
    series: &[Vec<f64>],
    claim: Claim,
    assumed: &[Assumed],
) -> Option<LearnedSegment> {
    let sides = sides(segment, usual);
    let each = series.iter().filter_map(|readings| {
        let (mean, deviation) = (sample::mean(readings)?, sample::deviation(readings)?);
        let factor = tolerance::factor(sides, readings.len(), claim.coverage, claim.confidence)?;
        Some((mean, deviation, factor))
    });
    let each: Vec<(f64, f64, f64)> = each.collect();
    let upper = |(mean, deviation, factor): &(f64, f64, f64)| mean + factor * deviation;
    let lower = |(mean, deviation, factor): &(f64, f64, f64)| mean - factor * deviation;
    let widest = each.iter().max_by(|a, b| upper(a).total_cmp(&upper(b)))?;
    let max = Some(Ohms(upper(widest))).filter(|max| *max < usual.max);
    let least = each.iter().map(lower).fold(f64::INFINITY, f64::min);
    let floor = assumed::lessened(expected::least(segment), &segment.kind, assumed);
    let lowest = series.iter().flatten().copied().fold(f64::INFINITY, f64::min);
    let is_below_copper = lowest < floor.0;
    let min = match sides {
        Sides::Two if !is_below_copper => {
            Some(Ohms(least.max(floor.0))).filter(|min| *min > usual.min.unwrap_or(Ohms::ZERO))
        }
        _ => None,
    };
    let remark = if is_below_copper {
        "reads less than its copper as drawn can have: compare its length, width and thickness in the board file with the board"
    } else if max.is_none() {
        "the board file's upper limit is tighter and stays"
    } else {
        ""
    };
    let &(mean, deviation, factor) = widest;
    let (mean, deviation) = (Ohms(mean), Ohms(deviation));
    Some(LearnedSegment { name: segment.name.clone(), mean, deviation, factor, min, max, remark })
}

/// In what a unit is unlike the rest.
pub(super) fn unlike(segment: &Segment, reading: Ohms, readings: &[f64]) -> String {
    let mut sorted = readings.to_vec();
    sorted.sort_by(f64::total_cmp);
    let middle = sorted.get(sorted.len() / 2).copied().unwrap_or_default();
    format!(
        "its {} reads {}, that of the unit in the middle {}",
        segment.name,
        engineering(reading),
        engineering(Ohms(middle))
    )
}
