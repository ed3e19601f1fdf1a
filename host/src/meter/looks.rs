//! What it costs to stop as soon as a reading looks clear: a wider interval, so that the stated error rate holds at the stop.
//!
//! A reading is looked at after each triple. Each look is one more chance to be on the wrong side by noise, and with the factor
//! for one look a value exactly at its limit would pass three times too often. The factor here is the constant boundary of
//! a group-sequential test (Pocock 1977): it is crossed at any look, for a true value at the limit, with no more
//! than the stated probability. The controller decides by the same factor. What stays undecided is read once more with all
//! samples and no stop, which is a chance of its own; the two share the 5 %.

use copperwalk_wire::{Ratio, message::ShotEnd};
use statrs::distribution::{ContinuousCDF, Normal};

/// Of the two-sided 5 % that a stated interval may miss, the looks of a reading with a stop rule take so much …
const LOOKS_MISS: f64 = 0.03;
/// … and the one reading without takes the rest.
const LAST_MISS: f64 = 0.02;
/// Factor, standard deviations, that noise crosses at any of the looks from the first to the last triple with probability
/// [`LOOKS_MISS`]: (first, last, factor). The test works them out again.
const FACTORS: [(u8, u8, f64); 4] = [(2, 4, 2.4517), (2, 12, 2.7277), (3, 12, 2.6814), (4, 12, 2.6372)];

/// Factor for a reading that may be stopped after any of these triples.
pub fn factor(first: u8, last: u8) -> f64 {
    let known = FACTORS.iter().find(|(from, to, _)| (*from, *to) == (first, last));
    // Each look its share (Bonferroni): more than enough.
    known.map_or_else(
        || two_sided(LOOKS_MISS / f64::from(last.saturating_sub(first) + 1)),
        |(_, _, factor)| *factor,
    )
}

/// Factor for a reading as it was ended.
pub fn factor_of(ratio: &Ratio, why: ShotEnd) -> f64 {
    match (ratio.stop, why) {
        (Some(_), ShotEnd::Decided | ShotEnd::Budget) => factor(ratio.triples_min, ratio.triples_max),
        (None, _) | (_, ShotEnd::Complete) => two_sided(LAST_MISS),
    }
}

/// Standard deviations that a normal value exceeds either way with this probability.
fn two_sided(miss: f64) -> f64 {
    Normal::standard().inverse_cdf(1.0 - miss / 2.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::random::Rng;

    /// Probability that the mean of n triples, n from `first` to `last`, lies outside ± factor/√n standard deviations of one at
    /// any look: the density of what has stayed inside is carried from look to look (Armitage, McPherson and Rowe 1969).
    fn crossed(first: u8, last: u8, factor: f64) -> f64 {
        const STEPS: usize = 400;
        let normal = |x: f64, variance: f64| {
            (-x * x / (2.0 * variance)).exp() / (std::f64::consts::TAU * variance).sqrt()
        };
        let grid = |look: u8| {
            let edge = factor * f64::from(look).sqrt();
            let step = 2.0 * edge / STEPS as f64;
            let weight = move |i: usize| if i == 0 || i == STEPS { step / 2.0 } else { step };
            (0..=STEPS).map(move |i| (i as f64 * step - edge, weight(i))).collect::<Vec<_>>()
        };
        let mut inside: Vec<(f64, f64)> =
            grid(first).into_iter().map(|(x, weight)| (x, weight * normal(x, f64::from(first)))).collect();
        for look in first + 1..=last {
            inside = grid(look)
                .into_iter()
                .map(|(y, weight)| {
                    (y, weight * inside.iter().map(|(x, share)| share * normal(y - x, 1.0)).sum::<f64>())
                })
                .collect();
        }
        1.0 - inside.iter().map(|(_, share)| share).sum::<f64>()
    }

    /// Pocock (1977), constant boundaries for a two-sided 5 %, equal groups (from memory): 2.178 for two looks, 2.289 for three,
    /// 2.413 for five, 2.555 for ten.
    #[test]
    fn the_published_boundaries_are_crossed_as_published() {
        for (looks, factor) in [(2, 2.178), (3, 2.289), (5, 2.413), (10, 2.555)] {
            let crossed = crossed(1, looks, factor);
            assert!((crossed - 0.05).abs() < 1e-4, "{looks}: {crossed}");
        }
    }

    #[test]
    fn each_factor_is_crossed_with_its_share_and_the_fallback_with_less() {
        for (first, last, factor) in FACTORS {
            let crossed = crossed(first, last, factor);
            assert!((crossed - LOOKS_MISS).abs() < 1e-4, "{first} to {last}: {crossed}");
        }
        assert!(crossed(3, 8, factor(3, 8)) < LOOKS_MISS);
        assert!((two_sided(0.05) - 1.959_964).abs() < 1e-6);
    }

    /// A value exactly at its limit, looked at after each triple from the second to the twelfth, and passed when the mean lies
    /// below it by factor/√n standard deviations: at most half of the two-sided share. With the factor for one look, three
    /// times as many.
    #[test]
    fn two_hundred_thousand_values_at_their_limit_pass_as_rarely_as_stated() {
        let mut rng = Rng::new(7);
        let cases = 200_000;
        let (mut with_rule, mut with_one_look) = (0, 0);
        for _ in 0..cases {
            let (mut sum, mut passed) = (rng.normal(), [false; 2]);
            for look in 2..=12_u8 {
                sum += rng.normal();
                let score = sum / f64::from(look).sqrt();
                passed[0] |= score < -factor(2, 12);
                passed[1] |= score < -1.96;
            }
            with_rule += u32::from(passed[0]);
            with_one_look += u32::from(passed[1]);
        }
        let [rule, one_look] = [with_rule, with_one_look].map(|count| f64::from(count) / f64::from(cases));
        // Three standard deviations of the simulation are 0.0008.
        assert!((rule - LOOKS_MISS / 2.0).abs() < 0.0008, "{rule}");
        assert!(one_look > 0.07, "{one_look}");
    }
}
