//! The corner where two straight edges meet: both are fitted as lines to the places where the level rises steepest, and crossed.
//!
//! Lines come from a vote of those places, each for the lines that pass through it and lie as its slope says (Duda and Hart, "Use of the Hough
//! transformation to detect lines and curves in pictures", 1972), then from least squares of the distances to them.

use std::f64::consts::{PI, TAU};

use super::grey::Grey;
use super::{Snap, What};
use crate::plane::apart;

/// Edges are followed so far from the click, pixels.
const FAR: f64 = 48.0;
/// From the corner on, each edge has to be there from and to so far, pixels: rounding and blur stay out.
const ARM: [f64; 2] = [5.0, 32.0];
/// Part of an arm that has to be seen; and most that may be seen beyond the corner, else the edge goes on and it is none.
const SEEN: f64 = 0.7;
const BEYOND: f64 = 0.35;
/// Least slope, levels a pixel, and in standard deviations of the smoothed noise.
const SLOPE: f64 = 3.0;
const SLOPE_SIGMAS: f64 = 3.0;
/// Directions that are told apart in the vote.
const DIRECTIONS: usize = 120;
/// A place votes for lines whose direction is this far from its own slope's, steps of a direction.
const SWAY: usize = 2;
/// Two edges that meet at less than this, or nearly straight, make no corner, radians.
const SHARPEST: f64 = 0.44;
/// A line belongs to places so near, pixels, and slopes so much in its direction (a cosine).
const NEAR: [f64; 4] = [2.5, 1.8, 1.2, 1.2];
const SAME_WAY: f64 = 0.96;
/// A second edge beside one, so far away, with so many votes, leaves it open which is meant.
const BESIDE: f64 = 2.6;
const RIVAL: f64 = 0.6;

/// A place where the level rises steepest: where, relative to the click, and the direction it rises in.
#[derive(Clone, Copy)]
struct Steep {
    at: [f64; 2],
    way: [f64; 2],
}

/// A line: what lies at `off` along its normal `way`, which points to where it is lighter.
#[derive(Clone, Copy)]
struct Line {
    way: [f64; 2],
    off: f64,
}

fn dot(a: [f64; 2], b: [f64; 2]) -> f64 {
    a[0] * b[0] + a[1] * b[1]
}

/// The corner within reach of the click.
pub(super) fn corner(grey: &Grey, click: [f64; 2], reach: f64) -> Option<Snap> {
    let all = steep(grey, click);
    let (first, votes) = vote(&all, reach, |_| true)?;
    let first = fitted(&all, first)?;
    let is_across = |way: [f64; 2]| dot(way, first.way).abs().min(1.0).acos() >= SHARPEST;
    let (second, others) = vote(&all, reach, is_across)?;
    let second = fitted(&all, second)?;
    for (line, votes) in [(first, votes), (second, others)] {
        if has_rival(&all, line, votes, reach) {
            return None;
        }
    }
    let cross = first.way[0] * second.way[1] - first.way[1] * second.way[0];
    if cross.abs() < SHARPEST.sin() {
        return None;
    }
    let at = [
        (first.off * second.way[1] - second.off * first.way[1]) / cross,
        (second.off * first.way[0] - first.off * second.way[0]) / cross,
    ];
    let (one, other) = (arm(&all, first, at)?, arm(&all, second, at)?);
    // What lies between the arms is lighter than both sides beyond, or darker than both.
    let is_one_side = dot(first.way, other) * dot(second.way, one) > 0.0;
    let px = [click[0] + at[0], click[1] + at[1]];
    (is_one_side && apart(px, click) <= reach).then_some(Snap { px, what: What::Corner })
}

/// Where the level rises steeper than on either side along its slope, to parts of a pixel.
fn steep(grey: &Grey, click: [f64; 2]) -> Vec<Steep> {
    let size = |[x, y]: [f64; 2]| x.hypot(y);
    let least = SLOPE.max(SLOPE_SIGMAS * grey.noise);
    let mut all = Vec::new();
    for (x, y) in grey.within(click, FAR) {
        let slope = grey.slope(x, y);
        let here = size(slope);
        if here < least || x < 2 || y < 2 || x > grey.width - 3 || y > grey.height - 3 {
            continue;
        }
        let way = slope.map(|value| value / here);
        let middle = [f64::from(x) + 0.5, f64::from(y) + 0.5];
        // The slope along the way, from levels between pixels.
        let along = |by: f64| {
            let level = |by: f64| grey.between([middle[0] + by * way[0], middle[1] + by * way[1]]);
            (level(by + 1.0) - level(by - 1.0)) / 2.0
        };
        let (before, now, after) = (along(-1.0), along(0.0), along(1.0));
        if now < before || now <= after {
            continue;
        }
        let bend = before - 2.0 * now + after;
        let by = if bend < 0.0 { (0.5 * (before - after) / bend).clamp(-0.7, 0.7) } else { 0.0 };
        let at = [middle[0] + by * way[0] - click[0], middle[1] + by * way[1] - click[1]];
        all.push(Steep { at, way });
    }
    all
}

