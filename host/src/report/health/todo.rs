//! What to clean or change next, and since when.

use serde::Serialize;
use utoipa::ToSchema;

use super::{At, Broken, ContactCourse, HumCourse, StandardCourse, Wear};
use crate::{
    quantity::{Ohms, engineering},
    report::figures,
};

/// A reed contact is at the end of its life above this (Comus, RI-27 data sheet: 2 Ω, 4 ms after closing).
const WORN_OUT: Ohms = Ohms(2.0);
/// From this share of the rated closures on a relay is to be changed when there is time.
const NEARLY_USED: f64 = 0.8;

/// Something to do.
#[derive(Clone, PartialEq, Debug, Serialize, ToSchema)]
pub struct ToDo {
    /// What, as an order: `Clean the force pin at cell+ of bed 1`.
    pub what: String,
    /// Why, in words.
    pub why: String,
    /// Since which sweep; `None` where it came by and by.
    pub since: Option<At>,
}

/// Everything, the most pressing first: what is worn out, then the meter, then pins, then hum, then relays that are
/// nearly used up.
pub(super) fn todo(
    standards: &[StandardCourse],
    contacts: &[ContactCourse],
    hum: &[HumCourse],
    wear: &[Wear],
) -> Vec<ToDo> {
    let worn = contacts.iter().filter(|contact| contact.latest > WORN_OUT).map(|contact| ToDo {
        what: format!(
            "Clean the force pin at {} of {}, then change its {} relay",
            contact.point,
            contact.fixture,
            contact.bus()
        ),
        why: format!(
            "pin, relay and reversal switch read {}, more than {}",
            engineering(contact.latest),
            engineering(WORN_OUT)
        ),
        since: None,
    });
    let off = standards.iter().filter_map(|standard| {
        let broken = standard.limits.as_ref()?.standing()?;
        Some(ToDo {
            what: format!(
                "Clean the pins and sockets of standard {} of {}; if it stays, look at the meter",
                standard.name, standard.fixture
            ),
            why: because(broken),
            since: Some(broken.since),
        })
    });
    let used = wear.iter().filter_map(|wear| {
        let busiest = wear.busiest.as_ref().filter(|busiest| busiest.used >= NEARLY_USED)?;
        Some(ToDo {
            what: format!("Change the relay {} of {}", busiest.relay, wear.bench),
            why: format!(
                "it has closed about {} times, {} of what it is good for",
                busiest.closures,
                figures::percent(busiest.used)
            ),
            since: None,
        })
    });
    let louder = hum.iter().filter_map(|hum| {
        let broken = hum.limits.as_ref()?.standing().filter(|broken| broken.above)?;
        Some(ToDo {
            what: format!("Twist the sense leads of {}, and move mains leads and supplies away", hum.fixture),
            why: format!("hum: {}", because(broken)),
            since: Some(broken.since),
        })
    });
    worn.chain(off).chain(risen(contacts)).chain(louder).chain(used).collect()
}

/// Contacts that read more than they did. Both relays of one pin have the pin in common; one alone points to its relay.
fn risen(contacts: &[ContactCourse]) -> Vec<ToDo> {
    let rises = |contact: &ContactCourse| {
        let broken = contact.limits.as_ref()?.standing().filter(|broken| broken.above).copied();
        broken.filter(|_| contact.latest <= WORN_OUT)
    };
    let mut found: Vec<ToDo> = Vec::new();
    for contact in contacts {
        let Some(broken) = rises(contact) else { continue };
        let is_twin = |other: &&ContactCourse| {
            (&other.fixture, &other.point) == (&contact.fixture, &contact.point) && other.plus != contact.plus
        };
        let twin = contacts.iter().find(is_twin);
        let both = twin.and_then(rises);
        if both.is_some() && !contact.plus && twin.is_some_and(|twin| twin.plus) {
            continue; // told with the other
        }
        let what = match (both, twin) {
            (Some(_), _) => format!("Clean the force pin at {} of {}", contact.point, contact.fixture),
            (None, Some(_)) => {
                format!(
                    "Clean the force pin at {} of {}; if it stays, change its {} relay: the other one reads as before",
                    contact.point,
                    contact.fixture,
                    contact.bus()
                )
            }
            (None, None) => format!(
                "Clean the force pin at {} of {}; if it stays, change its {} relay",
                contact.point,
                contact.fixture,
                contact.bus()
            ),
        };
        let since = both.map_or(broken.since, |both| {
            if both.since.sweep < broken.since.sweep { both.since } else { broken.since }
        });
        found.push(ToDo { what, why: because(&broken), since: Some(since) });
    }
    found
}

fn because(broken: &Broken) -> String {
    let side = if broken.above { "above" } else { "below" };
    format!("{}, {side} what its first readings were", broken.rule.in_words())
}
