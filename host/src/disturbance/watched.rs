//! What a segment did while it was watched.

use serde::{Deserialize, Serialize};

use crate::{
    quantity::Ohms,
    verdict::{Class, Verdict},
};

/// Disturbances that are kept one by one; the others are counted. A contact that comes and goes all the while would fill a book.
pub const LISTED: usize = 1000;

/// Where the loop opened.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Place {
    /// The watched segment.
    Segment,
    /// Another piece of the path, or a force pin.
    Elsewhere,
    /// A sense pin left its pad: the current stood.
    Pin,
    /// Too short to tell.
    Unknown,
}

/// An interruption.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct Disturbance {
    /// When it began, µs of watching.
    pub at_us: u64,
    /// How long it lasted, µs; about a conversion more or less.
    pub us: u64,
    /// Where.
    pub place: Place,
}

/// The resistance changed and stayed.
#[derive(Clone, Copy, PartialEq, Debug, Serialize, Deserialize)]
pub struct Step {
    /// When, µs of watching.
    pub at_us: u64,
    /// Resistance before.
    pub from: Ohms,
    /// After.
    pub to: Ohms,
}

/// More noise than at rest.
#[derive(Clone, Copy, PartialEq, Debug, Serialize, Deserialize)]
pub struct Noise {
    /// When it began, µs of watching.
    pub at_us: u64,
    /// How long it lasted, µs.
    pub us: u64,
    /// Largest standard deviation of it.
    pub rms: Ohms,
}

/// What a segment did.
#[derive(Clone, PartialEq, Debug, Default, Serialize, Deserialize)]
pub struct Watched {
    /// Time watched, µs.
    pub us: u64,
    /// Time within it without a conversion, because the line had no room, µs.
    pub unwatched_us: u64,
    /// Conversions of both pairs.
    pub conversions: u64,
    /// Resistance at rest, by a reading with current reversal before.
    pub resistance: Ohms,
    /// Standard deviation of one conversion at rest.
    pub noise: Ohms,
    /// Interruptions, in order, up to [`LISTED`] of each place.
    pub disturbances: Vec<Disturbance>,
    /// How many there were: of the segment, elsewhere, of a sense pin, too short to tell.
    pub counts: [u64; 4],
    /// The longest of the segment's own, µs.
    pub longest_us: u64,
    /// Steps, in order, up to [`LISTED`].
    pub steps: Vec<Step>,
    /// Times of excess noise, in order, up to [`LISTED`].
    pub noises: Vec<Noise>,
}

impl Watched {
    /// Counts an interruption, and lists it if there is room.
    pub fn add(&mut self, found: Disturbance) {
        let Some(count) = self.counts.get_mut(found.place as usize) else { return };
        *count += 1;
        if *count <= LISTED as u64 {
            self.disturbances.push(found);
        }
        if found.place == Place::Segment {
            self.longest_us = self.longest_us.max(found.us);
        }
    }

    /// Interruptions at a place.
    pub fn count(&self, place: Place) -> u64 {
        self.counts.get(place as usize).copied().unwrap_or_default()
    }

    /// Did the segment move?
    pub fn moved(&self) -> bool {
        self.count(Place::Segment) > 0 || !self.steps.is_empty() || !self.noises.is_empty()
    }

    /// Fail where the segment moved; void where a pin did, or not all of the time was watched; unproven where the loop opened and nobody
    /// knows that it was not here. Pass says that nothing was seen, and no more.
    pub fn verdict(&self) -> Verdict {
        match () {
            () if self.moved() => Verdict::Fail,
            () if self.count(Place::Pin) > 0 || self.unwatched_us > 0 => Verdict::Void,
            () if self.count(Place::Elsewhere) + self.count(Place::Unknown) > 0 => Verdict::Unproven,
            () => Verdict::Pass,
        }
    }

    /// Flaky where the segment moved.
    pub fn class(&self) -> Class {
        if self.moved() { Class::Flaky } else { Class::Ok }
    }
}
