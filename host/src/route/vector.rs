//! Vectors in the plane of a board, mm, and how far stretches lie apart.

use crate::plane::apart;

/// A place or a direction.
pub(super) type Vector = [f64; 2];

pub(super) fn add(a: Vector, b: Vector) -> Vector {
    [a[0] + b[0], a[1] + b[1]]
}

pub(super) fn sub(a: Vector, b: Vector) -> Vector {
    [a[0] - b[0], a[1] - b[1]]
}

pub(super) fn scale(a: Vector, by: f64) -> Vector {
    [a[0] * by, a[1] * by]
}

/// From `a` so far along a direction.
pub(super) fn along(a: Vector, direction: Vector, by: f64) -> Vector {
    [a[0] + direction[0] * by, a[1] + direction[1] * by]
}

pub(super) fn dot(a: Vector, b: Vector) -> f64 {
    a[0] * b[0] + a[1] * b[1]
}

/// Positive where `b` lies counterclockwise of `a`.
pub(super) fn cross(a: Vector, b: Vector) -> f64 {
    a[0] * b[1] - a[1] * b[0]
}

pub(super) fn length(a: Vector) -> f64 {
    a[0].hypot(a[1])
}

/// The direction of a vector; nothing for one without length.
pub(super) fn unit(a: Vector) -> Option<Vector> {
    let length = length(a);
    (length > 1e-12).then(|| scale(a, 1.0 / length))
}

/// A quarter turn clockwise.
pub(super) fn right(a: Vector) -> Vector {
    [a[1], -a[0]]
}

/// Turned counterclockwise.
pub(super) fn turned(a: Vector, radians: f64) -> Vector {
    let (sin, cos) = radians.sin_cos();
    [a[0] * cos - a[1] * sin, a[0] * sin + a[1] * cos]
}

/// Counterclockwise from one direction to another, radians from -π to π.
pub(super) fn angle(from: Vector, to: Vector) -> f64 {
    cross(from, to).atan2(dot(from, to))
}

/// The point of a stretch that is nearest to a place.
pub(super) fn nearest(p: Vector, [a, b]: [Vector; 2]) -> Vector {
    let way = sub(b, a);
    let squared = dot(way, way);
    let share = if squared > 0.0 { (dot(sub(p, a), way) / squared).clamp(0.0, 1.0) } else { 0.0 };
    along(a, way, share)
}

/// How far a place is from a stretch.
pub(super) fn to_stretch(p: Vector, stretch: [Vector; 2]) -> f64 {
    apart(p, nearest(p, stretch))
}

/// The nearest points of two stretches, one on each; the same point twice where they meet.
pub(super) fn closest([a, b]: [Vector; 2], [c, d]: [Vector; 2]) -> [Vector; 2] {
    let (ab, cd) = (sub(b, a), sub(d, c));
    let (c_side, d_side) = (cross(ab, sub(c, a)), cross(ab, sub(d, a)));
    let (a_side, b_side) = (cross(cd, sub(a, c)), cross(cd, sub(b, c)));
    if c_side * d_side < 0.0 && a_side * b_side < 0.0 {
        let at = along(a, ab, a_side / (a_side - b_side));
        return [at, at];
    }
    let pairs =
        [[a, nearest(a, [c, d])], [b, nearest(b, [c, d])], [nearest(c, [a, b]), c], [nearest(d, [a, b]), d]];
    pairs
        .into_iter()
        .min_by(|one, other| apart(one[0], one[1]).total_cmp(&apart(other[0], other[1])))
        .unwrap_or([a, c])
}

/// How far two stretches are apart, mm; 0 where they meet.
pub(super) fn between(one: [Vector; 2], other: [Vector; 2]) -> f64 {
    let [a, b] = closest(one, other);
    apart(a, b)
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::f64::consts::FRAC_PI_2;

    #[test]
    fn stretches_apart() {
        for (one, other, mm) in [
            ([[0.0, 0.0], [4.0, 0.0]], [[2.0, 3.0], [2.0, 5.0]], 3.0),
            ([[0.0, 0.0], [4.0, 0.0]], [[2.0, -1.0], [2.0, 5.0]], 0.0),
            ([[0.0, 0.0], [4.0, 0.0]], [[7.0, 4.0], [9.0, 4.0]], 5.0),
            ([[1.0, 1.0], [1.0, 1.0]], [[4.0, 5.0], [4.0, 5.0]], 5.0),
        ] {
            assert_eq!(between(one, other), mm);
            assert_eq!(between(other, one), mm);
        }
    }

    #[test]
    fn turns_are_counterclockwise() {
        assert!((angle([1.0, 0.0], [0.0, 1.0]) - FRAC_PI_2).abs() < 1e-15);
        assert!(apart(turned([1.0, 0.0], FRAC_PI_2), [0.0, 1.0]) < 1e-15);
        assert_eq!(right([0.0, 1.0]), [1.0, 0.0]);
        assert_eq!(unit([0.0, 0.0]), None);
    }
}
