//! The middle of what is lighter or darker than all around it.
//!
//! From the click the picture is flooded, level by level, as water fills a basin. What fills, and then for many levels hardly grows, has an edge
//! all around: that is a hole or a pad. Its middle is the centroid of what lies beyond the level half-way between its own and that of
//! its surroundings, pixels on the edge counted in part.

use std::cmp::Reverse;
use std::collections::BinaryHeap;

use super::grey::Grey;
use super::{Snap, What};
use crate::plane::apart;

/// Least difference to the surroundings, levels of 255, and in standard deviations of the noise.
const CONTRAST: f64 = 14.0;
const CONTRAST_SIGMAS: f64 = 6.0;
/// Least area, pixels: three across.
const LEAST_PX: usize = 9;
/// Most that it may grow over a tenth of its contrast to either side, as a part of its area: more has no edge.
const GROWTH: f64 = 0.8;
/// How much alike it has to be to itself turned half round: 1 is wholly. A disc of which a tenth is covered has about 0.85.
const ALIKE: f64 = 0.86;
/// Part of its surroundings that must lie beyond the level half-way: a track may leave, or a letter stand near.
const SET_OFF: f64 = 0.75;
/// The surroundings begin and end so far from it, pixels: beyond the blur of its edge.
const AROUND: [i32; 2] = [3, 5];
/// A pad's hole has at least this part of its area, and its middle is within this part of the pad's radius of the pad's own.
const HOLE_AREA: f64 = 0.02;
const HOLE_OFF: f64 = 0.35;

/// The middle of what lies under the click, or so near that a slip explains it. Of a pad with a hole in it, that of the hole: it goes through.
pub(super) fn centre(grey: &Grey, click: [f64; 2], reach: f64) -> Option<Snap> {
    let mut found: Vec<(Blob, What)> = Vec::new();
    for (what, sign) in [(What::Hole, 1.0), (What::Pad, -1.0)] {
        let basin = |seed: (i32, i32)| Blob::at(grey, seed, sign);
        let level = |(x, y): &(i32, i32)| sign * grey.at(*x, *y);
        let lowest = grey.within(click, reach).min_by(|a, b| level(a).total_cmp(&level(b)));
        for seed in [Some(grey.pixel(click)), lowest].into_iter().flatten() {
            let Some(blob) = basin(seed) else { continue };
            if what == What::Pad
                && let Some(hole) = blob.hole(grey)
            {
                found.push((hole, What::Hole));
            }
            found.push((blob, what));
        }
    }
    let rank = |(blob, what): &(Blob, What)| (!blob.covers(click), *what != What::Hole);
    let near = found.into_iter().filter(|(blob, _)| apart(blob.middle, click) <= reach);
    let best = near.min_by(|a, b| {
        let far = |blob: &Blob| apart(blob.middle, click);
        rank(a).cmp(&rank(b)).then(far(&a.0).total_cmp(&far(&b.0)))
    });
    best.map(|(blob, what)| Snap { px: blob.middle, what })
}

/// Something with an edge all around.
struct Blob {
    middle: [f64; 2],
    /// Its pixels, what it encloses included.
    filled: Mask,
    /// Its pixels.
    own: Mask,
}

/// Some pixels of the part.
#[derive(Clone)]
struct Mask {
    width: i32,
    height: i32,
    has: Vec<bool>,
}

impl Mask {
    fn of(grey: &Grey, has: Vec<bool>) -> Self {
        Self { width: grey.width, height: grey.height, has }
    }

    fn at(&self, x: i32, y: i32) -> bool {
        let inside = (0..self.width).contains(&x) && (0..self.height).contains(&y);
        inside && self.has.get((y * self.width + x) as usize).copied().unwrap_or(false)
    }

    fn count(&self) -> usize {
        self.has.iter().filter(|has| **has).count()
    }

    fn pixels(&self) -> impl Iterator<Item = (i32, i32)> + '_ {
        let width = self.width.max(1);
        (0..).zip(&self.has).filter(|(_, has)| **has).map(move |(at, _): (i32, _)| (at % width, at / width))
    }

    /// Steps from each pixel to the nearest that it has, up to a most: across, along and aslant count one.
    fn steps(&self, most: i32) -> Vec<i32> {
        let mut steps: Vec<i32> = self.has.iter().map(|has| if *has { 0 } else { i32::MAX }).collect();
        let mut rim: Vec<(i32, i32)> = self.pixels().collect();
        for step in 1..=most {
            let mut next = Vec::new();
            for (x, y) in rim {
                for (x, y) in around(x, y) {
                    if !((0..self.width).contains(&x) && (0..self.height).contains(&y)) {
                        continue;
                    }
                    if let Some(known) = steps.get_mut((y * self.width + x) as usize)
                        && *known > step
                    {
                        *known = step;
                        next.push((x, y));
                    }
                }
            }
            rim = next;
        }
        steps
    }

    /// With everything that it encloses.
    fn filled(&self) -> Self {
        let mut open = vec![false; self.has.len()];
        let mut rest: Vec<(i32, i32)> = (0..self.width)
            .flat_map(|x| [(x, 0), (x, self.height - 1)])
            .chain((0..self.height).flat_map(|y| [(0, y), (self.width - 1, y)]))
            .collect();
        while let Some((x, y)) = rest.pop() {
            let inside = (0..self.width).contains(&x) && (0..self.height).contains(&y);
            if !inside || self.at(x, y) {
                continue;
            }
            match open.get_mut((y * self.width + x) as usize) {
                Some(open) if !*open => *open = true,
                _ => continue,
            }
            rest.extend(beside(x, y));
        }
        Self { has: open.into_iter().map(|open| !open).collect(), ..*self }
    }
}

