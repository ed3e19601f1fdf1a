//! Plates as binary STL, to be printed: the outline with its holes, extruded. Triangles come from a constrained Delaunay triangulation of the
//! corners, so every edge belongs to exactly two of them and the body is closed.

use std::f64::consts::{PI, TAU};

use spade::{ConstrainedDelaunayTriangulation, InsertionError, Point2, Triangulation};

use super::plate::Plate;
use crate::plane::apart;

/// Sides of the polygon that stands for a hole: at 5 mm it is 3 µm off a circle.
const SIDES: u32 = 64;
/// Length of the header, bytes.
const HEADER: usize = 80;

/// One plate, in mm, its board side up.
///
/// # Errors
/// Corners that no triangulation takes: lengths that are no numbers.
pub fn of(plate: &Plate) -> Result<Vec<u8>, InsertionError> {
    let [width, height] = plate.size_mm;
    // The edge runs against the clock, holes with it: the body lies left of every ring.
    let mut rings = vec![vec![[0.0, 0.0], [width, 0.0], [width, height], [0.0, height]]];
    for hole in &plate.holes {
        let corner = |side: u32| {
            let angle = -TAU * f64::from(side) / f64::from(SIDES);
            let radius = hole.drill_mm / 2.0;
            [hole.at[0] + radius * angle.cos(), hole.at[1] + radius * angle.sin()]
        };
        rings.push((0..SIDES).map(corner).collect());
    }
    let mut mesh = ConstrainedDelaunayTriangulation::<Point2<f64>>::new();
    for ring in &rings {
        let corners: Vec<_> =
            ring.iter().map(|[x, y]| mesh.insert(Point2::new(*x, *y))).collect::<Result<_, _>>()?;
        for (a, b) in corners.iter().zip(corners.iter().cycle().skip(1)) {
            mesh.add_constraint(*a, *b);
        }
    }
    // A triangle in a hole has its middle nearer to the hole's than any side of the polygon is.
    let inner = (PI / f64::from(SIDES)).cos();
    let in_a_hole = |[x, y]: [f64; 2]| {
        plate.holes.iter().any(|hole| apart([x, y], hole.at) < inner * hole.drill_mm / 2.0)
    };
    let (low, high) = (0.0, plate.thickness_mm);
    let mut triangles: Vec<[[f64; 3]; 3]> = Vec::new();
    for face in mesh.inner_faces() {
        let corners = face.positions().map(|corner| [corner.x, corner.y]);
        let middle = [0, 1].map(|axis| corners.iter().map(|corner| corner[axis]).sum::<f64>() / 3.0);
        if !in_a_hole(middle) {
            let at = |z: f64| corners.map(|[x, y]| [x, y, z]);
            let [a, b, c] = at(low);
            triangles.extend([at(high), [a, c, b]]);
        }
    }
    for ring in &rings {
        for ([x0, y0], [x1, y1]) in ring.iter().zip(ring.iter().cycle().skip(1)) {
            let (a, b) = ([*x0, *y0, low], [*x1, *y1, low]);
            let (c, d) = ([*x1, *y1, high], [*x0, *y0, high]);
            triangles.extend([[a, b, c], [a, c, d]]);
        }
    }
    Ok(binary(&triangles))
}

/// The format: a header, the count, and for each triangle its normal, its corners against the clock and two bytes of nothing, little-endian.
fn binary(triangles: &[[[f64; 3]; 3]]) -> Vec<u8> {
    let mut bytes = b"plate of a bed of pins, millimetres".to_vec();
    bytes.resize(HEADER, b' ');
    bytes.extend((triangles.len() as u32).to_le_bytes());
    for triangle in triangles {
        for vector in [normal(triangle)].iter().chain(triangle) {
            for part in vector {
                bytes.extend((*part as f32).to_le_bytes());
            }
        }
        bytes.extend([0, 0]);
    }
    bytes
}

fn normal([a, b, c]: &[[f64; 3]; 3]) -> [f64; 3] {
    let [u, v] = [b, c].map(|corner| [0, 1, 2].map(|axis| corner[axis] - a[axis]));
    let cross = [u[1] * v[2] - u[2] * v[1], u[2] * v[0] - u[0] * v[2], u[0] * v[1] - u[1] * v[0]];
    let length = cross.iter().map(|part| part * part).sum::<f64>().sqrt();
    cross.map(|part| if length > 0.0 { part / length } else { 0.0 })
}
