//! Aiming a shot: excitation, gains, data rate and stop rule, from what is to be measured and its limits.

use copperwalk_wire::{
    Contacts, Gain, Method, Rate, Ratio, Settle, Shot, Source, Stop, Watch,
    hardware::{
        DRY_AMPS, DRY_CLAMP_OHMS, ISOLATION_CLAMP_OHMS, LOAD_AMPS, RM_OHMS, VREF_VOLTS, wait::SETTLE_US,
    },
};

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use crate::{
    board::Segment,
    limits::{LimitOrigin, Limits},
    meter::{
        Meter, looks,
        noise::{MOST_FACTOR, code_step, noise_codes},
    },
    quantity::{Amps, Farads, Henries, Ohms, Seconds, Volts},
};

/// How long to look.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Sampling {
    /// Stop as soon as the verdict is clear.
    #[default]
    Quick,
    /// Take the most triples of every shot.
    Full,
}

/// A limit above this is read with a milliampere without clamp. Behind the clamp of 18 Ω less than half
/// of the milliampere would flow, and in series with the 10 Ω of Rm the 50 mA of the load source need more
/// than its 1 V.
const WIDE_ABOVE: Ohms = Ohms(10.0);
/// Contact limits under this need the slower, quieter rate. At the faster one the fewest triples leave
/// 0.8 mΩ of noise (coverage factor 2), 8 % of 10 mΩ; the slower one halves that in three times the
/// conversion time, where more triples would take four times as long.
const QUIET_BELOW: Ohms = Ohms(10e-3);
/// End to end, an expanded uncertainty of this share of the healthy value is enough; no unit. The reading
/// only has to tell a path from one above its gate: each segment is settled by a shot of its own.
const END_TO_END_CLOSE: f64 = 0.1;
/// Noise that a stop rule allows for over that of the table, no unit: half way between the typical converter and twice
/// that. A noisier one leaves some readings to the long look.
const STOP_NOISE: f64 = 1.5;
/// Share of its limit that a reading's margin may be; no unit. The margin has the factor of the looks and half as much noise again,
/// so that the expanded uncertainty is a tenth of the limit or less.
const CLOSE: f64 = 0.15;
/// Coverage factor of an isolation's windows, standard uncertainties: about 95 % (GUM, JCGM 100, 6.3.3).
const STOP_COVERAGE: f64 = 2.0;
/// What pair A of an isolation may be off by: offset, 30 µV, and common mode, 20 µV, over the least it reads, 20 mV at 10 kΩ
/// behind the clamp and far more above. As the host will reckon.
const ISOLATION_OFF: f64 = 0.5e-3;

/// End to end where capacitors may bridge an open and every half-cycle waits for them.
const PAST_CAPACITOR_TRIPLES: Triples = Triples { quick: 2, most: 4 };
/// Time constants until a capacitor's current is lost in the noise: e⁻¹¹ of 0.6 mA is 10 nA, 0.1 µV over Rm.
const SILENT_TIME_CONSTANTS: f64 = 11.0;

/// Pairs in a window of an isolation shot: at 100 kΩ the leakage stands twenty standard deviations, of twice the typical noise, above
/// the mean of four, which leaves 8 % (coverage factor 2); two would not do.
const ISOLATION_WINDOW: u8 = 4;
/// How much wider than the host's own uncertainty the controller's margin is, over ratios; no unit. The host reckons
/// the noise at the value that was read, which is higher than the limit; without the margin what the controller
/// calls good could be just short of good to the host.
const ISOLATION_MARGIN: f64 = 1.05;
/// A current that still falls by this share of itself in a time constant carries as much charging current; no unit.
/// Half a per cent is lost in the uncertainty of any isolation.
const CHARGE_SHARE: f64 = 0.005;
/// The least change from window to window that can be asked for, relative: of the largest current it is as much as
/// the noise of a window, and less would never stand still.
const LEAST_SLOPE: f64 = 1.45e-4;
/// Time constants of charging that an isolation shot lasts at most; no unit. After nine the charging current is lost in
/// the noise of a window; half as many again, for a capacitor of one and a half times what the file says.
const CHARGING_TIME_CONSTANTS: f64 = 14.0;
/// An isolation shot may last so long at least and at most, second. The least is enough for 25 µF that no file
/// mentions; the most is what an operator waits for one reading, and above 1.1 mF it may end with "still charging".
const ISOLATION_SECONDS: [f64; 2] = [0.06, 4.0];

