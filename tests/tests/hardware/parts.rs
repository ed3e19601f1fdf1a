//! Parts list, netlist, wiring lists, drawings and power budget of the bench: each against the others, and against the
//! front end that ngspice proves. Quantities follow from the number of channels by the formula in the parts list.

#![allow(clippy::unwrap_used, clippy::panic, reason = "a failed expectation in a test is the message")]

use super::support::bench;
use super::support::pages;

use std::{
    collections::{BTreeMap, BTreeSet},
    fmt::Write as _,
};

use bench::{Part, parts};
use copperwalk_core::matrix::Layout;
use copperwalk_wire::hardware::{FORCE_CHANNELS, LOAD_AMPS, SENSE_CHANNELS};

const LARGE: Layout = Layout { force_channels: FORCE_CHANNELS, sense_channels: SENSE_CHANNELS };
const SMALL: Layout = Layout { force_channels: 8, sense_channels: 24 };

/// The count column for a layout: `refs`, a sum of terms in F and S, and `ceil((SUM)/N)+K`.
fn quantity(part: &Part, layout: Layout) -> u32 {
    let formula = part.count.as_str();
    if formula == "refs" {
        return u32::try_from(part.refs.len()).unwrap();
    }
    let Some(inner) = formula.strip_prefix("ceil((") else { return sum(formula, layout) };
    let (over, rest) = inner.split_once(")/").unwrap_or_else(|| panic!("{formula}"));
    let (by, more) = rest.split_once(')').unwrap_or_else(|| panic!("{formula}"));
    let more = more.strip_prefix('+').map_or(0, |text| text.parse().unwrap());
    sum(over, layout).div_ceil(by.parse().unwrap()) + more
}

fn sum(terms: &str, layout: Layout) -> u32 {
    terms
        .split('+')
        .map(|term| {
            let number = |text: &str| if text.is_empty() { 1 } else { text.parse().unwrap() };
            if let Some(factor) = term.strip_suffix('F') {
                number(factor) * u32::from(layout.force_channels)
            } else if let Some(factor) = term.strip_suffix('S') {
                number(factor) * u32::from(layout.sense_channels)
            } else {
                number(term)
            }
        })
        .sum()
}

#[test]
fn quantities_follow_from_the_channels() {
    for part in parts() {
        assert_eq!(part.large, quantity(&part, LARGE), "{} for 16 + 48", part.name);
        assert_eq!(part.small, quantity(&part, SMALL), "{} for 8 + 24", part.name);
    }
    let of = |name: &str| parts().into_iter().find(|part| part.name == name).unwrap();
    for (name, count) in
        [("reed relay", Layout::relays as fn(Layout) -> usize), ("power shift register", Layout::registers)]
    {
        assert_eq!(of(name).large as usize, count(LARGE), "{name}: as the controller counts them");
        assert_eq!(of(name).small as usize, count(SMALL), "{name}: as the controller counts them");
    }
}

#[test]
fn every_part_of_the_front_end_is_on_the_list_once_with_its_value() {
    let mut listed = BTreeMap::new();
    for part in parts() {
        for reference in part.refs.iter().flatten() {
            assert!(
                listed.insert(reference.clone(), part.name.clone()).is_none(),
                "{reference} is listed twice"
            );
        }
    }
    let circuit = bench::front_end();
    for element in circuit.iter().filter(|element| element.soldered()) {
        let name = listed
            .get(element.part())
            .unwrap_or_else(|| panic!("{} is on no line of the list", element.part()));
        if element.name.starts_with('R') && name.starts_with("resistor") {
            let ohms = match element.ohms() {
                ohms if ohms >= 1e3 => format!("resistor {} kohm", ohms / 1e3),
                ohms => format!("resistor {ohms} ohm"),
            };
            assert!(name == &ohms || name == &format!("{ohms} power"), "{}: {name} but {ohms}", element.name);
        }
        if element.name.starts_with('C') {
            let value = element.words[2].replace('p', " pF").replace('n', " nF").replace('u', " uF");
            assert_eq!(name, &format!("capacitor {value}"), "{}", element.name);
        }
    }
    // And nothing on the list hangs in the air: it is in the front end or in the netlist.
    let wired: BTreeSet<String> =
        bench::csv("hardware/netlist.csv").iter().map(|row| row["part"].clone()).collect();
    for reference in listed.keys() {
        let soldered = circuit.iter().any(|element| element.part() == reference);
        assert!(soldered || wired.contains(reference), "{reference} is on the list and wired to nothing");
    }
}

/// A net's one spelling: the front end's nodes are in ngspice's.
fn net(name: &str) -> String {
    match name {
        "0" => "AGND".to_owned(),
        node => node.to_uppercase(),
    }
}

