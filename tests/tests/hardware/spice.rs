//! Every electrical claim of the analogue front end, checked with ngspice on the circuit that is soldered.
//!
//! The decks in `hardware/spice` print operating points; this file says what they must show. Limits come from the
//! constants that firmware and host use, from the parts list's ratings, and from published figures named at each check.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    reason = "a failed expectation is the message"
)]

use super::support::bench;
use super::support::pages;
use super::support::spice;

use std::collections::BTreeMap;

use copperwalk_wire::{
    Gain,
    hardware::{
        BLEED_OHMS, BURNOUT_AMPS, CONTACT_VOLTS, DRY_AMPS, DRY_CLAMP_OHMS, ISOLATION_CLAMP_OHMS, LOAD_AMPS,
        LOAD_COMPLIANCE_VOLTS, RESIDUAL_VOLTS, RM_OHMS, SENSE_SERIES_OHMS, VREF_VOLTS,
        wait::{LOAD_QUIET_US, LOAD_TURN_US, QUIET_US, REVERSE_US, SETTLE_US, TURN_US},
    },
};

/// Low-level contact resistance is measured with at most this much on the open contact: IEC 60512-2-1 test 2a (seen
/// quoted in a connector maker's note), ASTM B539 (from memory).
const DRY_CIRCUIT_VOLTS: f64 = 20e-3;
/// Under the threshold of any junction, so that the isolation range sees copper and residue, not silicon (common practice).
const ISOLATION_VOLTS: f64 = 200e-3;
/// Most current the ADS1220 stands in an analogue pin, ampere (absolute maximum, from memory of SBAS501).
const ADC_PIN_AMPS: f64 = 10e-3;
/// Most voltage its analogue supply stands with the amplifiers on the same rail, volt (5.5 V recommended maximum, SBAS501C).
const AVDD_MAX_VOLTS: f64 = 5.5;
/// Most voltage between gate and source of the power N-MOSFETs of the parts list, volt.
const GATE_VOLTS: f64 = 20.0;
/// Blocking voltage and current of the optocouplers of the parts list.
const OPTOCOUPLER: (f64, f64) = (40.0, 0.25);
/// Current a small dry reed contact carries, ampere (RI-02 sheet: 0.5 A).
const REED_AMPS: f64 = 0.5;

#[test]
fn the_circuit_has_the_values_that_firmware_and_host_reckon_with() {
    let circuit = bench::front_end();
    let ohms = |name| circuit.iter().find(|element| element.name == name).unwrap().ohms();
    assert_eq!(ohms("R9"), RM_OHMS);
    assert_eq!(ohms("R18"), ISOLATION_CLAMP_OHMS);
    assert_eq!(ohms("R38"), BLEED_OHMS);
    for (before, after) in [("R30", "R31"), ("R32", "R33")] {
        assert_eq!(ohms(before) + ohms(after), SENSE_SERIES_OHMS, "{before} and {after}");
    }
}

#[test]
fn an_open_contact_never_sees_more_than_a_dry_circuit_may_have() {
    let cases = spice::run("dry");
    assert_eq!(cases.len(), 3 * 3 * 3 * 2 * 2, "corners");
    for case in &cases {
        let (dry, volts, clamp) = (case.text("state") == "1", case.value("volts"), case.value("clamp_ohms"));
        let (limit, nominal) =
            if dry { (DRY_CIRCUIT_VOLTS, DRY_CLAMP_OHMS) } else { (ISOLATION_VOLTS, ISOLATION_CLAMP_OHMS) };
        assert!(volts <= limit, "{volts} V open in {case:?}");
        assert!(
            (clamp / nominal - 1.0).abs() < 0.05,
            "clamp of {clamp} Ω where {nominal} Ω is said: {case:?}"
        );
        assert!(volts > 0.9 * 1.06 * DRY_AMPS * nominal, "the source does not drive its clamp: {case:?}");
    }
}

#[test]
fn the_load_source_gives_its_current_and_never_more_than_its_reach() {
    let cases = spice::run("load");
    assert_eq!(cases.len(), 6 * 7 * 2);
    for case in &cases {
        let (reach, amps, ohms) = (case.value("reach"), case.value("amps").abs(), case.setting("ohms"));
        if case.text("on") == "0" {
            assert!(amps < 2e-6, "{amps} A while off: {case:?}");
            continue;
        }
        assert!(reach <= LOAD_COMPLIANCE_VOLTS, "{reach} V above the bias: {case:?}");
        // Its reach ends near 5 Ω; from there the current falls gently, and the ratio to Rm does not care.
        let least = match ohms {
            ..=1.0 => 0.95,
            ..=3.0 => 0.92,
            ..=5.0 => 0.83,
            ..=10.0 => 0.67,
            ..=15.0 => 0.56,
            _ => 0.0,
        };
        assert!(amps >= least * LOAD_AMPS && amps <= 1.05 * LOAD_AMPS, "{amps} A into {ohms} Ω: {case:?}");
    }
}

