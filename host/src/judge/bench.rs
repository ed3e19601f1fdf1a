//! The bench's faults in words: which pin, relay or part, what is wrong with it, and what to do.

use copperwalk_wire::message::Fault;

use crate::{
    board::{Board, PointId},
    evidence::{Bus, Line},
    finding::bench::BenchFinding,
    fixture::Fixture,
    quantity::{Volts, engineering, si},
    sweep::BenchFault,
};

/// The end of the converter's range at gain 1, less what noise may take off.
const RANGE_END: Volts = Volts(2.04);

/// One fault in words.
pub fn fault(fixture: &Fixture, finding: &BenchFinding) -> BenchFault {
    let board = &fixture.board;
    let standard = |index: usize| {
        let name = fixture.standards.get(index).map_or("", |standard| standard.name.as_str());
        format!("standard {name}")
    };
    let (part, what): (String, String) = match finding {
        BenchFinding::Controller(fault) => controller(*fault),
        BenchFinding::LiveUnit(voltage) => live_unit(board, *voltage),
        BenchFinding::Hum(hum) => (
            "hum".into(),
            format!(
                "{} of {} Hz in the sense lines, more than can be cleared: twist each sense pair, move supplies and lamps \
                 away from the bed, then sweep again",
                si(hum.peak.0, 2, "V"),
                hum.hertz
            ),
        ),
        &BenchFinding::DirtyPin { point, line } => (
            pin(fixture, point, line),
            "does not touch: clean the pin and the pad, check that the board sits flat, and sweep again"
                .into(),
        ),
        &BenchFinding::PoorForceContact { point, resistance } => (
            pin(fixture, point, Line::Force),
            format!(
                "the contact reads {}; clean or replace the pin and sweep again",
                engineering(resistance)
            ),
        ),
        &BenchFinding::NeverCloses { point, line, plus } => (
            format!("relay {}{} of {}", line.word(), sign(plus), relay_place(fixture, point, line)),
            "never closes, while the pin answers on its other relay: replace the relay or its driver".into(),
        ),
        BenchFinding::StuckRelay { bus, points } => (
            stuck_relay(fixture, *bus, points),
            "sticks closed: replace the relay, and look for what made it weld".into(),
        ),
        &BenchFinding::StandardOff(index, found) => (
            standard(index),
            format!(
                "reads {} instead of {}; the meter is not to be trusted: find out why before measuring on",
                engineering(found),
                fixture
                    .standards
                    .get(index)
                    .map_or_else(String::new, |stated| engineering(stated.resistance))
            ),
        ),
        &BenchFinding::StandardOpen(index) => {
            (standard(index), "no current flows through it; check its wiring and its force relays".into())
        }
        BenchFinding::StandardContact { channel } => (
            format!("standard, sense channel {channel}"),
            "its contact does not answer; check its wiring and relay".into(),
        ),
        &BenchFinding::ThermometerOff(index, read, sensor) => (
            format!(
                "thermometer {}",
                fixture.thermometers.get(index).map_or("", |known| known.name.as_str())
            ),
            format!(
                "reads {:.1} °C and the sensor in the meter {:.1} °C: one of the two is wrong, or bed and meter differ by more than \
                 `apart` in the fixture file allows; find out which, then sweep again",
                read.0, sensor.0
            ),
        ),
        BenchFinding::UnsteadySupply => (
            "contacts of the supply terminals".into(),
            "did not answer at first and did when asked again: seat the board and sweep again".into(),
        ),
    };
    BenchFault { part, what }
}

/// What the controller found wrong with itself.
fn controller(fault: Fault) -> (String, String) {
    let (part, what) = match fault {
        Fault::Register { behind } => {
            let register = format!("register {} from the far end of the chain", behind + 1);
            return (
                register,
                "its output stays high: replace it, or its neighbour towards the far end".into(),
            );
        }
        Fault::Lid => ("lid", "the lid was opened during the sweep; close it and sweep again"),
        Fault::Heartbeat => ("line to the host", "the controller heard nothing from the host and let go"),
        Fault::AdcTimeout => ("meter", "the ADC did not say ready in time; check its wiring and supply"),
        Fault::AdcRegisters => ("meter", "the ADC's registers do not read back as written; check its wiring"),
        Fault::Matrix => {
            ("matrix", "the shift-register chain could not be written, or does not answer; check its wiring")
        }
        Fault::Line => ("line to the host", "the conversions could not be sent; check the cable"),
    };
    (part.into(), what.into())
}

fn live_unit(board: &Board, voltage: Volts) -> (String, String) {
    let [from, ret] = [board.supply.from, board.supply.ret].map(|point| &board.point(point).name);
    let shown = if voltage.abs() >= RANGE_END {
        "more than 2 V".to_owned()
    } else {
        format!("{:.2} V", voltage.abs().0)
    };
    (
        format!("voltage between {from} and {ret}"),
        format!(
            "{shown} stand on the unit and do not bleed off: take the battery out, wait a minute, and sweep again. \
             No test current was switched on"
        ),
    )
}

fn sign(plus: bool) -> char {
    if plus { '+' } else { '-' }
}

fn channel(fixture: &Fixture, point: PointId, line: Line) -> Option<u16> {
    let pins = fixture.pins(point);
    match line {
        Line::Force => pins.force,
        Line::Sense => pins.sense,
    }
}

fn pin(fixture: &Fixture, point: PointId, line: Line) -> String {
    let name = &fixture.board.point(point).name;
    match channel(fixture, point, line) {
        Some(channel) => format!("pin {name}, {} channel {channel}", line.word()),
        None => format!("pin {name}"),
    }
}

fn relay_place(fixture: &Fixture, point: PointId, line: Line) -> String {
    let channel =
        channel(fixture, point, line).map(|channel| format!("channel {channel} ")).unwrap_or_default();
    format!("{channel}(pin {})", fixture.board.point(point).name)
}

fn stuck_relay(fixture: &Fixture, bus: Bus, points: &[PointId]) -> String {
    let places: Vec<String> = points.iter().map(|&point| relay_place(fixture, point, bus.line())).collect();
    let which =
        if places.is_empty() { "(not found which)".into() } else { format!("of {}", places.join(" or ")) };
    format!("relay {}{} {which}", bus.line().word(), sign(bus.plus()))
}
