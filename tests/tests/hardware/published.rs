//! The bench's figures against the outside world: chips as published, dry circuits, thermal EMF, reed relays, USB.
//!
//! "Read" beside a figure means that the page named was read; "from memory" that the document was not at hand.

#![allow(clippy::unwrap_used, clippy::panic, reason = "a failed expectation in a test is the message")]

use super::support::bench;

use std::{cell::RefCell, convert::Infallible, rc::Rc};

use copperwalk_core::{
    Instant,
    ads1220::{Ads1220, Registers},
    delta::weight,
};
use copperwalk_wire::{
    Gain, Input, Rate,
    hardware::{
        ADC_CLOCK_HZ, BIAS_VOLTS, DRY_AMPS, DRY_CLAMP_OHMS, ISOLATION_CLAMP_OHMS, LOAD_AMPS, VREF_VOLTS, wait,
    },
};
use embedded_hal::{
    digital,
    spi::{self, Operation, SpiDevice},
};

/// An ADS1220 that knows the command table and nothing else; a byte outside the table fails the test.
///
/// Commands: RESET 0000 011x, START 0000 100x, POWERDOWN 0000 001x, RDATA 0001 xxxx, RREG 0010 rrnn, WREG 0100 rrnn
/// with nn the count less one (read: ADS1120-Q1 sheet SBAS683B, "Commands"; the ADS1220 has the same).
#[derive(Default)]
struct Published {
    registers: [u8; 4],
    starts: u32,
    reads: u32,
}

impl Published {
    fn transfer(&mut self, frame: &[u8]) -> Vec<u8> {
        let (&command, data) = frame.split_first().unwrap();
        let span = || {
            let first = usize::from(command >> 2 & 3);
            first..first + usize::from(command & 3) + 1
        };
        match command {
            0x08 | 0x09 => self.starts += 1,
            0x10..=0x1F => {
                self.reads += 1;
                return vec![0, 0x80, 0, 0]; // minus full scale
            }
            0x20..=0x2F => return [&[0], &self.registers[span()]].concat(),
            0x40..=0x4F => self.registers[span()].copy_from_slice(data),
            other => panic!("{other:02X}h is no command this design needs"),
        }
        vec![0; frame.len()]
    }
}

#[derive(Clone, Default)]
struct Bus(Rc<RefCell<Published>>);

impl spi::ErrorType for Bus {
    type Error = Infallible;
}

impl SpiDevice for Bus {
    fn transaction(&mut self, operations: &mut [Operation<'_, u8>]) -> Result<(), Infallible> {
        let mut chip = self.0.borrow_mut();
        for operation in operations {
            match operation {
                Operation::Write(frame) => drop(chip.transfer(frame)),
                Operation::TransferInPlace(frame) => {
                    let answer = chip.transfer(frame);
                    frame.copy_from_slice(&answer);
                }
                _ => panic!("another kind of transfer"),
            }
        }
        Ok(())
    }
}

/// DRDY: low once, when the conversion is asked for.
struct Ready(Rc<RefCell<bool>>);

impl digital::ErrorType for Ready {
    type Error = Infallible;
}

impl digital::InputPin for Ready {
    fn is_high(&mut self) -> Result<bool, Infallible> {
        Ok(!*self.0.borrow())
    }

