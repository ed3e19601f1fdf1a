//! Is the unit dead? The one judgement the controller makes by itself.
//!
//! Its four codes are the bias node, each sense pin alone with the burn-out current, and the voltage between
//! the sense pins. A pin that touches is held at the bias node by its force pin; one that does not is lifted to
//! the rail. Nothing is excited unless all contacts touch and the voltage is small.

use copperwalk_wire::{
    codes,
    contact::{code_of, touches},
    hardware::RESIDUAL_VOLTS,
};

/// Highest code there is: an input at or above the reference.
const SATURATED: i32 = 0x7F_FFFF;
/// Voltage at which the unit no longer counts as dead, in codes.
const RESIDUAL: i32 = code_of(RESIDUAL_VOLTS);

/// What the residual check found.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Residual {
    /// All contacts touch and there is no voltage: the unit may be excited.
    Dead,
    /// There is voltage on the unit.
    Alive,
    /// A contact does not touch, so nothing is known.
    NoContact,
}

/// Judges the codes of a residual check.
pub fn judge(codes::Residual { bias, contacts, across }: codes::Residual) -> Residual {
    let voltage = across.saturating_abs() >= RESIDUAL;
    let all_touch = contacts.iter().all(|&alone| touches(alone, bias));
    // An open pin goes to the rail, and its neighbour either does too or stays at the bias node. A live unit
    // cannot do that: its current through clamp and Rm moves both pins, in opposite directions.
    let open_or_still = |&alone: &i32| alone >= SATURATED || (touches(alone, bias) && touches(bias, alone));
    match (all_touch, voltage) {
        (true, false) => Residual::Dead,
        (true, true) => Residual::Alive,
        (false, true) if !contacts.iter().all(open_or_still) => Residual::Alive,
        (false, _) => Residual::NoContact,
    }
}

#[cfg(test)]
mod tests {
    use copperwalk_wire::hardware::{BIAS_VOLTS, ISOLATION_CLAMP_OHMS, RM_OHMS};

    use super::*;

    fn code(volts: f64) -> i32 {
        code_of(volts).clamp(-0x80_0000, SATURATED)
    }

    fn check(plus: f64, minus: f64, sense: f64) -> Residual {
        let contacts = [code(plus), code(minus)];
        judge(codes::Residual { bias: code(BIAS_VOLTS), contacts, across: code(sense) })
    }

    #[test]
    fn thresholds_are_those_of_the_reference_bench() {
        // 50 mV in steps of 0.244140625 µV.
        assert_eq!(RESIDUAL, 204_800);
        assert_eq!(check(1.0, 1.0, 0.0), Residual::Dead);
        assert_eq!(check(1.0249, 1.0249, 0.0499), Residual::Dead);
        assert_eq!(check(1.0, 1.0, -0.0501), Residual::Alive);
        assert_eq!(check(1.0251, 1.0, 0.0), Residual::NoContact);
        assert_eq!(check(1.0, 1.0251, 0.0), Residual::NoContact);
    }

    /// A source in the unit drives current through clamp and Rm; the pins move as that divider says.
    #[test]
    fn batteries_of_either_sign_are_alive_not_badly_touched() {
        for volts in [0.06, 0.2, 0.5, 1.5, 3.0, 12.0, -0.06, -0.2, -0.5, -1.5, -3.0, -12.0] {
            let share = volts / (ISOLATION_CLAMP_OHMS + RM_OHMS);
            let pin = |volts: f64| volts.clamp(-0.3, 3.6); // the ADC's own clamps
            let plus = pin(BIAS_VOLTS + share * ISOLATION_CLAMP_OHMS);
            let minus = pin(BIAS_VOLTS - share * RM_OHMS);
            assert_eq!(check(plus, minus, plus - minus), Residual::Alive, "{volts} V");
        }
    }

    #[test]
    fn open_pins_are_no_contact_wherever_they_float_afterwards() {
        for floating in [0.0, 2.0, -0.9] {
            assert_eq!(check(3.3, 1.0, floating), Residual::NoContact);
            assert_eq!(check(1.0, 3.3, floating), Residual::NoContact);
            assert_eq!(check(3.3, 3.3, floating), Residual::NoContact);
        }
    }
}
