//! A limit set: the limits over a board, each with its origin. A board says what there is and what a healthy one reads;
//! what is judged by is a set of its own, so that a stored measurement can be judged by another one.

mod file;

pub use file::read;

use sha2::{Digest, Sha256};

use crate::board::{Board, Limits, SegmentId};

/// Limits at 20 °C for every segment of a board.
#[derive(Clone, PartialEq, Debug)]
pub struct LimitSet {
    /// Where the set comes from, in a word or two: `board file`, `limits file`.
    origin: &'static str,
    /// SHA-256 that tells two sets apart, lower-case hex.
    hash: String,
    limits: Vec<Limits>,
}

impl LimitSet {
    /// The limits that the board file states, and for the rest those derived from its drop budget.
    pub fn of_board(board: &Board) -> Self {
        let limits = board.segments.iter().map(|segment| segment.limits).collect();
        Self { origin: "board file", hash: board.hash.clone(), limits }
    }

    /// The same with some of them replaced by what a file with this text states.
    fn overridden(self, stated: Vec<(SegmentId, Limits)>, text: &str) -> Self {
        let mut limits = self.limits;
        for (id, limit) in stated {
            limits[id.0] = limit;
        }
        // Which board it overrides belongs to what the set is.
        let digest = Sha256::digest(format!("{}\n{text}", self.hash));
        let hash = digest.iter().map(|byte| format!("{byte:02x}")).collect();
        Self { origin: "limits file", hash, limits }
    }

    /// The limits of a segment.
    pub fn of(&self, id: SegmentId) -> &Limits {
        &self.limits[id.0]
    }

    /// Where the set comes from.
    pub fn origin(&self) -> &'static str {
        self.origin
    }

    /// What tells it from other sets.
    pub fn hash(&self) -> &str {
        &self.hash
    }
}
