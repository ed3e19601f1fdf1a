//! Brings together what was drawn to touch: corners closer than [`GAP_MM`] become one, and an edge runs through a corner
//! that lies that close beside it.

use std::collections::BTreeMap;

use super::GAP_MM;
use super::contour::{Contour, tidy};
use crate::plane::apart;

/// Welds contours to each other and to themselves; those that shrink to nothing are left empty.
pub(super) fn weld(contours: &mut [Contour]) {
    let mut corners = Corners::default();
    for point in contours.iter_mut().flatten() {
        *point = corners.settle(*point);
    }
    let mut sorted: Vec<[f64; 2]> = corners.kept;
    sorted.sort_by(|a, b| a[0].total_cmp(&b[0]).then(a[1].total_cmp(&b[1])));
    for contour in contours {
        let ring = tidy(contour);
        *contour = Vec::with_capacity(ring.len());
        if ring.len() < 3 {
            continue;
        }
        for (i, &a) in ring.iter().enumerate() {
            let b = ring[(i + 1) % ring.len()];
            contour.push(a);
            contour.extend(beside(a, b, &sorted));
        }
    }
}

/// Corners that lie beside an edge, in order along it.
fn beside(a: [f64; 2], b: [f64; 2], sorted: &[[f64; 2]]) -> Vec<[f64; 2]> {
    let length = apart(a, b);
    let along = [(b[0] - a[0]) / length, (b[1] - a[1]) / length];
    let (left, right) = (a[0].min(b[0]) - GAP_MM, a[0].max(b[0]) + GAP_MM);
    let (low, high) = (a[1].min(b[1]) - GAP_MM, a[1].max(b[1]) + GAP_MM);
    let first = sorted.partition_point(|p| p[0] < left);
    let mut found: Vec<(f64, [f64; 2])> = sorted[first..]
        .iter()
        .take_while(|p| p[0] <= right)
        .filter(|p| (low..=high).contains(&p[1]))
        .filter_map(|&p| {
            let (dx, dy) = (p[0] - a[0], p[1] - a[1]);
            let (t, off) = (dx * along[0] + dy * along[1], dx * along[1] - dy * along[0]);
            (off.abs() <= GAP_MM && t > GAP_MM && t < length - GAP_MM).then_some((t, p))
        })
        .collect();
    found.sort_by(|a, b| a.0.total_cmp(&b.0));
    found.into_iter().map(|(_, p)| p).collect()
}

/// Corners seen so far, found by the cell of a raster they lie in.
#[derive(Default)]
struct Corners {
    kept: Vec<[f64; 2]>,
    cells: BTreeMap<(i64, i64), usize>,
}

impl Corners {
    /// The corner within the gap of this point that was there first; else the point itself.
    fn settle(&mut self, point: [f64; 2]) -> [f64; 2] {
        let cell = ((point[0] / GAP_MM).floor() as i64, (point[1] / GAP_MM).floor() as i64);
        for (dx, dy) in (-1..=1).flat_map(|dx| (-1..=1).map(move |dy| (dx, dy))) {
            if let Some(&there) = self.cells.get(&(cell.0 + dx, cell.1 + dy))
                && apart(self.kept[there], point) <= GAP_MM
            {
                return self.kept[there];
            }
        }
        self.cells.insert(cell, self.kept.len());
        self.kept.push(point);
        point
    }
}