fn direction(step: usize) -> [f64; 2] {
    let angle = TAU * step as f64 / DIRECTIONS as f64;
    [angle.cos(), angle.sin()]
}

/// The line within reach of the click that most places vote for, among directions that are asked for, and its votes.
fn vote(all: &[Steep], reach: f64, asked: impl Fn([f64; 2]) -> bool) -> Option<(Line, f64)> {
    let bins = 2 * (reach.ceil() as usize + 2) + 1;
    let middle = (bins / 2) as f64;
    let mut votes = vec![0.0; DIRECTIONS * bins];
    for place in all {
        let angle = place.way[1].atan2(place.way[0]).rem_euclid(TAU);
        let nearest = (angle / TAU * DIRECTIONS as f64).round() as usize;
        for step in nearest + DIRECTIONS - SWAY..=nearest + DIRECTIONS + SWAY {
            let step = step % DIRECTIONS;
            let off = dot(place.at, direction(step)) + middle;
            if !(0.0..bins as f64 - 1.0).contains(&off) || !asked(direction(step)) {
                continue;
            }
            // Shared between the two nearest bins.
            let (low, share) = (off.floor(), off - off.floor());
            for (by, part) in [(0, 1.0 - share), (1, share)] {
                if let Some(vote) = votes.get_mut(step * bins + low as usize + by) {
                    *vote += part;
                }
            }
        }
    }
    let (at, most) = (0..).zip(&votes).max_by(|a, b| a.1.total_cmp(b.1))?;
    let at: usize = at;
    (*most > ARM[1] / 3.0)
        .then(|| (Line { way: direction(at / bins), off: (at % bins) as f64 - middle }, *most))
}

fn belongs(line: Line, near: f64) -> impl Fn(&&Steep) -> bool {
    move |place| (dot(place.at, line.way) - line.off).abs() <= near && dot(place.way, line.way) >= SAME_WAY
}

/// The line through the places near it, by least squares of their distances.
fn fitted(all: &[Steep], start: Line) -> Option<Line> {
    let mut line = start;
    for near in NEAR {
        let own: Vec<[f64; 2]> = all.iter().filter(belongs(line, near)).map(|place| place.at).collect();
        if own.len() < 8 {
            return None;
        }
        let count = own.len() as f64;
        let middle = own.iter().fold([0.0; 2], |sum, at| [sum[0] + at[0] / count, sum[1] + at[1] / count]);
        let (mut xx, mut xy, mut yy) = (0.0, 0.0, 0.0);
        for at in &own {
            let [x, y] = [at[0] - middle[0], at[1] - middle[1]];
            (xx, xy, yy) = (xx + x * x, xy + x * y, yy + y * y);
        }
        // Half the angle of the scatter's long axis; the normal is square to it.
        let angle = 0.5 * (2.0 * xy).atan2(xx - yy) + PI / 2.0;
        let mut way = [angle.cos(), angle.sin()];
        if dot(way, line.way) < 0.0 {
            way = way.map(|value| -value);
        }
        line = Line { way, off: dot(middle, way) };
    }
    Some(line)
}

/// Is there another edge beside this one, nearly as long and within reach?
fn has_rival(all: &[Steep], line: Line, votes: f64, reach: f64) -> bool {
    let rest: Vec<Steep> =
        all.iter().filter(|place| (dot(place.at, line.way) - line.off).abs() > BESIDE).copied().collect();
    let along = |way: [f64; 2]| dot(way, line.way).abs() >= SAME_WAY;
    vote(&rest, reach, along).is_some_and(|(_, others)| others >= RIVAL * votes)
}

/// The direction in which an edge leaves the corner; `None` where it does not, or goes on beyond.
fn arm(all: &[Steep], line: Line, corner: [f64; 2]) -> Option<[f64; 2]> {
    let along = [-line.way[1], line.way[0]];
    let bins = (ARM[1] - ARM[0]) as usize;
    let mut seen = [vec![false; bins], vec![false; bins]];
    for place in all.iter().filter(belongs(line, 1.6)) {
        let far = dot([place.at[0] - corner[0], place.at[1] - corner[1]], along);
        let side = usize::from(far > 0.0);
        let bin = far.abs() - ARM[0];
        if bin >= 0.0
            && let Some(seen) = seen.get_mut(side).and_then(|side| side.get_mut(bin as usize))
        {
            *seen = true;
        }
    }
    let [behind, ahead] =
        seen.map(|bins| bins.iter().filter(|seen| **seen).count() as f64 / bins.len().max(1) as f64);
    match (behind >= SEEN, ahead >= SEEN) {
        (true, false) if ahead <= BEYOND => Some(along.map(|value| -value)),
        (false, true) if behind <= BEYOND => Some(along),
        _ => None,
    }
}
