//! Nodal analysis of a network of resistors, with an electromotive force in any branch and currents into any node.
//!
//! Nodes are eliminated one by one, the one with the fewest neighbours first: each leaves behind the resistors between
//! its neighbours that act as it did (the star-mesh rule; for two neighbours the series rule). That is Gaussian
//! elimination of the nodal matrix, written so that it never subtracts. A pivot of the matrix itself is a
//! difference of sums: beside a milliohm of copper (1000 S) it rounds at 10⁻¹³ S, which is no longer nothing beside
//! 5 MΩ of isolation. Here every conductance and every voltage keeps its digits, and a part that floats is no
//! special case. A general factorisation of nalgebra's, pivots and all, is what the tests compare it with; ngspice
//! is another.
//!
//! Boards are trees with a few meshes, so hardly anything fills in: 300 segments factor in a fraction of a
//! millisecond, and solving for other sources is one pass over the nodes.

use crate::quantity::{Amps, Ohms, Volts};

/// A node. Nodes count up from [`GROUND`].
pub type Node = usize;

/// The node all voltages refer to.
pub const GROUND: Node = 0;

/// Index of a branch, to give it an electromotive force in [`Sources`].
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Branch(usize);

/// Resistances are kept in this range, ohm, so that nothing entered can make the network insoluble: far below
/// any copper and far above any isolation on the bench.
const OHMS: std::ops::RangeInclusive<f64> = 1e-9..=1e15;

/// A network under construction.
#[derive(Clone, Debug)]
pub struct Network {
    nodes: usize,
    branches: Vec<(Node, Node, f64)>,
}

/// What drives a network: forces in branches, currents into nodes.
#[derive(Clone, Debug, Default)]
pub struct Sources {
    forces: Vec<(Branch, Volts)>,
    currents: Vec<(Node, Amps)>,
}

impl Sources {
    /// Puts a voltage in series with a branch, its first node the positive end.
    pub fn force(&mut self, branch: Branch, voltage: Volts) {
        self.forces.push((branch, voltage));
    }

    /// Sends a current from ground into a node.
    pub fn current(&mut self, into: Node, current: Amps) {
        self.currents.push((into, current));
    }

    /// Forces, by branch.
    pub fn forces(&self) -> &[(Branch, Volts)] {
        &self.forces
    }

    /// Currents, by node.
    pub fn currents(&self) -> &[(Node, Amps)] {
        &self.currents
    }
}

impl Network {
    /// A network of so many nodes, ground included.
    pub fn new(nodes: usize) -> Self {
        Self { nodes, branches: Vec::new() }
    }

    /// Adds a node.
    pub fn node(&mut self) -> Node {
        self.nodes += 1;
        self.nodes - 1
    }

    /// Nodes, ground included.
    pub fn nodes(&self) -> usize {
        self.nodes
    }

    /// Joins two nodes by a resistor. Both must exist.
    pub fn resistor(&mut self, a: Node, b: Node, Ohms(ohms): Ohms) -> Branch {
        debug_assert!(a < self.nodes && b < self.nodes && !ohms.is_nan());
        self.branches.push((a, b, ohms.clamp(*OHMS.start(), *OHMS.end())));
        Branch(self.branches.len() - 1)
    }

    /// Every branch: its two nodes and its resistance.
    pub fn branches(&self) -> impl Iterator<Item = (Branch, Node, Node, Ohms)> + '_ {
        self.branches.iter().enumerate().map(|(i, &(a, b, ohms))| (Branch(i), a, b, Ohms(ohms)))
    }

    /// Makes the network ready to be solved for any sources.
    pub fn factor(self) -> Factored {
        let mut links = vec![Links::default(); self.nodes];
        for &(a, b, ohms) in &self.branches {
            link(&mut links, a, b, 1.0 / ohms);
        }
        Factored { network: self, eliminated: eliminate(links) }
    }
}

