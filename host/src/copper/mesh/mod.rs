//! Triangles over the copper of all layers, and what lies at each of their sides.

mod divide;
mod triangulate;

pub(super) use divide::divide;
pub(super) use triangulate::triangulate;

/// The copper of all layers in triangles; no two layers share a point.
pub(super) struct Mesh {
    /// Corners, mm.
    pub points: Vec<[f64; 2]>,
    /// Triangles, counterclockwise.
    pub triangles: Vec<Triangle>,
}

/// A piece of copper between three points.
#[derive(Clone, Copy)]
pub(super) struct Triangle {
    /// Corners by their place in [`Mesh::points`].
    pub corners: [usize; 3],
    /// What lies beyond the side opposite each corner.
    pub beyond: [Beyond; 3],
    /// The layer it is on.
    pub layer: usize,
}

/// What lies beyond a side.
#[derive(Clone, Copy, PartialEq, Debug)]
pub(super) enum Beyond {
    /// More copper.
    Copper,
    /// Nothing: no current crosses.
    Edge,
    /// A node held at one potential.
    Node(usize),
}

impl Triangle {
    /// Ends of the side opposite a corner, counterclockwise.
    pub fn side(&self, opposite: usize) -> [usize; 2] {
        [self.corners[(opposite + 1) % 3], self.corners[(opposite + 2) % 3]]
    }
}

/// A side by its ends, the same from either triangle.
pub(super) fn key([a, b]: [usize; 2]) -> (usize, usize) {
    (a.min(b), a.max(b))
}

impl Mesh {
    /// The corners' positions.
    pub fn at(&self, triangle: &Triangle) -> [[f64; 2]; 3] {
        triangle.corners.map(|corner| self.points[corner])
    }

    /// Numbers the sides: of each triangle the number of the side opposite each corner, and how many there are.
    pub fn sides(&self) -> (Vec<[usize; 3]>, usize) {
        let mut all: Vec<_> =
            (0..self.triangles.len() * 3).map(|i| (key(self.triangles[i / 3].side(i % 3)), i)).collect();
        all.sort_unstable();
        let (mut of, mut count, mut last) = (vec![[0; 3]; self.triangles.len()], 0, None);
        for (key, i) in all {
            if last.replace(key) != Some(key) {
                count += 1;
            }
            of[i / 3][i % 3] = count - 1;
        }
        (of, count)
    }
}

/// Sides and corners are the places of a quadratic function's values: corners first.
pub(super) struct Nodes {
    /// Of each triangle: the corners, then the middles of the sides opposite each.
    pub of: Vec<[usize; 6]>,
    /// Where each lies, mm.
    pub places: Vec<[f64; 2]>,
}

impl Nodes {
    /// Of a mesh.
    pub fn new(mesh: &Mesh) -> Self {
        let (sides, count) = mesh.sides();
        let corners = mesh.points.len();
        let mut places = mesh.points.clone();
        places.resize(corners + count, [0.0; 2]);
        let mut of = Vec::with_capacity(sides.len());
        for (triangle, sides) in mesh.triangles.iter().zip(sides) {
            let [a, b, c] = triangle.corners;
            let nodes = [a, b, c, corners + sides[0], corners + sides[1], corners + sides[2]];
            for opposite in 0..3 {
                let [a, b] = triangle.side(opposite).map(|corner| mesh.points[corner]);
                places[nodes[3 + opposite]] = [(a[0] + b[0]) / 2.0, (a[1] + b[1]) / 2.0];
            }
            of.push(nodes);
        }
        Self { of, places }
    }
}

/// The three of six values that lie on the side opposite a corner.
pub(super) fn on_side(opposite: usize) -> [usize; 3] {
    [(opposite + 1) % 3, (opposite + 2) % 3, 3 + opposite]
}
