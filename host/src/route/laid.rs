//! The wire as it is to lie: its pieces, its length, where it is held, and how it is cut.

use serde::Serialize;

use super::piece::Piece;
use super::relief::{Relief, reliefs};
use super::task::{End, Task};
use crate::board::Face;

/// A wire's route.
#[derive(Clone, PartialEq, Debug, Serialize)]
pub struct Route {
    /// What lies on one face without a break, in order; between two of them the wire passes through a hole.
    pub legs: Vec<Leg>,
    /// The holes it passes through, by their numbers in the task, in order.
    pub passages: Vec<usize>,
    /// Length of its middle line from end to end, with the board's thickness at every hole and without slack, mm.
    pub middle_mm: f64,
    /// Length of the shortest way there is for a wire that bends as sharply as it likes, with a price for every passage, mm.
    pub least_mm: f64,
    /// What this route is by the same count, mm: no route is shorter than `least_mm`, so this one is longer than the
    /// shortest by no more than the difference.
    pub price_mm: f64,
    /// Where it is held down, in order.
    pub reliefs: Vec<Relief>,
    /// What is cut for it.
    pub cut: Cut,
}

/// The part of a wire that lies on one face without a break.
#[derive(Clone, PartialEq, Debug, Serialize)]
pub struct Leg {
    /// The face.
    pub face: Face,
    /// Its pieces in order, each from where the one before ends. Empty where both ends are one place.
    pub pieces: Vec<Piece>,
}

/// What is cut, stripped and tinned.
#[derive(Clone, Copy, PartialEq, Debug, Serialize)]
pub struct Cut {
    /// Length of the piece of wire, mm: the middle line with slack, and what lies on the outer half of either pad.
    pub length_mm: f64,
    /// Insulation that is taken off at the beginning and at the end, mm.
    pub strip_mm: [f64; 2],
    /// Bare conductor that is tinned at the beginning and at the end, mm.
    pub tin_mm: [f64; 2],
}

/// A pad of unknown size is taken to be so wide, mm (common practice: a land that is found by hand).
const PAD_MM: f64 = 1.5;
/// Longest stretch of bare conductor on a pad, mm: a lap joint needs no more.
const LAP_MM: f64 = 3.0;
/// Between the pad's edge and the insulation, in wire diameters: solder and heat have to stay away from it (IPC-A-610, insulation clearance
/// of at most two diameters, from memory).
const GAP_DIAMETERS: f64 = 1.0;

impl Leg {
    /// Its length, mm.
    pub fn length_mm(&self) -> f64 {
        self.pieces.iter().map(Piece::length_mm).sum()
    }

    /// The place so far along it, mm, and the direction there; the last where it is shorter.
    pub fn at(&self, along_mm: f64) -> Option<[f64; 2]> {
        let mut left = along_mm;
        for piece in &self.pieces {
            let length = piece.length_mm();
            if left <= length {
                return Some(piece.at(left.max(0.0)));
            }
            left -= length;
        }
        self.pieces.last().map(Piece::to)
    }

    /// Places along it, ends included, no farther apart than a step, mm.
    pub fn places(&self, step_mm: f64) -> Vec<[f64; 2]> {
        let of = |piece: &Piece| {
            let steps = (piece.length_mm() / step_mm.max(1e-3)).ceil().clamp(1.0, 1e6);
            let (piece, length) = (*piece, piece.length_mm());
            (0..steps as u32).map(move |step| piece.at(length * f64::from(step) / steps))
        };
        self.pieces.iter().flat_map(of).chain(self.pieces.last().map(Piece::to)).collect()
    }
}

impl Route {
    pub(super) fn new(task: &Task, legs: Vec<Leg>, passages: Vec<usize>, least_mm: f64) -> Self {
        let through = passages.len() as f64;
        let middle_mm = legs.iter().map(Leg::length_mm).sum::<f64>() + through * task.thickness_mm;
        let reliefs = reliefs(task, &legs);
        let cut = cut(task, middle_mm);
        Self {
            legs,
            passages,
            middle_mm,
            least_mm,
            price_mm: middle_mm + through * task.passage_mm,
            reliefs,
            cut,
        }
    }

    /// How much longer than the shortest route it can be at most, as a share.
    pub fn excess(&self) -> f64 {
        if self.least_mm > 0.0 { (self.price_mm / self.least_mm - 1.0).max(0.0) } else { 0.0 }
    }
}

fn cut(task: &Task, middle_mm: f64) -> Cut {
    let lap = |end: &End| end.pad_mm.unwrap_or(PAD_MM).min(LAP_MM);
    let gap = GAP_DIAMETERS * task.wire.insulated_mm;
    let laps = [lap(&task.from), lap(&task.to)];
    // Half of the lap lies beyond the place that the route leads to.
    let length_mm =
        middle_mm * (1.0 + task.wire.slack_share) + task.wire.slack_mm + (laps[0] + laps[1]) / 2.0;
    Cut { length_mm, strip_mm: laps.map(|lap| lap + gap), tin_mm: laps }
}