/// Triples: at least and at most.
#[derive(Clone, Copy)]
struct Triples {
    quick: u8,
    most: u8,
}

/// Copper and parts under load: two triples show a step between them.
const LOAD_TRIPLES: Triples = Triples { quick: 2, most: 12 };
/// Contacts are looked at longer, because they are what flickers.
const DRY_TRIPLES: Triples = Triples { quick: 3, most: 12 };
/// A Pt1000 at 80 °C (IEC 60751), the warmest that a bed is.
const PT1000_MOST: Ohms = Ohms(1309.0);
/// End to end.
const END_TO_END_TRIPLES: Triples = Triples { quick: 4, most: 12 };

/// The excitation a segment is normally read with.
pub fn source_for((segment, limits): (&Segment, &Limits)) -> Source {
    match limits.max {
        max if max > WIDE_ABOVE => Source::Wide,
        _ if segment.kind.is_contact() => Source::Dry,
        _ => Source::Load,
    }
}

/// A segment between two sense contacts. `unsure`: half width, relative to its limit, of what the reading is uncertain by apart
/// from the meter.
pub fn segment(
    limits: &Limits,
    contacts: Contacts,
    swapped: bool,
    source: Source,
    wait_us: u16,
    unsure: f64,
    sampling: Sampling,
) -> Shot {
    let max = limits.max;
    let (gain_a, gain_b, rate, triples) = match source {
        Source::Load | Source::Off | Source::Isolation => {
            // Three times the limit stays in range, so that a segment that is merely high gets a value.
            (gain_for(3.0 * max * Amps(LOAD_AMPS)), Gain::X2, Rate::Sps1000, LOAD_TRIPLES)
        }
        Source::Wide => (gain_for(3.0 * max * Amps(DRY_AMPS)), Gain::X64, Rate::Sps330, DRY_TRIPLES),
        Source::Dry if sampling == Sampling::Full || max < QUIET_BELOW => {
            (Gain::X128, Gain::X128, Rate::Sps330, DRY_TRIPLES)
        }
        Source::Dry => (Gain::X128, Gain::X128, Rate::Sps1000, DRY_TRIPLES),
    };
    ratio(
        contacts,
        source,
        Aim { gain_a, gain_b, rate, triples, wait_us, ends: false, gate: None },
        sampling,
        |scale| {
            stop_rule(limits, swapped, unsure, [gain_a, gain_b], rate, (triples.quick, triples.most), scale)
        },
    )
}

/// The same segment read dry with a gain that nothing saturates: 19 mV at most stands between the sense pins.
pub fn look_dry(contacts: Contacts, wait_us: u16) -> Shot {
    // Where every half-cycle waits for a capacitor, one triple has to do.
    let triples = if wait_us > 0 { 1 } else { DRY_TRIPLES.quick };
    let aim = Aim {
        gain_a: Gain::X64,
        gain_b: Gain::X64,
        rate: Rate::Sps1000,
        triples: Triples { quick: triples, most: triples },
        wait_us,
        ends: false,
        gate: None,
    };
    ratio(contacts, Source::Dry, aim, Sampling::Full, |_| None)
}

/// Pairs of the first shot of a watched segment: half a second, after which the converter's true speed is known.
const FIRST_PAIRS: u16 = 230;
/// Pairs of each one after it: four seconds. The longer, the fewer pauses of 0.4 ms between two; the shorter, the sooner it shows that
/// the line has no room.
const NEXT_PAIRS: u16 = 1_840;

/// A segment watched without a pause, by shots of which each begins where the one before it ends. Always dry: whatever comes and goes is a
/// contact, also a crack in copper, and load current through one breaks its film or welds its tips.
pub fn watch(contacts: Contacts, pairs: u32) -> Vec<Shot> {
    let mut shots = Vec::new();
    let mut left = pairs;
    while left > 0 {
        let most = if shots.is_empty() { FIRST_PAIRS } else { NEXT_PAIRS };
        let pairs = u16::try_from(left).unwrap_or(most).min(most);
        let watch = Watch { gain_a: WATCH_GAINS[0], gain_b: WATCH_GAINS[1], rate: WATCH_RATE, pairs };
        shots.push(Shot { contacts, source: Source::Dry, method: Method::Watch(watch) });
        left -= u32::from(pairs);
    }
    shots
}

