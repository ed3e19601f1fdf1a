//! What a wire's middle line is made of: straight pieces, and bends that are parts of circles.

use serde::Serialize;

use super::vector::{Vector, add, angle, cross, dot, nearest, scale, sub, to_stretch, turned, unit};
use crate::plane::apart;

/// One piece of a wire's middle line. Places are mm, seen from the front.
#[derive(Clone, Copy, PartialEq, Debug, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Piece {
    /// A straight one.
    Straight {
        /// Where it begins.
        from: [f64; 2],
        /// Where it ends.
        to: [f64; 2],
    },
    /// A part of a circle.
    Bend {
        /// The circle's centre.
        centre: [f64; 2],
        /// The circle's radius.
        radius_mm: f64,
        /// Where it begins.
        from: [f64; 2],
        /// How far it turns, radians: counterclockwise positive.
        turn: f64,
    },
}

impl Piece {
    /// Its length, mm.
    pub fn length_mm(&self) -> f64 {
        match self {
            Self::Straight { from, to } => apart(*from, *to),
            Self::Bend { radius_mm, turn, .. } => radius_mm * turn.abs(),
        }
    }

    /// The place so far along it, mm.
    pub fn at(&self, along_mm: f64) -> [f64; 2] {
        match *self {
            Self::Straight { from, to } => match apart(from, to) {
                0.0 => from,
                length => add(from, scale(sub(to, from), along_mm / length)),
            },
            Self::Bend { centre, radius_mm, from, turn } => {
                add(centre, turned(sub(from, centre), turn.signum() * along_mm / radius_mm))
            }
        }
    }

    /// Where it begins.
    pub fn from(&self) -> [f64; 2] {
        match self {
            Self::Straight { from, .. } | Self::Bend { from, .. } => *from,
        }
    }

    /// Where it ends.
    pub fn to(&self) -> [f64; 2] {
        match self {
            Self::Straight { to, .. } => *to,
            Self::Bend { .. } => self.at(self.length_mm()),
        }
    }

    /// The direction in which it begins and the one in which it ends; nothing for a piece without length.
    pub fn directions(&self) -> Option<[[f64; 2]; 2]> {
        match *self {
            Self::Straight { from, to } => unit(sub(to, from)).map(|way| [way, way]),
            Self::Bend { centre, from, turn, .. } => {
                let begins = unit(turned(sub(from, centre), turn.signum() * std::f64::consts::FRAC_PI_2))?;
                Some([begins, turned(begins, turn)])
            }
        }
    }

    /// Its bounding rectangle, or one round it: least and greatest coordinates.
    pub(super) fn bounds(&self) -> [Vector; 2] {
        match *self {
            Self::Straight { from, to } => {
                [[from[0].min(to[0]), from[1].min(to[1])], [from[0].max(to[0]), from[1].max(to[1])]]
            }
            Self::Bend { centre, radius_mm, .. } => {
                [centre.map(|x| x - radius_mm), centre.map(|x| x + radius_mm)]
            }
        }
    }

    /// How far it is from a stretch, mm; 0 where they meet.
    pub(super) fn to_stretch(self, stretch: [Vector; 2]) -> f64 {
        let (centre, radius) = match self {
            Self::Straight { from, to } => return super::vector::between([from, to], stretch),
            Self::Bend { centre, radius_mm, .. } => (centre, radius_mm),
        };
        if circle_meets(centre, radius, stretch).into_iter().flatten().any(|at| self.spans(sub(at, centre))) {
            return 0.0;
        }
        let ends = [self.from(), self.to()].map(|end| to_stretch(end, stretch));
        let [a, b] = stretch;
        let others = [a, b, nearest(centre, stretch)].map(|at| self.to_place(at));
        ends.into_iter().chain(others).fold(f64::INFINITY, f64::min)
    }

    /// How far a place is from a bend, where the bend's circle comes nearest to it; infinite where the bend does not reach so far round.
    fn to_place(self, at: Vector) -> f64 {
        match self {
            Self::Straight { from, to } => to_stretch(at, [from, to]),
            Self::Bend { centre, radius_mm, .. } => {
                let arm = sub(at, centre);
                if self.spans(arm) { (dot(arm, arm).sqrt() - radius_mm).abs() } else { f64::INFINITY }
            }
        }
    }

    /// Does a bend pass the direction of this arm from its centre?
    fn spans(self, arm: Vector) -> bool {
        match self {
            Self::Straight { .. } => false,
            Self::Bend { centre, from, turn, .. } => {
                let round = angle(sub(from, centre), arm) * turn.signum();
                round.rem_euclid(std::f64::consts::TAU) <= turn.abs()
            }
        }
    }
}

/// Where a circle meets a stretch.
pub(super) fn circle_meets(centre: Vector, radius: f64, [a, b]: [Vector; 2]) -> [Option<Vector>; 2] {
    let Some(way) = unit(sub(b, a)) else { return [None, None] };
    let (length, arm) = (apart(a, b), sub(a, centre));
    let (middle, off) = (-dot(arm, way), cross(way, arm));
    let half = radius * radius - off * off;
    if half < 0.0 {
        return [None, None];
    }
    let half = half.sqrt();
    [middle - half, middle + half]
        .map(|at| (at >= 0.0 && at <= length).then(|| super::vector::along(a, way, at)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::f64::consts::{FRAC_PI_2, PI};

    #[test]
    fn a_bend_runs_round_its_centre() {
        let bend = Piece::Bend { centre: [1.0, 1.0], radius_mm: 2.0, from: [3.0, 1.0], turn: FRAC_PI_2 };
        assert!((bend.length_mm() - PI).abs() < 1e-12);
        assert!(apart(bend.to(), [1.0, 3.0]) < 1e-12);
        let [begins, ends] = bend.directions().unwrap();
        assert!(apart(begins, [0.0, 1.0]) < 1e-12 && apart(ends, [-1.0, 0.0]) < 1e-12);
    }

    /// Against places along the bend.
    #[test]
    fn a_bend_is_as_far_from_a_stretch_as_its_nearest_place() {
        for turn in [0.4, -1.3, 2.9, -4.4] {
            let bend = Piece::Bend { centre: [0.3, -0.2], radius_mm: 1.7, from: [0.3 + 1.7, -0.2], turn };
            for stretch in [
                [[3.0, -4.0], [3.0, 4.0]],
                [[-0.2, -0.3], [0.5, 0.4]],
                [[-3.0, 0.0], [-2.0, 1.0]],
                [[0.0, 0.0], [5.0, 0.4]],
                [[0.4, 2.5], [0.9, 2.6]],
            ] {
                let steps = 4000;
                let near = (0..=steps)
                    .map(|i| to_stretch(bend.at(bend.length_mm() * f64::from(i) / f64::from(steps)), stretch))
                    .fold(f64::INFINITY, f64::min);
                let found = bend.to_stretch(stretch);
                assert!(found <= near + 1e-9 && near - found < 2e-3, "{turn} {stretch:?}: {found} {near}");
            }
        }
    }
}
