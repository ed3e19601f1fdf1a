//! The standard normal distribution.

use std::f64::consts::{FRAC_1_SQRT_2, TAU};

use statrs::distribution::{ContinuousCDF, Normal};

/// Probability of a value below `z`; exact in the lower tail too.
pub fn below(z: f64) -> f64 {
    0.5 * libm::erfc(-z * FRAC_1_SQRT_2)
}

/// Density at `z`.
pub fn density(z: f64) -> f64 {
    libm::exp(-0.5 * z * z) / TAU.sqrt()
}

/// The value that is not reached with this probability; infinite at 0 and 1.
pub fn quantile(probability: f64) -> f64 {
    let guess = Normal::standard().inverse_cdf(probability.clamp(0.0, 1.0));
    if !guess.is_finite() {
        return guess;
    }
    // The library's inverse is good to about 1e-10; one step of Newton's takes it to the last digits.
    guess - (below(guess) - probability) / density(guess)
}
