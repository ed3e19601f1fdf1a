//! Copper that clear objects take away from the dark ones below them.

use i_overlay::core::fill_rule::FillRule;
use i_overlay::core::overlay_rule::OverlayRule;
use i_overlay::float::single::SingleFloatOverlay;

use super::image::{Mark, Object};
use crate::import::region::{At, Region, around};

/// Pairs of objects that are compared: seconds.
const MOST_PAIRS: usize = 1_000_000_000;
/// Pairs of outlines whose corners multiply to more are told apart by the rectangles around them alone.
const LARGE: usize = 1_000_000;
/// Corners of one cut, and of all cuts of a file: more take minutes.
const MOST_CORNERS: usize = 200_000;
const MOST_IN_ALL: usize = 1_000_000;
/// Edges of one cut that may cross, and edges that lie above each other: a pour has a few beside each corner.
const MOST_CROSSINGS: usize = 5_000_000;
const MOST_ABOVE: usize = 500_000_000;

/// The dark objects of a file, each without what later clear objects take from it. An object that is cut is an area from then on.
///
/// # Errors
/// There is too much to cut.
pub fn resolve(objects: Vec<Object>) -> Result<Vec<Object>, String> {
    let clear: Vec<(usize, Object)> = objects
        .iter()
        .enumerate()
        .filter(|(_, object)| !object.dark)
        .map(|(i, object)| (i, object.clone()))
        .collect();
    if clear.is_empty() {
        return Ok(objects);
    }
    let too_many = || {
        "clear and dark objects are too many to be cut from each other; export without clear polarity"
            .to_owned()
    };
    let regions =
        |count: usize| count.saturating_mul(clear.iter().map(|(_, object)| object.copper.len()).sum());
    if regions(objects.iter().map(|object| object.copper.len()).sum()) > MOST_PAIRS {
        return Err(too_many());
    }
    let (mut left, mut resolved) = (MOST_IN_ALL, Vec::new());
    for (i, mut object) in objects.into_iter().enumerate().filter(|(_, object)| object.dark) {
        let later = clear.iter().filter(|(at, _)| *at > i).flat_map(|(_, cut)| &cut.copper);
        let later: Vec<&Region> = later.collect();
        let mut copper = Vec::new();
        let mut is_cut = false;
        for region in &object.copper {
            let cuts: Vec<&Region> = later.iter().copied().filter(|cut| overlap(cut, region)).collect();
            if cuts.is_empty() {
                copper.push(region.clone());
                continue;
            }
            is_cut = true;
            let rest = subtract(region, &cuts, &mut left).ok_or_else(too_many)?;
            copper.extend(rest);
        }
        object.copper = copper;
        if is_cut && object.mark == Mark::Draw {
            object.mark = Mark::Area;
        }
        if !object.copper.is_empty() {
            resolved.push(object);
        }
    }
    Ok(resolved)
}

/// A region less others; `None` where they have more corners than are left.
pub fn subtract(region: &Region, cuts: &[&Region], left: &mut usize) -> Option<Vec<Region>> {
    let copper = contours(region);
    let cuts: Vec<Vec<At>> = cuts.iter().flat_map(|cut| contours(cut)).collect();
    let corners = copper.iter().chain(&cuts).map(Vec::len).sum::<usize>();
    *left = left.checked_sub(corners).filter(|_| corners <= MOST_CORNERS)?;
    if !few_crossings(copper.iter().chain(&cuts)) {
        return None;
    }
    let shapes = copper.overlay(&cuts, OverlayRule::Difference, FillRule::NonZero);
    Some(shapes.into_iter().map(|shape| Region::polygon(without_holes(shape), 0.0)).collect())
}

/// May two regions overlap?
fn overlap(one: &Region, other: &Region) -> bool {
    let ([[ax, ay], [bx, by]], [[cx, cy], [dx, dy]]) = (one.bounds().corners(), other.bounds().corners());
    let near = ax <= dx && cx <= bx && ay <= dy && cy <= by;
    let large = one.points().len().saturating_mul(other.points().len()) > LARGE;
    near && (large || one.meets(other, 0.0))
}

/// Do so few edges of contours cross that a cut is done in seconds? Counted are rectangles around edges that overlap.
fn few_crossings<'c>(contours: impl Iterator<Item = &'c Vec<At>>) -> bool {
    let mut boxes: Vec<[f64; 4]> = contours
        .flat_map(|points| points.iter().zip(points.iter().cycle().skip(1)))
        .map(|([ax, ay], [bx, by])| [ax.min(*bx), ax.max(*bx), ay.min(*by), ay.max(*by)])
        .collect();
    boxes.sort_by(|[a, ..], [b, ..]| a.total_cmp(b));
    let (mut above, mut crossing) = (0, 0);
    for (i, [_, right, low, high]) in boxes.iter().enumerate() {
        for [_, _, other_low, other_high] in boxes.iter().skip(i + 1).take_while(|[left, ..]| left <= right) {
            above += 1;
            crossing += usize::from(other_low <= high && low <= other_high);
            if above > MOST_ABOVE || crossing > MOST_CROSSINGS {
                return false;
            }
        }
    }
    true
}

