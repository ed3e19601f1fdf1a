//! Copper seen from above: a point, a line or a polygon, widened by a radius.
//!
//! With the radius every shape of a board file is exact: a disc is a widened point, a track and an oval a widened line, a
//! rounded rectangle a widened polygon, and a pour of an older file one that is drawn with a pen. Arcs are the exception: they
//! become chords that stay within `ARC_MM` of them. Lengths are mm; y points up, as in board files.

use std::collections::BTreeMap;

use crate::copper::Shape;
use crate::plane::apart;

/// A place, mm.
pub type At = [f64; 2];

/// How far a chord may lie off its arc, mm: a fiftieth of what boards are etched to.
const ARC_MM: f64 = 0.002;
/// Most chords of one arc.
const MOST_CHORDS: f64 = 720.0;
/// Edges that share one bounding box, so that most of two large outlines never meet edge by edge.
const CHUNK: usize = 24;

/// A point, line or polygon with what it is widened by.
#[derive(Clone, PartialEq, Debug)]
pub struct Region {
    points: Vec<At>,
    closed: bool,
    radius: f64,
    bounds: Bounds,
    chunks: Vec<Bounds>,
}

/// A rectangle along the axes.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Bounds {
    low: At,
    high: At,
}

impl Bounds {
    const NONE: Self = Self { low: [f64::INFINITY; 2], high: [f64::NEG_INFINITY; 2] };

    /// Around points.
    pub fn of<'p>(points: impl IntoIterator<Item = &'p At>) -> Self {
        points.into_iter().fold(Self::NONE, |bounds, &point| bounds.with(point))
    }

    fn with(self, [x, y]: At) -> Self {
        let ([lx, ly], [hx, hy]) = (self.low, self.high);
        Self { low: [lx.min(x), ly.min(y)], high: [hx.max(x), hy.max(y)] }
    }

    /// Lower left and upper right corner.
    pub fn corners(self) -> [At; 2] {
        [self.low, self.high]
    }

    /// The distance along the axis in which they are farther apart; zero where they overlap.
    fn apart(self, other: Self) -> f64 {
        let ([lx, ly], [hx, hy]) = (self.low, self.high);
        let ([olx, oly], [ohx, ohy]) = (other.low, other.high);
        (olx - hx).max(lx - ohx).max(oly - hy).max(ly - ohy).max(0.0)
    }
}

impl Region {
    /// A disc.
    pub fn disc(at: At, diameter: f64) -> Self {
        Self::new(vec![at], false, diameter / 2.0)
    }

    /// A line drawn with a round pen.
    pub fn line(points: Vec<At>, width: f64) -> Self {
        Self::new(points, false, width / 2.0)
    }

    /// The inside of an outline, whose edge is drawn with a round pen.
    pub fn polygon(points: Vec<At>, pen: f64) -> Self {
        Self::new(points, true, pen / 2.0)
    }

    fn new(mut points: Vec<At>, closed: bool, radius: f64) -> Self {
        points.dedup();
        if closed && points.len() > 1 && points.first() == points.last() {
            points.pop();
        }
        let closed = closed && points.len() > 2;
        let mut region = Self { points, closed, radius, bounds: Bounds::NONE, chunks: Vec::new() };
        region.bounds = Bounds::of(&region.points);
        let edges: Vec<_> = region.edges().collect();
        region.chunks = edges.chunks(CHUNK).map(|chunk| Bounds::of(chunk.iter().flatten())).collect();
        region
    }

    /// The points of line or outline.
    pub fn points(&self) -> &[At] {
        &self.points
    }

    /// Is it the inside of an outline?
    pub fn is_closed(&self) -> bool {
        self.closed
    }

    /// What it is widened by, mm.
    pub fn radius(&self) -> f64 {
        self.radius
    }

    /// The rectangle around it.
    pub fn bounds(&self) -> Bounds {
        let ([lx, ly], [hx, hy], r) = (self.bounds.low, self.bounds.high, self.radius);
        Bounds { low: [lx - r, ly - r], high: [hx + r, hy + r] }
    }

