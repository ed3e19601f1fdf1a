//! A bare plate on the pins: every pin by way of both of its relays, also by those that no plan closes.
//!
//! The plate is one potential, so the drop between it and the far end of a force bus is that of pin, relay and reversal switch
//! alone. Of sense pins only whether they touch is read: no current flows through them that could be told.

use copperwalk_wire::{
    Contacts, Gain, Input, Method, Rate, Ratio, Shot, Source,
    codes::{CHECK_GAIN, decode},
    contact::touches,
    message::ShotEnd,
};

use super::{ProveError, bench::Bench, pins::Pin};
use crate::{
    evidence::Line,
    finding::bench::FORCE_CONTACT,
    link::{RanShot, Transport},
    measure::ratio::{self, Surroundings},
    meter::Meter,
    proof::{ContactFound, Fault},
    quantity::{Ohms, engineering},
};

const PART: &str = "contacts on the plate";

/// Every contact, and what is wrong with them.
pub fn prove<T: Transport>(
    bench: &mut Bench<'_, T>,
    pins: &[Pin],
) -> Result<(Vec<ContactFound>, Vec<Fault>), ProveError> {
    let of =
        |line| -> Vec<&Pin> { pins.iter().filter(|pin| pin.part.is_none() && pin.line == line).collect() };
    let (force, sense) = (of(Line::Force), of(Line::Sense));
    let mut contacts = sense_contacts(bench, &force, &sense)?;
    if !contacts.iter().any(|contact| contact.touches) {
        return Err(ProveError::NoPlate);
    }
    let by = |plus| {
        let answering = contacts.iter().find(|contact| contact.touches && contact.plus == plus);
        answering.map(|contact| contact.channel)
    };
    // Two sense pins that answer; where one answers on both sides only, another must do for the other side.
    let watched = by(true).and_then(|plus| {
        let minus = contacts.iter().find(|c| c.touches && !c.plus && c.channel != plus)?;
        Some([plus, minus.channel])
    });
    if let Some(watched) = watched {
        let mut best = Vec::new();
        // The pin that the others are asked against may be the dirty one.
        for reference in force.iter().take(3) {
            let found = force_contacts(bench, &force, reference, watched)?;
            let count = |found: &[ContactFound]| found.iter().filter(|contact| contact.touches).count();
            if count(&found) > count(&best) {
                best = found;
            }
            if best.iter().all(|contact| contact.touches) && !best.is_empty() {
                break;
            }
        }
        contacts.extend(best);
    }
    contacts.sort_by_key(|contact| (!contact.force, contact.channel, !contact.plus));
    let faults = faults(&contacts);
    Ok((contacts, faults))
}

fn sense_contacts<T: Transport>(
    bench: &mut Bench<'_, T>,
    force: &[&Pin],
    sense: &[&Pin],
) -> Result<Vec<ContactFound>, ProveError> {
    // Two force pins tie the plate to the bias node, should one of them be dirty.
    let tied = Contacts {
        force_plus: force.first().map(|pin| pin.channel),
        force_minus: force.get(1).map(|pin| pin.channel),
        ..Contacts::default()
    };
    let asks: Vec<(&Pin, bool)> = sense.iter().flat_map(|pin| [(*pin, true), (*pin, false)]).collect();
    let shots: Vec<Shot> = asks
        .iter()
        .map(|(pin, plus)| {
            let (contacts, input) = match plus {
                true => (Contacts { sense_plus: Some(pin.channel), ..tied }, Input::PlusAlone),
                false => (Contacts { sense_minus: Some(pin.channel), ..tied }, Input::MinusAlone),
            };
            let method = Method::Sample {
                input,
                reversed: false,
                burnout: true,
                gain: CHECK_GAIN,
                rate: Rate::Sps1000,
                count: 1,
            };
            Shot { contacts, source: Source::Off, method }
        })
        .collect();
    let ran = bench.run(PART, &shots)?;
    let mut found = Vec::new();
    for (((pin, plus), shot), ran) in asks.into_iter().zip(&shots).zip(&ran) {
        let code = decode(shot, &ran.codes)?.sample()?.first;
        found.push(contact(pin, plus, touches(code, bench.bias), None));
    }
    Ok(found)
}

fn contact(pin: &Pin, plus: bool, touches: bool, resistance: Option<Ohms>) -> ContactFound {
    let force = pin.line == Line::Force;
    ContactFound { pin: pin.name.clone(), force, channel: pin.channel, plus, touches, resistance }
}