/// The contours that a region is the union of, all counter-clockwise.
fn contours(region: &Region) -> Vec<Vec<At>> {
    let radius = region.radius();
    let mut found = Vec::new();
    if region.is_closed() {
        found.push(region.points().to_vec());
    }
    if radius > 0.0 {
        let half_turn = std::f64::consts::PI;
        found.extend(region.edges().map(|[a, b]| {
            let ([ax, ay], [bx, by]) = (a, b);
            let along = (by - ay).atan2(bx - ax);
            let mut around_both = around(b, radius, along - half_turn / 2.0, half_turn);
            around_both.extend(around(a, radius, along + half_turn / 2.0, half_turn));
            around_both
        }));
    }
    for contour in &mut found {
        if doubled_area(contour) < 0.0 {
            contour.reverse();
        }
    }
    found
}

fn doubled_area(points: &[At]) -> f64 {
    let next = points.iter().cycle().skip(1);
    points.iter().zip(next).map(|([ax, ay], [bx, by])| ax * by - bx * ay).sum()
}

/// An outline that runs into each of its holes and back on the same line. From the rightmost point of a hole a line to the right
/// meets either the outline or a hole farther right, and those are joined first.
fn without_holes(mut shape: Vec<Vec<At>>) -> Vec<At> {
    if shape.is_empty() {
        return Vec::new();
    }
    let mut outline = shape.remove(0);
    let rightmost = |hole: &[At]| {
        let right = hole.iter().enumerate().max_by(|(_, [ax, _]), (_, [bx, _])| ax.total_cmp(bx));
        right.map_or((0, [0.0, 0.0]), |(i, at)| (i, *at))
    };
    shape.sort_by(|a, b| {
        let ((_, [ax, _]), (_, [bx, _])) = (rightmost(a), rightmost(b));
        bx.total_cmp(&ax)
    });
    for mut hole in shape {
        let (first, [x, y]) = rightmost(&hole);
        let ends = outline.iter().zip(outline.iter().cycle().skip(1)).enumerate();
        let crossings = ends.filter_map(|(i, (&[ax, ay], &[bx, by]))| {
            let crosses = (ay > y) != (by > y);
            let at = ax + (bx - ax) * (y - ay) / (by - ay);
            (crosses && at >= x).then_some((i, at))
        });
        let Some((edge, at)) = crossings.min_by(|(_, a), (_, b)| a.total_cmp(b)) else { continue };
        hole.rotate_left(first);
        hole.push([x, y]);
        let bridge = [at, y];
        outline.splice(edge + 1..edge + 1, std::iter::once(bridge).chain(hole).chain([bridge]));
    }
    outline
}

#[cfg(test)]
mod tests {
    use super::*;

    fn square(x: f64, y: f64, side: f64) -> Region {
        Region::polygon(vec![[x, y], [x + side, y], [x + side, y + side], [x, y + side]], 0.0)
    }

    #[test]
    fn holes_become_part_of_the_outline() {
        let holes = [square(1.0, 1.0, 1.0), square(4.0, 1.2, 1.0), Region::disc([7.0, 7.0], 2.0)];
        let mut left = MOST_IN_ALL;
        let rest = subtract(&square(0.0, 0.0, 10.0), &holes.iter().collect::<Vec<_>>(), &mut left).unwrap();
        let [rest] = &rest[..] else { panic!("{rest:?}") };
        let area = doubled_area(rest.points()).abs() / 2.0;
        assert!((area - (98.0 - std::f64::consts::PI)).abs() < 0.02, "{area}");
        assert!(!rest.holds([1.5, 1.5], 0.1) && !rest.holds([7.0, 7.0], 0.5) && rest.holds([3.0, 1.5], 0.0));
        assert!(subtract(&square(0.0, 0.0, 1.0), &[&square(-1.0, -1.0, 3.0)], &mut left).unwrap().is_empty());
        let halves = subtract(
            &Region::line(vec![[0.0, 0.0], [10.0, 0.0]], 1.0),
            &[&square(4.0, -1.0, 2.0)],
            &mut left,
        );
        assert_eq!(halves.unwrap().len(), 2);
        assert!(subtract(&square(0.0, 0.0, 1.0), &[], &mut 3).is_none());
        // Every edge of one crosses every edge of the other.
        let comb = |turn: f64| {
            let points = (0..4000_i32).map(|n| [f64::from(n) * 0.01, if n % 2 == 0 { 0.0 } else { 40.0 }]);
            Region::polygon(points.collect(), 0.0).moved([-20.0, -20.0]).turned(turn)
        };
        assert!(subtract(&comb(0.0), &[&comb(90.0)], &mut left).is_none());
    }
}