/// Neighbours of a node with the conductance to each, siemens.
type Links = Vec<(Node, f64)>;

fn link(links: &mut [Links], a: Node, b: Node, siemens: f64) {
    if a == b {
        return;
    }
    for (here, there) in [(a, b), (b, a)] {
        match links[here].iter_mut().find(|(node, _)| *node == there) {
            Some((_, sum)) => *sum += siemens,
            None => links[here].push((there, siemens)),
        }
    }
}

/// A node taken out of the network: its neighbours at that time, and the sum of the conductances to them.
#[derive(Clone, Debug)]
struct Eliminated {
    node: Node,
    links: Links,
    siemens: f64,
}

/// Takes out every node but ground, in an order that keeps the meshes small.
fn eliminate(mut links: Vec<Links>) -> Vec<Eliminated> {
    let mut eliminated = Vec::with_capacity(links.len());
    let mut left: Vec<Node> = (GROUND + 1..links.len()).collect();
    // Chains and dead ends first, as they come: nearly everything. `simple` may name a node twice.
    let mut simple = left.clone();
    let mut gone = vec![false; links.len()];
    gone[GROUND] = true;
    loop {
        let node = match simple.pop() {
            Some(node) if gone[node] || links[node].len() > 2 => continue,
            Some(node) => node,
            None => {
                left.retain(|&node| !gone[node]);
                match left.iter().min_by_key(|&&node| links[node].len()) {
                    Some(&node) => node,
                    None => return eliminated,
                }
            }
        };
        gone[node] = true;
        let own = std::mem::take(&mut links[node]);
        let siemens = own.iter().map(|(_, siemens)| siemens).sum();
        for &(neighbour, _) in &own {
            links[neighbour].retain(|(other, _)| *other != node);
        }
        for (i, &(a, to_a)) in own.iter().enumerate() {
            for &(b, to_b) in &own[i + 1..] {
                link(&mut links, a, b, to_a * to_b / siemens);
            }
        }
        simple.extend(own.iter().map(|(neighbour, _)| neighbour));
        eliminated.push(Eliminated { node, links: own, siemens });
    }
}

/// A network ready to be solved for any sources.
#[derive(Clone, Debug)]
pub struct Factored {
    network: Network,
    eliminated: Vec<Eliminated>,
}

impl Factored {
    /// The network as it was built.
    pub fn network(&self) -> &Network {
        &self.network
    }

    /// Voltage of every node. In a part with no way to ground one node reads 0, and what is sent into it
    /// from elsewhere is lost.
    pub fn solve(&self, sources: &Sources) -> Vec<Volts> {
        // From here `at` turns from the current into each node to the voltage of each node, in place.
        let mut at = vec![0.0; self.network.nodes];
        for &(node, Amps(amps)) in &sources.currents {
            at[node] += amps;
        }
        for &(branch, Volts(volts)) in &sources.forces {
            let (a, b, ohms) = self.network.branches[branch.0];
            at[a] += volts / ohms;
            at[b] -= volts / ohms;
        }
        for Eliminated { node, links, siemens } in &self.eliminated {
            let share = at[*node] / siemens;
            for &(neighbour, to) in links {
                at[neighbour] += share * to;
            }
        }
        at[GROUND] = 0.0;
        for Eliminated { node, links, siemens } in self.eliminated.iter().rev() {
            let flows: f64 = links.iter().map(|&(neighbour, to)| to * at[neighbour]).sum();
            at[*node] = if links.is_empty() { 0.0 } else { (at[*node] + flows) / siemens };
        }
        at.into_iter().map(Volts).collect()
    }
}

#[cfg(test)]
mod tests {
    use nalgebra::{DMatrix, DVector};

    use super::*;
    use crate::random::Rng;