#[test]
fn what_is_switched_stands_still_in_time_and_never_overshoots_its_reach() {
    for case in spice::run("transients") {
        let value = |name: &str| case.value(name);
        assert!(value("reach_max") <= LOAD_COMPLIANCE_VOLTS, "{case:?}");
        // The bias may swing while it settles, but stays where the amplifier works: a quarter of 3.3 V at least.
        assert!(value("bias_low") > 3.366 / 4.0 && value("bias_high") < 1.1, "{case:?}");
        assert!((value("bias_100us") - value("bias_end")).abs() < 4e-3, "{case:?}");
        assert!((value("amps_100us") / value("amps_end") - 1.0).abs() < 5e-3, "{case:?}");
        assert!(value("amps_open").abs() < 1e-6 && value("amps_off").abs() < 2e-6, "{case:?}");
        // Rm sits behind the reversal: its voltage keeps its sign, the unit's turns.
        assert!(
            value("sense_forward") > 0.0 && value("sense_reversed") < 0.0 && value("amps_reversed") > 0.0
        );
        assert!((value("sense_reversed") / value("sense_stays") - 1.0).abs() < 2e-4, "{case:?}");
        let ratio = |end: &str| value(&format!("sense_{end}")).abs() / value(&format!("amps_{end}"));
        assert!((ratio("forward") / ratio("reversed") - 1.0).abs() < 1.5e-4, "{case:?}");
    }
    says_the_waits(
        "transients",
        &[("LOAD_TURN_US", LOAD_TURN_US), ("TURN_US", TURN_US), ("SETTLE_US", SETTLE_US)],
    );
}

/// The deck's header names the waits of the firmware that its times stand for.
fn says_the_waits(deck: &str, waits: &[(&str, u32)]) {
    let text = bench::read(&format!("hardware/spice/{deck}.cir"));
    for (name, micros) in waits {
        let found = text.contains(&format!("{name} = {micros}")) || text.contains(&format!("({name})"));
        assert!(found, "{deck}.cir is not for {name} = {micros} µs");
    }
}

/// Most ripple of the load current, ampere peak to peak: a tenth of the least uncertainty stated, 1 µΩ in 10 mΩ of 50 mA,
/// would be 5 µA; the converter's filter takes most of what is faster than a conversion.
const RIPPLE_AMPS: f64 = 10e-6;
#[test]
fn the_load_source_stands_still_on_an_inductive_unit() {
    let cases = spice::run("still");
    assert_eq!(cases.len(), 3 * 2 * 2 * 8);
    let worst = cases.iter().map(|case| case.value("ripple")).fold(0.0, f64::max);
    println!("ripple at most {:.1} nA", 1e9 * worst);
    for case in &cases {
        assert!(case.value("amps_end") > 0.85 * LOAD_AMPS, "the source is off: {case:?}");
        assert!(case.value("ripple") <= RIPPLE_AMPS, "{case:?}");
    }
}

#[test]
fn an_inductive_unit_never_sees_more_than_the_reach() {
    let cases = spice::run("inductive");
    assert_eq!(cases.len(), 2 * 18 + 2 * 6);
    let worst = |name: &str| cases.iter().map(|case| case.value(name).abs()).fold(0.0, f64::max);
    println!(
        "across the unit at most {:.3} V; {:.1} mA when the reversal turns",
        worst("volts_max").max(worst("volts_min")),
        1e3 * worst("amps_turn")
    );
    for case in &cases {
        for end in ["volts_max", "volts_min"] {
            assert!(case.value(end).abs() <= LOAD_COMPLIANCE_VOLTS, "{end}: {case:?}");
        }
        assert!(
            case.value("amps_again") < -0.85 * LOAD_AMPS,
            "the current did not come back reversed: {case:?}"
        );
        let left = case.value("amps_left").abs();
        match case.text("unit") {
            "0" => {
                assert!(case.value("amps_turn").abs() <= 6e-3, "{case:?}");
                assert!(left <= QUIET_AMPS, "{left} A when relays move: {case:?}");
            }
            // A capacitor behind the inductance goes on discharging through the idle clamp.
            "1" => assert!(left <= 1e-3, "{left} A when relays move: {case:?}"),
            _ => {}
        }
    }
    says_the_waits(
        "inductive",
        &[("LOAD_TURN_US", LOAD_TURN_US), ("TURN_US", TURN_US), ("LOAD_QUIET_US", LOAD_QUIET_US)],
    );
}

