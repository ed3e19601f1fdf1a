//! Current and temperature rise of copper on a board by IPC-2152, whose charts hold for outer and inner layers alike. The standard prints
//! charts and no formula; this one fits its general chart for a conductor alone on a board in still air (from memory, as calculators
//! in public use have it): A = (117.555·ΔT^−0.913 + 1.15)·I^(0.84·ΔT^−0.108 + 1.159), A in square mils.

use crate::quantity::Amps;

const MM_PER_MIL: f64 = 0.0254;

/// Current a trace carries for a given rise of its temperature, kelvin.
pub fn current(width_mm: f64, copper_um: f64, rise_kelvin: f64) -> Amps {
    let square_mils = (width_mm / MM_PER_MIL) * (copper_um * 1e-3 / MM_PER_MIL);
    let for_one_ampere = 117.555 * rise_kelvin.powf(-0.913) + 1.15;
    let power = 0.84 * rise_kelvin.powf(-0.108) + 1.159;
    Amps((square_mils / for_one_ampere).powf(power.recip()))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// At 10 K an ampere wants 15.5 square mils, and two want 3.5 times as much: the formula by hand.
    #[test]
    fn the_formula_is_worked_back() {
        let width_mm = |square_mils: f64| square_mils * MM_PER_MIL * MM_PER_MIL / 35e-3;
        let one = current(width_mm(15.512), 35.0, 10.0);
        assert!((one.0 - 1.0).abs() < 1e-3, "{one:?}");
        let two = current(width_mm(15.512 * 2f64.powf(1.8141)), 35.0, 10.0);
        assert!((two.0 - 2.0).abs() < 2e-3, "{two:?}");
    }
}
