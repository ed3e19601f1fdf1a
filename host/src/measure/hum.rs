//! Mains hum in the sense loop: found with the source off, and what of it a reading's weights leave.

use std::f64::consts::TAU;

use copperwalk_core::delta::weight;
use copperwalk_wire::codes::SampleCodes;
use nalgebra::{DMatrix, DVector};

use super::voltage;
use crate::{
    meter::{conversion_us, noise::conversion_noise},
    quantity::{Seconds, Volts},
};

/// The two frequencies of public mains, hertz.
pub const MAINS_HERTZ: [f64; 2] = [50.0, 60.0];
/// Harmonics that mains have beside it: order, and the most of the fundamental that it may be. EN 50160: 5 % of the third, 6 % of the
/// fifth (from memory). Unspaced half-cycles may leave several times as much of them as of the fundamental.
const HARMONICS: [(f64, f64); 2] = [(3.0, 0.05), (5.0, 0.06)];
/// How far the length of a half-cycle and the mains together may stand off what is reckoned with, relative: the converter's
/// oscillator 2 % (SBAS501), the mains 0.4 % (±0.2 Hz).
const PHASE_OFF: f64 = 0.024;

/// Hum in the sense loop.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Hum {
    /// Its peak, with the uncertainty of finding it on top.
    pub peak: Volts,
    /// Of the two frequencies the one that explains more.
    pub hertz: f64,
}

impl Hum {
    /// From conversions of the sense pair one after the other, source off. `None` of too few to tell.
    pub fn find(sample: &SampleCodes<'_>) -> Option<Self> {
        let volts: Vec<f64> = sample.all.iter().map(|&code| voltage(code, sample.gain).0).collect();
        let period = Seconds(f64::from(conversion_us(sample.rate)) * 1e-6);
        let sigma = conversion_noise(sample.gain, sample.rate).0;
        let found = MAINS_HERTZ.map(|hertz| fit(&volts, hertz, period));
        let [fifty, sixty] = found;
        let ((peak, _), hertz) = match (fifty?, sixty?) {
            (fifty, sixty) if fifty.1 <= sixty.1 => (fifty, MAINS_HERTZ[0]),
            (_, sixty) => (sixty, MAINS_HERTZ[1]),
        };
        // The peak of a sine that is fitted to n conversions is known to σ·√(2/n).
        let unsure = sigma * (2.0 / volts.len() as f64).sqrt();
        Some(Self { peak: Volts(peak + unsure), hertz })
    }

    /// The most, volt, that the weights of so many half-cycles leave of it and of its harmonics, whatever their phases.
    pub fn left_by(&self, half_cycles: usize, period: Seconds) -> f64 {
        let most = [-PHASE_OFF, -PHASE_OFF / 2.0, 0.0, PHASE_OFF / 2.0, PHASE_OFF]
            .map(|off| {
                let step = TAU * self.hertz * period.0 * (1.0 + off);
                let of_harmonics =
                    HARMONICS.map(|(order, share)| share * share_left(half_cycles, order * step));
                share_left(half_cycles, step) + of_harmonics.iter().sum::<f64>()
            })
            .into_iter()
            .fold(0.0, f64::max);
        self.peak.0 * most
    }

    /// Half-cycles this far apart, and an even number of triples, leave the least of it: three of them to a line period, so that
    /// two triples span two periods and see each phase once with either sign. The third harmonic is then an offset, which a triple
    /// takes out, and the fifth steps as the fundamental does, the other way round.
    pub fn spacing(&self) -> Seconds {
        Seconds(1.0 / (3.0 * self.hertz))
    }
}

/// Share of a sine that the weights of delta mode leave, the phase advancing by so many radians a half-cycle.
fn share_left(half_cycles: usize, step: f64) -> f64 {
    let (mut cosine, mut sine, mut weights) = (0.0, 0.0, 0.0);
    for half_cycle in 0..half_cycles as u16 {
        let of = weight(half_cycle) as f64;
        let angle = step * f64::from(half_cycle);
        cosine += of * angle.cos();
        sine += of * angle.sin();
        weights += of.abs();
    }
    if weights > 0.0 { cosine.hypot(sine) / weights } else { 0.0 }
}

/// Peak of a sine of this frequency, with an offset and a drift beside it, and the squares that are left over.
fn fit(volts: &[f64], hertz: f64, period: Seconds) -> Option<(f64, f64)> {
    let count = volts.len();
    let design = DMatrix::from_fn(count, 4, |row, column| {
        let angle = TAU * hertz * period.0 * row as f64;
        match column {
            0 => 1.0,
            1 => row as f64 / count as f64 - 0.5,
            2 => angle.cos(),
            _ => angle.sin(),
        }
    });
    let values = DVector::from_column_slice(volts);
    let normal = design.transpose() * &design;
    let fit = normal.cholesky()?.solve(&(design.transpose() * &values));
    let left = (values - design * &fit).norm_squared();
    Some((fit[2].hypot(fit[3]), left))
}

#[cfg(test)]
mod tests {
    use copperwalk_wire::{Gain, Input, Rate};

    use super::*;
    use crate::meter::noise::code_step;

    fn listened(hertz: f64, peak: f64, phase: f64) -> Hum {
        let (gain, rate, count) = (Gain::X128, Rate::Sps1000, 40);
        let period = f64::from(conversion_us(rate)) * 1e-6;
        let codes: Vec<i32> = (0..count)
            .map(|i| {
                let volts = 12e-6 + peak * (TAU * hertz * period * f64::from(i) + phase).sin();
                (volts / code_step(gain).0).round() as i32
            })
            .collect();
        let (input, reversed, first) = (Input::Sense, false, codes[0]);
        Hum::find(&SampleCodes { input, reversed, gain, rate, first, all: &codes }).unwrap()
    }

    #[test]
    fn a_hum_is_found_with_its_frequency_and_peak_in_any_phase() {
        for hertz in [49.9, 50.1, 59.9, 60.1] {
            for phase in [0.0, 1.0, 2.0, 4.0] {
                let hum = listened(hertz, 5e-6, phase);
                assert!((hum.hertz - hertz).abs() < 0.2, "{hertz}: {hum:?}");
                assert!((hum.peak.0 - 5.16e-6).abs() < 0.1e-6, "{hertz}: {hum:?}");
            }
        }
    }

    #[test]
    fn a_spacing_that_clears_the_fundamental_clears_its_harmonics() {
        for (order, _) in HARMONICS {
            assert!(share_left(6, order * TAU / 3.0) < 1e-12, "{order}");
        }
    }

    /// Σ over (1, −2, 1, −1, 2, −1) · e^(j·k·120°) is nothing: each phase comes once with either sign.
    #[test]
    fn two_triples_over_two_line_periods_leave_nothing_and_unspaced_ones_a_part() {
        assert!(share_left(6, TAU / 3.0) < 1e-12);
        // One triple at a small step φ leaves (1 − cos φ)/2.
        let step = 0.75;
        assert!((share_left(3, step) - (1.0 - f64::cos(step)) / 2.0).abs() < 1e-12);
        let hum = Hum { peak: Volts(20e-6), hertz: 50.0 };
        let (spaced, natural) = (hum.left_by(6, hum.spacing()), hum.left_by(9, Seconds(2.5e-3)));
        assert!(spaced < 1.5e-6 && natural > 1.5e-6, "{spaced} {natural}");
    }
}