/// Gains of pair A and pair B of a watched segment. At 64 a source that stands open, 19 mV at most, stays in range, and how far the
/// segment opened can be told; at 128 the 6.8 mV over Rm fill half the range.
pub const WATCH_GAINS: [Gain; 2] = [Gain::X64, Gain::X128];
/// The fastest there is.
pub const WATCH_RATE: Rate = Rate::Sps1000;

/// End to end over a stretch, dry, before any load current; a ratio above `gate` ends the run there.
pub fn whole(contacts: Contacts, expected: Ohms, gate: Ohms, wait_us: u16, sampling: Sampling) -> Shot {
    let (gain, rate) = (Gain::X64, Rate::Sps1000);
    let aim = Aim {
        gain_a: gain,
        gain_b: gain,
        rate,
        triples: if wait_us > 0 { PAST_CAPACITOR_TRIPLES } else { END_TO_END_TRIPLES },
        wait_us,
        ends: true,
        gate: Some((gate / Ohms(RM_OHMS)) as f32),
    };
    ratio(contacts, Source::Dry, aim, sampling, |scale| {
        let limits = Limits { min: None, max: gate, origin: LimitOrigin::Derived };
        let looks = (END_TO_END_TRIPLES.quick, END_TO_END_TRIPLES.most);
        let mut stop = stop_rule(&limits, false, 0.0, [gain, gain], rate, looks, scale)?;
        stop.close = (expected.0 * END_TO_END_CLOSE * scale) as f32;
        Some(stop)
    })
}

/// An isolation that failed, in the dry range: does it conduct there too?
pub fn below(contacts: Contacts, bulk: Farads) -> Shot {
    let wait_us = bridge_wait_us(1.25 * bulk, Source::Dry);
    // Where every half-cycle waits for a capacitor, few have to do.
    let count = if wait_us > 0 { PAST_CAPACITOR_TRIPLES.quick } else { DRY_TRIPLES.most };
    let triples = Triples { quick: count, most: count };
    let (gain_a, gain_b, rate) = (Gain::X64, Gain::X128, Rate::Sps330);
    let aim = Aim { gain_a, gain_b, rate, triples, wait_us, ends: false, gate: None };
    ratio(contacts, Source::Dry, aim, Sampling::Full, |_| None)
}

/// A current stands so long after a change, second for each henry in its path. Under load the source lifts the current with what its 1 V
/// leaves over Rm and an ohm or two, 0.35 V: 0.14 s/H to 50 mA. Then, and for a milliampere from the start, what is left dies against the
/// damper's 33 Ω, or the dry clamp's 28 Ω, to 50 ppm within eleven time constants: 0.36 s/H. A choke may have a third more than it
/// says.
const SETTLING_SECONDS_PER_HENRY: f64 = 1.35 * (0.14 + 0.36);

/// What a reading has to wait longer than usual for a path of this inductance, µs.
pub fn settling_us(path: Henries) -> u16 {
    let micros = SETTLING_SECONDS_PER_HENRY * path.0 * 1e6;
    if micros > f64::from(SETTLE_US) { micros.min(f64::from(u16::MAX)) as u16 } else { 0 }
}

/// The same shot with at least this wait after every change of its current, µs.
pub fn waiting(mut shot: Shot, wait_us: u16) -> Shot {
    if let Method::Ratio(ratio) = &mut shot.method {
        ratio.wait_us = ratio.wait_us.max(wait_us);
    }
    shot
}

/// Wait after every change of the current where it had not settled, µs. 10 mH against Rm and the damper are still after a few milliseconds,
/// and with 470 µF ring at 73 Hz with a time constant of 2 ms; the rest of a choke's core is slower.
pub const PATIENT_US: u16 = 30_000;

/// Triples of a reading in both directions: three half-cycles each.
const ONE_WAY_TRIPLES: u8 = 2;

