//! Why there is no bed for a board: everything at once, each with its remedy.

use std::fmt;

use super::Line;
use crate::board::Face;

/// One reason.
#[derive(Clone, PartialEq, Debug, thiserror::Error)]
#[allow(missing_docs)]
pub enum Trouble {
    /// More pins than channels.
    #[error(
        "the board needs {wanted} {} pins, and {free} {} channels are free: a larger matrix is needed, or fewer segments in the board file",
        .line.word(), .line.word()
    )]
    Channels { line: Line, wanted: usize, free: usize },
    /// A keep-out where a pin has to be.
    #[error(
        "point \"{point}\" has to be touched, and a keep-out on the {} covers it{}: make the keep-out smaller, or move the point along its copper",
        .face.word(), because(.why)
    )]
    Covered { point: String, face: Face, why: String },
    /// Two pins in each other's way.
    #[error(
        "the pins at \"{a}\" and \"{b}\" stand {apart_mm:.2} mm apart, and the finest pins need {pitch_mm:.2} mm: move one of the points along its copper, or name finer pins with --pins"
    )]
    Close { a: String, b: String, apart_mm: f64, pitch_mm: f64 },
    /// No second hole.
    #[error(
        "beside the sense pin at \"{point}\" there is no room for its force pin: make room, or say where it stands with force_at"
    )]
    NoRoom { point: String },
    /// A loop that no force pins tell.
    #[error(
        "no force pins tell the segments of a loop apart: {segments}; write what lies beside it and it as one segment"
    )]
    Loop { segments: String },
    /// A segment that no force pins reach.
    #[error(
        "no force pins reach segment \"{segment}\": a segment is read between two of them in a state in which it conducts"
    )]
    Unreached { segment: String },
    /// Two holes that run into each other.
    #[error(
        "in the {plate} plate the holes for {a} and {b} leave {wall_mm:.2} mm between them: move one, or use pins with a smaller drill"
    )]
    Holes { plate: &'static str, a: String, b: String, wall_mm: f64 },
    /// A tooling hole outside the board.
    #[error(
        "the tooling hole at {x:.2}, {y:.2} lies outside the board: coordinates are millimetres, seen from the front"
    )]
    Tooling { x: f64, y: f64 },
}

fn because(why: &str) -> String {
    if why.is_empty() { String::new() } else { format!(" ({why})") }
}

/// Everything that keeps a bed from being made. Never empty.
#[derive(Clone, PartialEq, Debug)]
pub struct BedError(pub Vec<Trouble>);

/// Reasons shown at most.
const MOST_SHOWN: usize = 20;

impl fmt::Display for BedError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (at, trouble) in self.0.iter().take(MOST_SHOWN).enumerate() {
            write!(f, "{}{trouble}", if at == 0 { "" } else { "\n" })?;
        }
        match self.0.len().saturating_sub(MOST_SHOWN) {
            0 => Ok(()),
            more => write!(f, "\n… and {more} more"),
        }
    }
}

impl std::error::Error for BedError {}
