//! Mains hum in the sense loop: a sine whose frequency wanders as that of the mains does, with the harmonics that mains have.

use std::f64::consts::TAU;

use crate::quantity::Volts;
use crate::random::Rng;

/// The two frequencies of public mains, hertz.
const MAINS_HERTZ: [f64; 2] = [50.0, 60.0];
/// How far the frequency stands off and swings, hertz: operators hold it within ±0.2 Hz (common practice).
const WANDER_HERTZ: f64 = 0.1;
/// It swings in about so many seconds.
const SWING_SECONDS: f64 = 7.0;

/// Harmonics of public mains: order, and the most of the fundamental that it may be. EN 50160: 5 % of the third, 6 % of the fifth
/// (from memory).
const HARMONICS: [(f64, f64); 2] = [(3.0, 0.05), (5.0, 0.06)];

/// The hum of one bench.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Hum {
    peak: Volts,
    hertz: f64,
    phase: f64,
    swing: f64,
    /// Phase of each harmonic against the fundamental.
    shifts: [f64; 2],
}

impl Hum {
    /// A hum whose fundamental has this peak, at either frequency, in any phase, and whose harmonics are as large as they may be.
    pub fn new(peak: Volts, rng: &mut Rng) -> Self {
        let mains = MAINS_HERTZ[usize::from(rng.unit() < 0.5)];
        Self {
            peak,
            hertz: mains + rng.between(-WANDER_HERTZ, WANDER_HERTZ),
            phase: rng.between(0.0, TAU),
            swing: rng.between(0.0, TAU),
            shifts: std::array::from_fn(|_| rng.between(0.0, TAU)),
        }
    }

    /// The same with another peak.
    pub fn set_peak(&mut self, peak: Volts) {
        self.peak = peak;
    }

    /// Its mean over a conversion from `from_us` to `to_us`, model time.
    pub fn mean(&self, from_us: u64, to_us: u64) -> Volts {
        let [from, to] = [from_us, to_us].map(|at_us| self.angle(at_us as f64 * 1e-6));
        if to - from <= 0.0 || self.peak == Volts::ZERO {
            return Volts::ZERO;
        }
        let mean = |order: f64, shift: f64| {
            let [from, to] = [from, to].map(|angle| order * angle);
            (libm::cos(from + shift) - libm::cos(to + shift)) / (to - from)
        };
        let harmonics = HARMONICS.iter().zip(self.shifts);
        let of_harmonics: f64 = harmonics.map(|(&(order, share), shift)| share * mean(order, shift)).sum();
        self.peak * (mean(1.0, 0.0) + of_harmonics)
    }

    /// Phase at a moment, radian: steady, and swinging with the mains.
    fn angle(&self, seconds: f64) -> f64 {
        let swings = TAU / SWING_SECONDS;
        TAU * self.hertz * seconds + self.phase
            - TAU * WANDER_HERTZ / swings * libm::cos(swings * seconds + self.swing)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_conversion_over_a_whole_line_period_hears_next_to_nothing_and_a_short_one_the_peak() {
        let mut rng = Rng::new(4);
        for _ in 0..50 {
            let hum = Hum::new(Volts(10e-6), &mut rng);
            let period_us = (1e6 / hum.hertz) as u64;
            let most = |length_us: u64| {
                (0..200).map(|step| hum.mean(step * 137, step * 137 + length_us).abs().0).fold(0.0, f64::max)
            };
            assert!(most(period_us) < 0.1e-6, "{}", most(period_us));
            assert!((8.5e-6..11.1e-6).contains(&most(1_000)), "{}", most(1_000));
        }
    }

    #[test]
    fn the_frequency_keeps_near_the_mains() {
        let mut rng = Rng::new(5);
        for _ in 0..50 {
            let hum = Hum::new(Volts(1e-6), &mut rng);
            for second in 0..20 {
                let hertz = (hum.angle(f64::from(second) + 1.0) - hum.angle(f64::from(second))) / TAU;
                let off = MAINS_HERTZ.map(|mains| (hertz - mains).abs()).into_iter().fold(f64::MAX, f64::min);
                assert!(off <= 2.0 * WANDER_HERTZ, "{hertz}");
            }
        }
    }
}
