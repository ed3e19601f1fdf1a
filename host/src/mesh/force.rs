//! What force pins can tell of a mesh, and between which of them currents are sent.
//!
//! With the potentials of all nodes read, Kirchhoff's law is linear in the unknown conductances. One current gives fewer equations
//! than a mesh has segments; each further pair of force pins adds some. How many are independent, and how well they tell each segment, is
//! worked out at the resistances that healthy segments have: at a bridge in balance it matters.

use nalgebra::DMatrix;

use super::circuit::{Circuit, Solved};

/// What a reading is uncertain by in proportion to itself, relative standard deviation: the meter.
const RELATIVE: f64 = 1e-3;
/// Of a resistance that is told with a larger relative standard deviation than this, nothing is known: no pair of force pins sends a
/// current that depends on it. With them it is rarely above one.
pub const UNTOLD: f64 = 100.0;
/// A resistance that is told with a larger one cannot be proven inside a limit of one and a half times itself.
pub const POORLY: f64 = 0.2;
/// Currents are added until every resistance is told with this one, or another current helps little.
const WELL: f64 = 0.05;
/// Another current helps if it makes the largest variance smaller by this factor.
const HELPS: f64 = 0.7;
/// With so many ports or fewer, currents between any two of them are considered; with more, those from the first to every other, of
/// which all others are sums.
const FEW_PORTS: usize = 6;
/// What is known of each resistance to begin with: next to nothing, 1 over its relative variance.
const LITTLE: f64 = 1e-8;

/// A circuit, what its branches conduct when healthy, and how well some currents tell each of them.
pub struct Force<'c> {
    circuit: &'c Circuit,
    siemens: &'c [f64],
    /// What the readings that tell a branch are off by at least, ohm.
    sigma: &'c [f64],
    /// What the pin at a node is off by where it stands beside its point, ohm in the path of whatever current flows there.
    beside: &'c [f64],
    /// The different ones of `sigma`.
    levels: Vec<f64>,
    solved: Option<Solved>,
}

/// What is known of the logarithms of all conductances, by level of noise: Fisher's information.
type Known = Vec<DMatrix<f64>>;

impl<'c> Force<'c> {
    /// At these conductances, siemens, with readings that are off by `sigma` for each branch and by `beside` for each pin in the path of
    /// its current: ohm, standard deviations.
    pub fn at(circuit: &'c Circuit, siemens: &'c [f64], sigma: &'c [f64], beside: &'c [f64]) -> Self {
        let mut levels = sigma.to_vec();
        levels.sort_by(f64::total_cmp);
        levels.dedup();
        Self { circuit, siemens, sigma, beside, levels, solved: circuit.with(siemens) }
    }

    /// Pairs of ports, in the order in which they tell most, and with what relative standard deviation they tell each branch.
    pub fn pairs(&self, ports: &[usize]) -> (Vec<[usize; 2]>, Vec<f64>) {
        let few = ports.len() <= FEW_PORTS;
        let firsts = if few { ports } else { ports.get(..1).unwrap_or_default() };
        let mut left: Vec<[usize; 2]> = firsts
            .iter()
            .enumerate()
            .flat_map(|(at, &first)| ports.iter().skip(at + 1).map(move |&second| [first, second]))
            .collect();
        let mut told: Vec<Known> = left.iter().map(|&pair| self.information(pair)).collect();
        let (mut chosen, mut known) = (Vec::new(), self.nothing());
        while let Some(at) = self.most(&known, &told) {
            let (before, with) = (worst(&self.variances(&known)), sum(&known, &told[at]));
            // As many currents as are independent, and more only where they help.
            let enough = chosen.len() + 1 >= ports.len() && worst(&self.variances(&with)) > HELPS * before;
            if before <= WELL * WELL || enough {
                break;
            }
            chosen.push(left.remove(at));
            told.remove(at);
            known = with;
        }
        (chosen, self.variances(&known).iter().map(|variance| variance.sqrt()).collect())
    }

