//! The bench's meter as its data sheets and its design state it: what a plan may count on before anything is measured,
//! and what a reading's uncertainty is made of. [`noise`] holds the converter's noise.

pub mod noise;

use copperwalk_wire::hardware::RM_TOLERANCE;

use crate::board::expected::ALPHA_COPPER;
use crate::quantity::{Ohms, Volts};

/// Standard uncertainty of the ratio of two different amplifier gains, relative. ADS1220: gain error 0.01 % a gain
/// typically (from memory), hence √2 times that.
pub const GAIN_RATIO_STANDARD: f64 = 1.41e-4;
/// Standard uncertainty of the unit's temperature, kelvin: the sensor trimmed at one point when the bench is
/// built, the unit at rest in the same air.
pub const TEMPERATURE_STANDARD_KELVIN: f64 = 0.1;
/// What current reversal leaves of thermal EMF (standard). Delta mode cancels a constant and a linear
/// drift; of an exponential drift of 5 µV with a time constant of a second, picovolts remain.
pub const EMF_STANDARD: Volts = Volts(1e-9);
/// Least isolation between the sense lines; R / this is the relative error it can cause.
pub const LEAKAGE: Ohms = Ohms(1e9);
/// The relative standard uncertainty that does not shrink with looking longer: what a stop rule must allow for.
pub fn relative_standard(copper: bool) -> f64 {
    let temperature = if copper { ALPHA_COPPER * TEMPERATURE_STANDARD_KELVIN } else { 0.0 };
    (RM_TOLERANCE / 3.0_f64.sqrt()).hypot(GAIN_RATIO_STANDARD).hypot(temperature)
}
