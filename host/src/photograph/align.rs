//! The back laid onto the front by holes that go through both.
//!
//! Each side's photo has been placed by its own marks. What is left between the two is a turn, a shift and a scale, and a mirror where the back was measured
//! as it is seen: a similarity, for which three holes suffice. From [`FOR_AFFINE`] holes on, an affine map also takes up what is left of the tilt.

use nalgebra::{DMatrix, DVector};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::Homography;
use crate::plane::apart;

/// Holes at most.
pub const MOST_PAIRS: usize = 200;
/// So many holes determine an affine map better than they are blurred by their clicks (measured: see the tests).
pub const FOR_AFFINE: usize = 6;
/// Holes whose spread across a line is less than this part of that along it are on one line.
const FLAT: f64 = 0.05;
/// Holes spread less than this are one, mm.
const SAME_MM: f64 = 1.0;
/// Farthest place that makes sense, mm.
const FAR_MM: f64 = 4000.0;

/// A hole as it was placed on either side.
#[derive(Clone, Copy, PartialEq, Debug, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Pair {
    /// By the front's photo, mm.
    pub front: [f64; 2],
    /// By the back's photo, mm.
    pub back: [f64; 2],
}

/// How the back lies on the front.
#[derive(Clone, PartialEq, Debug)]
pub struct Alignment {
    /// From the back's millimetres to the front's.
    pub map: Homography,
    /// Does it change the hand? Then the back had been measured as it is seen.
    pub mirrored: bool,
    /// How far apart the two sides put each hole afterwards, mm.
    pub residuals_mm: Vec<f64>,
}

/// Why holes do not align the sides. They count from 1.
#[derive(Clone, PartialEq, Debug, thiserror::Error)]
#[allow(missing_docs)] // each says it
pub enum AlignError {
    #[error(
        "{count} through holes do not align the back: click three or more that can be seen from both sides"
    )]
    TooFew { count: usize },
    #[error("{count} through holes are more than {MOST_PAIRS}, the most that are taken: leave some out")]
    TooMany { count: usize },
    #[error("through hole {number} lies nowhere: its places are no numbers, or far outside of any board")]
    Nowhere { number: usize },
    #[error(
        "the through holes lie on one line, so that a mirrored back looks like one that is not: take one away from the line"
    )]
    Collinear,
}

/// Finds how the back lies on the front.
///
/// # Errors
/// Too few or too many holes, places that are none, or all on one line.
pub fn align(pairs: &[Pair]) -> Result<Alignment, AlignError> {
    if pairs.len() < 3 {
        return Err(AlignError::TooFew { count: pairs.len() });
    }
    if pairs.len() > MOST_PAIRS {
        return Err(AlignError::TooMany { count: pairs.len() });
    }
    let within = |place: [f64; 2]| place.iter().all(|value| value.is_finite() && value.abs() <= FAR_MM);
    if let Some(at) = pairs.iter().position(|pair| !within(pair.front) || !within(pair.back)) {
        return Err(AlignError::Nowhere { number: at + 1 });
    }
    let (fronts, backs): (Vec<_>, Vec<_>) = pairs.iter().map(|pair| (pair.front, pair.back)).unzip();
    if is_line(&fronts) || is_line(&backs) {
        return Err(AlignError::Collinear);
    }
    let map = match pairs.len() {
        FOR_AFFINE.. => affine(pairs),
        _ => [false, true]
            .into_iter()
            .filter_map(|mirrored| similarity(pairs, mirrored))
            .min_by(|a, b| worth(a, pairs).total_cmp(&worth(b, pairs))),
    };
    let map = map.ok_or(AlignError::Collinear)?;
    let residuals_mm = pairs.iter().map(|pair| off(&map, pair)).collect();
    let [[a, b, _], [c, d, _], [_, _, w]] = map.rows();
    Ok(Alignment { mirrored: (a * d - b * c) * w.signum() < 0.0, map, residuals_mm })
}

fn off(map: &Homography, pair: &Pair) -> f64 {
    let there = map.apply(pair.back).unwrap_or([f64::INFINITY; 2]);
    apart(there, pair.front)
}

fn worth(map: &Homography, pairs: &[Pair]) -> f64 {
    pairs.iter().map(|pair| off(map, pair).powi(2)).sum()
}

fn middle(places: impl ExactSizeIterator<Item = [f64; 2]>) -> [f64; 2] {
    let count = places.len().max(1) as f64;
    places.fold([0.0; 2], |sum, place| [sum[0] + place[0] / count, sum[1] + place[1] / count])
}

/// By the two axes of the places' scatter.
fn is_line(places: &[[f64; 2]]) -> bool {
    let [mx, my] = middle(places.iter().copied());
    let (mut xx, mut xy, mut yy) = (0.0, 0.0, 0.0);
    for [x, y] in places {
        xx += (x - mx) * (x - mx);
        xy += (x - mx) * (y - my);
        yy += (y - my) * (y - my);
    }
    let (half, root) = ((xx + yy) / 2.0, ((xx - yy) / 2.0).hypot(xy));
    let (long, short) = ((half + root).sqrt(), (half - root).max(0.0).sqrt());
    long < SAME_MM || short < FLAT * long
}

/// front = c · back or c · its conjugate, plus a shift, in complex numbers.
fn similarity(pairs: &[Pair], mirrored: bool) -> Option<Homography> {
    let hand = if mirrored { -1.0 } else { 1.0 };
    let (front, back) = (
        middle(pairs.iter().map(|pair| pair.front)),
        middle(pairs.iter().map(|pair| [pair.back[0], hand * pair.back[1]])),
    );
    let (mut re, mut im, mut norm) = (0.0, 0.0, 0.0);
    for pair in pairs {
        let [u, v] = [pair.front[0] - front[0], pair.front[1] - front[1]];
        let [x, y] = [pair.back[0] - back[0], hand * pair.back[1] - back[1]];
        re += u * x + v * y;
        im += v * x - u * y;
        norm += x * x + y * y;
    }
    let (a, c) = (re / norm, im / norm);
    let shift = [front[0] - a * back[0] + c * back[1], front[1] - c * back[0] - a * back[1]];
    Homography::affine([[a, -hand * c], [c, hand * a]], shift)
}

fn affine(pairs: &[Pair]) -> Option<Homography> {
    // About the middle, so that shift and direction do not blur each other.
    let around = middle(pairs.iter().map(|pair| pair.back));
    let equations = DMatrix::from_fn(pairs.len(), 3, |row, column| {
        let back = pairs.get(row).map_or(around, |pair| pair.back);
        [back[0] - around[0], back[1] - around[1], 1.0].get(column).copied().unwrap_or(0.0)
    });
    let svd = equations.svd(true, true);
    let solve = |axis: fn(&Pair) -> f64| {
        let right = DVector::from_iterator(pairs.len(), pairs.iter().map(axis));
        svd.solve(&right, 1e-12).ok().and_then(|row| <[f64; 3]>::try_from(row.as_slice()).ok())
    };
    let (x, y) = (solve(|pair| pair.front[0])?, solve(|pair| pair.front[1])?);
    let shift = |row: &[f64; 3]| row[2] - row[0] * around[0] - row[1] * around[1];
    Homography::affine([[x[0], x[1]], [y[0], y[1]]], [shift(&x), shift(&y)])
}