/// What may be left in an inductance when a relay breaks it, ampere. 10 mH with the 100 pF of a winding and its wires make
/// 0.6 V of it.
const QUIET_AMPS: f64 = 60e-6;

#[test]
fn a_milliampere_is_turned_and_broken_gently() {
    let cases = spice::run("dry-turn");
    assert_eq!(cases.len(), 3 * 2 * 2 * 4);
    for case in &cases {
        for end in ["volts_max", "volts_min"] {
            assert!(case.value(end).abs() <= 0.3 * LOAD_COMPLIANCE_VOLTS, "{end}: {case:?}");
        }
        assert!(case.value("amps_left").abs() <= QUIET_AMPS, "{case:?}");
        if matches!(case.text("henries"), "10n" | "100u") {
            for what in ["sense", "amps"] {
                let turned = case.value(&format!("{what}_turned")) / case.value(&format!("{what}_stays"));
                assert!((turned - 1.0).abs() < 5e-4, "{what}: {case:?}");
            }
        }
    }
    says_the_waits("dry-turn", &[("QUIET_US", QUIET_US), ("REVERSE_US", REVERSE_US)]);
}

#[test]
fn the_reversal_turns_in_time_from_any_usb_port() {
    let cases = spice::run("turn");
    assert_eq!(cases.len(), 3 * 3 * 2, "temperatures, supplies, optocouplers");
    for case in &cases {
        for led in ["led_forward", "led_reversed"] {
            // 5 mA switch the part on in full; 20 mA are what its LED must stand.
            assert!((7e-3..20e-3).contains(&case.value(led)), "{led}: {case:?}");
        }
        for (end, told) in
            [("opened", 0.2e-3), ("closed", 0.2e-3), ("opened_back", 3.2e-3), ("closed_back", 3.2e-3)]
        {
            let took = case.value(end) - told;
            assert!(took > 0.0 && took <= 1e-6 * f64::from(TURN_US), "{end} {took} s: {case:?}");
        }
    }
}

/// Gain of the programmable amplifier behind each gain setting; a switched-capacitor stage gives the rest (SBAS501D
/// table 8-1).
fn amplifier_gain(gain: Gain) -> f64 {
    (f64::from(gain.factor()) / 4.0).max(1.0)
}

#[test]
fn both_pairs_stay_inside_the_amplifiers_common_mode_range() {
    let cases = spice::run("common-mode");
    assert_eq!(cases.len(), 2 * 4 * 2 * 11);
    for case in &cases {
        let at = |pin: u8| case.value(&format!("v(ain{pin})"));
        let avdd = case.value("v(avdd)");
        let ohms = case.setting("ohms");
        if case.text("state") == "3" && ohms > 1000.0 {
            continue; // past the end of the wide range: the code saturates, and that is the answer
        }
        for (plus, minus) in [(0, 1), (2, 3)] {
            let (volts, middle) = ((at(plus) - at(minus)).abs(), (at(plus) + at(minus)) / 2.0);
            // The host takes the largest gain that leaves a tenth of the range free.
            let gain =
                Gain::ALL.into_iter().rev().find(|g| volts <= 0.9 * VREF_VOLTS / f64::from(g.factor()));
            let swing = volts * amplifier_gain(gain.expect("a gain for every voltage")) / 2.0;
            // PGA common-mode requirements of the ADS1220 (SBAS501, equations 13 to 15; the numbers from memory).
            assert!(middle >= avdd / 4.0 && middle >= 0.2 + swing, "pair {plus}{minus} too low: {case:?}");
            assert!(middle <= avdd - 0.2 - swing, "pair {plus}{minus} too high: {case:?}");
        }
        // The current source works to 0.9 V under its supply (from memory of SBAS501): 1 kΩ in the wide range.
        if case.text("state") != "4" {
            assert!(case.value("v(refp0)") <= avdd - 0.9, "the source is out of reach: {case:?}");
        }
    }
}