#[test]
fn every_wire_has_two_ends_and_every_leg_one_wire() {
    let pins: toml::Table = toml::from_str(&bench::read("hardware/pins.toml")).unwrap();
    let mut ends: BTreeMap<String, Vec<String>> = BTreeMap::new();
    let mut join = |wire: &str, end: String| ends.entry(net(wire)).or_default().push(end);
    for (name, pin) in pins["pins"].as_table().unwrap() {
        join(pin["net"].as_str().unwrap(), format!("GP{} {name}", pin["gpio"]));
    }
    let mut legs = BTreeSet::new();
    let rows = bench::csv("hardware/netlist.csv");
    for row in &rows {
        let leg = format!("{} {}", row["part"], row["pin"]);
        assert!(legs.insert(leg.clone()), "{leg} is in the netlist twice");
        join(&row["net"], leg);
    }
    // Quarters of U1, the optocouplers and U3 are in both; what both say must agree, and counts as one end.
    let netlist: BTreeMap<(&str, &str), &str> =
        rows.iter().map(|row| ((row["part"].as_str(), row["name"].as_str()), row["net"].as_str())).collect();
    for element in bench::front_end() {
        for (leg, node) in element.nodes().iter().enumerate() {
            let name = match element.part() {
                "U1" => format!("{} {}", ["IN+", "IN-", "VDD", "VSS", "OUT"][leg], &element.name[3..]),
                "U3" => ["AIN0", "AIN1", "AIN2", "AIN3", "REFP0", "AVDD", "AVSS"][leg].to_owned(),
                _ => String::new(),
            };
            let name = if name.starts_with('V') { name[..3].to_owned() } else { name };
            if let Some(drawn) = netlist.get(&(element.part(), name.as_str())) {
                assert_eq!(net(drawn), net(node), "{} {name}: netlist and front end", element.name);
            }
            join(node, format!("{}.{leg}", element.name));
        }
    }
    // The matrix brings these, one wire for all relays.
    for bus in ["FORCE_P", "FORCE_M", "SENSE_P", "SENSE_M", "BLEED", "V_COIL", "CHAIN_1", "CHAIN_BACK_5V"] {
        join(bus, "matrix".to_owned());
    }
    join("LED", "light on the Pico".to_owned());
    for (wire, ends) in &ends {
        assert!(ends.len() >= 2, "{wire} ends in the air: {ends:?}");
    }
}

/// Package legs: DIP-20 of the register and the buffer, TSSOP-16 of the ADC, DIP-14 of the amplifiers.
#[test]
fn no_leg_of_a_package_is_forgotten() {
    let rows = bench::csv("hardware/netlist.csv");
    // The register's drains go to the coils (the wiring list has them), 1 and 20 are not connected; the buffer's three
    // spare outputs stay open.
    for (part, legs, elsewhere) in [
        ("U3", 16, &[][..]),
        ("U1", 14, &[]),
        ("U5", 20, &[11, 12, 13]),
        ("U10", 20, &[1, 4, 5, 6, 7, 14, 15, 16, 17, 20]),
    ] {
        let wired: BTreeSet<u32> =
            rows.iter().filter(|row| row["part"] == part).map(|row| row["pin"].parse().unwrap()).collect();
        let expected: BTreeSet<u32> = (1..=legs).filter(|leg| !elsewhere.contains(leg)).collect();
        assert_eq!(wired, expected, "legs of {part}");
    }
}

/// One line per relay: what to solder between which register output, pin terminal and bus.
fn wiring_list(layout: Layout) -> String {
    let mut list = String::from("relay,bit,register,drain,terminal,bus\n");
    let mut bit = 0;
    for (kind, bus, channels) in
        [("F", "FORCE", layout.force_channels), ("S", "SENSE", layout.sense_channels)]
    {
        for channel in 0..channels {
            for sign in ["+", "-"] {
                let (register, drain) = (bit / 8, bit % 8);
                writeln!(
                    list,
                    "{kind}{channel}{sign},{bit},{register},DRAIN{drain},{kind}{channel},{bus}{sign}"
                )
                .unwrap();
                bit += 1;
            }
        }
    }
    writeln!(list, "BLEED,{bit},{},DRAIN{},R38,FORCE-", bit / 8, bit % 8).unwrap();
    list
}

#[test]
fn the_wiring_lists_are_the_relay_map() {
    pages::is("hardware/matrix-16-48.csv", &wiring_list(LARGE));
    pages::is("hardware/matrix-8-24.csv", &wiring_list(SMALL));
}

#[test]
fn the_parts_table_is_the_parts_list() {
    let rows = bench::csv("hardware/parts.csv");
    let mut table = String::from(
        "| Part | What it must be | Package | 16 + 48 | 8 + 24 | References |\n|---|---|---|---|---|---|\n",
    );
    for row in rows {
        let rated = match row["watts"].as_str() {
            "" => String::new(),
            watts => format!("; {watts} W"),
        };
        let refs = if row["refs"].is_empty() { format!("`{}`", row["count"]) } else { row["refs"].clone() };
        let [part, specification] = [&row["part"], &row["specification"]];
        let [package, mounting] = [&row["package"], &row["mounting"]];
        assert!(!package.is_empty() && !mounting.is_empty(), "{part}: package and mounting");
        let [large, small] = [&row["16+48"], &row["8+24"]];
        writeln!(
            table,
            "| {part} | {specification}{rated} | {package}; {mounting} | {large} | {small} | {refs} |"
        )
        .unwrap();
    }
    pages::holds("docs/build-the-bench.md", "parts list", &table);
}