    /// Edges of line or outline; of a point one without length.
    pub fn edges(&self) -> impl Iterator<Item = [At; 2]> + '_ {
        let next = self.points.iter().skip(1);
        let alone = self.points.first().filter(|_| self.points.len() == 1).map(|&at| [at, at]);
        let closing = match (self.closed, self.points.first(), self.points.last()) {
            (true, Some(&first), Some(&last)) => Some([last, first]),
            _ => None,
        };
        self.points.iter().zip(next).map(|(&a, &b)| [a, b]).chain(closing).chain(alone)
    }

    /// Is a place on it, or so close?
    pub fn holds(&self, at: At, within: f64) -> bool {
        let reach = self.radius + within;
        if Bounds::of([&at]).apart(self.bounds) > reach {
            return false;
        }
        self.inside(at) || self.edges().any(|[a, b]| to_edge(at, a, b) <= reach)
    }

    /// Does the outline go round a place? Crossings of a ray to the right, counted even-odd.
    fn inside(&self, [x, y]: At) -> bool {
        let crossed = |[[x0, y0], [x1, y1]]: &[At; 2]| {
            (*y0 > y) != (*y1 > y) && x < (x1 - x0) * (y - y0) / (y1 - y0) + x0
        };
        self.closed && self.edges().filter(crossed).count() % 2 == 1
    }

    /// Do two regions overlap, or come so close?
    pub fn meets(&self, other: &Self, within: f64) -> bool {
        let reach = self.radius + other.radius + within;
        if self.bounds.apart(other.bounds) > reach {
            return false;
        }
        let inside_of = |a: &Self, b: &Self| b.points.first().is_some_and(|&at| a.inside(at));
        inside_of(self, other) || inside_of(other, self) || self.edges_meet(other, reach)
    }

    fn edges_meet(&self, other: &Self, reach: f64) -> bool {
        let (mine, others): (Vec<_>, Vec<_>) = (self.edges().collect(), other.edges().collect());
        let near = |box_of: &Bounds, bounds: Bounds| box_of.apart(bounds) <= reach;
        let mine = mine.chunks(CHUNK).zip(&self.chunks).filter(|(_, bounds)| near(bounds, other.bounds));
        let others: Vec<_> =
            others.chunks(CHUNK).zip(&other.chunks).filter(|(_, bounds)| near(bounds, self.bounds)).collect();
        let close = |one: &[[At; 2]], two: &[[At; 2]]| {
            one.iter().any(|edge| two.iter().any(|other| between_edges(*edge, *other) <= reach))
        };
        mine.into_iter().any(|(edges, bounds)| {
            others.iter().any(|(other, theirs)| near(bounds, **theirs) && close(edges, other))
        })
    }

    /// Length of the line, mm.
    pub fn length(&self) -> f64 {
        length(&self.points)
    }

    /// The same, moved.
    pub fn moved(&self, [dx, dy]: At) -> Self {
        self.map(|[x, y]| [x + dx, y + dy])
    }

    /// The same, turned about the origin, counter-clockwise.
    pub fn turned(&self, degrees: f64) -> Self {
        self.map(|at| turned(at, degrees))
    }

    /// The same, mirrored left to right, top to bottom, or both.
    pub fn mirrored(&self, [across, along]: [bool; 2]) -> Self {
        self.map(|[x, y]| [if across { -x } else { x }, if along { -y } else { y }])
    }

    /// The same, scaled about the origin.
    pub fn scaled(&self, by: f64) -> Self {
        let points = self.points.iter().map(|[x, y]| [x * by, y * by]).collect();
        Self::new(points, self.closed, self.radius * by)
    }

    fn map(&self, to: impl Fn(At) -> At) -> Self {
        Self::new(self.points.iter().copied().map(to).collect(), self.closed, self.radius)
    }

    /// As the sheet solver takes it: the outline and, where it is drawn with a pen, the line along it.
    ///
    /// Where outlines are given in finer detail than `detail_mm` (clearances round pads are arcs of many chords), corners are left out
    /// that lie so close beside the chord from one corner kept to the next.
    pub fn shapes(&self, detail_mm: f64) -> Vec<Shape> {
        let width_mm = 2.0 * self.radius;
        if let (false, [at]) = (self.closed, self.points.as_slice()) {
            return vec![Shape::Disc { at: *at, diameter_mm: width_mm }];
        }
        if !self.closed {
            return vec![Shape::Track { points: self.points.clone(), width_mm }];
        }
        let outer = simpler(&self.points, detail_mm);
        let mut shapes = vec![Shape::Polygon { outer: outer.clone(), holes: Vec::new() }];
        if self.radius > 0.0 {
            let points = outer.iter().chain(outer.first()).copied().collect();
            shapes.push(Shape::Track { points, width_mm });
        }
        shapes
    }
}

