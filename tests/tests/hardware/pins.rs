//! The pin map `hardware/pins.toml` against everything that must agree with it: the chip, the Pico board, the firmware,
//! the controller's relay bits, the constants, the front end's nets, and the wiring table people solder by.

#![allow(clippy::unwrap_used, clippy::panic, reason = "a failed expectation in a test is the message")]

use super::support::bench;
use super::support::pages;

use std::{
    collections::{BTreeMap, BTreeSet},
    convert::Infallible,
    fmt::Write as _,
};

use copperwalk_core::matrix::{Closed, Layout, Matrix};
use copperwalk_wire::{
    Contacts, Method, Shot, Source,
    hardware::{FORCE_CHANNELS, SENSE_CHANNELS},
};
use embedded_hal::{
    digital,
    spi::{self, Operation, SpiDevice},
};
use serde::Deserialize;

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Map {
    format: u8,
    spi: BTreeMap<String, Spi>,
    pins: BTreeMap<String, Pin>,
    matrix: Relays,
    adc: BTreeMap<String, String>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Spi {
    unit: u8,
    mode: u8,
    max_hz: u32,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Pin {
    gpio: u8,
    pad: u8,
    direction: String,
    function: String,
    active: String,
    pull: String,
    safe: String,
    net: String,
    note: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Relays {
    force_channels: u16,
    sense_channels: u16,
    register_bits: usize,
    bit: BTreeMap<String, Bit>,
}

/// bit = plus + force · F + sense · S + channel · c
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Bit {
    plus: usize,
    force: usize,
    sense: usize,
    channel: usize,
}

impl Relays {
    fn bit(&self, relay: &str, channel: u16, layout: Layout) -> usize {
        let Bit { plus, force, sense, channel: step } = self.bit[relay];
        plus + force * usize::from(layout.force_channels)
            + sense * usize::from(layout.sense_channels)
            + step * usize::from(channel)
    }
}

fn map() -> Map {
    toml::from_str(&bench::read("hardware/pins.toml")).unwrap_or_else(|error| panic!("pins.toml: {error}"))
}

/// Pad of the Raspberry Pi Pico board for each GPIO, 0 to 22 and 26 to 28: the board's pinout (from memory; four GPIO,
/// one ground, all along).
fn pico_pad(gpio: u8) -> u8 {
    match gpio {
        0..=15 => 1 + gpio + (gpio + 2) / 4,
        16..=22 => 21 + (gpio - 16) + (gpio - 14) / 4,
        26..=28 => 31 + (gpio - 26) + u8::from(gpio == 28),
        _ => 0,
    }
}

#[test]
fn the_pads_are_those_of_the_board() {
    // Spot checks of the formula above against pads known by heart to anyone who has wired one.
    for (gpio, pad) in
        [(0, 1), (1, 2), (2, 4), (5, 7), (6, 9), (15, 20), (16, 21), (22, 29), (26, 31), (28, 34)]
    {
        assert_eq!(pico_pad(gpio), pad, "GP{gpio}");
    }
    let map = map();
    assert_eq!(map.format, 1);
    let mut seen = BTreeSet::new();
    for (name, pin) in &map.pins {
        assert_eq!(pin.pad, pico_pad(pin.gpio), "{name}: GP{} is another pad", pin.gpio);
        assert!(pin.pad != 0 || pin.gpio == 25, "{name}: GP{} has no pad", pin.gpio);
        assert!(seen.insert(pin.gpio), "{name}: GP{} is used twice", pin.gpio);
    }
}

/// RP2040 function table: the SPI lines repeat every four GPIO as RX, CSn, SCK, TX, the units every eight (from memory
/// of the RP2040 data sheet, table of GPIO functions).
#[test]
fn spi_lines_are_where_the_chip_has_them() {
    let map = map();
    for (name, pin) in map.pins.iter().filter(|(_, pin)| pin.function != "sio") {
        let line = ["rx", "csn", "sck", "tx"][usize::from(pin.gpio % 4)];
        assert_eq!(pin.function, format!("spi{} {line}", pin.gpio / 8 % 2), "{name}");
        let bus = if name.starts_with("chain") { "chain" } else { "adc" };
        assert!(
            pin.function.starts_with(&format!("spi{}", map.spi[bus].unit)),
            "{name} is on the other unit"
        );
    }
}

#[test]
fn every_line_has_a_safe_level_and_a_resistor_that_holds_it() {
    for (name, pin) in &map().pins {
        assert!(
            ["out", "in"].contains(&pin.direction.as_str())
                && ["high", "low", "-"].contains(&pin.active.as_str())
        );
        match pin.pull.as_str() {
            "up" => assert_eq!(pin.safe, "high", "{name}"),
            "down" => assert_eq!(pin.safe, "low", "{name}"),
            "none" => assert!(
                pin.active == "-" || name == "led",
                "{name} does something, so a resistor must hold it while the controller is in reset"
            ),
            other => panic!("{name}: pull {other}"),
        }
        // At rest nothing is switched on, but for the idle clamp, which rests closed, and the clear of the chain.
        let rests_active = pin.active == pin.safe;
        assert_eq!(rests_active, ["isolation_clamp", "shift_clear"].contains(&name.as_str()), "{name}");
    }
}

#[test]
fn the_firmware_takes_every_pin_by_its_name() {
    let source = bench::read("firmware/pico/src/board.rs");
    let taken: BTreeSet<&str> = source
        .match_indices("take_pin!(pins.")
        .map(|(at, found)| source[at + found.len()..].split(')').next().unwrap())
        .collect();
    let map = map();
    assert_eq!(
        taken,
        map.pins.keys().map(String::as_str).collect(),
        "pins the firmware takes, pins of the map"
    );
    assert!(
        bench::read("firmware/pico/build.rs").contains("hardware/pins.toml"),
        "and takes their numbers from it"
    );
    // Clock: the ADC takes 6.67 MHz (SCLK period 150 ns, SBAS683B); a register's pulses last 40 ns at least each way
    // (from memory of SLIS032B). Modes: the ADC samples on SCLK's fall (CPOL 0, CPHA 1), a register on SRCK's rise.
    for (bus, mode, fastest) in [("adc", 1, 6_666_666), ("chain", 0, 12_500_000)] {
        let Spi { mode: set, max_hz, .. } = &map.spi[bus];
        assert_eq!(*set, mode, "{bus}");
        assert!(*max_hz <= fastest, "{bus} is clocked too fast");
        assert!(
            source.contains(&format!("pins::{}_HZ", bus.to_uppercase())),
            "the firmware clocks {bus} as the map says"
        );
    }
}

/// What the controller sends, as bytes.
#[derive(Default)]
struct Wire(Vec<u8>);

impl spi::ErrorType for Wire {
    type Error = Infallible;
}

impl SpiDevice for Wire {
    fn transaction(&mut self, operations: &mut [Operation<'_, u8>]) -> Result<(), Infallible> {
        for operation in operations {
            if let Operation::Write(bytes) = operation {
                self.0.extend_from_slice(bytes);
            }
        }
        Ok(())
    }
}

struct Level;

impl digital::ErrorType for Level {
    type Error = Infallible;
}

impl digital::OutputPin for Level {
    fn set_low(&mut self) -> Result<(), Infallible> {
        Ok(())
    }

    fn set_high(&mut self) -> Result<(), Infallible> {
        Ok(())
    }
}

/// Which drains conduct after these bytes and one edge of RCK: each rising edge of SRCK moves every stage one on, from
/// SER IN by DRAIN0 to DRAIN7 and out by SER OUT into the next register (SLIS032B; that the first bit of eight ends on
/// DRAIN7 is from memory).
fn latched(bytes: &[u8]) -> BTreeSet<usize> {
    let mut stages = vec![false; bytes.len() * 8];
    for byte in bytes {
        for bit in (0..8).rev() {
            stages.rotate_right(1);
            stages[0] = byte >> bit & 1 == 1;
        }
    }
    (0..stages.len()).filter(|&stage| stages[stage]).collect()
}

#[test]
fn the_relays_the_map_names_are_the_relays_that_close() {
    let map = map().matrix;
    assert_eq!((map.force_channels, map.sense_channels), (FORCE_CHANNELS, SENSE_CHANNELS));
    for (force, sense) in [(FORCE_CHANNELS, SENSE_CHANNELS), (8, 24), (300, 301)] {
        let layout = Layout { force_channels: force, sense_channels: sense };
        assert_eq!(layout.registers(), layout.relays().div_ceil(map.register_bits));
        let mut bits = BTreeSet::new();
        for (relay, channels) in [
            ("force_plus", force),
            ("force_minus", force),
            ("sense_plus", sense),
            ("sense_minus", sense),
            ("bleed", 1),
        ] {
            for channel in 0..channels {
                let of = |name| (relay == name).then_some(channel);
                let contacts = Contacts {
                    force_plus: of("force_plus"),
                    force_minus: of("force_minus"),
                    sense_plus: of("sense_plus"),
                    sense_minus: of("sense_minus"),
                };
                let mut wire = Wire::default();
                let method = if relay == "bleed" { Method::Bleed { millis: 1 } } else { Method::Residual };
                let closed = Closed::of(&Shot { contacts, source: Source::Off, method });
                let mut matrix =
                    Matrix::<_, _, { Layout::LARGEST.registers() }>::new(&mut wire, Level, Level);
                matrix.lay_out(layout);
                matrix.set(&closed).unwrap();
                let bit = map.bit(relay, channel, layout);
                assert_eq!(latched(&wire.0), BTreeSet::from([bit]), "{relay} {channel} of {force} + {sense}");
                bits.insert(bit);
            }
        }
        assert_eq!(bits, (0..layout.relays()).collect(), "every bit of the chain is one relay");
    }
}

/// A net as ngspice spells it.
fn node(net: &str) -> String {
    let name = net.to_lowercase().replace('+', "_p").replace('-', "_m");
    if name == "agnd" { "0".to_owned() } else { name }
}

#[test]
fn the_adcs_pins_meet_the_front_end_where_the_map_says() {
    let front_end = bench::front_end();
    let adc = front_end.iter().find(|element| element.name == "XU3").unwrap();
    let order = ["AIN0", "AIN1", "AIN2", "AIN3", "REFP0", "AVDD", "AVSS"];
    for (role, own) in order.iter().zip(adc.nodes()) {
        // From the pin through two resistors in series to the net of the map; supplies go straight.
        let mut at = own.clone();
        for _ in 0..if role.starts_with("AV") { 0 } else { 2 } {
            let through = |element: &&bench::Element| {
                element.name.starts_with('R') && element.nodes().contains(&at) && element.nodes()[1] == at
            };
            at = front_end.iter().find(through).unwrap_or_else(|| panic!("no resistor into {at}")).nodes()[0]
                .clone();
        }
        assert_eq!(at, node(&map().adc[*role]), "{role}");
    }
}

#[test]
fn the_wiring_table_is_the_map() {
    let mut rows: Vec<(String, Pin)> = map().pins.into_iter().collect();
    rows.sort_by_key(|(_, pin)| (pin.pad == 0, pin.pad));
    let mut table =
        String::from("| Pico pad | GPIO | Net | Direction | Pull, 10 kΩ | At rest | What it does |\n");
    table.push_str("|---|---|---|---|---|---|---|\n");
    for (_, pin) in rows {
        let pad = if pin.pad == 0 { "on board".to_owned() } else { pin.pad.to_string() };
        let Pin { gpio, net, direction, pull, safe, note, .. } = pin;
        writeln!(table, "| {pad} | GP{gpio} | `{net}` | {direction} | {pull} | {safe} | {note} |").unwrap();
    }
    pages::holds("docs/build-the-bench.md", "wiring table", &table);
}
