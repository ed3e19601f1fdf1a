//! What the relays and the current did, what must never be seen there, and how long the controller waited.

use std::collections::BTreeSet;

use copperwalk::virtual_bench::trace::{Change, Event};

/// Everything is open and dark from this moment on, µs; `None` while a relay is driven or current flows.
pub fn dark_since(events: &[Event]) -> Option<u64> {
    let mut driven = BTreeSet::new();
    let (mut excited, mut burning) = (false, false);
    let mut since = Some(0);
    for Event { at_us, what } in events {
        match *what {
            Change::Relay { relay, on } => {
                if on {
                    driven.insert(relay);
                } else {
                    driven.remove(&relay);
                }
            }
            Change::Excitation { on } => excited = on,
            Change::Burnout { on } => burning = on,
            Change::Reverse { .. } | Change::Placed(_) | Change::Contact { .. } => {}
        }
        since = (driven.is_empty() && !excited && !burning).then(|| since.unwrap_or(*at_us));
    }
    since
}

/// Relays driven at the end of the trace.
pub fn driven(events: &[Event]) -> BTreeSet<usize> {
    let mut driven = BTreeSet::new();
    for event in events {
        match event.what {
            Change::Relay { relay, on: true } => drop(driven.insert(relay)),
            Change::Relay { relay, on: false } => drop(driven.remove(&relay)),
            _ => {}
        }
    }
    driven
}

/// Whether current is driven into the unit at the end of the trace.
pub fn excited(events: &[Event]) -> bool {
    events.iter().rev().find_map(|event| match event.what {
        Change::Excitation { on } => Some(on),
        _ => None,
    }) == Some(true)
}

/// Every change of a relay's coil happened while no current was driven into the unit. Returns how many there were.
///
/// # Panics
/// If one did not.
pub fn assert_cold_switching(events: &[Event]) -> usize {
    let (mut excited, mut burning) = (false, false);
    let mut changes = 0;
    for Event { at_us, what } in events {
        match *what {
            Change::Excitation { on } => excited = on,
            Change::Burnout { on } => burning = on,
            Change::Relay { relay, on } => {
                changes += 1;
                assert!(!excited && !burning, "at {at_us} µs relay {relay} turns {on} under current");
            }
            Change::Reverse { .. } | Change::Placed(_) | Change::Contact { .. } => {}
        }
    }
    changes
}

/// The shortest waits in a trace, µs; `None` where there was none.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
pub struct ShortestWaits {
    /// From the last current off to a relay's change.
    pub quiet: Option<u64>,
    /// From the last relay let go to the next one driven.
    pub release: Option<u64>,
    /// From the last relay driven to a current on.
    pub operate: Option<u64>,
}

/// The shortest waits between what was really switched.
pub fn shortest_waits(events: &[Event]) -> ShortestWaits {
    let mut shortest = ShortestWaits::default();
    let (mut off, mut released, mut driven) = (None, None, None);
    let note = |shortest: &mut Option<u64>, from: Option<u64>, to: u64| {
        // What changes together is one transfer.
        if let Some(wait) = from.map(|from| to - from).filter(|wait| *wait > 0) {
            *shortest = Some(shortest.map_or(wait, |known| known.min(wait)));
        }
    };
    for Event { at_us, what } in events {
        match *what {
            Change::Relay { on, .. } => {
                note(&mut shortest.quiet, off.take(), *at_us);
                if on {
                    note(&mut shortest.release, released, *at_us);
                    driven = Some(*at_us);
                } else {
                    released = Some(*at_us);
                }
            }
            Change::Excitation { on: true } | Change::Burnout { on: true } => {
                note(&mut shortest.operate, driven.take(), *at_us);
            }
            Change::Excitation { on: false } | Change::Burnout { on: false } => off = Some(*at_us),
            Change::Reverse { .. } | Change::Placed(_) | Change::Contact { .. } => {}
        }
    }
    shortest
}
