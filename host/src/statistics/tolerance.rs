//! Tolerance factors of a normal population: mean ± k·s of n values holds at least the share `coverage` of the
//! population, with the probability `confidence`.

use super::{noncentral_t, normal};

/// On which side limits are wanted.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Sides {
    /// Above the mean only, or below it only.
    One,
    /// Both, with the coverage between them.
    Two,
}

/// The exact factor for `count` values, at least 2; `None` for fewer, and for probabilities that are not between 0 and
/// 1.
pub fn factor(sides: Sides, count: usize, coverage: f64, confidence: f64) -> Option<f64> {
    let is_share = |share: f64| share > 0.0 && share < 1.0;
    (count > 1 && is_share(coverage) && is_share(confidence)).then(|| match sides {
        Sides::One => one_sided(count, coverage, confidence),
        Sides::Two => two_sided(count, coverage, confidence),
    })
}

/// What the factor comes to for ever more values: the normal quantile. No factor is below it at a confidence above one
/// half.
pub fn smallest(sides: Sides, coverage: f64) -> f64 {
    normal::quantile(match sides {
        Sides::One => coverage,
        Sides::Two => 0.5 + 0.5 * coverage,
    })
}

/// (mean + k·s − μ)·√n / s has a noncentral t distribution (G. J. Lieberman, Ind. Qual. Control 14 (1958); ISO
/// 16269-6).
fn one_sided(count: usize, coverage: f64, confidence: f64) -> f64 {
    let root = (count as f64).sqrt();
    noncentral_t::quantile(confidence, (count - 1) as f64, normal::quantile(coverage) * root) / root
}

/// With the mean off by x standard deviations, the interval needs the half width r(x) to hold the coverage; the
/// confidence is the mean, over x, of P(k·s ≥ r(x)) (A. Wald and J. Wolfowitz, Ann. Math. Stat. 17 (1946) 208-215; ISO
/// 16269-6).
fn two_sided(count: usize, coverage: f64, confidence: f64) -> f64 {
    /// The trapezoidal rule over the mean's place, in its standard deviations: exact to rounding for a normal weight.
    const STEP: f64 = 0.25;
    const STEPS: u32 = 36;
    let (root, freedom) = ((count as f64).sqrt(), (count - 1) as f64);
    let needed: Vec<(f64, f64)> = (0..=STEPS)
        .map(|number| {
            let z = STEP * f64::from(number);
            // Both sides are alike; the middle counts once.
            let weight = STEP * normal::density(z) * if number == 0 { 1.0 } else { 2.0 };
            (weight, half_width(z / root, coverage))
        })
        .collect();
    let reached = |k: f64| needed.iter().map(|(weight, r)| weight * chi_above(r / k, freedom)).sum::<f64>();
    let low = smallest(Sides::Two, coverage) * 1e-3;
    let mut high = 1.0;
    while reached(high) < confidence && high < 1e9 {
        high *= 2.0;
    }
    noncentral_t::zero(low, high, |k| reached(k) - confidence)
}

/// P(S > s), with S² a chi-square over its degrees of freedom.
fn chi_above(s: f64, freedom: f64) -> f64 {
    statrs::function::gamma::checked_gamma_ur(0.5 * freedom, 0.5 * freedom * s * s).unwrap_or(0.0)
}

/// The r of which `Φ(x + r) − Φ(x − r)` is the coverage.
fn half_width(x: f64, coverage: f64) -> f64 {
    let r = smallest(Sides::Two, coverage);
    // Off the middle it takes more, but never more than r + x.
    noncentral_t::zero(r, r + x + 1e-12, |r| {
        // By the tails: near a coverage of one the difference of two numbers near one would lose its digits.
        1.0 - coverage - normal::below(x - r) - normal::below(-x - r)
    })
}
