//! What happened on the bench and when: the evidence that relays only ever move while no current flows.

use crate::board::{SegmentId, StateId};

/// One change.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Event {
    /// Model time, µs.
    pub at_us: u64,
    /// What changed.
    pub what: Change,
}

/// What changed.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Change {
    /// The coil of a relay.
    Relay {
        /// Its bit.
        relay: usize,
        /// Driven or let go.
        on: bool,
    },
    /// The current into the source node, from whichever source.
    Excitation {
        /// On or off.
        on: bool,
    },
    /// The ADC's burn-out currents.
    Burnout {
        /// On or off.
        on: bool,
    },
    /// The reversal switch.
    Reverse {
        /// Reversed or forward.
        on: bool,
    },
    /// The unit was put into the state of this index.
    Placed(StateId),
    /// A contact of the unit changed by itself.
    Contact {
        /// The segment.
        segment: SegmentId,
        /// Good or bad.
        good: bool,
    },
}

/// Changes in order, kept only while asked for: a lot of sweeps would fill the memory.
#[derive(Clone, Debug, Default)]
pub struct Trace {
    wanted: bool,
    events: Vec<Event>,
}

impl Trace {
    /// Starts afresh, or stops.
    pub fn keep(&mut self, wanted: bool) {
        self.wanted = wanted;
        self.events.clear();
    }

    /// Notes a change.
    pub fn note(&mut self, at_us: u64, what: Change) {
        if self.wanted {
            self.events.push(Event { at_us, what });
        }
    }

    /// Changes since [`keep`](Self::keep), oldest first.
    pub fn events(&self) -> &[Event] {
        &self.events
    }
}
