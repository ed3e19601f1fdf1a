//! Which further force pins uncover most: the best set where it can be found out, else a good one with what no set can exceed.

use super::coverage::{Coverage, UNIT};

/// Steps of the search for the best set: a fraction of a second.
const MOST_STEPS: usize = 10_000_000;

/// Which candidates get a force pin.
#[derive(Clone, PartialEq, Debug)]
pub struct Choice {
    /// Candidates by position, in the order in which they bring most, each with what it adds: expected segments.
    pub chosen: Vec<(usize, f64)>,
    /// Expected number of segments read after one break, with the pins that are there.
    pub before: f64,
    /// The same with the chosen ones.
    pub after: f64,
    /// No set of as many reads more than this.
    pub bound: f64,
    /// The same if nothing were hidden at all.
    pub all: f64,
    /// Is it proven that no set of as many is better?
    pub optimal: bool,
}

/// Chooses at most `most` candidates of `count`.
pub fn choose(coverage: &Coverage, count: usize, most: usize) -> Choice {
    let search = Search::new(coverage, count);
    let first = improve(&search, greedy(&search, most), most);
    let mut best = Best { value: search.value(&first), set: first, steps: MOST_STEPS, cut: 0 };
    search.branch(search.root(), most, &mut best);
    // What is added to the best set bounds every set, too.
    let mut node = search.root();
    best.set.iter().for_each(|&candidate| {
        search.take(&mut node, candidate);
    });
    node.gains.sort_unstable_by(|a, b| b.cmp(a));
    best.cut = best.cut.min(best.value + node.gains.iter().take(most).sum::<u64>());
    let whole = |value: u64| (coverage.standing + value) as f64 * UNIT;
    let chosen = in_order(&search, &best.set);
    Choice {
        before: whole(0),
        after: whole(best.value),
        bound: whole(best.cut.max(best.value)),
        all: coverage.all as f64 * UNIT,
        optimal: best.cut <= best.value,
        chosen,
    }
}

struct Search<'c> {
    coverage: &'c Coverage,
    /// For each candidate, the sets it is in.
    sets_of: Vec<Vec<usize>>,
    /// For each candidate, what it adds to nothing.
    gains: Vec<u64>,
    /// The value of all candidates together.
    whole: u64,
}

/// A partial choice: who is still in question has a gain.
#[derive(Clone)]
struct Node {
    gains: Vec<u64>,
    met: Vec<bool>,
    chosen: Vec<usize>,
    value: u64,
}

struct Best {
    value: u64,
    set: Vec<usize>,
    /// Steps that are left.
    steps: usize,
    /// The largest value that a part of the search that was cut off may have held.
    cut: u64,
}

impl<'c> Search<'c> {
    fn new(coverage: &'c Coverage, count: usize) -> Self {
        let (mut sets_of, mut gains) = (vec![Vec::new(); count], vec![0; count]);
        for (at, (set, weight)) in coverage.sets.iter().enumerate() {
            for &candidate in set {
                sets_of[candidate].push(at);
                gains[candidate] += weight;
            }
        }
        let whole = coverage.sets.iter().map(|(_, weight)| weight).sum();
        Self { coverage, sets_of, gains, whole }
    }

    /// Nothing chosen yet.
    fn root(&self) -> Node {
        let met = vec![false; self.coverage.sets.len()];
        Node { gains: self.gains.clone(), met, chosen: Vec::new(), value: 0 }
    }

    fn value(&self, set: &[usize]) -> u64 {
        let meets = |(members, _): &&(Vec<usize>, u64)| members.iter().any(|member| set.contains(member));
        self.coverage.sets.iter().filter(meets).map(|(_, weight)| weight).sum()
    }

    /// Takes a candidate: what it meets, nobody gains any more. Gives the steps that took.
    fn take(&self, node: &mut Node, candidate: usize) -> usize {
        let mut steps = self.sets_of[candidate].len();
        node.value += node.gains[candidate];
        for &at in &self.sets_of[candidate] {
            if !std::mem::replace(&mut node.met[at], true) {
                let (members, weight) = &self.coverage.sets[at];
                steps += members.len();
                // Who is out of question has no gain left to lose.
                members.iter().for_each(|&member| {
                    node.gains[member] = node.gains[member].saturating_sub(*weight);
                });
            }
        }
        node.gains[candidate] = 0;
        node.chosen.push(candidate);
        steps
    }

    /// Goes through all sets that hold what a node has, leaving out whatever cannot be better than the best.
    fn branch(&self, mut node: Node, most: usize, best: &mut Best) {
        loop {
            if node.value > best.value {
                (best.value, best.set) = (node.value, node.chosen.clone());
            }
            let left = most - node.chosen.len();
            let mut gains: Vec<u64> = node.gains.iter().copied().filter(|gain| *gain > 0).collect();
            gains.sort_unstable_by(|a, b| b.cmp(a));
            // No more is added than the largest gains come to, nor than is left.
            let bound = (node.value + gains.iter().take(left).sum::<u64>()).min(self.whole);
            if bound <= best.value {
                return;
            }
            let steps = node.gains.len() + node.met.len();
            let Some(candidate) = most_of(&node.gains).filter(|_| best.steps > steps) else {
                best.cut = best.cut.max(bound);
                return;
            };
            let mut with = node.clone();
            best.steps = best.steps.saturating_sub(steps + self.take(&mut with, candidate));
            self.branch(with, most, best);
            node.gains[candidate] = 0;
        }
    }
}

/// Who gains most; of equals the first.
fn most_of(gains: &[u64]) -> Option<usize> {
    let best = gains.iter().copied().max().filter(|gain| *gain > 0)?;
    gains.iter().position(|gain| *gain == best)
}

/// One candidate after the other, each time the one that adds most.
fn greedy(search: &Search<'_>, most: usize) -> Vec<usize> {
    let mut node = search.root();
    while node.chosen.len() < most
        && let Some(candidate) = most_of(&node.gains)
    {
        search.take(&mut node, candidate);
    }
    node.chosen
}

/// Changes one of the chosen for another for as long as that helps.
fn improve(search: &Search<'_>, mut set: Vec<usize>, most: usize) -> Vec<usize> {
    /// Rounds at most: each makes the set better, and few are ever needed.
    const ROUNDS: usize = 20;
    for _ in 0..ROUNDS {
        let before = search.value(&set);
        let better = (0..set.len()).find_map(|out| {
            let mut rest = set.clone();
            rest.remove(out);
            let mut node = search.root();
            rest.iter().for_each(|&candidate| {
                search.take(&mut node, candidate);
            });
            if node.chosen.len() < most
                && let Some(candidate) = most_of(&node.gains)
            {
                search.take(&mut node, candidate);
            }
            (node.value > before).then_some(node.chosen)
        });
        match better {
            Some(better) => set = better,
            None => break,
        }
    }
    set
}

/// A set in the order in which its members add most, each with what it adds.
fn in_order(search: &Search<'_>, set: &[usize]) -> Vec<(usize, f64)> {
    let mut node = search.root();
    let mut order = Vec::new();
    let mut left: Vec<usize> = set.to_vec();
    while let Some(&candidate) = left.iter().max_by_key(|&&candidate| node.gains[candidate]) {
        order.push((candidate, node.gains[candidate] as f64 * UNIT));
        search.take(&mut node, candidate);
        left.retain(|other| *other != candidate);
    }
    order
}
