//! Current and temperature rise of copper on a board: I = k·ΔT^0.44·A^0.725, with A in square mils and k = 0.048 on outer
//! layers, 0.024 on inner ones (IPC-2221).

use crate::quantity::Amps;

const MM_PER_MIL: f64 = 0.0254;
const RISE_POWER: f64 = 0.44;
const AREA_POWER: f64 = 0.725;

/// The current that raises a trace by one kelvin.
fn for_one_kelvin(width_mm: f64, copper_um: f64, outer: bool) -> Amps {
    let k = if outer { 0.048 } else { 0.024 };
    let square_mils = (width_mm / MM_PER_MIL) * (copper_um * 1e-3 / MM_PER_MIL);
    Amps(k * square_mils.powf(AREA_POWER))
}

/// Current a trace carries for a given rise of its temperature.
pub fn current(width_mm: f64, copper_um: f64, outer: bool, rise_kelvin: f64) -> Amps {
    for_one_kelvin(width_mm, copper_um, outer) * rise_kelvin.powf(RISE_POWER)
}

/// Rise of a trace's temperature, kelvin.
pub fn rise_kelvin(width_mm: f64, copper_um: f64, outer: bool, current: Amps) -> f64 {
    (current / for_one_kelvin(width_mm, copper_um, outer)).powf(1.0 / RISE_POWER)
}
