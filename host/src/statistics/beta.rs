//! The chance of something that happens or does not, as far as a prior opinion and counted tries tell it: a beta
//! distribution, conjugate to counting (A. Gelman et al., Bayesian Data Analysis, 3rd ed. (2013), section 2.4).

use serde::Serialize;
use statrs::distribution::{Beta as Distribution, ContinuousCDF};

/// A beta distribution over a chance between 0 and 1. As a prior it weighs like `a` tries that worked and `b` that did not.
#[derive(Clone, Copy, PartialEq, Debug, Serialize)]
pub struct Beta {
    /// Tries that worked, counted or thought of; above 0.
    pub a: f64,
    /// Tries that did not; above 0.
    pub b: f64,
}

impl Beta {
    /// What is believed after `worked` and `failed` tries more.
    #[must_use]
    pub fn after(self, worked: u32, failed: u32) -> Self {
        Self { a: self.a + f64::from(worked), b: self.b + f64::from(failed) }
    }

    /// The chance that the next try works.
    pub fn mean(self) -> f64 {
        self.a / (self.a + self.b)
    }

    /// Standard deviation of the chance.
    pub fn deviation(self) -> f64 {
        let all = self.a + self.b;
        (self.a * self.b / (all + 1.0)).sqrt() / all
    }

    /// The interval that holds the chance with probability `share`, as much of the rest on either side. `share` is between
    /// 0 and 1; from 0 to 1 where the numbers give no distribution.
    pub fn interval(self, share: f64) -> [f64; 2] {
        let tail = 0.5 * (1.0 - share);
        match Distribution::new(self.a, self.b) {
            Ok(beta) if tail > 0.0 && tail < 0.5 => {
                // The upper end by the mirrored distribution: near one the quantile would lose its digits.
                let mirrored = Distribution::new(self.b, self.a).map_or(0.0, |beta| beta.inverse_cdf(tail));
                [beta.inverse_cdf(tail), 1.0 - mirrored]
            }
            _ => [0.0, 1.0],
        }
    }

    /// The chance that exactly `worked` of `tries` further tries work: the beta-binomial distribution.
    pub fn predicts(self, worked: u32, tries: u32) -> f64 {
        use statrs::function::{beta::ln_beta, factorial::ln_binomial};
        if worked > tries {
            return 0.0;
        }
        let [worked_f, failed] = [worked, tries - worked].map(f64::from);
        let log = ln_binomial(tries.into(), worked.into()) + ln_beta(self.a + worked_f, self.b + failed)
            - ln_beta(self.a, self.b);
        libm::exp(log)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Closed forms: a beta distribution with b = 1 has the distribution function xᵃ, and Beta(1, 1) is the rectangle,
    /// under which every count of successes is as probable as any other (T. Bayes, 1763).
    #[test]
    fn closed_forms_agree() {
        for (share, low, high) in [(0.9, 0.05_f64, 0.95_f64), (0.5, 0.25, 0.75)] {
            let [found_low, found_high] = Beta { a: 3.0, b: 1.0 }.interval(share);
            assert!((found_low - low.cbrt()).abs() < 1e-9 && (found_high - high.cbrt()).abs() < 1e-9);
        }
        let even = Beta { a: 1.0, b: 1.0 };
        for worked in 0..=6 {
            assert!((even.predicts(worked, 6) - 1.0 / 7.0).abs() < 1e-12);
        }
        assert_eq!((even.mean(), even.after(3, 1).mean(), even.predicts(2, 1)), (0.5, 4.0 / 6.0, 0.0));
        assert!((even.deviation() - 1.0 / 12.0_f64.sqrt()).abs() < 1e-12);
    }

    #[test]
    fn numbers_that_give_no_distribution_say_nothing() {
        assert_eq!(Beta { a: 0.0, b: 1.0 }.interval(0.9), [0.0, 1.0]);
        assert_eq!(Beta { a: 1.0, b: 1.0 }.interval(1.0), [0.0, 1.0]);
    }
}