/// Coil of the reed relays of the parts list: 5 V, 500 Ω.
const COIL_MILLIAMPS: f64 = 1e3 * 5.0 / 500.0;
/// One pin per bus and the bleed relay: more can never be closed at once, by construction of `Contacts`.
const CLOSED_AT_ONCE: u32 = 4 + 1;
/// What a USB 2.0 port gives a device that asked for it, mA (USB 2.0 specification, 7.2.1: five unit loads of 100 mA).
const USB_MILLIAMPS: f64 = 500.0;

#[test]
fn the_bench_runs_from_one_usb_port() {
    let registers = |layout: Layout| layout.registers() as f64;
    // Typical figures of such parts, from memory, rounded up; the front end's are what ngspice shows.
    let lines = |layout| {
        [
            ("Raspberry Pi Pico with USB, both SPI buses busy", 40.0),
            ("Optocoupler LEDs, reversed: one pair lit, the other's resistor shorted", 45.0),
            ("Operational amplifiers, ADC, references, bias pull-up", 20.0),
            ("Rail of the load source at rest", 15.0),
            ("Load source, while it is on", 1e3 * LOAD_AMPS),
            ("Shift registers, 0.3 mA each", 0.3 * registers(layout)),
            ("Relay coils, 10 mA each, at most 5 at once", COIL_MILLIAMPS * f64::from(CLOSED_AT_ONCE)),
        ]
    };
    let total = |layout| lines(layout).iter().map(|(_, milliamps)| milliamps).sum::<f64>();
    let mut table = String::from("| From the 5 V of USB | 16 + 48 | 8 + 24 |\n|---|---|---|\n");
    for ((what, large), (_, small)) in lines(LARGE).into_iter().zip(lines(SMALL)) {
        writeln!(table, "| {what} | {large:.0} mA | {small:.0} mA |").unwrap();
    }
    writeln!(table, "| **Together, at most** | **{:.0} mA** | **{:.0} mA** |", total(LARGE), total(SMALL))
        .unwrap();
    pages::holds("docs/build-the-bench.md", "power budget", &table);

    let board = bench::read("firmware/pico/src/board.rs");
    let asked = board.split("MAX_POWER_MA: usize = ").nth(1).unwrap().split(';').next().unwrap();
    assert!(total(LARGE) <= asked.parse().unwrap(), "the firmware asks the host for {asked} mA");
    assert!(asked.parse::<f64>().unwrap() <= USB_MILLIAMPS);
    // Should every relay close at once, through a fault in the chain, the port would be overloaded: the resettable fuse
    // (0.35 A hold, 0.75 A trip) must tell the two cases apart.
    let all = COIL_MILLIAMPS * LARGE.relays() as f64;
    assert!(
        all > 750.0 && COIL_MILLIAMPS * f64::from(CLOSED_AT_ONCE) < 350.0,
        "{all} mA with every relay closed"
    );
}
#[test]
fn the_drawings_show_every_part_and_net() {
    let drawing = bench::read("hardware/front-end.svg");
    assert!(drawing.starts_with("<svg") && drawing.trim_end().ends_with("</svg>"));
    let shown: BTreeSet<&str> = drawing.split(['>', '<', ' ', ',']).collect();
    let parts: BTreeSet<String> = bench::front_end()
        .iter()
        .filter(|element| element.soldered())
        .map(|element| element.name.trim_start_matches('X').to_owned())
        .collect();
    for part in parts {
        assert!(shown.contains(part.as_str()), "the drawing of the front end lacks {part}");
    }
    for element in bench::front_end().iter().filter(|element| element.name.starts_with('R')) {
        let after = drawing.split(&format!(">{}</text>", element.name)).nth(1).unwrap();
        let value = after.split("</text>").next().unwrap().rsplit('>').next().unwrap();
        let (number, unit) = value.split_once(' ').unwrap();
        let factor = if unit.starts_with('k') { 1e3 } else { 1.0 };
        assert_eq!(
            number.parse::<f64>().unwrap() * factor,
            element.ohms(),
            "{} in the drawing",
            element.name
        );
    }
    for name in [
        "SRC", "RM_TOP", "BIAS", "FORCE+", "FORCE-", "SENSE+", "SENSE-", "AVDD", "AIN0", "AIN1", "AIN2",
        "AIN3", "REFP0",
    ] {
        assert!(shown.contains(name), "the drawing of the front end lacks {name}");
    }
    let blocks = bench::read("hardware/block-diagram.svg");
    for word in ["Pico", "TPIC6B595", "ADS1220", "USB", "FORCE+", "SENSE-", "74HCT541", "lid"] {
        assert!(blocks.contains(word), "the block diagram lacks {word}");
    }
}
