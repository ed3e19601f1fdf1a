//! Noise of one conversion: the one table that the plan and the uncertainty share.

use copperwalk_wire::{Gain, Rate, hardware::VREF_VOLTS};

use crate::quantity::Volts;

/// Input-referred noise, µV rms: rows 20 to 1000 SPS, columns gain 1 to 128. Normal mode, amplifier on, internal
/// reference, 3.3 V. Source: ADS1220 data sheet (SBAS501), noise table; the gain-128 cells at 20, 90 and 175 SPS
/// were seen quoted, the others are from memory. A sweep compares them with its own spread.
const MICROVOLTS_RMS: [[f64; 8]; 7] = [
    [3.71, 1.54, 1.15, 0.80, 0.35, 0.23, 0.10, 0.09],
    [7.36, 2.93, 1.71, 0.88, 0.50, 0.29, 0.19, 0.12],
    [10.55, 4.50, 2.43, 1.51, 0.65, 0.42, 0.27, 0.18],
    [11.90, 6.45, 3.26, 1.82, 1.01, 0.57, 0.34, 0.26],
    [19.19, 9.38, 4.25, 2.68, 1.45, 0.79, 0.50, 0.34],
    [24.78, 13.35, 6.68, 3.66, 2.10, 1.14, 0.70, 0.54],
    [37.53, 18.87, 9.53, 5.37, 2.95, 1.65, 1.03, 0.70],
];

/// Noise of a converter over that of the table, at most, no unit: the table is typical, no worst case is published, and twice the
/// typical is common practice for a bound.
pub const MOST_FACTOR: f64 = 2.0;

/// Standard deviation of one conversion referred to the input.
pub fn conversion_noise(gain: Gain, rate: Rate) -> Volts {
    Volts(MICROVOLTS_RMS[rate as usize][gain as usize] * 1e-6)
}

/// Voltage of one code step: Vref / (gain · 2²³).
pub fn code_step(gain: Gain) -> Volts {
    Volts(VREF_VOLTS) / (f64::from(gain.factor()) * f64::from(1 << 23))
}

/// Standard deviation of one conversion in codes, rounding included.
pub fn noise_codes(gain: Gain, rate: Rate) -> f64 {
    (conversion_noise(gain, rate) / code_step(gain)).hypot((1.0_f64 / 12.0).sqrt())
}
