//! How far a resistance is to be trusted: the budget, and the expanded uncertainty at 95 %.
//!
//! Evaluated per the GUM (JCGM 100): what scatters is type A, taken from the ADC's noise and checked against the
//! readings' own spread; the rest is type B. Rm's tolerance is a rectangle and often the largest part, so the usual factor
//! 2 would claim too much: a rectangle is never outside its own edges. The expanded uncertainty is therefore the
//! exact 95 % half-width of "normal plus rectangle" (in the spirit of JCGM 101), not k times a sum of squares.

use statrs::distribution::{Continuous, ContinuousCDF, Normal};

use crate::quantity::Ohms;

/// Stated coverage.
pub const COVERAGE: f64 = 0.95;

/// Contributions to the uncertainty of one resistance.
#[derive(Clone, Copy, PartialEq, Debug, Default)]
pub struct Budget {
    /// Noise of both pairs (standard, type A).
    pub noise: Ohms,
    /// Rm (half width of a rectangle).
    pub rm: Ohms,
    /// Gain ratio (standard).
    pub gain: Ohms,
    /// Thermal EMF left over (standard).
    pub emf: Ohms,
    /// Leakage (standard).
    pub leakage: Ohms,
    /// Temperature, where a value is referred to 20 °C (standard).
    pub temperature: Ohms,
}

impl Budget {
    /// Everything normal in one standard uncertainty.
    pub fn normal(&self) -> Ohms {
        [self.noise, self.gain, self.emf, self.leakage, self.temperature]
            .into_iter()
            .fold(Ohms::ZERO, Ohms::hypot)
    }

    /// Combined standard uncertainty: a rectangle's is its half width over √3.
    pub fn standard(&self) -> Ohms {
        self.normal().hypot(self.rm / 3.0_f64.sqrt())
    }

    /// Expanded uncertainty at 95 %.
    pub fn expanded(&self) -> Ohms {
        expanded(self.normal(), self.rm)
    }

    /// The same budget for a value scaled by `factor`, with a temperature part added.
    pub fn scaled(&self, factor: f64, temperature: Ohms) -> Self {
        Self {
            noise: self.noise * factor,
            rm: self.rm * factor,
            gain: self.gain * factor,
            emf: self.emf * factor,
            leakage: self.leakage * factor,
            temperature,
        }
    }
}

/// Half width U with P(|N + R| ≤ U) = 95 %, N normal with standard deviation `normal`, R uniform in ± `rectangle`.
pub fn expanded(normal: Ohms, rectangle: Ohms) -> Ohms {
    Ohms(half_width(normal.0, rectangle.0))
}

fn half_width(normal: f64, rectangle: f64) -> f64 {
    // Pure cases have closed forms, and the sum's formula divides by both.
    const NORMAL_FACTOR: f64 = 1.959_963_984_540_054;
    if rectangle <= 1e-6 * normal || rectangle <= 0.0 {
        return NORMAL_FACTOR * normal;
    }
    if normal <= 1e-6 * rectangle {
        return COVERAGE * rectangle;
    }
    // G(z) = ∫Φ = zΦ(z) + φ(z); averaging Φ over the rectangle gives the distribution of the sum.
    let standard = Normal::standard();
    let integral = |z: f64| z * standard.cdf(z) + standard.pdf(z);
    let below = |x: f64| {
        normal / (2.0 * rectangle) * (integral((x + rectangle) / normal) - integral((x - rectangle) / normal))
    };
    let (mut low, mut high) = (0.0, rectangle + 3.0 * normal);
    for _ in 0..60 {
        let middle = 0.5 * (low + high);
        if 2.0 * below(middle) - 1.0 < COVERAGE {
            low = middle;
        } else {
            high = middle;
        }
    }
    0.5 * (low + high)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_factor_runs_from_the_rectangles_to_the_normals() {
        // GUM (JCGM 100) G.6.5 and 4.3.7: a rectangle's 95 % half width is 0.95 of its edge, a factor of 1.65.
        assert!((half_width(0.0, 1.0) - 0.95).abs() < 1e-12);
        assert!((half_width(0.0, 1.0) / (1.0 / 3.0_f64.sqrt()) - 1.65).abs() < 0.01);
        assert!((half_width(1.0, 0.0) - 1.959_964).abs() < 1e-6);
        // In between it lies under the normal factor of the combined standard uncertainty.
        for (normal, rectangle) in [(1.0, 0.1), (1.0, 1.0), (1.0, 3.0), (0.1, 1.0), (0.01, 1.0)] {
            let combined = f64::hypot(normal, rectangle / 3.0_f64.sqrt());
            let factor = half_width(normal, rectangle) / combined;
            assert!((1.64..=1.961).contains(&factor), "{normal} {rectangle}: {factor}");
        }
    }

    #[test]
    fn the_interval_covers_what_it_says() {
        // Against a direct sum over a fine grid of the rectangle.
        let standard = Normal::standard();
        for (normal, rectangle) in [(1.0, 1.0), (0.3, 1.0), (2.0, 1.0)] {
            let u = half_width(normal, rectangle);
            let steps = 20_000;
            let inside: f64 = (0..steps)
                .map(|i| rectangle * (2.0 * (f64::from(i) + 0.5) / f64::from(steps) - 1.0))
                .map(|r| standard.cdf((u - r) / normal) - standard.cdf((-u - r) / normal))
                .sum::<f64>()
                / f64::from(steps);
            assert!((inside - 0.95).abs() < 1e-6, "{inside}");
        }
    }
}