#[test]
fn twelve_volts_on_any_pin_harm_nothing() {
    let ratings: BTreeMap<String, f64> = bench::parts()
        .into_iter()
        .filter_map(|part| part.watts.map(|watts| (part.refs, watts)))
        .flat_map(|(refs, watts)| refs.into_iter().flatten().map(move |reference| (reference, watts)))
        .collect();
    let cases = spice::run("survive");
    assert_eq!(cases.len(), 5 * 2 * 5 * 2, "states, polarities, places, signs");
    let mut judged = 0;
    for case in &cases {
        assert!(case.value("v(avdd)") <= AVDD_MAX_VOLTS, "{case:?}");
        for (name, value) in case.values() {
            judged += 1;
            let value = value.abs();
            if name.starts_with("i(v.xu3") {
                // The build notes promise a tenth of what the pin stands.
                assert!(value <= ADC_PIN_AMPS / 10.0, "{value} A into an ADC pin, {name}: {case:?}");
            } else if let Some(part) = name.strip_prefix('@').and_then(|name| name.strip_suffix("[p]")) {
                let rating = ratings[&part.to_uppercase()];
                assert!(value <= rating, "{part}: {value} W in a part for {rating} W: {case:?}");
            } else if let Some(contact) = name.strip_suffix("[i]") {
                assert!(value <= REED_AMPS.min(OPTOCOUPLER.1), "{value} A through {contact}: {case:?}");
            } else if name.contains("_g)-") || name.starts_with("v(lim_g)") {
                assert!(value <= GATE_VOLTS, "{value} V on a gate, {name}: {case:?}");
            } else if name == "v(rail)-v(q2_b)" {
                // A small NPN's base-emitter junction stands 5 V backwards (common to such parts).
                assert!(value <= 5.0, "{case:?}");
            } else if name.contains(")-v(") {
                assert!(value <= OPTOCOUPLER.0, "{value} V over an optocoupler, {name}: {case:?}");
            } else {
                judged -= 1;
            }
        }
    }
    assert_eq!(judged, 100 * 40, "the deck prints what this test judges");
}

#[test]
fn the_contact_check_reads_the_contact_and_its_series_resistance() {
    for case in spice::run("contact-check") {
        let amps = case.setting("microamps") * 1e-6;
        let contact = case.setting("ohms");
        let input = if case.text("end") == "plus" { "v(ain0)" } else { "v(ain1)" };
        let lift = case.value(input) - case.value("v(ain3)");
        let proven = lift < CONTACT_VOLTS;
        if contact <= 3000.0 {
            let expected = amps * (contact + SENSE_SERIES_OHMS);
            assert!((lift - expected).abs() < 0.3e-3, "{lift} V for {expected} V: {case:?}");
        }
        // 5 % is the spread of the burn-out current (ADS122C04 sheet SBAS751B, same block).
        match contact {
            ..=1000.0 => assert!(proven, "a contact of {contact} Ω is not proven: {case:?}"),
            2000.0.. => assert!(!proven, "a contact of {contact} Ω passes for proven: {case:?}"),
            _ => {}
        }
        if contact > 1e6 {
            assert!(case.value(input) > VREF_VOLTS, "an open contact must saturate the code: {case:?}");
        }
    }
    assert!((CONTACT_VOLTS - BURNOUT_AMPS * (SENSE_SERIES_OHMS + 1.5e3)).abs() < 0.2e-3);
}

#[test]
fn a_charged_bulk_capacitor_is_bled_in_fifty_milliseconds() {
    let cases = spice::run("bleed");
    assert_eq!(cases.len(), 2);
    for case in cases {
        assert!(case.value("at_1ms") > 4.5, "the capacitor was not charged: {case:?}");
        assert!(case.value("under_50mv") - 1e-3 <= 50e-3, "{case:?}");
        assert!(case.value("at_51ms").abs() < RESIDUAL_VOLTS, "{case:?}");
        assert!(case.value("peak_amps") < 0.1, "{case:?}");
    }
}

/// Noise of the ADS1220 at its input, volt rms, by data rate: gain 128, and gain 64 for the dry range.
/// SBAS501C table 1; only 0.09, 0.18 and 0.26 µV at gain 128 are confirmed by a second source, the rest is from memory.
const ADC_NOISE: [(f64, f64, f64); 7] = [
    (13.1, 0.09e-6, 0.10e-6),
    (20.0, 0.12e-6, 0.19e-6),
    (39.6, 0.18e-6, 0.27e-6),
    (77.8, 0.26e-6, 0.34e-6),
    (150.1, 0.34e-6, 0.50e-6),
    (279.0, 0.54e-6, 0.70e-6),
    (483.8, 0.70e-6, 1.03e-6),
];