/// An outline without corners that lie within `detail_mm` of the chord between those kept. A corner that is passed twice stays:
/// slits, which join holes to the edge, run there and back along the same line.
fn simpler(outline: &[At], detail_mm: f64) -> Vec<At> {
    /// Most corners that one chord leaves out.
    const RUN: usize = 50;
    let mut passed: BTreeMap<[u64; 2], usize> = BTreeMap::new();
    let name = |at: &At| at.map(f64::to_bits);
    outline.iter().for_each(|at| *passed.entry(name(at)).or_default() += 1);
    let mut kept: Vec<At> = Vec::with_capacity(outline.len());
    let mut skipped: Vec<At> = Vec::new();
    for (&at, &next) in outline.iter().zip(outline.iter().skip(1).chain(outline.first())) {
        let Some(&last) = kept.last() else {
            kept.push(at);
            continue;
        };
        skipped.push(at);
        let alone = passed.get(&name(&at)) == Some(&1);
        let beside = skipped.iter().all(|&point| to_edge(point, last, next) <= detail_mm);
        if !alone || !beside || skipped.len() > RUN {
            kept.push(at);
            skipped.clear();
        }
    }
    if kept.len() < 3 { outline.to_vec() } else { kept }
}

/// Length of a line through points, mm.
pub fn length(points: &[At]) -> f64 {
    points.iter().zip(points.iter().skip(1)).map(|(a, b)| apart(*a, *b)).sum()
}

/// A place turned about the origin, counter-clockwise.
pub fn turned([x, y]: At, degrees: f64) -> At {
    // Quarter turns are what nearly all footprints have; they stay exact.
    let (sin, cos) = match degrees.rem_euclid(360.0) {
        0.0 => (0.0, 1.0),
        90.0 => (1.0, 0.0),
        180.0 => (0.0, -1.0),
        270.0 => (-1.0, 0.0),
        other => other.to_radians().sin_cos(),
    };
    [x * cos - y * sin, x * sin + y * cos]
}

/// Distance of a place from an edge.
fn to_edge([x, y]: At, [ax, ay]: At, [bx, by]: At) -> f64 {
    let (dx, dy) = (bx - ax, by - ay);
    let square = dx * dx + dy * dy;
    let along = if square > 0.0 { (((x - ax) * dx + (y - ay) * dy) / square).clamp(0.0, 1.0) } else { 0.0 };
    (x - ax - along * dx).hypot(y - ay - along * dy)
}

/// Distance of two edges; zero where they cross.
fn between_edges([a, b]: [At; 2], [c, d]: [At; 2]) -> f64 {
    let turn = |[ax, ay]: At, [bx, by]: At, [cx, cy]: At| (bx - ax) * (cy - ay) - (by - ay) * (cx - ax);
    let straddle = |a, b, c, d| turn(a, b, c) * turn(a, b, d) < 0.0;
    if straddle(a, b, c, d) && straddle(c, d, a, b) {
        return 0.0;
    }
    to_edge(a, c, d).min(to_edge(b, c, d)).min(to_edge(c, a, b)).min(to_edge(d, a, b))
}

/// The arc through three points as chords; a straight line where they lie on one.
pub fn arc(start: At, mid: At, end: At) -> Vec<At> {
    let ([ax, ay], [bx, by], [cx, cy]) = (start, mid, end);
    let twice_area = (bx - ax) * (cy - ay) - (by - ay) * (cx - ax);
    let whole = apart(start, end) < 1e-9;
    let centre = if whole {
        [(ax + bx) / 2.0, (ay + by) / 2.0]
    } else if twice_area.abs() < 1e-9 {
        return vec![start, mid, end];
    } else {
        let (b2, c2) = (apart(start, mid).powi(2), apart(start, end).powi(2));
        let d = 2.0 * twice_area;
        [ax + ((cy - ay) * b2 - (by - ay) * c2) / d, ay + ((bx - ax) * c2 - (cx - ax) * b2) / d]
    };
    let angle = |[x, y]: At| {
        let [ox, oy] = centre;
        (y - oy).atan2(x - ox)
    };
    let full = std::f64::consts::TAU;
    let (from, via, to) = (angle(start), angle(mid), angle(end));
    let left = if whole { full } else { (to - from).rem_euclid(full) };
    let sweep = if whole || (via - from).rem_euclid(full) <= left { left } else { left - full };
    let mut points = around(centre, apart(centre, start), from, sweep);
    if let Some(last) = points.last_mut() {
        *last = end;
    }
    points
}

