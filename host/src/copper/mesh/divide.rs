//! Divides chosen triangles, and beside them as many as it takes for the mesh to fit together again.
//!
//! Whatever side of a triangle is halved, its longest is halved too (Rivara 1984), so no angle ever gets
//! smaller than half the smallest of the first mesh.

use std::collections::BTreeMap;

use super::{Beyond, Mesh, Triangle, key};

/// Divides the triangles that are marked into four each.
pub(in crate::copper) fn divide(mesh: &mut Mesh, marked: &[bool]) {
    let (sides, count) = mesh.sides();
    let longest: Vec<usize> = mesh.triangles.iter().map(|triangle| longest(mesh, triangle)).collect();
    let mut neighbours = vec![[usize::MAX; 2]; count];
    for (i, sides) in sides.iter().enumerate() {
        for &side in sides {
            let place = usize::from(neighbours[side][0] != usize::MAX);
            neighbours[side][place] = i;
        }
    }
    let mut halved = vec![false; count];
    let mut open: Vec<usize> = Vec::new();
    let mut halve = |side: usize, open: &mut Vec<usize>| {
        if !std::mem::replace(&mut halved[side], true) {
            open.extend(neighbours[side].iter().filter(|triangle| **triangle != usize::MAX));
        }
    };
    for (sides, _) in sides.iter().zip(marked).filter(|(_, marked)| **marked) {
        sides.iter().for_each(|side| halve(*side, &mut open));
    }
    while let Some(triangle) = open.pop() {
        halve(sides[triangle][longest[triangle]], &mut open);
    }

    let mut middles = BTreeMap::new();
    let old = std::mem::take(&mut mesh.triangles);
    for (triangle, sides) in old.iter().zip(&sides) {
        for opposite in (0..3).filter(|opposite| halved[sides[*opposite]]) {
            let [a, b] = triangle.side(opposite);
            middles.entry(key([a, b])).or_insert_with(|| {
                let (a, b) = (mesh.points[a], mesh.points[b]);
                mesh.points.push([(a[0] + b[0]) / 2.0, (a[1] + b[1]) / 2.0]);
                mesh.points.len() - 1
            });
        }
    }
    for (triangle, longest) in old.into_iter().zip(longest) {
        match middles.get(&key(triangle.side(longest))) {
            None => mesh.triangles.push(triangle),
            Some(&middle) => {
                for part in bisect(&triangle, longest, middle) {
                    // Its side opposite the new point is one of the undivided triangle's.
                    match middles.get(&key(part.side(0))) {
                        None => mesh.triangles.push(part),
                        Some(&middle) => mesh.triangles.extend(bisect(&part, 0, middle)),
                    }
                }
            }
        }
    }
}

/// The corner opposite the longest side. Of equal ones every triangle takes the same, whichever it is seen from.
fn longest(mesh: &Mesh, triangle: &Triangle) -> usize {
    let length = |opposite: usize| {
        let ends = key(triangle.side(opposite));
        let (a, b) = (mesh.points[ends.0], mesh.points[ends.1]);
        ((a[0] - b[0]).powi(2) + (a[1] - b[1]).powi(2), ends)
    };
    let order = |a: &usize, b: &usize| {
        let (a, b) = (length(*a), length(*b));
        a.0.total_cmp(&b.0).then(a.1.cmp(&b.1))
    };
    (0..3).max_by(order).unwrap_or_default()
}

/// Halves of a triangle, cut from a corner to the middle of the opposite side; the middle is the first corner of either.
fn bisect(triangle: &Triangle, opposite: usize, middle: usize) -> [Triangle; 2] {
    let (next, last) = ((opposite + 1) % 3, (opposite + 2) % 3);
    let (corners, beyond, layer) = (triangle.corners, triangle.beyond, triangle.layer);
    [
        Triangle {
            corners: [middle, corners[opposite], corners[next]],
            beyond: [beyond[last], beyond[opposite], Beyond::Copper],
            layer,
        },
        Triangle {
            corners: [middle, corners[last], corners[opposite]],
            beyond: [beyond[next], Beyond::Copper, beyond[opposite]],
            layer,
        },
    ]
}