/// A diode, or a transistor without power, in both directions. At a milliampere, the source reaches well beyond a silicon diode's forward
/// voltage; under load, what Rm and the contacts leave of 1 V drives a Schottky diode alone.
pub fn one_way(contacts: Contacts, source: Source) -> Shot {
    let (gain_b, rate) = match source {
        Source::Load => (Gain::X2, Rate::Sps1000),
        _ => (Gain::X64, Rate::Sps330),
    };
    let triples = Triples { quick: ONE_WAY_TRIPLES, most: ONE_WAY_TRIPLES };
    // Reversed, the source's whole reach stands across it.
    let aim = Aim { gain_a: Gain::X1, gain_b, rate, triples, wait_us: 0, ends: false, gate: None };
    ratio(contacts, source, aim, Sampling::Full, |_| None)
}

/// Triples of a reading in a mesh. No single one decides anything, so each is as long as the others.
const MESH_TRIPLES: Triples = Triples { quick: 4, most: 12 };

/// A segment of a mesh, of which no segment reads more than `most` over the whole current. All are read with the same gains, so that what
/// these are off by scales the whole mesh and no currents seem to be missing.
pub fn mesh(most: Ohms, contacts: Contacts, source: Source, wait_us: u16, sampling: Sampling) -> Shot {
    let (gain_a, gain_b, rate) = match source {
        Source::Load | Source::Off | Source::Isolation => {
            (gain_for(most * Amps(LOAD_AMPS)), Gain::X2, Rate::Sps1000)
        }
        Source::Wide => (gain_for(most * Amps(DRY_AMPS)), Gain::X64, Rate::Sps330),
        Source::Dry => (Gain::X128, Gain::X128, Rate::Sps330),
    };
    let aim = Aim { gain_a, gain_b, rate, triples: MESH_TRIPLES, wait_us, ends: false, gate: None };
    ratio(contacts, source, aim, sampling, |_| None)
}

/// A check standard, under load, to a tenth of its tolerance or the most triples.
pub fn standard(contacts: Contacts, stated: Ohms, tolerance: f64, sampling: Sampling) -> Shot {
    let (gain_a, gain_b, rate) = (gain_for(1.5 * stated * Amps(LOAD_AMPS)), Gain::X2, Rate::Sps1000);
    let aim = Aim { gain_a, gain_b, rate, triples: LOAD_TRIPLES, wait_us: 0, ends: false, gate: None };
    ratio(contacts, Source::Load, aim, sampling, |scale| {
        let limits = Limits {
            min: Some(stated * (1.0 - tolerance.max(0.01))),
            max: stated * (1.0 + tolerance.max(0.01)),
            origin: LimitOrigin::Stated,
        };
        let looks = (LOAD_TRIPLES.quick, LOAD_TRIPLES.most);
        stop_rule(&limits, false, 0.0, [gain_a, gain_b], rate, looks, scale)
    })
}

/// A Pt1000 with a milliampere. Three triples leave noise of a hundredth of a kelvin, and the meter's own error is forty times
/// that: there is nothing to decide.
pub fn thermometer(contacts: Contacts) -> Shot {
    let aim = Aim {
        gain_a: gain_for(PT1000_MOST * Amps(DRY_AMPS)),
        gain_b: Gain::X64,
        rate: Rate::Sps330,
        triples: Triples { quick: DRY_TRIPLES.quick, most: DRY_TRIPLES.quick },
        wait_us: 0,
        ends: false,
        gate: None,
    };
    ratio(contacts, Source::Wide, aim, Sampling::Full, |_| None)
}

/// Everything about a ratio shot but its stop rule.
struct Aim {
    gain_a: Gain,
    gain_b: Gain,
    rate: Rate,
    triples: Triples,
    wait_us: u16,
    ends: bool,
    gate: Option<f32>,
}

fn ratio(
    contacts: Contacts,
    source: Source,
    aim: Aim,
    sampling: Sampling,
    stop: impl FnOnce(f64) -> Option<Stop>,
) -> Shot {
    let stop = match sampling {
        // Code A over code B per ohm.
        Sampling::Quick => stop(f64::from(aim.gain_a.factor()) / f64::from(aim.gain_b.factor()) / RM_OHMS),
        Sampling::Full => None,
    };
    let triples_min = if sampling == Sampling::Full { aim.triples.most } else { aim.triples.quick };
    Shot {
        contacts,
        source,
        method: Method::Ratio(Ratio {
            gain_a: aim.gain_a,
            gain_b: aim.gain_b,
            rate: aim.rate,
            wait_us: aim.wait_us,
            contact_check: true,
            ends: aim.ends,
            triples_min,
            triples_max: aim.triples.most,
            stop,
            gate: aim.gate,
        }),
    }
}

