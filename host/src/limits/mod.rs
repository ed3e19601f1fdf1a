//! Limit sets: what the segments of a board are judged by. A board says what there is and what a healthy one reads; the
//! limits are a set of their own, so that a stored measurement can be judged by another one.

#[warn(clippy::indexing_slicing)]
mod file;

pub use file::{parse, read, read_kept};

use crate::quantity::Ohms;
use crate::{
    board::{
        Board, Segment, SegmentId,
        drop_budget::{self, DropBudget},
        graph::Graph,
    },
    hash,
};

/// Limits of a segment at 20 °C.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Limits {
    /// Lower limit.
    pub min: Option<Ohms>,
    /// Upper limit.
    pub max: Ohms,
    /// Where the upper limit comes from.
    pub origin: LimitOrigin,
}

/// Where a limit comes from.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum LimitOrigin {
    /// Written in a file.
    Stated,
    /// The segment's share of the supply's drop budget.
    Derived,
}

/// Limits for every segment of a board.
#[derive(Clone, PartialEq, Debug)]
pub struct LimitSet {
    /// Where the set comes from, in a word or two: `board file`, `limits file`, `learned limits`.
    origin: &'static str,
    /// SHA-256 that tells two sets apart, lower-case hex.
    hash: String,
    limits: Vec<Limits>,
}

impl LimitSet {
    /// The limits that the board file states, and for the rest those derived from its drop budget.
    pub fn of_board(board: &Board) -> Self {
        let claims = drop_budget::claims(board);
        let maxima = drop_budget::derive(&claims, &Graph::of(board), &DropBudget::of(&board.supply));
        let limits = board.segments.iter().zip(maxima).map(|(segment, max)| Limits {
            min: segment.stated.min,
            max,
            origin: match segment.stated.max {
                Some(_) => LimitOrigin::Stated,
                None => LimitOrigin::Derived,
            },
        });
        Self { origin: "board file", hash: board.hash.clone(), limits: limits.collect() }
    }

    /// The limits that a set with this hash had, as somebody kept them by segment; what is not kept has the board's.
    pub fn kept(board: &Board, hash: &str, of: impl Fn(&Segment) -> Option<Limits>) -> Self {
        let usual = Self::of_board(board);
        let limits =
            board.segments.iter().zip(usual.limits).map(|(segment, limit)| of(segment).unwrap_or(limit));
        Self { origin: "judgement", hash: hash.into(), limits: limits.collect() }
    }

    /// The same with some of them replaced by what a file with this text states.
    fn overridden(self, stated: Vec<(SegmentId, Limits)>, origin: &'static str, text: &str) -> Self {
        let mut limits = self.limits;
        for (id, limit) in stated {
            limits[id.index()] = limit;
        }
        // Which board it overrides belongs to what the set is.
        let hash = hash::of(format!("{}\n{text}", self.hash));
        Self { origin, hash, limits }
    }

    /// The limits of a segment.
    pub fn of(&self, id: SegmentId) -> &Limits {
        &self.limits[id.index()]
    }

    /// The limits of every segment, in the board's order.
    pub fn iter(&self) -> impl Iterator<Item = &Limits> {
        self.limits.iter()
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
