//! Least energy: the potential takes the least heat at a given voltage (Dirichlet), the flow takes the least at a
//! given current (Thomson). Both are a sum of squares over triangles and barrels, and both are solved here.

use super::CopperError;
use super::cholesky::Symmetric;
use super::element::{Element, Local};
use super::mesh::Mesh;

/// How the six values of a triangle follow from the unknowns.
#[derive(Clone, Default)]
pub(super) struct Values {
    /// What is there without any unknown.
    pub fixed: Local,
    /// Unknowns, each with what one of it adds.
    pub unknowns: Vec<(usize, Local)>,
}

impl Values {
    /// One of this unknown adds as much to one of the values.
    pub fn add(&mut self, unknown: usize, value: usize, factor: f64) {
        let place = self.unknowns.iter().position(|(there, _)| *there == unknown).unwrap_or_else(|| {
            self.unknowns.push((unknown, Local::default()));
            self.unknowns.len() - 1
        });
        self.unknowns[place].1[value] += factor;
    }

    /// The values, given the unknowns.
    pub fn at(&self, unknowns: &[f64]) -> Local {
        let mut values = self.fixed;
        for (unknown, local) in &self.unknowns {
            for (value, part) in values.iter_mut().zip(local) {
                *value += unknowns[*unknown] * part;
            }
        }
        values
    }
}

/// A square of the energy beside the triangles': weight · (fixed + Σ factor · unknown)².
pub(super) struct Square {
    pub weight: f64,
    pub fixed: f64,
    pub unknowns: Vec<(usize, f64)>,
}

/// What is asked: unknowns of least energy.
pub(super) struct Problem<'a> {
    pub mesh: &'a Mesh,
    /// Weight of a triangle's squared gradient, by layer.
    pub weights: &'a [f64],
    /// One for each triangle.
    pub values: Vec<Values>,
    pub squares: Vec<Square>,
    /// Where each unknown lies, for the order of elimination.
    pub places: Vec<[f64; 2]>,
}

/// What was found: the energy, and the values of every triangle.
pub(super) struct Least {
    pub energy: f64,
    pub values: Vec<Local>,
}

impl Problem<'_> {
    /// Solves it.
    ///
    /// # Errors
    /// The system is not positive definite: the shapes are beyond what numbers can tell apart.
    pub fn solve(&self) -> Result<Least, CopperError> {
        let size = self.places.len();
        let mut entries = Vec::with_capacity(self.values.len() * 24);
        let mut right = vec![0.0; size];
        for (triangle, values) in self.mesh.triangles.iter().zip(&self.values) {
            let stiffness = Element::new(self.mesh.at(triangle)).stiffness();
            let weight = self.weights[triangle.layer];
            let times = |local: &Local| stiffness.map(|row| weight * dot(&row, local));
            let fixed = times(&values.fixed);
            for (i, (column, one)) in values.unknowns.iter().enumerate() {
                right[*column] -= dot(one, &fixed);
                let one = times(one);
                for (row, other) in &values.unknowns[..=i] {
                    entries.push((*column, *row, dot(&one, other)));
                }
            }
        }
        for square in &self.squares {
            for (i, (column, one)) in square.unknowns.iter().enumerate() {
                right[*column] -= square.weight * one * square.fixed;
                for (row, other) in &square.unknowns[..=i] {
                    entries.push((*column, *row, square.weight * one * other));
                }
            }
        }
        let unknowns =
            Symmetric::new(size, &entries).solve(&right, &self.places).ok_or(CopperError::Unsolvable)?;
        let values: Vec<Local> = self.values.iter().map(|values| values.at(&unknowns)).collect();
        let of_triangles = self.mesh.triangles.iter().zip(&values).map(|(triangle, values)| {
            let element = Element::new(self.mesh.at(triangle));
            let squared = [0, 1, 2].map(|side| {
                let [x, y] = element.gradient(values, side);
                x * x + y * y
            });
            self.weights[triangle.layer] * element.integral(squared)
        });
        let of_squares = self.squares.iter().map(|square| {
            let sum: f64 = square.unknowns.iter().map(|(unknown, factor)| unknowns[*unknown] * factor).sum();
            square.weight * (square.fixed + sum).powi(2)
        });
        Ok(Least { energy: of_triangles.sum::<f64>() + of_squares.sum::<f64>(), values })
    }
}

fn dot(a: &Local, b: &Local) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}