    /// With what relative standard deviation currents between these pairs of nodes tell each branch.
    pub fn deviations(&self, pairs: &[[usize; 2]]) -> Vec<f64> {
        let known = pairs.iter().fold(self.nothing(), |known, &pair| sum(&known, &self.information(pair)));
        self.variances(&known).iter().map(|variance| variance.sqrt()).collect()
    }

    /// Nodes that need a force pin besides these ports, for no branch to be told worse than this: as few as trying one after the other
    /// finds. Empty if none helps.
    pub fn wanting(&self, ports: &[usize], least: f64) -> Vec<usize> {
        let first = ports.get(..1).unwrap_or_default();
        let mut wanting: Vec<usize> = Vec::new();
        let mut known = ports
            .iter()
            .skip(1)
            .fold(self.nothing(), |known, &port| sum(&known, &self.information([ports[0], port])));
        while worst(&self.variances(&known)) > least * least {
            let others: Vec<usize> = (0..self.circuit.nodes)
                .filter(|node| !ports.contains(node) && !wanting.contains(node))
                .collect();
            let first = first.first().or(wanting.first()).copied();
            let told = others
                .iter()
                .map(|&node| first.map_or(self.nothing(), |first| self.information([first, node])));
            let told: Vec<_> = told.collect();
            let Some(at) = self.most(&known, &told) else { return Vec::new() };
            known = sum(&known, &told[at]);
            wanting.push(others[at]);
        }
        wanting
    }

    fn nothing(&self) -> Known {
        let count = self.siemens.len();
        self.levels.iter().map(|_| DMatrix::identity(count, count) * LITTLE).collect()
    }

    /// What the voltages over all branches tell with a current between two nodes.
    fn information(&self, pair: [usize; 2]) -> Known {
        let Some(solved) = &self.solved else { return self.nothing() };
        let branches = &self.circuit.branches;
        let volts: Vec<f64> = branches.iter().map(|&ends| solved.transfer(ends, pair)).collect();
        // A pin stands beside one of the segments at its point.
        let pin = |node: usize| {
            let at = (0..branches.len()).filter(|&branch| branches[branch].contains(&node));
            let (sum, count) = at.fold((0.0, 0.0), |(sum, count), branch| {
                (sum + (self.siemens[branch] * volts[branch]).powi(2), count + 1.0)
            });
            self.beside[node] * (sum / count).sqrt()
        };
        let pins: Vec<f64> = (0..self.circuit.nodes).map(pin).collect();
        let off = |reading: usize| {
            let [a, b] = branches[reading];
            pins[a].hypot(pins[b]).hypot(RELATIVE * volts[reading])
        };
        let off: Vec<f64> = (0..branches.len()).map(off).collect();
        let of_level = |sigma: &f64| {
            let rows = DMatrix::from_fn(branches.len(), branches.len(), |reading, branch| {
                let change = solved.transfer(branches[reading], branches[branch]) * volts[branch];
                change * self.siemens[branch] / sigma.hypot(off[reading])
            });
            rows.tr_mul(&rows)
        };
        self.levels.iter().map(of_level).collect()
    }

    /// Relative variances of all resistances.
    fn variances(&self, known: &Known) -> Vec<f64> {
        let by_level: Vec<Option<DMatrix<f64>>> =
            known.iter().map(|known| Some(known.clone().cholesky()?.inverse())).collect();
        let of = |branch: usize| {
            let level = self.levels.iter().position(|sigma| *sigma == self.sigma[branch]).unwrap_or_default();
            let known = by_level.get(level).and_then(Option::as_ref);
            known.map_or(1.0 / LITTLE, |known| known[(branch, branch)])
        };
        (0..self.siemens.len()).map(of).collect()
    }

    /// Which of several additions to what is known leaves least to tell.
    fn most(&self, known: &Known, told: &[Known]) -> Option<usize> {
        let score = |told: &Known| -> f64 {
            let variances = self.variances(&sum(known, told));
            variances.iter().map(|variance| (variance + WELL * WELL).ln()).sum()
        };
        let scores = told.iter().map(score).enumerate();
        scores.min_by(|a, b| a.1.total_cmp(&b.1)).map(|(at, _)| at)
    }
}

