//! Points, outlines and their measures in the plane of a board: what copper, photos, imports, outlines and beds all ask.
//!
//! Places are `[x, y]` in whatever unit the caller has, mostly mm, seen from the front; an outline is a list of corners whose last is joined
//! to its first. It stands first of all that computes with shapes, so that each measure is written once.

/// A place.
pub type Point = [f64; 2];

/// An edge, by its two ends.
pub type Edge = [Point; 2];

/// Distance of two places.
pub fn apart(a: Point, b: Point) -> f64 {
    (a[0] - b[0]).hypot(a[1] - b[1])
}

/// The edges of an outline, from corner to corner and back to the first.
pub fn edges(outline: &[Point]) -> impl Iterator<Item = Edge> + '_ {
    outline.iter().zip(outline.iter().cycle().skip(1)).map(|(a, b)| [*a, *b])
}

/// Twice the area of a triangle: positive where `c` lies left of the way from `a` to `b`.
pub fn turn(a: Point, b: Point, c: Point) -> f64 {
    (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])
}

/// Area of an outline; positive counterclockwise.
pub fn signed_area(outline: &[Point]) -> f64 {
    edges(outline).map(|[a, b]| a[0] * b[1] - a[1] * b[0]).sum::<f64>() / 2.0
}

/// Area of an outline, whichever way round it is drawn.
pub fn area(outline: &[Point]) -> f64 {
    signed_area(outline).abs()
}

/// Where two edges cross, each strictly between its ends.
pub fn meet([a, b]: Edge, [c, d]: Edge) -> Option<Point> {
    let (c_side, d_side) = (turn(a, b, c), turn(a, b, d));
    let (a_side, b_side) = (turn(c, d, a), turn(c, d, b));
    if c_side * d_side < 0.0 && a_side * b_side < 0.0 {
        let t = a_side / (a_side - b_side);
        return Some([a[0] + t * (b[0] - a[0]), a[1] + t * (b[1] - a[1])]);
    }
    None
}

/// Where an outline crosses itself.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Crossing {
    /// The two edges, each by the number of its first corner from 0, the lower first.
    pub edges: [usize; 2],
    /// Where they cross.
    pub at: Point,
}

/// Two edges of an outline that cross farther than `slack` from all four of their ends; one that only touches itself does not cross. Of several
/// crossings the one whose edges come first.
///
/// Edges are looked at from left to right, so that long outlines of a drawing program take no square of their length.
pub fn crossing(outline: &[Point], slack: f64) -> Option<Crossing> {
    let left = |[a, b]: &Edge| a[0].min(b[0]);
    let mut sorted: Vec<(usize, Edge)> = edges(outline).enumerate().collect();
    sorted.sort_by(|(_, a), (_, b)| left(a).total_cmp(&left(b)));
    let mut first: Option<Crossing> = None;
    for (rank, (i, one)) in sorted.iter().enumerate() {
        let right = one[0][0].max(one[1][0]);
        for (j, other) in sorted.iter().skip(rank + 1).take_while(|(_, other)| left(other) <= right) {
            let Some(at) = meet(*one, *other) else { continue };
            let edges = [*i.min(j), *i.max(j)];
            let is_clear = one.iter().chain(other).all(|end| apart(*end, at) > slack);
            if is_clear && first.is_none_or(|known| edges < known.edges) {
                first = Some(Crossing { edges, at });
            }
        }
    }
    first
}

#[cfg(test)]
mod tests {
    use super::*;

    const ELL: [Point; 6] = [[0.0, 0.0], [6.0, 0.0], [6.0, 2.0], [2.0, 2.0], [2.0, 6.0], [0.0, 6.0]];

    #[test]
    fn an_ell_is_measured() {
        assert_eq!((area(&ELL), signed_area(&ELL)), (20.0, 20.0));
        let other_way: Vec<_> = ELL.into_iter().rev().collect();
        assert_eq!((area(&other_way), signed_area(&other_way)), (20.0, -20.0));
        assert_eq!(apart([1.0, 2.0], [4.0, 6.0]), 5.0);
        assert_eq!(edges(&ELL).map(|[a, b]| apart(a, b)).sum::<f64>(), 24.0);
        assert_eq!(crossing(&ELL, 0.0), None);
        assert_eq!((area(&[]), edges(&[]).count(), crossing(&[[1.0, 1.0]], 0.0)), (0.0, 0, None));
    }

    #[test]
    fn outlines_that_cross_themselves_are_told_from_those_that_touch() {
        let bow = [[0.0, 0.0], [4.0, 4.0], [4.0, 0.0], [0.0, 4.0]];
        assert_eq!(crossing(&bow, 0.0), Some(Crossing { edges: [0, 2], at: [2.0, 2.0] }));
        assert_eq!(crossing(&bow, 3.0), None, "all ends are nearer than this");
        // A corner that lies on another edge only touches it.
        let touching = [[0.0, 0.0], [4.0, 0.0], [4.0, 4.0], [2.0, 0.0], [0.0, 4.0]];
        assert_eq!(crossing(&touching, 1e-6), None);
        // Two crossings: the one of the first edges is named, though the other lies farther left.
        let twice =
            [[10.0, 0.0], [20.0, 10.0], [20.0, 0.0], [10.0, 10.0], [0.0, 0.0], [0.0, 10.0], [8.0, 0.0]];
        assert_eq!(crossing(&twice, 0.0).map(|found| found.edges), Some([0, 2]));
    }
}
