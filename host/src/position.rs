//! Which position are the unit's switches in? Read from their own contacts, cold: with every source off, the converter's
//! burn-out current (10 µA) goes in at one sense pin of the switch and out at the other. Through a closed contact it drops
//! millivolts at most; across an open one nothing carries it, and the two pins part to the ends of the converter's range.
//!
//! It proves nothing about the contact, and no verdict comes from it. It tells a bench that a person has moved the switch, so
//! that nobody has to say so.

use copperwalk_wire::{Contacts, Gain, Input, Malformed, Method, Rate, Shot, Source, decode_codes};

use crate::{
    board::{SegmentId, StateId},
    fixture::Fixture,
    measure::{saturated, voltage},
    quantity::Volts,
};

/// Conversions of one look, 1 ms each: contact bounce lasts a few milliseconds, and all of them have to agree.
const LOOKS: u8 = 8;
/// Voltage across the pins up to which a contact counts as closed: 5 kΩ at 10 µA. A worn switch has some hundred ohms,
/// and what leaks round an open one in a sound unit has 100 kΩ and more.
const CLOSED: Volts = Volts(0.05);
/// Voltage from which it counts as open: 50 kΩ at 10 µA.
const OPEN: Volts = Volts(0.5);

/// A switch whose position can be read: both its ends have sense pins.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Probe {
    /// The switch.
    pub segment: SegmentId,
    /// The shot that reads it.
    pub shot: Shot,
}

/// What a look tells of one state.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Position {
    /// Every switch that can be read stands as in this state.
    There,
    /// A switch stands otherwise.
    Elsewhere,
    /// Nothing that can be read tells this state from another.
    Unknown,
}

/// One probe for each switch that can be read. Empty where nothing tells the states apart.
pub fn probes(fixture: &Fixture) -> Vec<Probe> {
    let board = &fixture.board;
    let ids = board.segment_ids().filter(|id| board.segment(*id).closed.is_some());
    ids.filter_map(|segment| {
        let ends = board.segment(segment);
        let (plus, minus) = (fixture.pins(ends.from).sense?, fixture.pins(ends.to).sense?);
        // No force pin: a side tied to the bias node would leave the other alone to be pulled to ground, where the amplifier
        // sees half of it. Floating, the two sides of an open contact part to both rails.
        let contacts = Contacts { sense_plus: Some(plus), sense_minus: Some(minus), ..Contacts::default() };
        let method = Method::Sample {
            input: Input::Sense,
            reversed: false,
            burnout: true,
            gain: Gain::X1,
            rate: Rate::Sps1000,
            count: LOOKS,
        };
        Some(Probe { segment, shot: Shot { contacts, source: Source::Off, method } })
    })
    .collect()
}

/// Does the contact conduct? `None` where the conversions do not agree, or say neither.
///
/// # Errors
/// Codes that do not fit the probe.
pub fn conducts(probe: &Probe, codes: &[i32]) -> Result<Option<bool>, Malformed> {
    let samples = decode_codes(&probe.shot, codes)?.sample()?.all;
    let across = |code: i32| voltage(code, Gain::X1).abs();
    Ok(match () {
        () if samples.iter().all(|&code| across(code) <= CLOSED) => Some(true),
        () if samples.iter().all(|&code| saturated(code) || across(code) >= OPEN) => Some(false),
        () => None,
    })
}

/// Is the unit in this state, as far as its switches tell? `contacts` are the probes' answers, in their order.
pub fn position(fixture: &Fixture, probes: &[Probe], contacts: &[Option<bool>], state: StateId) -> Position {
    let board = &fixture.board;
    let told_apart = board.state_ids().filter(|other| *other != state).all(|other| {
        probes.iter().any(|probe| {
            let segment = board.segment(probe.segment);
            segment.conducts_in(state) != segment.conducts_in(other)
        })
    });
    if !told_apart || probes.len() != contacts.len() {
        return Position::Unknown;
    }
    let as_wanted = probes
        .iter()
        .zip(contacts)
        .all(|(probe, contact)| *contact == Some(board.segment(probe.segment).conducts_in(state)));
    if as_wanted { Position::There } else { Position::Elsewhere }
}
