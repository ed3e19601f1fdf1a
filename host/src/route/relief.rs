//! Where a wire is held down with adhesive: near its ends, beside holes, in bends, and often enough between.

use serde::Serialize;

use super::laid::Leg;
use super::piece::Piece;
use super::task::Task;
use crate::board::Face;

/// A place where the wire is held down.
#[derive(Clone, Copy, PartialEq, Debug, Serialize)]
pub struct Relief {
    /// The face.
    pub face: Face,
    /// Where, mm, seen from the front.
    pub at: [f64; 2],
    /// Why there.
    pub why: Why,
}

/// Why a wire is held down at a place.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize)]
#[serde(rename_all = "snake_case")]
#[allow(missing_docs)]
pub enum Why {
    End,
    Hole,
    Bend,
    Between,
}

impl Why {
    /// For people.
    pub fn words(self) -> &'static str {
        match self {
            Self::End => "near the end",
            Self::Hole => "beside the hole",
            Self::Bend => "in the bend",
            Self::Between => "between",
        }
    }
}

/// From a joint or hole to where the wire is held: far enough that adhesive stays off the joint, in wire diameters and at least
/// in mm (common practice).
const OFF_DIAMETERS: f64 = 4.0;
const OFF_MM: f64 = 3.0;
/// A bend that turns less is not held, radians.
const BENT: f64 = std::f64::consts::FRAC_PI_6;

/// The places of all legs, in order.
pub(super) fn reliefs(task: &Task, legs: &[Leg]) -> Vec<Relief> {
    let off = OFF_MM.max(OFF_DIAMETERS * task.wire.insulated_mm);
    let last = legs.len().saturating_sub(1);
    let mut all = Vec::new();
    for (number, leg) in legs.iter().enumerate() {
        let whole = leg.length_mm();
        let ends = [
            if number == 0 { Why::End } else { Why::Hole },
            if number == last { Why::End } else { Why::Hole },
        ];
        let mut marks = marks(leg, whole, ends, off);
        between(&mut marks, whole, off, task.wire.relief_mm);
        let relief = |(along, why)| Some(Relief { face: leg.face, at: leg.at(along)?, why });
        all.extend(marks.into_iter().filter_map(relief));
    }
    all
}

/// Near the ends of a leg and in its bends: how far along, in order. What is closer to the one before than `off` is left out.
fn marks(leg: &Leg, whole: f64, [first, last]: [Why; 2], off: f64) -> Vec<(f64, Why)> {
    if whole < 2.0 * off {
        // Too short for two: one in the middle, if there is room for adhesive at all.
        return if whole >= off { vec![(whole / 2.0, first)] } else { Vec::new() };
    }
    let mut marks = vec![(off, first)];
    let mut along = 0.0;
    for piece in &leg.pieces {
        let middle = along + piece.length_mm() / 2.0;
        along += piece.length_mm();
        let bent = matches!(piece, Piece::Bend { turn, .. } if turn.abs() >= BENT);
        if bent
            && middle >= 2.0 * off
            && middle <= whole - 2.0 * off
            && marks.last().is_none_or(|(at, _)| middle - at >= off)
        {
            marks.push((middle, Why::Bend));
        }
    }
    if whole - off - marks.last().map_or(0.0, |(at, _)| *at) > 0.0 {
        marks.push((whole - off, last));
    }
    marks
}

/// Fills in what is missing, so that no two neighbours are farther apart than `pitch`.
fn between(marks: &mut Vec<(f64, Why)>, whole: f64, off: f64, pitch: f64) {
    let mut filled: Vec<(f64, Why)> = Vec::new();
    // No more than adhesive finds room for.
    let pitch = pitch.max(off);
    for mark in marks.iter().copied() {
        if let Some((before, _)) = filled.last().copied() {
            let steps = ((mark.0 - before) / pitch).ceil().max(1.0);
            filled.extend(
                (1..steps as u32)
                    .map(|step| (before + (mark.0 - before) * f64::from(step) / steps, Why::Between)),
            );
        }
        filled.push(mark);
    }
    filled.retain(|(along, _)| *along <= whole);
    *marks = filled;
}
