//! The noncentral t distribution: (Z + δ) / S, with Z standard normal and S² a chi-square over its ν degrees of
//! freedom. With δ = 0 it is Student's.
//!
//! P(T ≤ t) is the mean of Φ(t·S − δ) over S. Every term is positive, so nothing cancels, whatever ν, δ and the tail.

use super::normal;

/// The mean of `g(s)` over S, the square root of a chi-square with `freedom` degrees of freedom over `freedom`.
/// `width` is how far s may move, relatively, before `g` changes much.
///
/// The integral runs over u = ln s, where the density is analytic and falls off faster than exponentially on one side
/// and as e^(νu) on the other: there the trapezoidal rule is exact to rounding once its step is a fraction of the
/// narrowest feature.
fn mean_over_scale(freedom: f64, width: f64, g: impl Fn(f64) -> f64) -> f64 {
    /// ln of the share below which a term is nothing beside the largest: 2^-64.
    const NOTHING: f64 = -45.0;
    /// Step in units of the narrowest feature: halving it changes nothing above 1e-14 (test below).
    const STEP: f64 = 0.25;
    let step = STEP * width.min((2.0 * freedom).sqrt().recip());
    // ln of the density, its peak at u = 0 as the unit; the factor in front drops out of the quotient.
    let density = |u: f64| freedom * (u - 0.5 * libm::expm1(2.0 * u));
    let (mut weights, mut sum) = (0.0, 0.0);
    let mut add = |u: f64| {
        let weight = density(u);
        let counts = weight > NOTHING;
        if counts {
            let weight = libm::exp(weight);
            weights += weight;
            sum += weight * g(libm::exp(u));
        }
        counts
    };
    add(0.0);
    for side in [1.0, -1.0] {
        let mut number = 1.0;
        while add(side * step * number) {
            number += 1.0;
        }
    }
    sum / weights
}

/// Probability of a value up to `t` with `freedom` degrees of freedom, above 0, and noncentrality `delta`.
pub fn below(t: f64, freedom: f64, delta: f64) -> f64 {
    // Φ(t·s − δ) goes from 0 to 1 while t·s moves by about one.
    mean_over_scale(freedom, (1.0 + t.abs()).recip(), |s| normal::below(t * s - delta))
}

/// The value that is not reached with this probability, which is above 0 and below 1.
pub fn quantile(probability: f64, freedom: f64, delta: f64) -> f64 {
    let (mut low, mut high) = (delta - 1.0, delta + 1.0);
    while below(low, freedom, delta) > probability && low > -LARGEST {
        low -= 2.0 * (high - low);
    }
    while below(high, freedom, delta) < probability && high < LARGEST {
        high += 2.0 * (high - low);
    }
    zero(low, high, |t| below(t, freedom, delta) - probability)
}

/// Values beyond are not looked for.
const LARGEST: f64 = 1e6;

/// The zero of a rising function between `low` and `high`, to the last digits: by the secant of the last two places,
/// and by halving where the secant leaves the interval.
pub(super) fn zero(mut low: f64, mut high: f64, f: impl Fn(f64) -> f64) -> f64 {
    const MOST_STEPS: u32 = 200;
    let (mut before, mut last) = ((low, f(low)), (high, f(high)));
    for step in 0..MOST_STEPS {
        let secant = last.0 - last.1 * (last.0 - before.0) / (last.1 - before.1);
        // Where the function is flat the secant creeps: every fourth step halves.
        let place = if secant > low && secant < high && step % 4 != 3 { secant } else { 0.5 * (low + high) };
        let is_there = (place - last.0).abs() <= 1e-14 * place.abs() || high - low <= 1e-14 * place.abs();
        (before, last) = (last, (place, f(place)));
        if is_there || last.1 == 0.0 {
            break;
        }
        *(if last.1 < 0.0 { &mut low } else { &mut high }) = place;
    }
    last.0
}

/// Student's factor: so many standard deviations on either side of a mean hold the share `confidence`, which is above 0
/// and below 1.
pub fn student(confidence: f64, freedom: f64) -> f64 {
    if freedom.is_infinite() {
        return normal::quantile(0.5 + 0.5 * confidence);
    }
    quantile(0.5 + 0.5 * confidence, freedom, 0.0)
}
