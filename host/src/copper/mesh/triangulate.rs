//! The first mesh: contours triangulated by Delaunay's rule, with points added until no triangle is too sharp.

use std::collections::{BTreeMap, HashSet};

use spade::{AngleLimit, ConstrainedDelaunayTriangulation, Point2, RefinementParameters, Triangulation};

use super::{Beyond, Mesh, Triangle, key};
use crate::copper::CopperError;
use crate::copper::contour::Contour;
use crate::copper::held::{bounds, near, on_edge};
use crate::plane::edges;

/// No angle is smaller, degrees, but those that the contours themselves have. Delaunay refinement is sure to end up to about
/// 20.7° (Ruppert 1995) and does so in practice up to 30°.
const LEAST_ANGLE: f64 = 25.0;

/// Adds the triangles of one layer's copper, for which `most` points may be added to the contours'. `held` are the areas of one
/// potential, each with its node.
///
/// # Errors
/// The contours cannot be triangulated.
pub(in crate::copper) fn triangulate(
    mesh: &mut Mesh,
    layer: usize,
    copper: &[Contour],
    held: &[(usize, Vec<Contour>)],
    most: usize,
) -> Result<(), CopperError> {
    let mut places: BTreeMap<[u64; 2], usize> = BTreeMap::new();
    let mut points = Vec::new();
    // -0 and 0 are one place.
    let mut place = |point: [f64; 2]| {
        *places.entry(point.map(|value| (value + 0.0).to_bits())).or_insert_with(|| {
            points.push(Point2::new(point[0] + 0.0, point[1] + 0.0));
            points.len() - 1
        })
    };
    let lines: Vec<[usize; 2]> = copper
        .iter()
        .flat_map(|ring| edges(ring).collect::<Vec<_>>())
        .map(|[a, b]| [place(a), place(b)])
        .filter(|[a, b]| a != b)
        .collect();
    if lines.is_empty() {
        return Ok(());
    }
    let mut conflict = false;
    let mut delaunay =
        ConstrainedDelaunayTriangulation::<Point2<f64>>::try_bulk_load_cdt(points, lines, |_| {
            conflict = true;
        })
        .map_err(|_| CopperError::Unmeshable { layer })?;
    if conflict {
        return Err(CopperError::Unmeshable { layer });
    }
    let parameters = RefinementParameters::new()
        .exclude_outer_faces(true)
        .with_angle_limit(AngleLimit::from_deg(LEAST_ANGLE))
        .with_max_additional_vertices(most);
    let refined = delaunay.refine(parameters);
    let outside: HashSet<_> = refined.excluded_faces.into_iter().collect();

    let first = mesh.points.len();
    mesh.points.extend(delaunay.vertices().map(|vertex| [vertex.position().x, vertex.position().y]));
    let inside = delaunay.inner_faces().filter(|face| !outside.contains(&face.fix()));
    let added: Vec<_> =
        inside.map(|face| face.vertices().map(|vertex| first + vertex.fix().index())).collect();
    let mut sides: BTreeMap<(usize, usize), usize> = BTreeMap::new();
    for corners in &added {
        for i in 0..3 {
            *sides.entry(key([corners[i], corners[(i + 1) % 3]])).or_default() += 1;
        }
    }
    let boxes: Vec<_> = held.iter().map(|(_, area)| bounds(area)).collect();
    for corners in added {
        let mut triangle = Triangle { corners, beyond: [Beyond::Copper; 3], layer };
        for opposite in 0..3 {
            let [a, b] = triangle.side(opposite);
            if sides[&key([a, b])] == 1 {
                let (a, b) = (mesh.points[a], mesh.points[b]);
                // Both thirds: a side may begin and end on an area without lying on it.
                let thirds =
                    [1.0 / 3.0, 2.0 / 3.0].map(|t| [a[0] + t * (b[0] - a[0]), a[1] + t * (b[1] - a[1])]);
                let on = held.iter().zip(&boxes).find(|((_, area), bounds)| {
                    thirds.iter().all(|&point| near(**bounds, [point; 2]) && on_edge(area, point))
                });
                triangle.beyond[opposite] = on.map_or(Beyond::Edge, |((node, _), _)| Beyond::Node(*node));
            }
        }
        mesh.triangles.push(triangle);
    }
    Ok(())
}