    /// The same network straight from the textbook: one full matrix, pivoted.
    fn textbook(network: &Network, sources: &Sources) -> Vec<f64> {
        let n = network.nodes();
        let mut matrix = DMatrix::zeros(n, n);
        let mut amps = DVector::zeros(n);
        for (branch, a, b, Ohms(ohms)) in network.branches() {
            let force: f64 = sources.forces().iter().filter(|(f, _)| *f == branch).map(|(_, v)| v.0).sum();
            for (here, there, sign) in [(a, b, 1.0), (b, a, -1.0)] {
                matrix[(here, here)] += 1.0 / ohms;
                matrix[(here, there)] -= 1.0 / ohms;
                amps[here] += sign * force / ohms;
            }
        }
        for &(node, into) in sources.currents() {
            amps[node] += into.0;
        }
        matrix.row_mut(GROUND).fill(0.0);
        matrix[(GROUND, GROUND)] = 1.0;
        amps[GROUND] = 0.0;
        matrix.full_piv_lu().solve(&amps).unwrap().iter().copied().collect()
    }

    #[test]
    fn random_networks_agree_with_the_textbook_matrix() {
        let mut rng = Rng::new(3);
        let mut pick = |n: usize| (rng.unit() * n as f64) as usize;
        for case in 0..200 {
            let n = 2 + pick(20);
            let mut network = Network::new(n);
            let mut sources = Sources::default();
            for node in 1..n {
                // A tree, so that nothing floats …
                let branch = network.resistor(node, pick(node), Ohms(1.0 + pick(1000) as f64));
                sources.force(branch, Volts(pick(3) as f64));
            }
            for _ in 0..pick(2 * n) {
                // … and meshes on top; a branch from a node to itself carries nothing.
                network.resistor(pick(n), pick(n), Ohms(1.0 + pick(1000) as f64));
            }
            sources.current(pick(n), Amps(1.0));
            let expected = textbook(&network, &sources);
            for (Volts(ours), theirs) in network.factor().solve(&sources).into_iter().zip(expected) {
                assert!(
                    (ours - theirs).abs() <= 1e-9 * theirs.abs().max(1.0),
                    "case {case}: {ours} {theirs}"
                );
            }
        }
    }

    #[test]
    fn a_milliohm_keeps_its_digits_beside_a_gigaohm() {
        let mut network = Network::new(4);
        network.resistor(1, GROUND, Ohms(1e9));
        network.resistor(2, 1, Ohms(1e-3));
        network.resistor(3, 2, Ohms(1e-3));
        let mut sources = Sources::default();
        sources.current(3, Amps(1.0));
        sources.current(1, Amps(-1.0));
        let at = network.factor().solve(&sources);
        assert!(
            (at[3].0 - at[2].0 - 1e-3).abs() < 1e-15 && (at[2].0 - at[1].0 - 1e-3).abs() < 1e-15,
            "{at:?}"
        );
    }

    #[test]
    fn what_floats_still_has_the_right_differences() {
        // A floating triangle with a force in one branch, beside a lone node.
        let mut network = Network::new(5);
        let branch = network.resistor(1, 2, Ohms(1.0));
        network.resistor(2, 3, Ohms(1.0));
        network.resistor(3, 1, Ohms(1.0));
        let mut sources = Sources::default();
        sources.force(branch, Volts(3.0));
        let at = network.factor().solve(&sources);
        assert!((at[1].0 - at[2].0 - 2.0).abs() < 1e-15 && (at[2].0 - at[3].0 + 1.0).abs() < 1e-15, "{at:?}");
        assert_eq!(at[4], Volts::ZERO);
    }

    #[test]
    fn three_hundred_segments_in_a_row_add_up() {
        let mut network = Network::new(301);
        for node in 1..=300 {
            network.resistor(node, node - 1, Ohms(0.01));
        }
        let factored = network.factor();
        let mut sources = Sources::default();
        sources.current(300, Amps(1.0));
        let at = factored.solve(&sources);
        assert!((at[300].0 - 3.0).abs() < 1e-12);
    }
}
