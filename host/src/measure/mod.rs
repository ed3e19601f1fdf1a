//! From raw codes to ohms with an expanded uncertainty.
//!
//! Pure functions over a shot and its codes, so that stored sweeps can be worked out again. Read [`ratio`] first:
//! it holds R = Rm · V_A / V_B. [`uncertainty`] says how far to trust it, [`isolation`] reads high resistances
//! past a charging capacitor, [`one_way`] diodes, [`kirchhoff`] tells segments that share their current, [`hum`] finds the mains in the sense loop, [`platinum`] makes a temperature of a resistance.

pub mod hum;
pub mod isolation;
pub mod kirchhoff;
pub mod one_way;
pub mod platinum;
pub mod ratio;
pub mod uncertainty;

use copperwalk_wire::Gain;

use crate::{
    meter::noise::code_step,
    quantity::{Celsius, Volts},
};

pub use copperwalk_wire::codes::Malformed;

/// The voltage that a code stands for.
pub fn voltage(code: i32, gain: Gain) -> Volts {
    f64::from(code) * code_step(gain)
}

/// The ADC's end codes: what is beyond them is unknown.
pub fn saturated(code: i32) -> bool {
    code >= 0x7F_FFFF || code <= -0x80_0000
}

/// Air temperature from the on-chip sensor: 14 bits left-justified in 24, 0.03125 °C a step.
pub fn temperature(code: i32) -> Celsius {
    Celsius(f64::from(code >> 10) * 0.03125)
}
