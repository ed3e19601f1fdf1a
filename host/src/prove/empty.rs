//! An empty bed: no pin touches another, and no relay sticks.
//!
//! With one channel on each bus two pins are compared at a time. Force pins are asked for a current, sense pins by the burn-out
//! currents: sense lines that float part to both rails, joined ones stand together, and one that is joined to a force pin
//! stands at the bias node, to which both force buses rest while the source is off. A relay that sticks shows itself as a current
//! through its own channel from the other bus.

use copperwalk_wire::{
    Contacts, Gain, Input, Method, Rate, Shot, Source,
    codes::{CHECK_GAIN, decode},
    contact::touches,
    hardware::RM_OHMS,
};

use super::{ProveError, bench::Bench, pins::Pin};
use crate::{
    evidence::Line,
    link::{RanShot, Transport},
    measure::{Malformed, voltage},
    proof::Fault,
    quantity::{Amps, Ohms, Volts},
};

/// More current than this flows: offset and common mode, 60 µV over Rm at most, are less. Behind the clamp of 180 Ω and 180 mV
/// that is any bridge below 25 kΩ.
const FLOWS: Amps = Amps(6.4e-6);
/// Sense lines that float part by more than this under the burn-out currents: to the two rails. 10 µA leave less through 90 kΩ.
const PARTED: Volts = Volts(1.0);

/// What a shot asks: indices into the pins.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
enum Ask {
    /// Does the other relay of this channel stick? `plus`: the + relay is the one asked about.
    Stuck { pin: usize, plus: bool },
    /// Do two pins of one line touch?
    Alike([usize; 2]),
    /// Does a sense pin touch either of two force pins?
    Across { sense: usize, force: [Option<usize>; 2] },
}

/// Everything wrong with an empty bed.
pub fn prove<T: Transport>(bench: &mut Bench<'_, T>, pins: &[Pin]) -> Result<Vec<Fault>, ProveError> {
    let asks = asks(pins);
    let found = ask(bench, pins, &asks)?;
    // Which of the two force pins is it?
    let closer: Vec<Ask> = found
        .iter()
        .flat_map(|(ask, _)| match ask {
            Ask::Across { sense, force: [Some(first), Some(second)] } => {
                [*first, *second].map(|pin| Ask::Across { sense: *sense, force: [Some(pin), None] }).to_vec()
            }
            _ => Vec::new(),
        })
        .collect();
    let told = ask(bench, pins, &closer)?;
    let settled = found
        .into_iter()
        .filter(|(ask, _)| !matches!(ask, Ask::Across { force: [Some(_), Some(_)], .. }))
        .chain(told);
    Ok(faults(pins, settled.collect()))
}

/// Asks, and gives what was answered with yes: with the current that flows, where one is asked for.
fn ask<T: Transport>(
    bench: &mut Bench<'_, T>,
    pins: &[Pin],
    asks: &[Ask],
) -> Result<Vec<(Ask, Amps)>, ProveError> {
    let shots: Vec<Shot> = asks.iter().map(|ask| shot(pins, *ask)).collect();
    let ran = bench.run("pairs of pins on the empty bed", &shots)?;
    let mut yes = Vec::new();
    for ((ask, shot), ran) in asks.iter().zip(&shots).zip(&ran) {
        if let Some(current) = answer(shot, ran, bench.bias)? {
            yes.push((*ask, current));
        }
    }
    Ok(yes)
}

fn asks(pins: &[Pin]) -> Vec<Ask> {
    let of = |line| -> Vec<usize> { (0..pins.len()).filter(|&at| pins[at].line == line).collect() };
    let (force, sense) = (of(Line::Force), of(Line::Sense));
    let stuck = (0..pins.len()).flat_map(|pin| [true, false].map(|plus| Ask::Stuck { pin, plus }));
    let alike = [&force, &sense].into_iter().flat_map(|line| {
        line.iter().enumerate().flat_map(|(at, &a)| line[at + 1..].iter().map(move |&b| [a, b]))
    });
    let across = force.chunks(2).flat_map(|pair| {
        let force = [pair.first().copied(), pair.get(1).copied()];
        sense.iter().map(move |&sense| Ask::Across { sense, force })
    });
    // The two leads of a built-in part are joined by it.
    let joined = |a: usize, b: usize| pins[a].part.is_some() && pins[a].part == pins[b].part;
    let alike = alike.filter(|&[a, b]| !joined(a, b)).map(Ask::Alike);
    let across = across.filter_map(|ask| match ask {
        Ask::Across { sense, force } => {
            let force = force.map(|force| force.filter(|&force| !joined(sense, force)));
            force.iter().any(Option::is_some).then_some(Ask::Across { sense, force })
        }
        other => Some(other),
    });
    stuck.chain(alike).chain(across).collect()
}

