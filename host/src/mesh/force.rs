//! What force pins can tell of a mesh, and between which of them currents are sent.
//!
//! With the potentials of all nodes read, Kirchhoff's law is linear in the unknown conductances. One current gives fewer equations
//! than a mesh has segments; each further pair of force pins adds some. How many are independent, and how well they tell each segment, is
//! worked out at the resistances that healthy segments have: at a bridge in balance it matters.

use nalgebra::{DMatrix, SymmetricEigen};

use super::circuit::{Circuit, Solved};

/// A potential difference is taken to be told to so much of the largest that the same current makes, no unit. Without such a floor a bridge
/// in balance would seem to be told by the rounding of its zero.
const FLOOR: f64 = 1e-4;
/// A segment is told if its resistance has a relative standard deviation of at most so many times that of the potential differences; no unit.
/// Where force pins are missing it is infinite (10⁸ with rounding), where they are not it is rarely above ten.
const TOLD: f64 = 1e3;
/// Further pairs of force pins are used while a segment is told worse than so many times the potential differences; no unit.
const WELL_TOLD: f64 = 10.0;
/// With so many ports or fewer, currents between any two of them are considered; with more, those from the first to every other, of
/// which all others are sums.
const FEW_PORTS: usize = 6;
/// Eigenvalues below this are rounding.
const LEAST: f64 = 1e-16;
/// Information that counts as none where additions to it are compared.
const LITTLE: f64 = 1e-8;

/// A circuit, what its branches conduct when healthy, and how well some currents tell each of them.
pub struct Force<'c> {
    circuit: &'c Circuit,
    siemens: &'c [f64],
    solved: Option<Solved>,
}

impl<'c> Force<'c> {
    /// At these conductances, siemens.
    pub fn at(circuit: &'c Circuit, siemens: &'c [f64]) -> Self {
        Self { circuit, siemens, solved: circuit.with(siemens) }
    }

    /// Pairs of ports that tell every branch, in the order in which they tell most; or the branches that currents between these ports cannot
    /// tell.
    pub fn pairs(&self, ports: &[usize]) -> Result<Vec<[usize; 2]>, Vec<usize>> {
        let few = ports.len() <= FEW_PORTS;
        let firsts = if few { ports } else { ports.get(..1).unwrap_or_default() };
        let mut left: Vec<[usize; 2]> = firsts
            .iter()
            .enumerate()
            .flat_map(|(at, &first)| ports.iter().skip(at + 1).map(move |&second| [first, second]))
            .collect();
        let mut told: Vec<DMatrix<f64>> = left.iter().map(|&pair| self.information(pair)).collect();
        let (mut chosen, mut known) = (Vec::new(), self.nothing());
        while let Some(at) = most(&known, &told) {
            let (before, with) = (worst(&self.variances(&known)), &known + &told[at]);
            // As many currents as are independent, and a further one only where it tells twice as well.
            let enough = chosen.len() + 1 >= ports.len() && worst(&self.variances(&with)) > before / 4.0;
            if before <= WELL_TOLD * WELL_TOLD || enough {
                break;
            }
            chosen.push(left.remove(at));
            told.remove(at);
            known = with;
        }
        let untold = self.untold(&known);
        if untold.is_empty() { Ok(chosen) } else { Err(untold) }
    }

    /// Nodes that need a force pin besides these ports, for every branch to be told: as few as trying one after the other finds. Empty if
    /// none helps.
    pub fn wanting(&self, ports: &[usize]) -> Vec<usize> {
        let mut ports = ports.to_vec();
        let mut wanting = Vec::new();
        let mut known = self.star(&ports);
        while !self.untold(&known).is_empty() {
            let others: Vec<usize> = (0..self.circuit.nodes).filter(|node| !ports.contains(node)).collect();
            let told: Vec<_> = others.iter().map(|&node| self.star(&[&ports[..1.min(ports.len())], &[node]].concat())).collect();
            let Some(at) = most(&known, &told) else { return Vec::new() };
            known += &told[at];
            ports.push(others[at]);
            wanting.push(others[at]);
        }
        wanting
    }

    fn nothing(&self) -> DMatrix<f64> {
        DMatrix::zeros(self.siemens.len(), self.siemens.len())
    }

    /// What all currents between these ports tell: those from the first of them to the others hold all.
    fn star(&self, ports: &[usize]) -> DMatrix<f64> {
        let Some((&first, others)) = ports.split_first() else { return self.nothing() };
        others.iter().fold(self.nothing(), |sum, &other| sum + self.information([first, other]))
    }