fn beside(x: i32, y: i32) -> [(i32, i32); 4] {
    [(x - 1, y), (x + 1, y), (x, y - 1), (x, y + 1)]
}

fn around(x: i32, y: i32) -> impl Iterator<Item = (i32, i32)> {
    (-1..=1).flat_map(move |dy| (-1..=1).map(move |dx| (x + dx, y + dy)))
}

/// For every pixel the level at which water that rises from a seed reaches it, up to that at which it reaches the edge of the part.
struct Flood {
    reached: Vec<i32>,
    /// The level at the seed, and that at which the edge is reached.
    from: i32,
    to: i32,
}

impl Flood {
    fn of(grey: &Grey, seed: (i32, i32), sign: f64) -> Self {
        // Quarters of a level: smoothing makes levels finer than whole.
        let level = |(x, y): (i32, i32)| (4.0 * sign * grey.at(x, y)) as i32;
        let mut reached = vec![i32::MAX; (grey.width * grey.height).max(0) as usize];
        let mut heap = BinaryHeap::from([Reverse((level(seed), seed))]);
        let (from, mut to) = (level(seed), i32::MAX);
        while let Some(Reverse((at, (x, y)))) = heap.pop() {
            let Some(known) = reached.get_mut((y * grey.width + x) as usize) else { continue };
            if *known <= at {
                continue;
            }
            *known = at;
            if x == 0 || y == 0 || x == grey.width - 1 || y == grey.height - 1 {
                to = at;
                break;
            }
            for next in beside(x, y) {
                heap.push(Reverse((at.max(level(next)), next)));
            }
        }
        Self { reached, from, to }
    }

    fn below(&self, grey: &Grey, level: i32) -> Mask {
        Mask::of(grey, self.reached.iter().map(|reached| *reached <= level).collect())
    }

    /// Levels at which it hardly grows, the highest first: each the least growth of its neighbourhood.
    fn plateaus(&self) -> Vec<i32> {
        let depth = self.to.saturating_sub(self.from);
        if self.to == i32::MAX || f64::from(depth) < 4.0 * CONTRAST {
            return Vec::new();
        }
        let mut count = vec![0_usize; depth as usize + 1];
        for reached in self.reached.iter().filter(|reached| **reached <= self.to) {
            if let Some(count) = count.get_mut((reached - self.from).max(0) as usize) {
                *count += 1;
            }
        }
        let mut sum = 0;
        let areas: Vec<usize> = count
            .into_iter()
            .map(|count| {
                sum += count;
                sum
            })
            .collect();
        let area = |at: i32| areas.get(at.clamp(0, depth) as usize).copied().unwrap_or(0) as f64;
        let step = (depth / 10).max(8);
        let growth = |at: i32| (area(at + step) - area(at - step)) / area(at).max(1.0);
        let last = depth - step - 1;
        let mut found: Vec<i32> = Vec::new();
        let mut at = last;
        while at > step {
            let near = (at - step..=at).rev().filter(|at| *at > step);
            let Some(best) = near.min_by(|a, b| growth(*a).total_cmp(&growth(*b))) else { break };
            if growth(best) < GROWTH && area(best) >= LEAST_PX as f64 {
                found.push(self.from + best);
            }
            at -= step;
        }
        found
    }
}

impl Blob {
    fn at(grey: &Grey, seed: (i32, i32), sign: f64) -> Option<Self> {
        let flood = Flood::of(grey, seed, sign);
        // From the outside in: a gleam on a pad lies on the pad.
        let levels = flood.plateaus().into_iter();
        levels.filter_map(|level| Self::clear(grey, &flood, level, sign)).next()
    }

