//! The quadratic triangle: six values, at the corners and at the middles of the sides opposite them, and the gradient
//! between.

/// Values at the corners, then at the middles of the sides opposite each.
pub(super) type Local = [f64; 6];

/// A triangle's area and the gradients of its three corner weights.
pub(super) struct Element {
    area: f64,
    slopes: [[f64; 2]; 3],
}

impl Element {
    /// Of a counterclockwise triangle.
    pub fn new([a, b, c]: [[f64; 2]; 3]) -> Self {
        let twice = (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0]);
        let slope = |from: [f64; 2], to: [f64; 2]| [(from[1] - to[1]) / twice, (to[0] - from[0]) / twice];
        Self { area: twice / 2.0, slopes: [slope(b, c), slope(c, a), slope(a, b)] }
    }

    /// Gradients of the six functions at the middle of a side. The three middles with equal weights integrate
    /// products of two gradients exactly.
    fn gradients(&self, side: usize) -> [[f64; 2]; 6] {
        let weight = |corner: usize| if corner == side { 0.0 } else { 0.5 };
        let mut gradients = [[0.0; 2]; 6];
        for i in 0..3 {
            let (j, k) = ((i + 1) % 3, (i + 2) % 3);
            gradients[i] = self.slopes[i].map(|slope| (4.0 * weight(i) - 1.0) * slope);
            let across = |axis: usize| weight(j) * self.slopes[k][axis] + weight(k) * self.slopes[j][axis];
            gradients[3 + i] = [0, 1].map(|axis| 4.0 * across(axis));
        }
        gradients
    }

    /// The gradient of a function at the middle of a side.
    pub fn gradient(&self, of: &Local, side: usize) -> [f64; 2] {
        let gradients = self.gradients(side);
        [0, 1].map(|axis| gradients.iter().zip(of).map(|(gradient, value)| gradient[axis] * value).sum())
    }

    /// The gradient of what is straight between the corners.
    pub fn slope(&self, corners: [f64; 3]) -> [f64; 2] {
        [0, 1].map(|axis| self.slopes.iter().zip(corners).map(|(slope, value)| slope[axis] * value).sum())
    }

    /// Integral of the product of any two functions' gradients.
    pub fn stiffness(&self) -> [[f64; 6]; 6] {
        let mut matrix = [[0.0; 6]; 6];
        for side in 0..3 {
            let gradients = self.gradients(side);
            for (row, one) in matrix.iter_mut().zip(gradients) {
                for (entry, other) in row.iter_mut().zip(gradients) {
                    *entry += self.area / 3.0 * (one[0] * other[0] + one[1] * other[1]);
                }
            }
        }
        matrix
    }

    /// Integral over the triangle of what has these values at the sides' middles.
    pub fn integral(&self, at_sides: [f64; 3]) -> f64 {
        self.area / 3.0 * at_sides.iter().sum::<f64>()
    }
}