fn stop_rule(
    limits: &Limits,
    swapped: bool,
    unsure: f64,
    [gain_a, gain_b]: [Gain; 2],
    rate: Rate,
    (first, last): (u8, u8),
    ratio_per_ohm: f64,
) -> Option<Stop> {
    let looks = looks::factor(first, last);
    let upper = limits.max.0 * ratio_per_ohm;
    // No lower limit: anything below zero by as much as the upper limit is noise, not a fault.
    let lower = limits.min.map_or(-upper, |min| min.0 * ratio_per_ohm);
    let (lo, hi) = if swapped { (-upper, -lower) } else { (lower, upper) };
    Some(Stop {
        lo: lo as f32,
        hi: hi as f32,
        close: (upper * CLOSE) as f32,
        sigma_a: (STOP_NOISE * noise_codes(gain_a, rate)) as f32,
        sigma_b: (STOP_NOISE * noise_codes(gain_b, rate)) as f32,
        // The controller widens this part by the factor of the noise, which it does not need.
        rel: (Meter::PUBLISHED.relative_half(gain_a, gain_b).hypot(unsure) / looks) as f32,
        k: looks as f32,
    })
}

/// Isolation of at least `min`, with this capacitance behind it.
pub fn isolation(contacts: Contacts, min: Ohms, behind: Farads) -> Shot {
    let (gain_a, gain_b, rate) = (Gain::X8, Gain::X128, Rate::Sps1000);
    let window = ISOLATION_WINDOW;
    let window_noise = MOST_FACTOR * noise_codes(gain_b, rate) / f64::from(window).sqrt();
    let codes_at_min = DRY_AMPS * ISOLATION_CLAMP_OHMS / (ISOLATION_CLAMP_OHMS + RM_OHMS + min.0) * RM_OHMS
        / code_step(gain_b).0;
    // As the host will reckon, and a little more: what the controller calls good must be good to the host.
    let relative = ISOLATION_MARGIN
        * (1.0 + STOP_COVERAGE * window_noise / codes_at_min)
        * (1.0 + Meter::PUBLISHED.relative_half(gain_a, gain_b))
        * (1.0 + ISOLATION_OFF)
        - 1.0;
    let ratio_per_ohm = f64::from(gain_a.factor()) / f64::from(gain_b.factor()) / RM_OHMS;

    let window_seconds = 2.0 * f64::from(window) * f64::from(rate.micros()) * 1e-6;
    let tau = charging_time(behind).0;
    let slope = (CHARGE_SHARE * window_seconds / tau.max(window_seconds)).max(LEAST_SLOPE);
    let [least, most] = ISOLATION_SECONDS;
    let seconds = (CHARGING_TIME_CONSTANTS * tau).clamp(least, most);
    Shot {
        contacts,
        source: Source::Isolation,
        method: Method::Settle(Settle {
            gain_a,
            gain_b,
            rate,
            window,
            windows_max: (seconds / window_seconds).ceil() as u16 + 2,
            pass: (min.0 * (1.0 + relative) * ratio_per_ohm) as f32,
            slope: slope as f32,
            floor: (STOP_COVERAGE * window_noise) as f32,
            turned: true,
        }),
    }
}

/// Time constant of a bulk capacitor behind the isolation range. Electrolytics may hold 20 % more than
/// they say, and the unit's own path adds a few ohms.
pub fn charging_time(bulk: Farads) -> Seconds {
    1.25 * bulk * Ohms(ISOLATION_CLAMP_OHMS + RM_OHMS + 5.0)
}

/// How long to wait after a reversal until a capacitance that may bridge an open carries nothing any more. Behind the
/// dry clamp the loop has 28 Ω; the load source, once it stands at its limit, has Rm alone.
pub fn bridge_wait_us(bridging: Farads, source: Source) -> u16 {
    let loop_ohms = match source {
        Source::Load => RM_OHMS + 1.0,
        _ => DRY_CLAMP_OHMS + RM_OHMS + 1.0,
    };
    (SILENT_TIME_CONSTANTS * bridging.0 * loop_ohms * 1e6).min(f64::from(u16::MAX)) as u16
}

