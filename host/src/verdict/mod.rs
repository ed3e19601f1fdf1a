//! Guard-banded verdicts: nothing passes that is not proven to.
//!
//! ISO 14253-1: conformity is proven when the result lies inside the limit by more than the expanded
//! uncertainty, nonconformity when it lies outside by more; between the two neither is.

mod word;

use crate::{limits::Limits, quantity::Ohms};

pub use word::{Class, Verdict};

/// Judges a value with its expanded uncertainty.
pub fn judge(value: Ohms, expanded: Ohms, limits: &Limits) -> Verdict {
    inside(value.0, expanded.0, limits.min.map(|min| min.0), limits.max.0)
}

/// Judges a value of any unit, with its expanded uncertainty and its limits in the same.
pub fn inside(value: f64, expanded: f64, min: Option<f64>, max: f64) -> Verdict {
    let above_min = min.is_none_or(|min| value - expanded >= min);
    let below_min = min.is_some_and(|min| value + expanded < min);
    if value + expanded <= max && above_min {
        Verdict::Pass
    } else if value - expanded > max || below_min {
        Verdict::Fail
    } else {
        Verdict::Unproven
    }
}

/// The verdict on a whole by those on its parts: one that fails makes it fail, and it passes only if all do.
pub fn worst(verdicts: impl Iterator<Item = Verdict>) -> Verdict {
    verdicts.fold(Verdict::Pass, |worst, verdict| match (worst, verdict) {
        (Verdict::Fail, _) | (_, Verdict::Fail) => Verdict::Fail,
        (Verdict::Pass, Verdict::Pass) => Verdict::Pass,
        _ => Verdict::Unproven,
    })
}

/// Judges an isolation by its bounds.
pub fn judge_isolation(at_least: Option<Ohms>, at_most: Option<Ohms>, min: Ohms) -> Verdict {
    if at_least.is_some_and(|ohms| ohms >= min) {
        Verdict::Pass
    } else if at_most.is_some_and(|ohms| ohms < min) {
        Verdict::Fail
    } else {
        Verdict::Unproven
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::limits::LimitOrigin;

    #[test]
    fn a_value_passes_only_when_its_whole_interval_is_inside() {
        let limits = |min| Limits { min, max: Ohms(25e-3), origin: LimitOrigin::Stated };
        // The rule is ISO 14253-1's, as quoted; the numbers are our own.
        for (ohms, expanded, min, verdict) in [
            (20e-3, 5e-3, None, Verdict::Pass),
            (20e-3, 5.1e-3, None, Verdict::Unproven),
            (30e-3, 4.9e-3, None, Verdict::Fail),
            (30e-3, 5.1e-3, None, Verdict::Unproven),
            (2e-3, 0.5e-3, Some(1.5e-3), Verdict::Pass),
            (1.6e-3, 0.5e-3, Some(1.5e-3), Verdict::Unproven),
            (0.9e-3, 0.5e-3, Some(1.5e-3), Verdict::Fail),
            // Either side of the lower limit, by 1 % of the interval and less.
            (2e-3, 0.499e-3, Some(1.5e-3), Verdict::Pass),
            (2e-3, 0.501e-3, Some(1.5e-3), Verdict::Unproven),
            (1e-3, 0.499e-3, Some(1.5e-3), Verdict::Fail),
            (1e-3, 0.501e-3, Some(1.5e-3), Verdict::Unproven),
            (f64::NAN, 1.0, None, Verdict::Unproven),
        ] {
            let found = judge(Ohms(ohms), Ohms(expanded), &limits(min.map(Ohms)));
            assert_eq!(found, verdict, "{ohms} ± {expanded}");
        }
    }

    #[test]
    fn isolation_is_judged_by_its_bounds() {
        for (at_least, at_most, verdict) in [
            (Some(6e3), None, Verdict::Pass),
            (Some(5.01e3), Some(9e3), Verdict::Pass),
            (Some(4.99e3), Some(9e3), Verdict::Unproven),
            (Some(4e3), Some(5.01e3), Verdict::Unproven),
            (Some(4e3), Some(4.99e3), Verdict::Fail),
            (Some(1e3), Some(2e3), Verdict::Fail),
            // A capacitor that still charges: the bounds are far apart.
            (Some(1e3), None, Verdict::Unproven),
            (None, None, Verdict::Unproven),
        ] {
            let found = judge_isolation(at_least.map(Ohms), at_most.map(Ohms), Ohms(5e3));
            assert_eq!(found, verdict, "{at_least:?} to {at_most:?} Ω");
        }
    }
}
