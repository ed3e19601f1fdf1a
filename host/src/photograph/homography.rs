//! A projective map of one plane to another: what a camera without a lens error does to a flat board.

use nalgebra::Matrix3;

/// A projective map, from pixels to millimetres or back: its matrix, row by row, of length one.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Homography([[f64; 3]; 3]);

/// Nearer to its horizon than this, relative to the middle of what it was fitted to, a map says nothing.
const HORIZON: f64 = 1e-9;

impl Homography {
    /// By its matrix, row by row; `None` where that is singular or not a number.
    pub fn new(rows: [[f64; 3]; 3]) -> Option<Self> {
        let size = rows.iter().flatten().map(|entry| entry * entry).sum::<f64>().sqrt();
        let rows = rows.map(|row| row.map(|entry| entry / size));
        let sound = size.is_finite() && size > 0.0 && matrix(&rows).determinant().abs() > 1e-18;
        sound.then_some(Self(rows))
    }

    pub(super) fn of(matrix: Matrix3<f64>) -> Option<Self> {
        // nalgebra keeps columns.
        let [[a, b, c], [d, e, f], [g, h, i]] = matrix.data.0;
        Self::new([[a, d, g], [b, e, h], [c, f, i]])
    }

    /// What keeps parallels parallel: a linear part, then a shift.
    pub(super) fn affine(linear: [[f64; 2]; 2], shift: [f64; 2]) -> Option<Self> {
        let [[a, b], [c, d]] = linear;
        Self::new([[a, b, shift[0]], [c, d, shift[1]], [0.0, 0.0, 1.0]])
    }

    /// Where a place lies on the other plane; `None` on or beyond the horizon.
    pub fn apply(&self, [x, y]: [f64; 2]) -> Option<[f64; 2]> {
        let [u, v, w] = self.0.map(|[a, b, c]| a * x + b * y + c);
        let place = [u / w, v / w];
        (w.abs() > HORIZON && place[0].is_finite() && place[1].is_finite()).then_some(place)
    }

    /// The other way round.
    pub fn inverse(&self) -> Option<Self> {
        matrix(&self.0).try_inverse().and_then(Self::of)
    }

    /// This one first, then the other.
    pub fn then(&self, other: &Self) -> Option<Self> {
        Self::of(matrix(&other.0) * matrix(&self.0))
    }

    /// Its matrix, row by row, of length one.
    pub fn rows(&self) -> [[f64; 3]; 3] {
        self.0
    }
}

fn matrix(rows: &[[f64; 3]; 3]) -> Matrix3<f64> {
    Matrix3::from_row_iterator(rows.iter().flatten().copied())
}
