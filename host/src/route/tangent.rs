//! Straight pieces of a taut wire: they touch the circle they come from and the one they lead to.

use super::vector::{Vector, right, sub};
use super::walls::ROUNDING_MM;

/// A circle with the side on which a wire passes it; a place is one of radius 0.
#[derive(Clone, Copy, PartialEq, Debug)]
pub(super) struct Pulley {
    pub centre: Vector,
    /// Positive: the wire runs round it counterclockwise; negative: clockwise.
    pub radius: f64,
}

/// The straight piece from one circle to another.
#[derive(Clone, Copy, Debug)]
pub(super) struct Tangent {
    /// Its direction.
    pub way: Vector,
    /// To the right of its direction.
    pub aside: Vector,
    pub length: f64,
}

impl Tangent {
    /// The straight piece that leaves one circle and arrives at another, each in the sense of its turn; nothing where circles
    /// overlap so that there is none.
    pub fn between(one: Pulley, other: Pulley) -> Option<Self> {
        let arm = sub(other.centre, one.centre);
        let squared = super::vector::dot(arm, arm);
        let off = one.radius - other.radius;
        let length2 = squared - off * off;
        // Circles that touch have a tangent of no length, also when rounding made them overlap.
        if squared < 1e-18 || length2 < -4.0 * ROUNDING_MM * off.abs() {
            return None;
        }
        let (distance, length) = (squared.sqrt(), length2.max(0.0).sqrt());
        let (ahead, left) = ([arm[0] / distance, arm[1] / distance], [-arm[1] / distance, arm[0] / distance]);
        let (cos, sin) = (length / distance, (off / distance).clamp(-1.0, 1.0));
        let way = [ahead[0] * cos + left[0] * sin, ahead[1] * cos + left[1] * sin];
        Some(Self { way, aside: right(way), length })
    }

    /// The direction from a circle's centre to where this piece touches it.
    pub fn contact(&self, pulley: Pulley) -> Vector {
        if pulley.radius < 0.0 { [-self.aside[0], -self.aside[1]] } else { self.aside }
    }

    /// Where it touches a circle.
    pub fn touches(&self, pulley: Pulley) -> Vector {
        super::vector::along(pulley.centre, self.aside, pulley.radius)
    }
}

#[cfg(test)]
mod tests {
    use super::super::vector::dot;
    use super::*;
    use crate::plane::apart;

    #[test]
    fn a_tangent_touches_both_circles() {
        for (one, other) in
            [(2.0, 1.0), (2.0, -1.0), (-0.5, 3.0), (-1.0, -1.0), (0.0, 1.5), (-2.0, 0.0), (0.0, 0.0)]
        {
            let [one, other] =
                [([1.0, 2.0], one), ([6.0, 4.0], other)].map(|(centre, radius)| Pulley { centre, radius });
            let tangent = Tangent::between(one, other).unwrap();
            let [from, to] = [one, other].map(|pulley| tangent.touches(pulley));
            assert!((apart(from, to) - tangent.length).abs() < 1e-12);
            for (pulley, at) in [(one, from), (other, to)] {
                let arm = sub(at, pulley.centre);
                assert!(dot(arm, tangent.way).abs() < 1e-12, "at a right angle");
                assert!((arm[0].hypot(arm[1]) - pulley.radius.abs()).abs() < 1e-12);
            }
        }
        let near = Pulley { centre: [0.0, 0.0], radius: 1.0 };
        assert!(Tangent::between(near, Pulley { centre: [1.0, 0.0], radius: -1.0 }).is_none());
    }
}
