//! Mains hum in the sense loop: a sine whose frequency wanders as that of the mains does.

use std::f64::consts::TAU;

use super::rng::Rng;
use crate::quantity::Volts;

/// The two frequencies of public mains, hertz.
const MAINS_HERTZ: [f64; 2] = [50.0, 60.0];
/// How far the frequency stands off and swings, hertz: operators hold it within ±0.2 Hz (common practice).
const WANDER_HERTZ: f64 = 0.1;
/// It swings in about so many seconds.
const SWING_SECONDS: f64 = 7.0;

/// The hum of one bench.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Hum {
    peak: Volts,
    hertz: f64,
    phase: f64,
    swing: f64,
}

impl Hum {
    /// A hum with this peak, at either frequency, in any phase.
    pub fn new(peak: Volts, rng: &mut Rng) -> Self {
        let mains = MAINS_HERTZ[usize::from(rng.unit() < 0.5)];
        Self {
            peak,
            hertz: mains + rng.between(-WANDER_HERTZ, WANDER_HERTZ),
            phase: rng.between(0.0, TAU),
            swing: rng.between(0.0, TAU),
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
        self.peak * ((libm::cos(from) - libm::cos(to)) / (to - from))
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
            assert!((9.5e-6..10.001e-6).contains(&most(1_000)), "{}", most(1_000));
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
