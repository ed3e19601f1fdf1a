//! The network of chains and barrels between the nodes: how an ampere can run through it.

use std::collections::VecDeque;

/// A branch between two nodes.
pub(super) struct Branch {
    pub ends: [usize; 2],
}

/// Currents by branch, along its direction.
type Currents = Vec<(usize, f64)>;

/// All ways of an ampere from one end to the other: one of them, and what may run round beside it.
pub(super) struct Network {
    pub way: Currents,
    pub loops: Vec<Currents>,
}

/// Finds a way, and a set of loops of which all others are made. Branches that cannot be reached carry nothing.
pub(super) fn currents(branches: &[Branch], [from, to]: [usize; 2], nodes: usize) -> Network {
    let mut at: Vec<Vec<usize>> = vec![Vec::new(); nodes];
    for (i, branch) in branches.iter().enumerate() {
        branch.ends.iter().for_each(|end| at[*end].push(i));
    }
    // By node: the branch it was reached by, and the node before.
    let mut reached: Vec<Option<(usize, usize)>> = vec![None; nodes];
    reached[from] = Some((usize::MAX, from));
    let mut in_tree = vec![false; branches.len()];
    let mut open = VecDeque::from([from]);
    while let Some(node) = open.pop_front() {
        for &branch in &at[node] {
            let [a, b] = branches[branch].ends;
            let next = if a == node { b } else { a };
            if reached[next].is_none() {
                reached[next] = Some((branch, node));
                in_tree[branch] = true;
                open.push_back(next);
            }
        }
    }
    // From the first node to this one, times a current.
    let add_way = |into: &mut Currents, mut node: usize, current: f64| {
        while node != from
            && let Some((branch, before)) = reached[node]
        {
            let sign = if branches[branch].ends[0] == before { 1.0 } else { -1.0 };
            into.push((branch, sign * current));
            node = before;
        }
    };
    let mut way = Currents::new();
    add_way(&mut way, to, 1.0);
    let loops =
        (0..branches.len()).filter(|i| !in_tree[*i] && reached[branches[*i].ends[0]].is_some()).map(|i| {
            let mut round = vec![(i, 1.0)];
            add_way(&mut round, branches[i].ends[0], 1.0);
            add_way(&mut round, branches[i].ends[1], -1.0);
            // What both ways have in common cancels.
            round.sort_by_key(|(branch, _)| *branch);
            round.dedup_by(|next, kept| {
                let same = next.0 == kept.0;
                if same {
                    kept.1 += next.1;
                }
                same
            });
            round.retain(|(_, current)| *current != 0.0);
            round
        });
    Network { way, loops: loops.collect() }
}
