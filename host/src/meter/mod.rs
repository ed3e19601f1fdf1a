//! The bench's meter: what is known of it, as its data sheets state it or as a proof of the bench has found it.
//!
//! A plan counts on it before anything is measured, and a reading's uncertainty is made of it. [`noise`] holds the
//! converter's noise, [`looks`] what stopping early costs, [`proven`] what a proof has found of one bench.

pub mod looks;
pub mod noise;
pub mod proven;

use copperwalk_wire::{Gain, Rate, hardware::RM_TOLERANCE};

use crate::statistics::rectangle;

/// In single-shot mode the converter's oscillator starts first, µs (ADS1220: 50 µs).
pub const WAKE_US: u32 = 50;

/// From the start of one conversion to that of the next, µs.
pub const fn conversion_us(rate: Rate) -> u32 {
    rate.micros() + WAKE_US
}

/// A relative error that lies anywhere within `half` of `middle`, and nowhere else (a rectangle).
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Band {
    /// What readings are corrected by.
    pub middle: f64,
    /// Half its width.
    pub half: f64,
}

impl Band {
    /// As likely either way.
    pub const fn around_nothing(half: f64) -> Self {
        Self { middle: 0.0, half }
    }
}

/// What is known of a meter.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Meter {
    /// Rm against its nominal value.
    pub rm: Band,
    /// Each gain against what it is called.
    pub gains: [Band; 8],
    /// Either voltage by the converter's nonlinearity, relative, half a width. The published figure is a share of full scale; a
    /// bend that is smooth and nothing at zero and at both ends has a slope of at most 2.6 times it.
    pub linearity: f64,
    /// Volts at the input for each volt of common mode, at most.
    pub common_mode: f64,
    /// Offset at the input, volt, at most.
    pub offset: f64,
    /// The die's temperature sensor, kelvin, half a width.
    pub sensor_kelvin: f64,
}

/// Rm follows its temperature by at most so much, 1/K (`hardware/parts.csv` asks for that).
const RM_PER_KELVIN: f64 = 15e-6;
/// Rm ages by at most so much in a year, relative (common practice for metal film at a tenth of its rating).
const RM_PER_YEAR: f64 = 2e-4;
/// A gain follows the converter's temperature by at most so much, 1/K (SBAS501, from memory).
const GAIN_PER_KELVIN: f64 = 4e-6;
/// Rooms a bench stands in are at most so far from the 25 °C that tolerances hold at, kelvin.
const ROOM_KELVIN: f64 = 10.0;
/// Rm: what it was bought with, the room, and a year. Tolerances are worst cases and add up.
const RM_HALF: f64 = RM_TOLERANCE + RM_PER_KELVIN * ROOM_KELVIN + RM_PER_YEAR;
/// Gain error: at most 0.1 % (SBAS501, from memory), and the room.
const GAIN_HALF: f64 = 1e-3 + GAIN_PER_KELVIN * ROOM_KELVIN;
/// Nonlinearity: at most 15 ppm of full scale (SBAS501, from memory).
const NONLINEARITY: f64 = 15e-6;
/// Steepest slope of a smooth bend over its height, both over full scale: that of 2.6·(x − x³) at zero.
const BEND_SLOPE: f64 = 2.6;
/// Common-mode rejection: at least 90 dB at DC (SBAS501, from memory), 31.6 µV for each volt.
const COMMON_MODE: f64 = 31.6e-6;
/// Offset: ±30 µV at most (published thread).
const OFFSET_VOLTS: f64 = 30e-6;
/// Temperature sensor: 1 K at worst (SBAS501).
const SENSOR_KELVIN: f64 = 1.0;

impl Default for Meter {
    fn default() -> Self {
        Self::PUBLISHED
    }
}

impl Meter {
    /// As published, at its worst: a bench that nobody has proven.
    pub const PUBLISHED: Self = Self {
        rm: Band::around_nothing(RM_HALF),
        gains: [Band::around_nothing(GAIN_HALF); 8],
        linearity: NONLINEARITY * BEND_SLOPE,
        common_mode: COMMON_MODE,
        offset: OFFSET_VOLTS,
        sensor_kelvin: SENSOR_KELVIN,
    };

    /// Error of a ratio of two voltages that were read with these gains. With the same gain it cancels.
    pub fn gain_ratio(&self, a: Gain, b: Gain) -> Band {
        if a == b {
            return Band::around_nothing(0.0);
        }
        let [a, b] = [a, b].map(|gain| self.gains[gain as usize]);
        Band { middle: a.middle - b.middle, half: rectangle::of_sum(a.half, b.half) }
    }

    /// Half width at 95 % of what a resistance read with these gains is uncertain by however long one looks, relative. What a
    /// stop rule must allow for.
    pub fn relative_half(&self, a: Gain, b: Gain) -> f64 {
        let gain = self.gain_ratio(a, b).half;
        self.rm.half.hypot(gain).hypot(self.linearity)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_same_gain_on_both_sides_cancels_and_two_differ_by_both_errors() {
        let mut meter = Meter::PUBLISHED;
        assert_eq!(meter.gain_ratio(Gain::X128, Gain::X128).half, 0.0);
        meter.gains[Gain::X16 as usize] = Band { middle: 4e-4, half: 3e-5 };
        meter.gains[Gain::X2 as usize] = Band { middle: -1e-4, half: 4e-5 };
        let Band { middle, half } = meter.gain_ratio(Gain::X16, Gain::X2);
        // Of 30 and 40 ppm: (70 − √(4 · 30 · 40 · 0.05)) / 0.95.
        assert!((middle - 5e-4).abs() < 1e-12 && (half - 57.38e-6).abs() < 1e-8, "{middle} {half}");
    }
}
