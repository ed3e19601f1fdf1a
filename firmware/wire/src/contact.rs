//! The contact check: does a sense pin touch the unit?
//!
//! While no source is on, the unit rests on the bias node through the force contacts. The burn-out current is then sent
//! into one sense bus at a time: a pin that touches is held at the bias node, one that does not is lifted to the supply
//! rail. Controller and host judge by this one rule.

use crate::hardware::{BIAS_VOLTS, CONTACT_VOLTS, VREF_VOLTS};

/// Steps of the converter from zero to its reference.
pub const FULL_SCALE: f64 = 8_388_608.0;

/// Code of a voltage at gain 1, the gain of every contact check.
pub const fn code_of(volts: f64) -> i32 {
    (volts / VREF_VOLTS * FULL_SCALE) as i32
}

/// Code of the bias node where no residual check has measured it.
pub const NOMINAL_BIAS: i32 = code_of(BIAS_VOLTS);

/// Lift at which a contact no longer counts as touching, in codes.
const CONTACT: i32 = code_of(CONTACT_VOLTS);

/// Does the contact touch? It does if the burn-out current lifts its bus by less than [`CONTACT_VOLTS`] above the bias
/// node. `alone` is the code of the bus, `bias` that of the bias node, both at gain 1.
///
/// A bus below the bias node touches too: only something on the unit can have pulled it there.
pub const fn touches(alone: i32, bias: i32) -> bool {
    alone.saturating_sub(bias) < CONTACT
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_threshold_is_25_millivolts_above_the_bias_node() {
        // Steps of 0.244140625 µV: 25 mV and 1 V.
        assert_eq!((CONTACT, NOMINAL_BIAS), (102_400, 4_096_000));
        assert!(touches(NOMINAL_BIAS + 102_399, NOMINAL_BIAS));
        assert!(!touches(NOMINAL_BIAS + 102_400, NOMINAL_BIAS));
        assert!(touches(NOMINAL_BIAS - 1_000_000, NOMINAL_BIAS));
    }

    #[test]
    fn codes_that_no_converter_gives_do_not_overflow() {
        assert!(touches(i32::MIN, i32::MAX));
        assert!(!touches(i32::MAX, i32::MIN));
    }
}