fn shot(pins: &[Pin], ask: Ask) -> Shot {
    let mut contacts = Contacts::default();
    let (input, source, gain, burnout) = match ask {
        Ask::Stuck { pin, plus } => {
            let pin = &pins[pin];
            let bus = match (pin.line, plus) {
                (Line::Force, true) => &mut contacts.force_minus,
                (Line::Force, false) => &mut contacts.force_plus,
                (Line::Sense, true) => &mut contacts.sense_minus,
                (Line::Sense, false) => &mut contacts.sense_plus,
            };
            *bus = Some(pin.channel);
            same_line(pin.line)
        }
        Ask::Alike([a, b]) => {
            let (a, b) = (&pins[a], &pins[b]);
            let (plus, minus) = match a.line {
                Line::Force => (&mut contacts.force_plus, &mut contacts.force_minus),
                Line::Sense => (&mut contacts.sense_plus, &mut contacts.sense_minus),
            };
            (*plus, *minus) = (Some(a.channel), Some(b.channel));
            same_line(a.line)
        }
        Ask::Across { sense, force } => {
            let [plus, minus] = force.map(|pin| pin.map(|pin| pins[pin].channel));
            (contacts.force_plus, contacts.force_minus) = (plus, minus);
            contacts.sense_plus = Some(pins[sense].channel);
            (Input::PlusAlone, Source::Off, CHECK_GAIN, true)
        }
    };
    let method = Method::Sample { input, reversed: false, burnout, gain, rate: Rate::Sps1000, count: 1 };
    Shot { contacts, source, method }
}

fn same_line(line: Line) -> (Input, Source, Gain, bool) {
    match line {
        Line::Force => (Input::Current, Source::Isolation, Gain::X128, false),
        Line::Sense => (Input::Sense, Source::Off, CHECK_GAIN, true),
    }
}

/// The current that flows, or nothing to speak of where sense lines are joined; `None`: they are not.
fn answer(shot: &Shot, ran: &RanShot, bias: i32) -> Result<Option<Amps>, Malformed> {
    let sample = decode(shot, &ran.codes)?.sample()?;
    let seen = voltage(sample.first, sample.gain);
    Ok(match sample.input {
        Input::Current => Some((seen / Ohms(RM_OHMS)).abs()).filter(|current| *current > FLOWS),
        Input::Sense => (seen.abs() < PARTED).then_some(Amps::ZERO),
        _ => touches(sample.first, bias).then_some(Amps::ZERO),
    })
}

/// What the answers with yes come to, in words.
fn faults(pins: &[Pin], yes: Vec<(Ask, Amps)>) -> Vec<Fault> {
    let sticks = |pin: usize, plus: bool| {
        yes.iter().find(|(ask, _)| *ask == Ask::Stuck { pin, plus }).map(|(_, current)| *current)
    };
    let mut faults = Vec::new();
    let mut told: Vec<[usize; 2]> = Vec::new();
    for &(ask, current) in &yes {
        match ask {
            // Through a built-in part the current of its other lead's relay flows, too: a little less of it.
            Ask::Stuck { pin, plus } => {
                let other = (0..pins.len()).find(|&other| {
                    other != pin
                        && pins[other].line == pins[pin].line
                        && pins[other].part.is_some()
                        && pins[other].part == pins[pin].part
                });
                let through = other.and_then(|other| Some((other, sticks(other, plus)?)));
                let place = match through {
                    Some((_, more)) if more > current => continue,
                    Some((other, same)) if same == current && other < pin => continue,
                    Some((other, same)) if same == current => {
                        format!("{} or {}", pins[pin].in_words(), pins[other].in_words())
                    }
                    _ => pins[pin].in_words(),
                };
                let sign = if plus { '+' } else { '-' };
                faults.push(Fault {
                    part: format!("relay {}{sign} of {place}", pins[pin].line.word()),
                    what: "is closed although nothing drives it: its contact has welded; replace it".into(),
                });
            }
            // A relay that sticks joins its pin to every other.
            Ask::Alike([a, b]) | Ask::Across { sense: a, force: [Some(b), _] | [None, Some(b)] }
                if ![a, b].iter().any(|&pin| sticks(pin, true).or(sticks(pin, false)).is_some()) =>
            {
                // Both leads of a part are one place.
                let place = |pin: usize| {
                    let part = pins[pin].part;
                    let first = (0..pins.len()).find(|&other| {
                        part.is_some() && pins[other].part == part && pins[other].line == pins[pin].line
                    });
                    first.unwrap_or(pin)
                };
                let pair = [place(a), place(b)];
                if !told.contains(&pair) {
                    told.push(pair);
                    faults.push(Fault {
                        part: format!("{} and {}", pins[a].in_words(), pins[b].in_words()),
                        what: "are joined on the empty bed: look for a bent pin, a splash of solder or a bridged lead"
                            .into(),
                    });
                }
            }
            Ask::Alike(_) | Ask::Across { .. } => {}
        }
    }
    faults
}
