//! Values that do not belong to the rest: the generalised extreme studentised deviate test.
//!
//! Source: B. Rosner, Percentage points for a generalized ESD many-outlier procedure, Technometrics 25 (1983) 165-172.
//! With one suspect it is Grubbs' test. Unlike that test repeated, it finds two bad values that hide each other, and
//! unlike a rule by median and MAD its false alarms have a stated probability for few values too.

use super::{noncentral_t, sample};

/// Places of the values that do not belong to the rest, the farthest first: at most `most` of them. Where all values
/// are of one normal population, none is named with the probability 1 - `alarm`; `alarm` is above 0 and below 1. Two
/// values at least stay.
pub fn outliers(values: &[f64], most: usize, alarm: f64) -> Vec<usize> {
    let mut left: Vec<(usize, f64)> = values.iter().copied().enumerate().collect();
    let (mut taken, mut found) = (Vec::new(), 0);
    while taken.len() < most && left.len() > 2 {
        let Some((at, off)) = farthest(&left) else { break };
        if off > critical(left.len(), alarm) {
            found = taken.len() + 1;
        }
        let (place, _) = left.remove(at);
        taken.push(place);
    }
    // All up to the last deviation that is too large: what two share makes each look smaller.
    taken.truncate(found);
    taken
}

/// The value farthest from the mean, by its place in the list, and how far in standard deviations; `None` where all are
/// alike.
fn farthest(left: &[(usize, f64)]) -> Option<(usize, f64)> {
    let values: Vec<f64> = left.iter().map(|(_, value)| *value).collect();
    let (mean, deviation) = (sample::mean(&values)?, sample::deviation(&values)?);
    let off = values.iter().map(|value| (value - mean).abs() / deviation).enumerate();
    off.max_by(|a, b| a.1.total_cmp(&b.1)).filter(|(_, off)| off.is_finite())
}

/// The deviation that the farthest of `count` values exceeds with the probability `alarm`.
pub fn critical(count: usize, alarm: f64) -> f64 {
    let count = count as f64;
    let t = noncentral_t::student(1.0 - alarm / count, count - 2.0);
    (count - 1.0) * t / ((count - 2.0 + t * t) * count).sqrt()
}