/// Is nothing known of a resistance that is told with this relative standard deviation?
pub fn is_untold(deviation: f64) -> bool {
    deviation > UNTOLD
}

fn sum(a: &Known, b: &Known) -> Known {
    a.iter().zip(b).map(|(a, b)| a + b).collect()
}

fn worst(variances: &[f64]) -> f64 {
    variances.iter().copied().fold(0.0, f64::max)
}

#[cfg(test)]
mod tests {
    use super::*;

    const SIGMA: [f64; 8] = [1e-5; 8];
    const BESIDE: [f64; 5] = [1e-5; 5];

    fn ring(nodes: usize) -> Circuit {
        Circuit { nodes, branches: (0..nodes).map(|node| [node, (node + 1) % nodes]).collect() }
    }

    /// The branches that currents between these ports do not tell.
    fn untold(force: &Force<'_>, ports: &[usize]) -> Vec<usize> {
        let (_, deviations) = force.pairs(ports);
        (0..deviations.len()).filter(|&branch| is_untold(deviations[branch])).collect()
    }

    /// Between two points of a ring the current splits in a proportion that no potential tells; a third point tells it.
    #[test]
    fn a_ring_takes_three_ports() {
        let circuit = ring(5);
        let siemens = [1.0, 2.0, 0.7, 1.3, 0.4];
        let force = Force::at(&circuit, &siemens, &SIGMA[..5], &BESIDE);
        assert_eq!(untold(&force, &[0, 2]), [0, 1, 2, 3, 4]);
        assert_eq!(untold(&force, &[0]), [0, 1, 2, 3, 4]);
        assert_eq!(force.wanting(&[0, 2], UNTOLD).len(), 1);
        assert_eq!(force.wanting(&[], UNTOLD).len(), 3);
        assert!(untold(&force, &[0, 2, 3]).is_empty());
        assert!((2..=3).contains(&force.pairs(&[0, 2, 3]).0.len()));
        assert!(force.wanting(&[0, 2, 3], UNTOLD).is_empty());
    }

    /// Forced at its two ends, the middle of a bridge in balance carries nothing, whatever it is.
    #[test]
    fn a_bridge_in_balance_is_not_told_from_its_ends() {
        let circuit = Circuit { nodes: 4, branches: vec![[0, 1], [1, 3], [0, 2], [2, 3], [1, 2]] };
        let balanced = [1.0; 5];
        let force = Force::at(&circuit, &balanced, &SIGMA[..5], &BESIDE);
        assert!(untold(&force, &[0, 3]).contains(&4));
        assert!(!force.wanting(&[0, 3], UNTOLD).is_empty());
        assert!(untold(&force, &[0, 1, 2, 3]).is_empty());
    }

    #[test]
    fn two_branches_between_the_same_nodes_are_never_told() {
        let circuit = Circuit { nodes: 3, branches: vec![[0, 1], [0, 1], [1, 2], [2, 0]] };
        let force = Force::at(&circuit, &[1.0, 2.0, 3.0, 4.0], &SIGMA[..4], &BESIDE);
        assert_eq!(untold(&force, &[0, 1, 2]), [0, 1]);
        assert!(force.wanting(&[0, 1], UNTOLD).is_empty());
    }

    /// A contact of 20 mΩ beside copper of 1 mΩ takes so little of a dry current that noise hides it; read under load it would be told.
    #[test]
    fn what_carries_little_is_told_poorly_where_readings_are_rough() {
        let circuit = ring(3);
        let siemens = [50.0, 1e3, 1e3];
        let deviation =
            |sigma: f64| Force::at(&circuit, &siemens, &[sigma, 1e-5, 1e-5], &BESIDE).pairs(&[0, 1, 2]).1[0];
        assert!(deviation(1e-5) < POORLY, "{}", deviation(1e-5));
        assert!((POORLY..UNTOLD).contains(&deviation(1e-3)), "{}", deviation(1e-3));
    }
}
