//! A bed of pins for a board: which pins, where, on which channels, and everything needed to make it.
//!
//! Read in this order: [`family`] (sizes of pins), [`choose`] (the fewest pins that measure everything), [`coverage`] and [`force`] (which
//! further force pins uncover most behind likely breaks), [`place`] (faces, places, sizes), [`channels`], [`propose()`] (all of it),
//! [`text`] (the fixture file of it). To make it: [`locate`] and [`bow`] (stops and supports), [`plate`] (every hole of a plate), and then
//! what is written of a plate: [`xnc`], [`dxf`], [`svg`], [`stl`]; [`wiring`], [`bill`] and [`checklist`] for who builds it, [`files`] all
//! together.

pub mod bill;
pub mod bow;
pub mod channels;
pub mod checklist;
pub mod choose;
pub mod coverage;
pub mod dxf;
#[warn(clippy::indexing_slicing)]
pub mod family;
pub mod files;
pub mod force;
pub mod locate;
pub mod place;
pub mod plate;
pub mod problem;
pub mod propose;
pub mod stl;
pub mod svg;
pub mod text;
pub mod wiring;
pub mod xnc;

use crate::board::{Face, PointId};
pub use crate::fixture::Line;

pub use family::{Families, Family, Tip};
pub use problem::{BedError, Trouble};
pub use propose::{Bed, Start, propose};

/// One pin of a bed.
#[derive(Clone, PartialEq, Debug)]
pub struct Pin {
    /// The point it is for.
    pub point: PointId,
    /// What it does.
    pub line: Line,
    /// The face of the board that it touches.
    pub face: Face,
    /// Where, seen from the front, mm.
    pub at: [f64; 2],
    /// Its family, by its place in the list.
    pub family: usize,
    /// Channel.
    pub channel: u16,
    /// Did the fixture have it already?
    pub kept: bool,
    /// What it is there for, in words.
    pub why: String,
}

impl Pin {
    /// What it is called on drawings and in lists: `S12` stands on sense channel 12.
    pub fn label(&self) -> String {
        let letter = if self.line == Line::Force { 'F' } else { 'S' };
        format!("{letter}{}", self.channel)
    }
}

#[cfg(test)]
mod tests;
