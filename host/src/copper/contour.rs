//! Shapes as closed contours: straight edges, outlines counterclockwise, holes clockwise.
//!
//! A circle becomes a polygon of the same area. To first order its radius is then the mean radius of the polygon, and that
//! is what the resistance around or into a circle depends on: what is left of the error falls with the fourth power of the corners,
//! under 0.005 % with 48 and under 0.1 % with 24.

use std::f64::consts::{PI, TAU};

use super::{CopperError, GAP_MM, Shape};
use crate::plane::{apart, crossing, signed_area};

/// How round circles are: the corners of a full one. Half as many do where one per cent is asked.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) struct Roundness(usize);

impl Roundness {
    const FINE: Self = Self(48);
    const COARSE: Self = Self(24);

    /// For a relative error that is asked.
    pub fn of(relative: f64) -> Self {
        if relative < 0.01 { Self::FINE } else { Self::COARSE }
    }

    fn corners(self) -> usize {
        self.0
    }

    /// Points along a full turn of an arc's middle line.
    fn turn(self) -> usize {
        2 * self.0
    }

    /// Radius of the corners of a polygon that has a circle's area.
    fn corner_radius(self, radius: f64) -> f64 {
        let step = TAU / self.corners() as f64;
        radius * (step / step.sin()).sqrt()
    }
}

/// Farthest a coordinate may lie from zero, mm: any board, and far from where digits are lost.
const FARTHEST_MM: f64 = 10_000.0;

/// A closed line; its last point is joined to its first.
pub(super) type Contour = Vec<[f64; 2]>;

/// How many points a shape is given by.
pub(super) fn points(shape: &Shape, round: Roundness) -> usize {
    match shape {
        Shape::Polygon { outer, holes } => outer.len() + holes.iter().map(Vec::len).sum::<usize>(),
        // Every stretch has round ends of its own.
        Shape::Track { points, .. } => points.len().saturating_sub(1).max(1) * (round.corners() + 2),
        Shape::Arc { .. } => 2 * round.turn() + round.corners(),
        Shape::Disc { .. } => round.corners(),
    }
}

/// Contours of a shape: what they wind around once counterclockwise is copper.
///
/// # Errors
/// A coordinate or width is no sensible number, or an outline crosses itself.
pub(super) fn contours(shape: &Shape, round: Roundness) -> Result<Vec<Contour>, CopperError> {
    match shape {
        Shape::Polygon { outer, holes } => polygon(outer, holes),
        Shape::Track { points, width_mm } => track(points, *width_mm, round),
        Shape::Arc { start, mid, end, width_mm } => arc(*start, *mid, *end, *width_mm, round),
        Shape::Disc { at, diameter_mm } => {
            sound([at])?;
            Ok(vec![disc(*at, positive(*diameter_mm, *at)? / 2.0, round)])
        }
    }
}

fn sound<'a>(points: impl IntoIterator<Item = &'a [f64; 2]>) -> Result<(), CopperError> {
    match points.into_iter().flatten().find(|value| value.is_nan() || value.abs() > FARTHEST_MM) {
        Some(value) => Err(CopperError::Coordinate { value: *value, most: FARTHEST_MM }),
        None => Ok(()),
    }
}

fn positive(width_mm: f64, at: [f64; 2]) -> Result<f64, CopperError> {
    match width_mm > GAP_MM && width_mm < FARTHEST_MM {
        true => Ok(width_mm),
        false => Err(CopperError::Width { width_mm, at }),
    }
}

fn polygon(outer: &[[f64; 2]], holes: &[Vec<[f64; 2]>]) -> Result<Vec<Contour>, CopperError> {
    let mut contours = Vec::with_capacity(1 + holes.len());
    for (ring, sign) in std::iter::once((outer, 1.0)).chain(holes.iter().map(|hole| (&hole[..], -1.0))) {
        sound(ring)?;
        let mut ring = tidy(ring);
        if ring.len() < 3 {
            continue;
        }
        // One that only touches itself does not cross.
        if let Some(found) = crossing(&ring, 2.0 * GAP_MM) {
            return Err(CopperError::Crossed { at: found.at });
        }
        if signed_area(&ring) * sign < 0.0 {
            ring.reverse();
        }
        contours.push(ring);
    }
    Ok(contours)
}

/// Without points that repeat their predecessor.
pub(super) fn tidy(ring: &[[f64; 2]]) -> Contour {
    let mut tidy: Contour = Vec::with_capacity(ring.len());
    for &point in ring {
        if tidy.last().is_none_or(|last| apart(*last, point) > GAP_MM) {
            tidy.push(point);
        }
    }
    while tidy.len() > 1 && apart(tidy[0], tidy[tidy.len() - 1]) <= GAP_MM {
        tidy.pop();
    }
    tidy
}

