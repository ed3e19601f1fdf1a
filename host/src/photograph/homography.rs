//! A projective map of one plane to another: what a camera without a lens error does to a flat board.

use nalgebra::{Matrix3, Vector3};

/// A projective map, from pixels to millimetres or back.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Homography(Matrix3<f64>);

/// Nearer to its horizon than this, relative to the middle of what it was fitted to, a map says nothing.
const HORIZON: f64 = 1e-9;

impl Homography {
    /// By its matrix, row by row; `None` where that is singular or not a number.
    pub fn new(rows: [[f64; 3]; 3]) -> Option<Self> {
        Self::of(Matrix3::from_fn(|row, column| {
            rows.get(row).and_then(|row| row.get(column)).copied().unwrap_or(f64::NAN)
        }))
    }

    pub(super) fn of(matrix: Matrix3<f64>) -> Option<Self> {
        let size = matrix.norm();
        let sound = size.is_finite() && size > 0.0 && (matrix / size).determinant().abs() > 1e-18;
        sound.then(|| Self(matrix / size))
    }

    /// A similarity: turned by `angle` (radians), scaled, mirrored in y if asked, then moved.
    pub(super) fn affine(linear: [[f64; 2]; 2], shift: [f64; 2]) -> Option<Self> {
        let [[a, b], [c, d]] = linear;
        Self::new([[a, b, shift[0]], [c, d, shift[1]], [0.0, 0.0, 1.0]])
    }

    /// Where a place lies on the other plane; `None` on or beyond the horizon.
    pub fn apply(&self, [x, y]: [f64; 2]) -> Option<[f64; 2]> {
        let image = self.0 * Vector3::new(x, y, 1.0);
        let place = [image.x / image.z, image.y / image.z];
        (image.z.abs() > HORIZON && place.iter().all(|value| value.is_finite())).then_some(place)
    }

    /// The other way round.
    pub fn inverse(&self) -> Option<Self> {
        self.0.try_inverse().and_then(Self::of)
    }

    /// This one first, then the other.
    pub fn then(&self, other: &Self) -> Option<Self> {
        Self::of(other.0 * self.0)
    }

    /// Its matrix, row by row, of length one.
    pub fn rows(&self) -> [[f64; 3]; 3] {
        let m = &self.0;
        [
            [m[(0, 0)], m[(0, 1)], m[(0, 2)]],
            [m[(1, 0)], m[(1, 1)], m[(1, 2)]],
            [m[(2, 0)], m[(2, 1)], m[(2, 2)]],
        ]
    }
}