/// Current that a source drives through a loop of this resistance while nothing limits it (the unit and its contacts, Rm not
/// counted); that of the load and wide ranges does not depend on it.
pub fn nominal_current(source: Source, through: Ohms) -> Amps {
    match source {
        Source::Load => Amps(LOAD_AMPS),
        Source::Wide => Amps(DRY_AMPS),
        Source::Off | Source::Dry | Source::Isolation => dry_current(through),
    }
}

/// What the dry source puts across an open loop.
pub fn dry_open() -> Volts {
    Volts(DRY_AMPS * DRY_CLAMP_OHMS)
}

/// Current in the dry range through a loop of this resistance (the unit and its contacts, Rm not counted).
pub fn dry_current(through: Ohms) -> Amps {
    Amps(DRY_AMPS * DRY_CLAMP_OHMS / (DRY_CLAMP_OHMS + RM_OHMS + through.0))
}

/// Share of a gain's range that a signal may fill; no unit. The rest is for offset, noise and the source's
/// tolerance.
const RANGE_SHARE: f64 = 0.95;

/// The highest gain whose range holds this voltage.
pub fn gain_for(signal: Volts) -> Gain {
    Gain::ALL
        .into_iter()
        .rev()
        .find(|gain| signal.0 <= RANGE_SHARE * VREF_VOLTS / f64::from(gain.factor()))
        .unwrap_or(Gain::X1)
}

#[cfg(test)]
mod tests {
    use copperwalk_core::delta::Delta;
    use copperwalk_core::settle::{Progress, Window, progress};

    use super::*;
    use crate::board::SegmentKind;

    /// A segment of this kind with this upper limit, ohm.
    fn limited(kind: SegmentKind, max: f64) -> (Segment, Limits) {
        let text = include_str!("../../../fixtures/tide-gauge-head/board.toml");
        let mut segment = crate::board::parse("board.toml", text).unwrap().segments.swap_remove(0);
        segment.kind = kind;
        (segment, Limits { min: None, max: Ohms(max), origin: LimitOrigin::Stated })
    }

    fn ratio_of(shot: &Shot) -> Ratio {
        let Method::Ratio(ratio) = shot.method else { panic!("{shot:?}") };
        ratio
    }

    fn dry_joint(max: f64) -> Ratio {
        let (_, limits) = limited(SegmentKind::Joint, max);
        ratio_of(&segment(&limits, Contacts::default(), false, Source::Dry, 0, 0.0, Sampling::Quick))
    }

    /// Is a ratio decided that is known, without noise, to this relative standard uncertainty?
    fn decided(stop: Stop, ratio: f64, relative_standard: f64) -> bool {
        let b = 1_000_000;
        let a = (ratio * f64::from(b)).round() as i32;
        let mut delta = Delta::default();
        [(a, b), (-a, -b), (a, b)].into_iter().for_each(|(a, b)| delta.add(a, b));
        delta.decided(&Stop { sigma_a: 0.0, sigma_b: 0.0, rel: relative_standard as f32, ..stop })
    }

    #[test]
    fn a_limit_just_above_ten_ohms_takes_the_wide_range_and_one_just_below_does_not() {
        for (kind, max, source) in [
            (SegmentKind::Inductor, 9.9, Source::Load),
            (SegmentKind::Inductor, 10.1, Source::Wide),
            (SegmentKind::Switch, 9.9, Source::Dry),
            (SegmentKind::Switch, 10.1, Source::Wide),
        ] {
            let (segment, limits) = limited(kind, max);
            assert_eq!(source_for((&segment, &limits)), source, "{max} Ω");
        }
    }

    #[test]
    fn a_contact_limit_just_below_ten_milliohms_takes_the_quiet_rate_and_one_just_above_does_not() {
        for (max, rate) in [(9.7e-3, Rate::Sps330), (10.3e-3, Rate::Sps1000)] {
            assert_eq!(dry_joint(max).rate, rate, "{max} Ω");
        }
    }