    /// What the flood has filled at a level, if it is clear.
    fn clear(grey: &Grey, flood: &Flood, level: i32, sign: f64) -> Option<Self> {
        let rough = flood.below(grey, level);
        let (inner, outer) = levels(grey, &rough, &rough.filled())?;
        let contrast = sign * (outer - inner);
        if contrast < CONTRAST.max(CONTRAST_SIGMAS * grey.noise) {
            return None;
        }
        let half_way = (4.0 * sign * (inner + outer) / 2.0) as i32;
        if half_way >= flood.to {
            return None;
        }
        let own = flood.below(grey, half_way);
        if own.count() < LEAST_PX {
            return None;
        }
        let filled = own.filled();
        // Parts of pixels, from the surroundings' level to its own; the ends are left out, as there it is noise alone.
        let part = |x, y| ((outer - grey.at(x, y)) / (outer - inner) * 1.4 - 0.2).clamp(0.0, 1.0);
        let steps = filled.steps(AROUND[1]);
        let step = |x: i32, y: i32| steps.get((y * grey.width + x) as usize).copied().unwrap_or(i32::MAX);
        let (mut beyond, mut all) = (0, 0);
        let (mut sum, mut weight) = ([0.0; 2], 0.0);
        let mut weights = vec![0.0; steps.len()];
        for y in 0..grey.height {
            for x in 0..grey.width {
                let far = step(x, y);
                if (AROUND[0]..=AROUND[1]).contains(&far) {
                    all += 1;
                    beyond += usize::from(sign * (grey.at(x, y) - (inner + outer) / 2.0) > 0.0);
                }
                let enclosed = far == 0 && !own.at(x, y);
                let own = if enclosed {
                    1.0
                } else if far < AROUND[0] {
                    part(x, y)
                } else {
                    0.0
                };
                if let Some(kept) = weights.get_mut((y * grey.width + x) as usize) {
                    *kept = own;
                }
                sum = [sum[0] + own * (f64::from(x) + 0.5), sum[1] + own * (f64::from(y) + 0.5)];
                weight += own;
            }
        }
        if (beyond as f64) < SET_OFF * f64::from(all) || weight <= 0.0 {
            return None;
        }
        let middle = sum.map(|sum| sum / weight);
        (alike(grey, &weights, middle) >= ALIKE).then_some(Self { middle, filled, own })
    }

    fn covers(&self, [x, y]: [f64; 2]) -> bool {
        self.filled.at(x as i32, y as i32)
    }

    /// The hole in a pad: enclosed, near its middle, and clear by itself.
    fn hole(&self, grey: &Grey) -> Option<Self> {
        let area = self.filled.count() as f64;
        let enclosed = self.filled.pixels().filter(|(x, y)| !self.own.at(*x, *y));
        let darkest = enclosed.min_by(|a, b| grey.at(a.0, a.1).total_cmp(&grey.at(b.0, b.1)))?;
        let hole = Self::at(grey, darkest, 1.0)?;
        let is_large = hole.filled.count() as f64 >= HOLE_AREA * area;
        let is_central = apart(hole.middle, self.middle) <= HOLE_OFF * (area / std::f64::consts::PI).sqrt();
        let is_inside = hole.filled.pixels().all(|(x, y)| self.filled.at(x, y));
        (is_large && is_central && is_inside).then_some(hole)
    }
}

/// Mean levels of some pixels, and of those around them.
fn levels(grey: &Grey, own: &Mask, filled: &Mask) -> Option<(f64, f64)> {
    let steps = filled.steps(AROUND[1]);
    let width = grey.width.max(1);
    let ring = (0..).zip(&steps).filter(|(_, step)| (AROUND[0]..=AROUND[1]).contains(*step));
    let outer = median(ring.map(|(at, _): (i32, _)| grey.at(at % width, at / width)).collect())?;
    let inner = median(own.pixels().map(|(x, y)| grey.at(x, y)).collect())?;
    Some((inner, outer))
}

fn median(mut values: Vec<f64>) -> Option<f64> {
    if values.is_empty() {
        return None;
    }
    let middle = values.len() / 2;
    let (_, median, _) = values.select_nth_unstable_by(middle, f64::total_cmp);
    Some(*median)
}

/// Weights against themselves turned half round about a place: what both have over what either has.
fn alike(grey: &Grey, weights: &[f64], [cx, cy]: [f64; 2]) -> f64 {
    let at = |x: i32, y: i32| {
        let inside = (0..grey.width).contains(&x) && (0..grey.height).contains(&y);
        if inside { weights.get((y * grey.width + x) as usize).copied().unwrap_or(0.0) } else { 0.0 }
    };
    let (mut both, mut either) = (0.0, 0.0);
    for y in 0..grey.height {
        for x in 0..grey.width {
            let (u, v) = (2.0 * cx - f64::from(x) - 1.0, 2.0 * cy - f64::from(y) - 1.0);
            let (left, up) = (u.floor(), v.floor());
            let (across, along) = (u - left, v - up);
            let (left, up) = (left as i32, up as i32);
            let row = |y| at(left, y) * (1.0 - across) + at(left + 1, y) * across;
            let (here, there) = (at(x, y), row(up) * (1.0 - along) + row(up + 1) * along);
            both += here.min(there);
            either += here.max(there);
        }
    }
    if either > 0.0 { both / either } else { 0.0 }
}