fn disc(at: [f64; 2], radius: f64, round: Roundness) -> Contour {
    let radius = round.corner_radius(radius);
    let corner = |i| {
        let angle = TAU * i as f64 / round.corners() as f64;
        [at[0] + radius * angle.cos(), at[1] + radius * angle.sin()]
    };
    (0..round.corners()).map(corner).collect()
}

/// One contour around every stretch; together they are the track.
fn track(points: &[[f64; 2]], width_mm: f64, round: Roundness) -> Result<Vec<Contour>, CopperError> {
    sound(points)?;
    let mut middle: Contour = Vec::with_capacity(points.len());
    for &point in points {
        if middle.last().is_none_or(|last| apart(*last, point) > GAP_MM) {
            middle.push(point);
        }
    }
    let Some(&first) = middle.first() else { return Ok(Vec::new()) };
    let half = positive(width_mm, first)? / 2.0;
    if middle.len() == 1 {
        return Ok(vec![disc(first, half, round)]);
    }
    Ok(middle.windows(2).map(|ends| capsule(ends[0], ends[1], half, round)).collect())
}

/// A stretch of a track: straight flanks at its width, round ends.
fn capsule(a: [f64; 2], b: [f64; 2], half: f64, round: Roundness) -> Contour {
    let along = (b[1] - a[1]).atan2(b[0] - a[0]);
    let steps = round.corners() / 2;
    let end = |centre: [f64; 2], begin: f64| {
        (0..=steps).map(move |i| {
            // The flanks keep the width; the corners between lie a little farther out.
            let radius = if i == 0 || i == steps { half } else { round.corner_radius(half) };
            let angle = begin + PI * i as f64 / steps as f64;
            [centre[0] + radius * angle.cos(), centre[1] + radius * angle.sin()]
        })
    };
    end(b, along - PI / 2.0).chain(end(a, along + PI / 2.0)).collect()
}

/// Part of a circle through three points, drawn with a width; straight where they lie on a line.
fn arc(
    start: [f64; 2],
    mid: [f64; 2],
    end: [f64; 2],
    width_mm: f64,
    round: Roundness,
) -> Result<Vec<Contour>, CopperError> {
    sound([&start, &mid, &end])?;
    let half = positive(width_mm, start)? / 2.0;
    let whole = apart(start, end) <= GAP_MM;
    let centre = if whole {
        [(start[0] + mid[0]) / 2.0, (start[1] + mid[1]) / 2.0]
    } else {
        let (b, c) = ([mid[0] - start[0], mid[1] - start[1]], [end[0] - start[0], end[1] - start[1]]);
        let twice = 2.0 * (b[0] * c[1] - b[1] * c[0]);
        let (bb, cc) = (b[0] * b[0] + b[1] * b[1], c[0] * c[0] + c[1] * c[1]);
        // Flatter than the gap that counts as none.
        if twice.abs() <= 4.0 * GAP_MM * cc.sqrt() {
            return track(&[start, mid, end], width_mm, round);
        }
        [start[0] + (c[1] * bb - b[1] * cc) / twice, start[1] + (b[0] * cc - c[0] * bb) / twice]
    };
    let radius = apart(start, centre);
    let angle = |p: [f64; 2]| (p[1] - centre[1]).atan2(p[0] - centre[0]);
    // Counterclockwise, from whichever end that is.
    let left = if whole { TAU } else { (angle(end) - angle(start)).rem_euclid(TAU) };
    let goes_left = (angle(mid) - angle(start)).rem_euclid(TAU) <= left;
    let (begin, turn) = if goes_left { (angle(start), left) } else { (angle(end), TAU - left) };
    let steps = (round.turn() as f64 * turn / TAU).ceil().max(2.0) as usize;
    let step = turn / steps as f64;
    let at = |radius: f64, angle: f64| [centre[0] + radius * angle.cos(), centre[1] + radius * angle.sin()];
    // Polygons of the same area as the parts of a circle, as for a whole one.
    let bow = (step / step.sin()).sqrt();
    let middle = |i: usize| at(radius * bow, begin + step * i as f64);
    if radius <= half {
        // Its inner edge has shrunk to nothing.
        return track(&(0..=steps).map(middle).collect::<Vec<_>>(), width_mm, round);
    }
    let edge = |radius: f64| (0..=steps).map(move |i| at(radius * bow, begin + step * i as f64));
    let cap = |of: f64, from: f64| {
        let centre = at(radius, of);
        let (steps, half) = (round.corners() / 2, round.corner_radius(half));
        (1..steps).map(move |i| {
            let angle = from + PI * i as f64 / steps as f64;
            [centre[0] + half * angle.cos(), centre[1] + half * angle.sin()]
        })
    };
    // Where a nearly whole circle overlaps itself it is wound around twice, which is copper all the same.
    let outer = edge(radius + half).chain(cap(begin + turn, begin + turn));
    let inner = edge(radius - half).collect::<Vec<_>>().into_iter().rev().chain(cap(begin, begin + PI));
    Ok(vec![outer.chain(inner).collect()])
}