    #[test]
    fn end_to_end_just_under_a_tenth_of_uncertainty_is_close_enough_and_just_over_is_not() {
        let shot = whole(Contacts::default(), Ohms(1.0), Ohms(10.0), 0, Sampling::Quick);
        let stop = Stop { k: 2.0, ..ratio_of(&shot).stop.unwrap() };
        // 1 Ω over Rm.
        for (expanded, enough) in [(0.095, true), (0.105, false)] {
            assert_eq!(decided(stop, 0.1, expanded / 2.0), enough, "{expanded}");
        }
    }

    #[test]
    fn a_value_just_over_the_factor_of_its_looks_inside_its_limit_is_decided_and_just_under_is_not() {
        let stop = dry_joint(10e-3).stop.unwrap();
        let relative = 0.01;
        for (standards, enough) in [(2.6, false), (2.8, true)] {
            let value = f64::from(stop.hi) / (1.0 + standards * relative);
            assert_eq!(decided(stop, value, relative), enough, "{standards}");
        }
    }

    #[test]
    fn after_the_wait_for_a_capacitor_a_tenth_of_a_microvolt_is_left_over_rm_and_just_before_it_more() {
        let farads = 22e-6;
        for (source, loop_ohms) in [(Source::Dry, 29.0), (Source::Wide, 29.0), (Source::Load, 11.0)] {
            let wait_seconds = f64::from(bridge_wait_us(Farads(farads), source)) * 1e-6;
            let left_volts =
                |share: f64| 0.6e-3 * RM_OHMS * (-share * wait_seconds / (farads * loop_ohms)).exp();
            assert!(left_volts(1.0) < 0.11e-6, "{source:?}: {} V", left_volts(1.0));
            assert!(left_volts(0.95) > 0.11e-6, "{source:?}: {} V", left_volts(0.95));
        }
    }

    #[test]
    fn just_under_95_per_cent_of_a_range_takes_its_gain_and_just_over_takes_the_one_below() {
        for (share, gain) in [(0.94, Gain::X8), (0.96, Gain::X4)] {
            assert_eq!(gain_for(Volts(share * VREF_VOLTS / 8.0)), gain, "{share}");
        }
    }

    fn settle(min: f64, behind: Farads) -> Settle {
        let Method::Settle(settle) = isolation(Contacts::default(), Ohms(min), behind).method else {
            panic!()
        };
        settle
    }

    /// Seconds that a window of an isolation shot lasts.
    fn window_seconds(settle: &Settle) -> f64 {
        2.0 * f64::from(settle.window) * f64::from(settle.rate.micros()) * 1e-6
    }

    /// The bulk capacitance that charges with this time constant, second.
    fn charging_in(seconds: f64) -> Farads {
        Farads(seconds / charging_time(Farads(1.0)).0)
    }

    /// Codes of the current over Rm through this resistance, and the standard deviation of a window's mean of them.
    fn leakage(ohms: f64, settle: &Settle) -> (f64, f64) {
        let amps = DRY_AMPS * ISOLATION_CLAMP_OHMS / (ISOLATION_CLAMP_OHMS + RM_OHMS + ohms);
        let codes = amps * RM_OHMS / code_step(settle.gain_b).0;
        (codes, noise_codes(settle.gain_b, settle.rate) / f64::from(settle.window).sqrt())
    }

    #[test]
    fn four_pairs_put_the_leakage_twenty_standard_deviations_above_the_noise_allowed_and_two_do_not() {
        let four = settle(100e3, Farads::ZERO);
        assert_eq!(four.window, 4);
        for (window, enough) in [(2, false), (4, true)] {
            let (codes, noise) = leakage(100e3, &Settle { window, ..four });
            assert_eq!(codes > 20.0 * MOST_FACTOR * noise, enough, "{window} pairs: {codes} over {noise}");
        }
    }

    #[test]
    fn an_isolation_passes_just_above_the_limit_with_its_margin_and_not_just_below() {
        let rule = settle(100e3, Farads::ZERO);
        let (codes, noise) = leakage(100e3, &rule);
        let meter = Meter::PUBLISHED.relative_half(rule.gain_a, rule.gain_b);
        let relative =
            1.05 * (1.0 + 2.0 * MOST_FACTOR * noise / codes) * (1.0 + meter) * (1.0 + ISOLATION_OFF);
        for (factor, passes) in [(0.99, false), (1.01, true)] {
            // Volts across the unit over volts over Rm, as codes.
            let ratio = 100e3 * relative * factor / RM_OHMS * f64::from(rule.gain_a.factor())
                / f64::from(rule.gain_b.factor());
            let window = Window { a: ratio * codes, b: codes };
            assert_eq!(progress(&rule, window, window) == Progress::Passed, passes, "{factor}");
        }
    }

