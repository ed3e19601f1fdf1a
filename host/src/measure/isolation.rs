//! Isolation from a settle shot: is it at least so many ohms, and, once the capacitor has charged, how many?
//!
//! While a bulk capacitor charges, its current adds to the leakage: the unit looks worse than it is. So a reading
//! that is good enough is good enough at once, but "too low" may be said only of the current that is left when
//! the charging current is taken off, and that is bounded by how fast the current still falls.

use copperwalk_wire::{
    Shot,
    codes::{ZEROS, decode},
    hardware::RM_OHMS,
};

use super::{Malformed, hum::Hum};
use crate::{
    meter::{
        Meter,
        noise::{MOST_FACTOR, code_step, conversion_noise},
    },
    plan::aim::charging_time,
    quantity::{Farads, Ohms, Seconds, Volts},
};

/// Coverage factor of the bounds, standard uncertainties: about 95 % (GUM, JCGM 100, 6.3.3).
const COVERAGE_FACTOR: f64 = 2.0;
/// Both pairs are read at the bias node of 1 V, so far from half the supply of 3.3 V, where the converter's offset is stated and
/// its zero was read.
const BIAS_OFF: Volts = Volts(0.65);
/// With no current that noise cannot explain and at most this across the unit, nothing drives it. The
/// source puts up to 180 mV across a unit that insulates; noise at gain 8 is 5 µV.
const UNDRIVEN: Volts = Volts(5e-3);
/// The means of two windows differ by at most so many peaks of a hum; no unit: each may hold it whole, with either sign.
const HUM_SWING: f64 = 2.0;
/// The voltage across the unit falls if it has fallen between two windows by more than so many standard
/// deviations of the difference; no unit. Noise alone does it three times in 10⁵ readings, and then only a
/// bound is missing.
const FALLING_SIGMAS: f64 = 4.0;
/// A capacitor still charges when its current is more than this share of the whole; no unit. Values and
/// bounds allow for any share: this one decides only whether charging is stated as the reason of a doubt.
const CHARGING_SHARE: f64 = 0.05;

/// What a settle shot says.
#[derive(Clone, PartialEq, Debug)]
pub struct Isolation {
    /// At least so insulating; `None` while the voltage falls, when a charged capacitor feeds the reading.
    pub at_least: Option<Ohms>,
    /// At most; `None` where the leakage is not distinguishable from nothing.
    pub at_most: Option<Ohms>,
    /// Best value; `None` above the range.
    pub resistance: Option<Ohms>,
    /// Did the source reach the unit at all?
    pub driven: bool,
    /// A capacitor was still charging when the time was up.
    pub still_charging: bool,
    /// Contact check of sense+ and sense-, codes.
    pub contacts: [i32; 2],
}

/// Reads a settle shot with this meter, behind which this capacitance may charge, while there is this hum.
pub fn read(
    meter: &Meter,
    shot: &Shot,
    codes: &[i32],
    behind: Farads,
    hum: Option<Hum>,
) -> Result<Isolation, Malformed> {
    let codes = decode(shot, codes)?.settle()?;
    let settle = codes.method;
    let size = usize::from(settle.window);
    let mean = |window: &[[i32; 2]]| {
        let [a, b] = codes.means(window);
        [a * code_step(settle.gain_a).0, b * code_step(settle.gain_b).0]
    };
    let mut latest = codes.windows().rev().map(mean);
    let (last, before) = (latest.next().unwrap_or_default(), latest.next().unwrap_or_default());

    // Four conversions do not tell their own noise.
    let sigma = MOST_FACTOR * conversion_noise(settle.gain_b, settle.rate).0;
    let [unit_volts, drop] = last;
    // Zeros read before the pairs have a noise of their own, and were read at another common mode than the pairs.
    let (zeros, common) = match codes.zeros {
        Some(_) => (1.0 / ZEROS as f64, meter.common_mode * BIAS_OFF.0),
        None => (0.0, 0.0),
    };
    let noise = COVERAGE_FACTOR * sigma * (1.0 / size as f64 + zeros).sqrt() + common;
    let relative = meter.relative_half(settle.gain_a, settle.gain_b);
    // Pair A is one reading with whatever the amplifier adds of itself.
    let unit_volts_off = meter.offset + meter.common_mode * BIAS_OFF.0;

    let window = Seconds(2.0 * size as f64 * f64::from(settle.rate.micros()) * 1e-6);
    let charging = charging_drop(before[1] - last[1], window, behind);
    let slope_noise = charging_drop(COVERAGE_FACTOR * sigma * (2.0 / size as f64).sqrt(), window, behind);
    let hum = hum.map_or(0.0, |hum| HUM_SWING * hum.peak.0);
    let steady = MOST_FACTOR * conversion_noise(settle.gain_a, settle.rate).0 * (2.0 / size as f64).sqrt();
    let falling = before[0] - last[0] > FALLING_SIGMAS * steady + hum;

    let leak = drop - charging;
    let uncertain = noise.hypot(slope_noise);
    let ohms_at = |volts: f64, drop: f64| (drop > 0.0).then(|| Ohms(RM_OHMS * volts.max(0.0) / drop));
    let least_volts = unit_volts - unit_volts_off;
    let most_volts = unit_volts + unit_volts_off;
    Ok(Isolation {
        at_least: ohms_at(least_volts, drop.max(0.0) + noise)
            .filter(|_| !falling)
            .map(|r| r * (1.0 - relative)),
        at_most: ohms_at(most_volts, leak - uncertain).map(|r| r * (1.0 + relative)),
        resistance: ohms_at(unit_volts, leak).filter(|_| leak > uncertain),
        driven: unit_volts.abs() > UNDRIVEN.0 || drop.abs() > noise,
        still_charging: charging > uncertain.max(CHARGING_SHARE * drop.abs()),
        contacts: codes.contacts,
    })
}