    fn is_low(&mut self) -> Result<bool, Infallible> {
        Ok(*self.0.borrow())
    }
}

/// Register 0: MUX in 7:4, GAIN in 3:1, PGA_BYPASS in 0; 1: DR in 7:5, MODE 4:3, CM 2, TS 1, BCS 0; 2: VREF in 7:6,
/// 50/60 in 5:4, PSW 3, IDAC in 2:0; 3: I1MUX in 7:5 (read: SBAS683B and a published driver; I1MUX's place from memory).
#[test]
fn the_registers_and_commands_of_the_adc_are_the_published_ones() {
    let bus = Bus::default();
    let ready = Rc::new(RefCell::new(false));
    let mut adc = Ads1220::new(bus.clone(), Ready(ready.clone()));
    // Multiplexer: what each code connects (AVSS where one input stands alone, "-" inside the chip).
    let wired = [
        (Input::Sense, false, 0x0, "AIN0 AIN1"),
        (Input::PlusContact, false, 0x1, "AIN0 AIN2"),
        (Input::MinusContact, false, 0x3, "AIN1 AIN2"),
        (Input::Current, false, 0x5, "AIN2 AIN3"),
        (Input::Current, true, 0x7, "AIN3 AIN2"),
        (Input::PlusAlone, false, 0x8, "AIN0 AVSS"),
        (Input::MinusAlone, false, 0x9, "AIN1 AVSS"),
        (Input::Bias, false, 0xB, "AIN3 AVSS"),
        (Input::Zero, false, 0xE, "-"),
    ];
    let map: toml::Table = toml::from_str(&bench::read("hardware/pins.toml")).unwrap();
    let role = |pin: &str| map["adc"][pin].as_str().unwrap().to_owned();
    assert_eq!(
        [role("AIN0"), role("AIN1"), role("AIN2"), role("AIN3")],
        ["SENSE+", "SENSE-", "RM_TOP", "BIAS"]
    );
    for (input, reversed, mux, pins) in wired {
        for (gain, rate) in [(Gain::X1, Rate::Sps1000), (Gain::X128, Rate::Sps20), (Gain::X4, Rate::Sps175)] {
            adc.configure(Registers::IDLE.converting(input, reversed, gain, rate, false)).unwrap();
            let [zero, one, two, three] = bus.0.borrow().registers;
            assert_eq!(zero >> 4, mux, "{input:?} is {pins}");
            assert_eq!(1 << (zero >> 1 & 7), gain.factor());
            // "For settings where AINN = AVSS the PGA must be disabled" (read: SBAS683B, register 0).
            assert_eq!(zero & 1 == 1, pins.ends_with("AVSS"), "{input:?}");
            assert_eq!(one >> 5, rate as u8);
            assert_eq!(one & 0b1_1111, 0, "normal mode, single-shot, no sensor, no burn-out");
            // 50/60 Hz rejection at 20 SPS only; both is 01 (read: SBAS683B, register 2). Internal reference is 00.
            assert_eq!(two, if rate == Rate::Sps20 { 0b0001_0000 } else { 0 });
            assert_eq!(three, 0, "no current source routed");
        }
    }
    adc.configure(Registers::IDLE.converting(Input::Temperature, false, Gain::X1, Rate::Sps1000, false))
        .unwrap();
    assert_eq!(bus.0.borrow().registers[1] & 0b10, 0b10, "temperature sensor");
    adc.configure(Registers::IDLE.converting(Input::PlusAlone, false, Gain::X1, Rate::Sps1000, true))
        .unwrap();
    assert_eq!(bus.0.borrow().registers[1] & 0b01, 0b01, "burn-out current");
    adc.configure(Registers::IDLE.with_current()).unwrap();
    let [_, _, two, three] = bus.0.borrow().registers;
    assert_eq!((two & 7, three >> 5), (0b110, 0b101), "1000 µA, to REFP0 (read: a published driver's table)");

    let conversion = adc.start(Rate::Sps1000, Instant(0)).unwrap();
    assert_eq!(adc.result(&conversion, Instant(500)), Ok(None));
    *ready.borrow_mut() = true;
    assert_eq!(adc.result(&conversion, Instant(1_036)), Ok(Some(-0x80_0000)));
    assert_eq!((bus.0.borrow().starts, bus.0.borrow().reads), (1, 1));
}

/// Conversion times in clock periods. Continuous mode: read in a file that quotes table 8-13 of SBAS501D, and four times
/// the ADS112U04's table. Single-shot at 20 SPS: 204,850, read in a maker's forum thread; a single shot therefore starts up
/// to a hundred periods later than one conversion of a series takes.
#[test]
fn a_conversion_takes_the_published_time() {
    let continuous = [204_768, 91_120, 46_128, 23_664, 12_464, 6_896, 4_144];
    let nominal = [20.0, 45.0, 90.0, 175.0, 330.0, 600.0, 1000.0];
    for ((rate, clocks), per_second) in Rate::ALL.into_iter().zip(continuous).zip(nominal) {
        assert!((80..=100).contains(&(rate.clocks() - clocks)), "{rate:?}");
        // The name of a rate is its conversions per second, rounded as the sheet rounds it.
        assert!((f64::from(ADC_CLOCK_HZ) / f64::from(clocks) / per_second - 1.0).abs() < 0.02, "{rate:?}");
    }
    assert_eq!(Rate::Sps20.clocks(), 204_850);
    // The oscillator is good to 2 % (read: feature list); giving up after twice the time leaves that and more.
    assert_eq!(Rate::Sps1000.micros(), 1_036);
}

/// IEC 60512-2-1 test 2a: at most 20 mV on the open contact and 100 mA through it (read in a connector maker's note);
/// ASTM B539 asks the same of low-level measurements (from memory). The ADC's source is good to 6 % (from memory).
#[test]
fn the_dry_range_is_a_dry_circuit() {
    const { assert!(1.06 * DRY_AMPS * DRY_CLAMP_OHMS <= 20e-3) };
    const { assert!(1.06 * DRY_AMPS < 100e-3) };
    // A silicon junction passes next to nothing under 0.3 V (common practice: in-circuit meters stay near 0.2 V).
    const { assert!(1.06 * DRY_AMPS * ISOLATION_CLAMP_OHMS <= 0.2) };
    // The whole of it stands on the bias node, inside the ADC's single-ended range.
    const { assert!(BIAS_VOLTS + 0.2 < VREF_VOLTS) };
}

/// Thermal EMF against copper, µV/K. Both tables read: a nanovoltmeter's manual, and M. Kidd, "Watch Out for Those
/// Thermoelectric Voltages!", table 1. Where they differ the larger counts.
const THERMAL_EMF: [(&str, f64); 6] = [
    ("copper, crimped", 0.3),
    ("gold plating of pins and pads", 0.5),
    ("brass", 3.0),
    ("tin-lead solder", 5.0),
    ("beryllium copper of a spring pin", 5.0),
    ("Kovar or alloy 42 of a reed's leads", 40.0),
];

/// What delta mode keeps in the sense voltage of an EMF of one volt that dies away with `tau`, sampled every `step`.
fn kept(tau: f64, step: f64) -> f64 {
    (0..3u16).map(|half| weight(half) as f64 / 4.0 * (-f64::from(half) * step / tau).exp()).sum()
}

#[test]
fn thermal_emf_of_the_sense_path_stays_under_the_stated_uncertainty() {
    // Stated: 0.05 mΩ under load, 0.5 mΩ dry; a dry unit carries half a milliampere or more of the source's one.
    let load = 0.05e-3 * LOAD_AMPS;
    let dry = 0.5e-3 * 0.5 * DRY_AMPS;
    // A reed relay warms and cools over some ten seconds at least (from memory: thermal time constants of encapsulated
    // relays are of minutes). Half-cycles: two conversions and the settling, at the slowest and at the fastest rate.
    let tau = 10.0;
    let half_cycle = |rate: Rate| 1e-6 * f64::from(2 * rate.micros() + wait::REVERSE_US);
    for (what, per_kelvin) in THERMAL_EMF {
        for (range, limit, rate) in [("load", load, Rate::Sps1000), ("dry", dry, Rate::Sps20)] {
            let plain = limit / (per_kelvin * 1e-6);
            let delta = plain / kept(tau, half_cycle(rate)).abs();
            // Coils of 50 mW make differences of a kelvin or two within a relay (common practice); ten is out of reach.
            assert!(delta > 10.0, "{what}, {range}: only {delta} K allowed");
            println!(
                "{what:36} {range:4} allowed: {:9.3} mK as read once, {delta:9.0} K in delta mode",
                1e3 * plain
            );
            if per_kelvin >= 40.0 {
                assert!(plain < 0.1, "without reversal a reed could not be trusted at {range}");
            }
        }
    }
    // A constant EMF and one that drifts evenly leave nothing at all.
    let even: i64 = (0..3).map(|half| weight(half) * i64::from(5 + 7 * half)).sum();
    assert_eq!(even, 0);
}

/// A small dry reed switch: operate with bounce 0.30 ms typical, release 70 µs at most (read: RI-02 sheet, page 2);
/// bounce 0.5 to 1 ms where nothing better is known (read: a reed maker's glossary). Release 20 to 50 µs with a free coil
/// and about 300 µs with a diode across it (read: a reed switch maker's note).
#[test]
fn relays_get_the_time_that_reeds_need() {
    const { assert!(wait::OPERATE_US >= 3 * 300, "a margin of three") };
    const { assert!(wait::OPERATE_US >= 1_000, "the longest bounce of the general range") };
    const { assert!(wait::RELEASE_US >= 3 * 70, "a margin of three") };
    // A diode would make the release longer than the wait: the parts list must refuse it, and the register's own clamp
    // (50 V; read: SLIS032B) takes the coil's kick instead.
    const { assert!(wait::RELEASE_US < 300) };
    let reed = bench::csv("hardware/parts.csv").into_iter().find(|row| row["part"] == "reed relay").unwrap();
    assert!(reed["specification"].contains("WITHOUT a diode across the coil"), "{}", reed["specification"]);
}

/// A TPIC6B595 at 5 V wants 0.85 VCC = 4.25 V for a one (from memory of SLIS032B), and a Pico gives at most 3.3 V. A
/// 74HCT input takes 2.0 V for a one (read: CD74HCT533 sheet, the family's level).
#[test]
fn no_register_input_hangs_on_a_three_volt_line() {
    let pins: toml::Table = toml::from_str(&bench::read("hardware/pins.toml")).unwrap();
    let from_the_pico: Vec<&str> =
        pins["pins"].as_table().unwrap().values().map(|pin| pin["net"].as_str().unwrap()).collect();
    let rows = bench::csv("hardware/netlist.csv");
    let inputs: Vec<_> = rows
        .iter()
        .filter(|row| {
            row["part"] == "U10" && ["SER IN", "SRCLR", "G", "RCK", "SRCK"].contains(&row["name"].as_str())
        })
        .collect();
    assert_eq!(inputs.len(), 5);
    for input in inputs {
        let wire = input["net"].as_str();
        assert!(wire.ends_with("_5V") && !from_the_pico.contains(&wire), "{} hangs on {wire}", input["name"]);
    }
    // G alone is not behind the buffer: while the Pico has no supply its level shifter leaves G to the 5 V pull-up.
    let at = |part: &str, pin: &str| {
        rows.iter().find(|row| row["part"] == part && row["pin"] == pin).unwrap()["net"].clone()
    };
    assert_eq!([at("M9", "1"), at("M9", "2"), at("M9", "3")], ["CHAIN_G", "V3V3", "CHAIN_G_5V"]);
    assert_eq!([at("R51", "1"), at("R51", "2")], ["CHAIN_G_5V", "V5"]);
}