    #[test]
    fn a_current_stands_still_with_just_under_half_a_per_cent_of_charge_and_not_with_just_over() {
        // Windows short beside the time constant, where a share falls by itself times window over time constant.
        let rule = Settle { floor: 0.0, ..settle(1e9, charging_in(0.2)) };
        let falls = window_seconds(&rule) / 0.2;
        for (share, still) in [(0.0045, true), (0.0055, false)] {
            let now = Window { a: 1e6, b: 1e5 };
            let before = Window { b: now.b * (1.0 + share * falls), ..now };
            assert_eq!(progress(&rule, before, now) == Progress::Still, still, "{share}");
        }
    }

    #[test]
    fn the_least_slope_takes_over_where_the_noise_of_a_window_is_as_large() {
        let window = window_seconds(&settle(100e3, Farads::ZERO));
        for (slope, expected) in [(1.3e-4, 1.45e-4), (1.6e-4, 1.6e-4)] {
            let found = f64::from(settle(100e3, charging_in(0.005 * window / slope)).slope);
            assert!((found / expected - 1.0).abs() < 1e-3, "{slope}: {found}");
        }
        let rule = settle(100e3, Farads::ZERO);
        let (largest, _) = leakage(0.0, &rule);
        let noise = f64::from(rule.floor);
        assert!(LEAST_SLOPE * largest < noise && 1.1 * LEAST_SLOPE * largest > noise, "{largest} {noise}");
    }

    #[test]
    fn an_isolation_lasts_fourteen_time_constants_between_sixty_milliseconds_and_four_seconds() {
        for (time_constant, seconds) in
            [(0.0, 0.06), (0.058 / 14.0, 0.06), (0.062 / 14.0, 0.062), (3.9 / 14.0, 3.9), (4.1 / 14.0, 4.0)]
        {
            let rule = settle(100e3, charging_in(time_constant));
            let window = window_seconds(&rule);
            // Two windows more, one at either end.
            let longest = f64::from(rule.windows_max - 2) * window;
            assert!(longest >= seconds && longest < seconds + window, "{time_constant} s: {longest} s");
        }
        // Nine time constants leave noise; half as many again are six tenths of what is waited for.
        let rule = settle(100e3, Farads::ZERO);
        let (largest, _) = leakage(0.0, &rule);
        for (time_constants, lost) in [(8.7, false), (9.0, true)] {
            let left = largest * f64::exp(-time_constants);
            assert_eq!(left < f64::from(rule.floor), lost, "{time_constants}");
        }
    }

    #[test]
    fn each_shot_takes_its_triples_and_the_most_of_them_where_time_does_not_matter() {
        let (_, fuse) = limited(SegmentKind::Fuse { rating: None }, 0.18);
        let (_, plug) = limited(SegmentKind::Connector, 0.08);
        let none = Contacts::default();
        let shots = |wait_us, sampling| {
            [
                segment(&fuse, none, false, Source::Load, wait_us, 0.0, sampling),
                segment(&plug, none, false, Source::Dry, wait_us, 0.0, sampling),
                segment(&plug, none, false, Source::Wide, wait_us, 0.0, sampling),
                whole(none, Ohms(1.0), Ohms(10.0), wait_us, sampling),
                standard(none, Ohms(1.0), 1e-3, sampling),
                look_dry(none, wait_us),
            ]
            .map(|shot| ratio_of(&shot))
            .map(|ratio| [ratio.triples_min, ratio.triples_max])
        };
        let quick = [[2, 12], [3, 12], [3, 12], [4, 12], [2, 12], [3, 3]];
        assert_eq!(shots(0, Sampling::Quick), quick);
        let full = quick.map(|[_, most]| [most, most]);
        assert_eq!(shots(0, Sampling::Full), full);
        // A wait of any length: fewer end to end, one for a look.
        let waiting = shots(1, Sampling::Quick);
        assert_eq!(waiting, [[2, 12], [3, 12], [3, 12], [2, 4], [2, 12], [1, 1]]);
    }
}
