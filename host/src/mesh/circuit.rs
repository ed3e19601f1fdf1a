//! A mesh as resistors between numbered nodes: what a current through two of them does to the potentials of all.

use nalgebra::DMatrix;

/// Nodes and the branches between them.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Circuit {
    /// Number of nodes.
    pub nodes: usize,
    /// For each branch its two nodes, which differ.
    pub branches: Vec<[usize; 2]>,
}

/// A circuit whose branches have conductances.
#[derive(Clone, PartialEq, Debug)]
pub struct Solved {
    /// Potential of each node but the last for a current into each node but the last, which stands at zero: ohm.
    inverse: DMatrix<f64>,
}

impl Circuit {
    /// With these conductances, siemens; `None` where they leave nodes apart, or are so far below zero that no potentials follow.
    ///
    /// A little below zero is possible, as an estimate of a branch that is open may be.
    pub fn with(&self, siemens: &[f64]) -> Option<Solved> {
        let ground = self.nodes.checked_sub(1)?;
        let mut laplacian = DMatrix::<f64>::zeros(ground, ground);
        for (&[a, b], &siemens) in self.branches.iter().zip(siemens) {
            for (node, other) in [(a, b), (b, a)] {
                if node < ground {
                    laplacian[(node, node)] += siemens;
                    if other < ground {
                        laplacian[(node, other)] -= siemens;
                    }
                }
            }
        }
        // Each row in units of its own node's conductance: a mesh may hold microohms beside ohms.
        let scale: Vec<f64> = (0..ground).map(|node| laplacian[(node, node)].sqrt().recip()).collect();
        if scale.iter().any(|scale| !scale.is_finite()) {
            return None;
        }
        let scaled = DMatrix::from_fn(ground, ground, |a, b| laplacian[(a, b)] * scale[a] * scale[b]);
        let inverse = scaled.cholesky()?.inverse();
        Some(Solved {
            inverse: DMatrix::from_fn(ground, ground, |a, b| inverse[(a, b)] * scale[a] * scale[b]),
        })
    }
}

impl Solved {
    /// Voltage from `a` to `b` for a current in at `p` and out at `q`, over that current: ohm. By reciprocity the two pairs may be exchanged.
    pub fn transfer(&self, [a, b]: [usize; 2], [p, q]: [usize; 2]) -> f64 {
        let ground = self.inverse.nrows();
        let at =
            |node, source| if node < ground && source < ground { self.inverse[(node, source)] } else { 0.0 };
        at(a, p) - at(a, q) - at(b, p) + at(b, q)
    }

    /// Resistance between two nodes, ohm.
    pub fn between(&self, ends: [usize; 2]) -> f64 {
        self.transfer(ends, ends)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn two_in_parallel_and_one_behind_them() {
        let circuit = Circuit { nodes: 3, branches: vec![[0, 1], [1, 0], [1, 2]] };
        let solved = circuit.with(&[1.0, 0.5, 1e3]).unwrap();
        assert!((solved.between([0, 1]) - 1.0 / 1.5).abs() < 1e-12);
        assert!((solved.between([0, 2]) - (1.0 / 1.5 + 1e-3)).abs() < 1e-12);
        assert!((solved.transfer([0, 1], [0, 2]) - 1.0 / 1.5).abs() < 1e-12);
        assert!(solved.transfer([1, 2], [0, 1]).abs() < 1e-12);
        assert!((solved.transfer([1, 0], [0, 2]) + 1.0 / 1.5).abs() < 1e-12);
    }

    #[test]
    fn nodes_that_hang_on_nothing_have_no_potential() {
        let circuit = Circuit { nodes: 3, branches: vec![[0, 1], [1, 2]] };
        assert_eq!(circuit.with(&[1.0, 0.0]), None);
        assert_eq!(circuit.with(&[1.0, -1.0]), None);
        assert_eq!(Circuit { nodes: 0, branches: Vec::new() }.with(&[]), None);
    }
}
