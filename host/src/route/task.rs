//! What is asked: a wire from here to there, and all that is in its way.

use crate::board::{KeepOut, Side};

/// A wire that is to be laid on a board.
#[derive(Clone, PartialEq, Debug)]
pub struct Task {
    /// The board's edge, mm, seen from the front.
    pub outline: Vec<[f64; 2]>,
    /// Where no wire may lie; how high they are does not matter, because a wire is not led over anything.
    pub keep_outs: Vec<KeepOut>,
    /// Thickness of the board, mm: what the wire goes through at a hole.
    pub thickness_mm: f64,
    /// The wire.
    pub wire: Wire,
    /// Where it begins.
    pub from: End,
    /// Where it ends.
    pub to: End,
    /// Holes it may pass through to the other face.
    pub holes: Vec<Hole>,
    /// How many millimetres longer a route may be that saves one passage through a hole.
    pub passage_mm: f64,
}

/// The wire and how it is to lie.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Wire {
    /// Diameter over the insulation, mm.
    pub insulated_mm: f64,
    /// Diameter of the conductor, mm.
    pub conductor_mm: f64,
    /// Least radius of a bend, of the wire's middle line, mm.
    pub bend_mm: f64,
    /// Least distance of the insulation from a keep-out, mm.
    pub clearance_mm: f64,
    /// Least distance of the insulation from the board's edge, mm.
    pub edge_mm: f64,
    /// The wire is held down at least every so many millimetres.
    pub relief_mm: f64,
    /// Slack as a share of the length: 0.05 for a twentieth.
    pub slack_share: f64,
    /// Slack that is added whatever the length, mm.
    pub slack_mm: f64,
}

/// One end of the wire.
#[derive(Clone, PartialEq, Debug)]
pub struct End {
    /// What it is called.
    pub name: String,
    /// Where it is soldered, mm, seen from the front.
    pub at: [f64; 2],
    /// The faces it can be soldered on.
    pub side: Side,
    /// Least width of the pad, mm, if that is known.
    pub pad_mm: Option<f64>,
}

/// A hole that is free for the wire.
#[derive(Clone, PartialEq, Debug)]
pub struct Hole {
    /// What it is called.
    pub name: String,
    /// Its middle, mm, seen from the front.
    pub at: [f64; 2],
    /// Its diameter, mm.
    pub drill_mm: f64,
}

impl Wire {
    /// From the wire's middle line to a keep-out, at least, mm.
    pub(super) fn reach_mm(&self) -> f64 {
        self.insulated_mm / 2.0 + self.clearance_mm
    }

    /// From the wire's middle line to the board's edge, at least, mm.
    pub(super) fn edge_reach_mm(&self) -> f64 {
        self.insulated_mm / 2.0 + self.edge_mm
    }
}