/// Voltage over Rm that a charging current still makes in the last window, if it fell by `fall` in a window:
/// an exponential that falls by ΔI in a time w carries ΔI / (e^(w/τ) − 1) afterwards.
fn charging_drop(fall: f64, window: Seconds, behind: Farads) -> f64 {
    let tau = charging_time(behind);
    if tau <= Seconds::ZERO { 0.0 } else { fall.max(0.0) / ((window / tau).exp_m1()) }
}

#[cfg(test)]
mod tests {
    use copperwalk_wire::{Contacts, Gain, Method, Settle};

    use super::*;
    use crate::plan::aim;

    const MICROFARADS_100: Farads = Farads(100e-6);

    /// Reads two windows without noise; of each the voltage across the unit and the voltage over Rm, volt.
    fn reading(windows: [[f64; 2]; 2], behind: Farads) -> Isolation {
        let (shot, settle) = shot(behind);
        let code = |volts: f64, gain: Gain| (volts / code_step(gain).0).round() as i32;
        let pairs = windows.into_iter().flat_map(|[unit, drop]| {
            let [unit, drop] = [code(unit, settle.gain_a), code(drop, settle.gain_b)];
            [unit, drop, unit, -drop].repeat(usize::from(settle.window) / 2)
        });
        // Contact checks, pairs.
        let codes: Vec<i32> = [0; 2].into_iter().chain(pairs).collect();
        read(&Meter::PUBLISHED, &shot, &codes, behind, None).unwrap()
    }

    fn shot(behind: Farads) -> (Shot, Settle) {
        let shot = aim::isolation(Contacts::default(), Ohms(100e3), behind);
        let Method::Settle(settle) = shot.method else { panic!("{shot:?}") };
        (shot, settle)
    }

    /// Standard deviation of a mean over `count` conversions at a gain, volt.
    fn sigma(gain: Gain, count: usize) -> f64 {
        conversion_noise(gain, shot(Farads::ZERO).1.rate).0 / (count as f64).sqrt()
    }

    #[test]
    fn a_leak_just_above_two_standard_deviations_is_bounded_and_one_just_below_is_not() {
        let settle = shot(Farads::ZERO).1;
        let sigma = MOST_FACTOR * sigma(settle.gain_b, settle.window.into());
        for (sigmas, bounded) in [(1.9, false), (2.1, true)] {
            let found = reading([[0.15, sigmas * sigma]; 2], Farads::ZERO);
            assert_eq!(found.at_most.is_some(), bounded, "{sigmas}: {found:?}");
            assert_eq!(found.resistance.is_some(), bounded, "{sigmas}: {found:?}");
        }
    }

    /// The margin of `plan::aim`: with it, the least value the controller passes is good to the host; without, it is not.
    #[test]
    fn what_the_controller_just_passes_is_good_to_the_host_and_would_not_be_without_its_margin() {
        let settle = shot(Farads::ZERO).1;
        let least = f64::from(settle.pass) * RM_OHMS * f64::from(settle.gain_b.factor())
            / f64::from(settle.gain_a.factor());
        for (ohms, good) in [(1.001 * least, true), (least / 1.05, false)] {
            let unit_volts = 0.18 * ohms / (ohms + RM_OHMS + 180.0);
            let found = reading([[unit_volts, unit_volts * RM_OHMS / ohms]; 2], Farads::ZERO);
            let proven = found.at_least.unwrap();
            assert_eq!(proven >= Ohms(100e3), good, "{ohms} Ω: {proven:?}");
        }
    }

    #[test]
    fn just_above_five_millivolts_without_current_the_unit_is_driven_and_just_below_it_is_not() {
        for (millivolts, driven) in [(4.8, false), (5.2, true), (-4.8, false), (-5.2, true)] {
            assert_eq!(
                reading([[millivolts * 1e-3, 0.0]; 2], Farads::ZERO).driven,
                driven,
                "{millivolts} mV"
            );
        }
    }

    #[test]
    fn a_voltage_that_falls_by_just_over_four_standard_deviations_proves_no_least_value_and_just_under_does()
    {
        let settle = shot(Farads::ZERO).1;
        let sigma = MOST_FACTOR * 2.0_f64.sqrt() * sigma(settle.gain_a, settle.window.into());
        for (sigmas, proves) in [(3.8, true), (4.2, false)] {
            let found = reading([[0.15 + sigmas * sigma, 1e-6], [0.15, 1e-6]], Farads::ZERO);
            assert_eq!(found.at_least.is_some(), proves, "{sigmas}: {found:?}");
        }
    }

    #[test]
    fn a_charging_current_just_above_a_twentieth_is_still_charging_and_one_just_below_is_not() {
        let settle = shot(MICROFARADS_100).1;
        let window = Seconds(2.0 * f64::from(settle.window) * f64::from(settle.rate.micros()) * 1e-6);
        let earlier = (window / charging_time(MICROFARADS_100)).exp();
        let drop = 2e-3;
        for (share, charging) in [(0.048, false), (0.052, true)] {
            let before = drop * (1.0 - share + share * earlier);
            let found = reading([[0.15, before], [0.15, drop]], MICROFARADS_100);
            assert_eq!(found.still_charging, charging, "{share}: {found:?}");
        }
    }
}
