//! Isolation from a settle shot: is it at least so many ohms, and, once the capacitor has charged, how many?
//!
//! While a bulk capacitor charges, its current adds to the leakage: the unit looks worse than it is. So a reading
//! that is good enough is good enough at once, but "too low" may be said only of the current that is left when
//! the charging current is taken off, and that is bounded by how fast the current still falls.

use copperwalk_wire::{
    Gain, Shot,
    codes::{ZEROS, decode},
    hardware::RM_OHMS,
};

use super::{Malformed, volts};
use crate::{
    meter::{noise::noise_volts, relative_standard},
    plan::aim::charging_seconds,
};

/// Coverage factor for the bounds.
const COVERAGE_FACTOR: f64 = 2.0;

/// What a settle shot says.
#[derive(Clone, PartialEq, Debug)]
pub struct Isolation {
    /// At least so insulating, ohm; `None` while the voltage falls, when a charged capacitor feeds the reading.
    pub at_least_ohms: Option<f64>,
    /// At most, ohm; `None` where the leakage is not distinguishable from nothing.
    pub at_most_ohms: Option<f64>,
    /// Best value, ohm; `None` above the range.
    pub ohms: Option<f64>,
    /// Did the source reach the unit at all?
    pub driven: bool,
    /// A capacitor was still charging when the time was up.
    pub still_charging: bool,
    /// Contact check of sense+ and sense-, codes.
    pub contacts: [i32; 2],
}

/// With neither a current nor this much across the unit, nothing drives it, volt.
const UNDRIVEN_VOLTS: f64 = 5e-3;

/// Reads a settle shot behind which `farads` of capacitance may charge.
pub fn read(shot: &Shot, codes: &[i32], farads: f64) -> Result<Isolation, Malformed> {
    let codes = decode(shot, codes)?.settle()?;
    let settle = codes.method;
    let size = usize::from(settle.window);
    let mean = |window: &[[i32; 2]]| {
        let sum = |pair: usize, gain: Gain| {
            window.iter().map(|codes| volts(codes[pair], gain)).sum::<f64>() / size as f64
        };
        [sum(0, settle.gain_a), sum(1, settle.gain_b)]
    };
    let mut latest = codes.windows().rev().map(mean);
    let (last, before) = (latest.next().unwrap_or_default(), latest.next().unwrap_or_default());

    let zero = codes.zeros.iter().map(|&code| volts(code, settle.gain_b)).sum::<f64>() / ZEROS as f64;
    let sigma = noise_volts(settle.gain_b, settle.rate);
    let (unit_volts, drop) = (last[0], last[1] - zero);
    let noise = COVERAGE_FACTOR * sigma * (1.0 / size as f64 + 1.0 / ZEROS as f64).sqrt();
    let relative = COVERAGE_FACTOR * relative_standard(false);

    let window_seconds = 2.0 * size as f64 * f64::from(settle.rate.micros()) * 1e-6;
    let charging = charging_drop(before[1] - last[1], window_seconds, farads);
    let slope_noise =
        charging_drop(COVERAGE_FACTOR * sigma * (2.0 / size as f64).sqrt(), window_seconds, farads);
    let falling =
        before[0] - last[0] > 4.0 * noise_volts(settle.gain_a, settle.rate) * (2.0 / size as f64).sqrt();

    let leak = drop - charging;
    let uncertain = noise.hypot(slope_noise);
    let ohms_at = |drop: f64| (drop > 0.0).then(|| RM_OHMS * unit_volts.max(0.0) / drop);
    Ok(Isolation {
        at_least_ohms: ohms_at(drop.max(0.0) + noise).filter(|_| !falling).map(|r| r * (1.0 - relative)),
        at_most_ohms: ohms_at(leak - uncertain).map(|r| r * (1.0 + relative)),
        ohms: ohms_at(leak).filter(|_| leak > uncertain),
        driven: unit_volts.abs() > UNDRIVEN_VOLTS || drop.abs() > noise,
        still_charging: charging > uncertain.max(0.05 * drop.abs()),
        contacts: codes.contacts,
    })
}

/// Voltage over Rm that a charging current still makes in the last window, if it fell by `fall` in a window:
/// an exponential that falls by ΔI in a time w carries ΔI / (e^(w/τ) − 1) afterwards.
fn charging_drop(fall: f64, window_seconds: f64, farads: f64) -> f64 {
    let tau = charging_seconds(farads);
    if tau <= 0.0 { 0.0 } else { fall.max(0.0) / ((window_seconds / tau).exp_m1()) }
}