    /// What the potential differences over all branches tell of the logarithms of their conductances, with a current between two nodes
    /// (Fisher's information, the readings' relative standard deviation being one).
    fn information(&self, pair: [usize; 2]) -> DMatrix<f64> {
        let Some(solved) = &self.solved else { return self.nothing() };
        let branches = &self.circuit.branches;
        let volts: Vec<f64> = branches.iter().map(|&ends| solved.transfer(ends, pair)).collect();
        let largest = volts.iter().fold(0.0_f64, |most, volts| most.max(volts.abs()));
        let count = branches.len();
        let rows = DMatrix::from_fn(count, count, |reading, branch| {
            let change = solved.transfer(branches[reading], branches[branch]) * volts[branch] * self.siemens[branch];
            change / volts[reading].hypot(FLOOR * largest)
        });
        rows.tr_mul(&rows)
    }

    /// Variances of the logarithms of the conductances, over that of the readings.
    fn variances(&self, information: &DMatrix<f64>) -> Vec<f64> {
        let eigen = SymmetricEigen::new(information.clone());
        let of = |branch: usize| {
            let parts = eigen.eigenvalues.iter().enumerate();
            parts.map(|(i, value)| eigen.eigenvectors[(branch, i)].powi(2) / value.max(LEAST)).sum()
        };
        (0..self.siemens.len()).map(of).collect()
    }

    fn untold(&self, information: &DMatrix<f64>) -> Vec<usize> {
        let variances = self.variances(information);
        (0..variances.len()).filter(|&branch| is_untold(variances[branch])).collect()
    }
}

fn is_untold(variance: f64) -> bool {
    variance > TOLD * TOLD
}

/// Which of several additions to what is known leaves least to tell.
fn most(known: &DMatrix<f64>, told: &[DMatrix<f64>]) -> Option<usize> {
    let score = |told: &DMatrix<f64>| {
        let count = known.nrows();
        // What nothing is known of must not make all alike.
        let sum = known + told + DMatrix::identity(count, count) * LITTLE;
        sum.cholesky().map_or(f64::NEG_INFINITY, |factor| factor.l().diagonal().iter().map(|l| l.ln()).sum())
    };
    let scores = told.iter().map(score).enumerate();
    scores.max_by(|a, b| a.1.total_cmp(&b.1).then(b.0.cmp(&a.0))).map(|(at, _)| at)
}

fn worst(variances: &[f64]) -> f64 {
    variances.iter().copied().fold(0.0, f64::max)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ring(nodes: usize) -> Circuit {
        Circuit { nodes, branches: (0..nodes).map(|node| [node, (node + 1) % nodes]).collect() }
    }

    /// Between two points of a ring the current splits in a proportion that no potential tells; a third point tells it.
    #[test]
    fn a_ring_takes_three_ports() {
        let circuit = ring(5);
        let siemens = [1.0, 2.0, 0.7, 1.3, 0.4];
        let force = Force::at(&circuit, &siemens);
        assert_eq!(force.pairs(&[0, 2]), Err(vec![0, 1, 2, 3, 4]));
        assert_eq!(force.pairs(&[0]), Err(vec![0, 1, 2, 3, 4]));
        assert_eq!(force.wanting(&[0, 2]).len(), 1);
        assert_eq!(force.wanting(&[]).len(), 3);
        assert!((2..=3).contains(&force.pairs(&[0, 2, 3]).unwrap().len()));
        assert!(force.wanting(&[0, 2, 3]).is_empty());
    }

    /// Forced at its two ends, the middle of a bridge in balance carries nothing, whatever it is.
    #[test]
    fn a_bridge_in_balance_is_not_told_from_its_ends() {
        let circuit = Circuit { nodes: 4, branches: vec![[0, 1], [1, 3], [0, 2], [2, 3], [1, 2]] };
        let balanced = [1.0; 5];
        let force = Force::at(&circuit, &balanced);
        assert!(force.pairs(&[0, 3]).unwrap_err().contains(&4));
        assert!(!force.wanting(&[0, 3]).is_empty());
        assert!(force.pairs(&[0, 1, 2, 3]).is_ok());
    }

    #[test]
    fn two_branches_between_the_same_nodes_are_never_told() {
        let circuit = Circuit { nodes: 3, branches: vec![[0, 1], [0, 1], [1, 2], [2, 0]] };
        let force = Force::at(&circuit, &[1.0, 2.0, 3.0, 4.0]);
        assert_eq!(force.pairs(&[0, 1, 2]), Err(vec![0, 1]));
        assert!(force.wanting(&[0, 1]).is_empty());
    }
}