/// Every force pin against one of them, by way of either relay; that one last, against one that was found good.
fn force_contacts<T: Transport>(
    bench: &mut Bench<'_, T>,
    force: &[&Pin],
    reference: &Pin,
    watched: [u16; 2],
) -> Result<Vec<ContactFound>, ProveError> {
    let others: Vec<&Pin> = force.iter().copied().filter(|pin| pin.channel != reference.channel).collect();
    let mut found =
        force_pairs(bench, &others.iter().map(|pin| (*pin, reference)).collect::<Vec<_>>(), watched)?;
    let touches = |pin: &&&Pin| {
        found.iter().filter(|contact| contact.channel == pin.channel).all(|contact| contact.touches)
    };
    if let Some(good) = others.iter().find(touches).or(others.first()) {
        found.extend(force_pairs(bench, &[(reference, good)], watched)?);
    }
    Ok(found)
}

/// The first of each pair by way of either relay, the current going on through the second.
fn force_pairs<T: Transport>(
    bench: &mut Bench<'_, T>,
    pairs: &[(&Pin, &Pin)],
    [sense_plus, sense_minus]: [u16; 2],
) -> Result<Vec<ContactFound>, ProveError> {
    let asks: Vec<(&Pin, &Pin, bool)> =
        pairs.iter().flat_map(|(pin, other)| [(*pin, *other, true), (*pin, *other, false)]).collect();
    let shots: Vec<Shot> = asks
        .iter()
        .map(|(pin, other, plus)| {
            let (pin, other) = (Some(pin.channel), Some(other.channel));
            let (force_plus, force_minus) = if *plus { (pin, other) } else { (other, pin) };
            let contacts = Contacts {
                force_plus,
                force_minus,
                sense_plus: Some(sense_plus),
                sense_minus: Some(sense_minus),
            };
            Shot { contacts, source: Source::Dry, method: Method::Ratio(LOOK) }
        })
        .collect();
    let ran = bench.run(PART, &shots)?;
    let mut found = Vec::new();
    for (((pin, _, plus), shot), ran) in asks.into_iter().zip(&shots).zip(&ran) {
        let drop = drop_of(shot, ran, plus)?;
        found.push(contact(pin, plus, drop.is_some(), drop));
    }
    Ok(found)
}

/// One triple, dry, with the drops of both force contacts.
const LOOK: Ratio = Ratio {
    gain_a: Gain::X64,
    gain_b: Gain::X64,
    rate: Rate::Sps1000,
    wait_us: 0,
    contact_check: false,
    ends: true,
    triples_min: 1,
    triples_max: 1,
    stop: None,
    gate: None,
};

/// Resistance of the force contact on this side; `None` where no current flows.
fn drop_of(shot: &Shot, ran: &RanShot, plus: bool) -> Result<Option<Ohms>, ProveError> {
    let unknown = &Surroundings::UNKNOWN;
    let reading = ratio::read(&Meter::PUBLISHED, shot, &ran.codes, ShotEnd::Complete, false, None, unknown)?;
    let drops = reading.end_drops.filter(|_| reading.flows);
    Ok(drops.map(|[minus_end, plus_end]| (if plus { plus_end } else { minus_end } / reading.current).abs()))
}

fn faults(contacts: &[ContactFound]) -> Vec<Fault> {
    let mut faults = Vec::new();
    for contact in contacts {
        let ContactFound { pin, force, channel, plus, .. } = contact;
        let (line, sign) =
            (if *force { Line::Force } else { Line::Sense }.word(), if *plus { '+' } else { '-' });
        let twin = contacts
            .iter()
            .find(|other| (other.force, other.channel, other.plus) == (*force, *channel, !*plus));
        match (contact.touches, twin.is_some_and(|twin| twin.touches)) {
            (false, true) => faults.push(Fault {
                part: format!("relay {line}{sign} of pin {pin} ({line} channel {channel})"),
                what: "does not close, while the pin answers by way of its other relay: replace the relay, or mend its driver"
                    .into(),
            }),
            // Told once, with its + relay.
            (false, false) if *plus => faults.push(Fault {
                part: format!("pin {pin} ({line} channel {channel})"),
                what: "does not touch the plate by way of either relay: clean it, or replace it; then look at its lead".into(),
            }),
            _ => {}
        }
        // Of both relays the worse one says it.
        let worse = |other: Ohms| contact.resistance.filter(|own| *own > other || (*own == other && *plus));
        let worst = worse(twin.and_then(|twin| twin.resistance).unwrap_or_default());
        if let Some(resistance) = worst.filter(|resistance| *resistance > FORCE_CONTACT) {
            faults.push(Fault {
                part: format!("pin {pin} ({line} channel {channel})"),
                what: format!(
                    "{} by way of its {sign} relay, and at most {} is good: clean the pin, or replace the relay",
                    engineering(resistance),
                    engineering(FORCE_CONTACT)
                ),
            });
        }
    }
    faults
}
