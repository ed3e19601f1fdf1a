//! Guard-banded verdicts: nothing passes that is not proven to.
//!
//! ISO 14253-1: conformity is proven when the result lies inside the limit by more than the expanded
//! uncertainty, nonconformity when it lies outside by more; between the two neither is.

mod word;

use crate::limits::Limits;

pub use word::{Class, Verdict};

/// Judges a value with its expanded uncertainty.
pub fn judge(ohms: f64, expanded: f64, limits: &Limits) -> Verdict {
    let above_min = limits.min_ohms.is_none_or(|min| ohms - expanded >= min);
    let below_min = limits.min_ohms.is_some_and(|min| ohms + expanded < min);
    if ohms + expanded <= limits.max_ohms && above_min {
        Verdict::Pass
    } else if ohms - expanded > limits.max_ohms || below_min {
        Verdict::Fail
    } else {
        Verdict::Unproven
    }
}

/// Judges an isolation by its bounds.
pub fn judge_isolation(at_least: Option<f64>, at_most: Option<f64>, min_ohms: f64) -> Verdict {
    if at_least.is_some_and(|ohms| ohms >= min_ohms) {
        Verdict::Pass
    } else if at_most.is_some_and(|ohms| ohms < min_ohms) {
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
        let limits = |min| Limits { min_ohms: min, max_ohms: 25e-3, origin: LimitOrigin::Stated };
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
            assert_eq!(judge(ohms, expanded, &limits(min)), verdict, "{ohms} ± {expanded}");
        }
    }

    #[test]
    fn isolation_is_judged_by_its_bounds() {
        assert_eq!(judge_isolation(Some(6e3), None, 5e3), Verdict::Pass);
        for (at_least, at_most, verdict) in [
            (5.01e3, 9e3, Verdict::Pass),
            (4.99e3, 9e3, Verdict::Unproven),
            (4e3, 5.01e3, Verdict::Unproven),
            (4e3, 4.99e3, Verdict::Fail),
        ] {
            assert_eq!(
                judge_isolation(Some(at_least), Some(at_most), 5e3),
                verdict,
                "{at_least} to {at_most} Ω"
            );
        }
        assert_eq!(judge_isolation(Some(1e3), Some(2e3), 5e3), Verdict::Fail);
        // A capacitor that still charges: the bounds are far apart.
        assert_eq!(judge_isolation(Some(1e3), None, 5e3), Verdict::Unproven);
        assert_eq!(judge_isolation(None, None, 5e3), Verdict::Unproven);
    }
}