/// Chords around a centre, beginning at an angle and going so far (radians, counter-clockwise).
pub fn around([x, y]: At, radius: f64, from: f64, sweep: f64) -> Vec<At> {
    let step = 2.0 * (1.0 - (ARC_MM / radius.max(1e-9)).min(1.0)).acos();
    let count = (sweep.abs() / step.max(1e-6)).ceil().clamp(2.0, MOST_CHORDS);
    let angles = (0..=count as usize).map(|i| from + sweep * i as f64 / count);
    angles.map(|angle| [x + radius * angle.cos(), y + radius * angle.sin()]).collect()
}

/// A cubic Bézier curve as chords.
pub fn bezier([a, b, c, d]: [At; 4]) -> Vec<At> {
    const CHORDS: u32 = 32;
    let at = |i: u32| {
        let t = f64::from(i) / f64::from(CHORDS);
        let u = 1.0 - t;
        let mix = |[p, q, r, s]: [f64; 4]| {
            u * u * u * p + 3.0 * u * u * t * q + 3.0 * u * t * t * r + t * t * t * s
        };
        let ([ax, ay], [bx, by], [cx, cy], [dx, dy]) = (a, b, c, d);
        [mix([ax, bx, cx, dx]), mix([ay, by, cy, dy])]
    };
    (0..=CHORDS).map(at).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn regions_meet_by_their_widths() {
        let track = Region::line(vec![[0.0, 0.0], [10.0, 0.0]], 1.0);
        assert!(track.meets(&Region::disc([5.0, 1.0], 1.0), 0.001));
        assert!(!track.meets(&Region::disc([5.0, 1.1], 1.0), 0.001));
        assert!(track.meets(&Region::line(vec![[5.0, -3.0], [5.0, 3.0]], 0.2), 0.0));
        let pour = Region::polygon(vec![[-50.0, -50.0], [50.0, -50.0], [50.0, 50.0], [-50.0, 50.0]], 0.0);
        assert!(pour.meets(&track, 0.0) && track.meets(&pour, 0.0));
        assert!(pour.holds([0.0, 0.0], 0.0) && !pour.holds([51.0, 0.0], 0.5) && pour.holds([50.4, 0.0], 0.5));
    }

    /// A square with a round hole that a slit joins to the edge: the hole needs fewer chords, the slit and the corners stay.
    #[test]
    fn outlines_lose_detail_and_keep_slits() {
        let chord = |i: u32| {
            let (sin, cos) = (f64::from(i) * std::f64::consts::TAU / 360.0).sin_cos();
            [5.0 - cos, 5.0 + sin]
        };
        let hole = (0..=360).map(|i| if i == 360 { chord(0) } else { chord(i) });
        let mut outline = vec![[0.0, 0.0], [10.0, 0.0], [10.0, 10.0], [0.0, 10.0], [0.0, 5.0]];
        outline.extend(hole);
        outline.push([0.0, 5.0]);
        let kept = simpler(&outline, 0.01);
        assert!((20..60).contains(&kept.len()), "{}", kept.len());
        for (corner, times) in [([10.0, 10.0], 1), ([0.0, 5.0], 2), (chord(0), 2)] {
            assert_eq!(kept.iter().filter(|at| **at == corner).count(), times, "{corner:?}");
        }
        assert_eq!(simpler(&outline[..3], 100.0), outline[..3]);
    }

    #[test]
    fn arcs_go_the_way_of_their_middle() {
        let up = arc([1.0, 0.0], [0.0, 1.0], [-1.0, 0.0]);
        let down = arc([1.0, 0.0], [0.0, -1.0], [-1.0, 0.0]);
        for (points, sign) in [(&up, 1.0), (&down, -1.0)] {
            assert!((length(points) - std::f64::consts::PI).abs() < 0.01, "{}", length(points));
            assert!(points.iter().all(|[x, y]| (x.hypot(*y) - 1.0).abs() < 1e-9 && y * sign > -1e-9));
        }
        let whole = arc([2.0, 0.0], [0.0, 0.0], [2.0, 0.0]);
        assert!((length(&whole) - std::f64::consts::TAU).abs() < 0.02);
        assert_eq!(arc([0.0, 0.0], [1.0, 0.0], [2.0, 0.0]).len(), 3);
    }

    #[test]
    fn large_outlines_meet_where_they_do() {
        let ring = |x: f64| Region::polygon(around([x, 0.0], 10.0, 0.0, std::f64::consts::TAU), 0.0);
        assert!(ring(0.0).meets(&ring(19.99), 0.0));
        assert!(!ring(0.0).meets(&ring(20.01), 0.0));
        assert!(ring(0.0).meets(&ring(0.0), 0.0));
    }
}
