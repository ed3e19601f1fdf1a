//! What a Gerber file draws: objects in their order, and where they are put again by blocks and repeats.

use std::rc::Rc;

use crate::import::attribute::Tags;
use crate::import::region::{At, Region};

/// An object.
#[derive(Clone, PartialEq, Debug)]
pub struct Object {
    /// How it was made.
    pub mark: Mark,
    /// Its copper, or of a clear object where copper is taken away.
    pub copper: Vec<Region>,
    /// Does it add to what lies below?
    pub dark: bool,
    /// What it says of itself.
    pub tags: Rc<Tags>,
}

/// How an object was made.
#[derive(Clone, Copy, PartialEq, Debug)]
pub enum Mark {
    /// An aperture put down at a place.
    Flash(At),
    /// A line or an arc drawn with a round aperture.
    Draw,
    /// A region, or a line drawn with another aperture.
    Area,
}

/// How an aperture is put down: mirrored, then turned, then scaled, then moved.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Placing {
    /// Mirrored left to right, and top to bottom?
    pub mirrored: [bool; 2],
    /// Turned counter-clockwise.
    pub degrees: f64,
    /// Scaled by.
    pub scale: f64,
}

impl Placing {
    /// As it is.
    pub const PLAIN: Self = Self { mirrored: [false; 2], degrees: 0.0, scale: 1.0 };

    /// A region with its origin at a place.
    pub fn region(self, region: &Region, at: At) -> Region {
        if self == Self::PLAIN {
            return region.moved(at);
        }
        region.mirrored(self.mirrored).turned(self.degrees).scaled(self.scale).moved(at)
    }

    /// An object with its origin at a place; put down clear, it adds where it took away and the other way round.
    pub fn object(self, object: &Object, [dx, dy]: At, dark: bool) -> Object {
        let mark = match object.mark {
            Mark::Flash(at) => {
                let point = self.region(&Region::disc(at, 0.0), [dx, dy]);
                Mark::Flash(point.points().first().copied().unwrap_or(at))
            }
            other => other,
        };
        let copper = object.copper.iter().map(|region| self.region(region, [dx, dy])).collect();
        Object { mark, copper, dark: object.dark == dark, tags: Rc::clone(&object.tags) }
    }
}

/// What may still be made: files are bounded, and what blocks and repeats make of them is not.
#[derive(Clone, Copy, Debug)]
pub struct Budget {
    objects: usize,
    points: usize,
}

impl Budget {
    /// Objects of all files together; large boards have a hundred thousand.
    pub const OBJECTS: usize = 400_000;
    /// Their points.
    pub const POINTS: usize = 4_000_000;

    /// A whole one.
    pub fn new() -> Self {
        Self { objects: Self::OBJECTS, points: Self::POINTS }
    }

    /// Takes from it, before anything is made.
    ///
    /// # Errors
    /// There is not so much left.
    pub fn spend(&mut self, objects: usize, points: usize) -> Result<(), String> {
        match (self.objects.checked_sub(objects), self.points.checked_sub(points)) {
            (Some(objects), Some(points)) => {
                *self = Self { objects, points };
                Ok(())
            }
            _ => Err(format!(
                "blocks and repeats come to more than {} objects or {} points, and no board has so many",
                Self::OBJECTS,
                Self::POINTS
            )),
        }
    }
}

/// Points of objects together.
pub fn points(objects: &[Object]) -> usize {
    objects.iter().flat_map(|object| &object.copper).map(|region| region.points().len()).sum()
}