#[test]
fn resistors_add_little_to_the_converters_own_noise() {
    const BOLTZMANN: f64 = 1.380_649e-23; // exact, SI 2019
    let cases = spice::run("noise");
    println!("bandwidth   dry: Johnson, with ADC, as ohms       load: Johnson, with ADC, as ohms");
    for (hertz, at_128, at_64) in ADC_NOISE {
        let mut row = format!("{hertz:6.1} Hz");
        for (state, adc, amps) in [("1", at_64, 0.6 * DRY_AMPS), ("4", at_128, LOAD_AMPS)] {
            let of = |pair| {
                let found = cases.iter().find(|case| {
                    case.text("state") == state && case.setting("hertz") == hertz && case.text("pair") == pair
                });
                found.unwrap().value("onoise_total")
            };
            let johnson = of("sense");
            // Johnson's formula for two inputs' series resistors and contacts at ngspice's 27 °C; the filter's pole is
            // far above these bands.
            let formula = (4.0 * BOLTZMANN * 300.15 * 2.0 * (SENSE_SERIES_OHMS + 0.2) * hertz).sqrt();
            assert!((johnson / formula - 1.0).abs() < 0.02, "{johnson} V for {formula} V at {hertz} Hz");
            let total = johnson.hypot(adc);
            assert!(total < 1.05 * adc, "the input network spoils the converter's noise at {hertz} Hz");
            // The current's own noise moves both pairs; between two conversions it counts in proportion.
            assert!(of("current").hypot(adc) / (RM_OHMS * amps) < 1e-3, "the current is noisy at {hertz} Hz");
            row +=
                &format!("   {:6.1} nV {:6.1} nV {:8.2} µΩ", 1e9 * johnson, 1e9 * total, 1e6 * total / amps);
        }
        println!("{row}");
    }
    // One conversion at 20 SPS under load resolves 2 µΩ, a dry one a fifth of a milliohm.
    let (_, load, dry) = ADC_NOISE[0];
    assert!(load.hypot(21e-9) / LOAD_AMPS < 2e-6 && dry.hypot(21e-9) / (0.6 * DRY_AMPS) < 0.2e-3);
}

/// What is measured at which step of the build notes: name in the deck, words, unit, how many of them in a volt, digits.
const POWER_UP: [(u8, &str, &str, f64, usize); 14] = [
    (0, "v(avdd)", "AVDD to AGND", 1.0, 2),
    (0, "v(ref_bias)", "REF_BIAS to AGND", 1.0, 3),
    (0, "v(bias)", "BIAS to AGND", 1.0, 3),
    (0, "v(rail)", "RAIL to AGND", 1.0, 2),
    (0, "src_bias", "SRC to BIAS", 1e3, 1),
    (1, "src_bias", "SRC to BIAS", 1.0, 2),
    (1, "over_rm", "RM_TOP to BIAS", 1e3, 1),
    (2, "over_rm", "RM_TOP to BIAS", 1.0, 3),
    (2, "over_unit", "FORCE+ to FORCE-, at the resistor", 1e3, 1),
    (2, "q1_emitter", "Q1's emitter to AGND", 1.0, 2),
    (3, "over_rm", "RM_TOP to BIAS", 1.0, 3),
    (3, "over_unit", "FORCE+ to FORCE-, at the resistor", 1e3, 1),
    (4, "src_bias", "SRC to BIAS", 1e3, 0),
    (5, "src_bias", "SRC to BIAS", 1e3, 1),
];

#[test]
fn the_build_notes_say_what_each_step_reads() {
    let cases = spice::run("power-up");
    assert_eq!(cases.len(), 5 * 6);
    let mut table =
        String::from("| Step | Read from | Usual | At least | At most |\n|---|---|---|---|---|\n");
    for (step, name, what, per_volt, digits) in POWER_UP {
        let of_step = cases.iter().filter(|case| case.setting("step") == f64::from(step));
        let values: Vec<f64> = of_step.map(|case| case.value(name) * per_volt).collect();
        // The outermost corner, and one last digit for the meter.
        let last = 10f64.powi(-i32::try_from(digits).unwrap());
        let outermost = |pick: fn(f64, f64) -> f64| values.iter().copied().reduce(pick).unwrap();
        let (least, most) = (outermost(f64::min) - last, outermost(f64::max) + last);
        let unit = if per_volt == 1.0 { "V" } else { "mV" };
        let show =
            |value: f64| format!("{:.digits$} {unit}", if value.abs() < last / 2.0 { 0.0 } else { value });
        table += &format!("| {step} | {what} | {} | {} | {} |\n", show(values[0]), show(least), show(most));
    }
    pages::holds("docs/build-the-bench.md", "first power-up", &table);
}
