//! The flow of one ampere from one terminal to the other: its heat is never below the resistance.
//!
//! Within a piece of copper a flow without sources is the curl of a stream function, which is constant along every edge that
//! no current crosses. It carries nothing from node to node; that is done by chains of triangles, one from the first place where
//! a piece touches a node to each other one, which stay within the piece and carry one ampere. Chains and barrels are
//! the branches of a network: a way through it from terminal to terminal carries the ampere, and what runs round its
//! loops is unknown, as is the stream function.

use std::collections::{BTreeMap, VecDeque};

use super::CopperError;
use super::element::Local;
use super::energy::{Least, Problem, Square, Values};
use super::held::{Held, Sets};
use super::mesh::{Beyond, Mesh, Nodes, on_side};
use super::network::{Branch, currents};
use super::pieces::pieces;

/// Finds it. The energy is the resistance, at most a little too large, ohms; the values are the stream function's, in
/// amperes, which jumps between the triangles of a chain and their neighbours.
///
/// # Errors
/// See [`Problem::solve`].
pub(super) fn flow(mesh: &Mesh, nodes: &Nodes, held: &Held, sheet: &[f64]) -> Result<Least, CopperError> {
    let (mut values, mut places) = stream_function(mesh, nodes);
    let (chains, ends) = chains(mesh, nodes);
    let branches: Vec<Branch> = ends
        .into_iter()
        .chain(held.barrels.iter().map(|(ends, _)| *ends))
        .map(|ends| Branch { ends })
        .collect();
    let network = currents(&branches, held.ends, held.nodes);
    let first_loop = places.len();
    places.extend((0..network.loops.len()).map(|_| [0.0; 2]));

    // Loops last, the way through the network as what is fixed.
    let mut loops_of: Vec<Vec<(Option<usize>, f64)>> = vec![Vec::new(); branches.len()];
    for (branch, current) in &network.way {
        loops_of[*branch].push((None, *current));
    }
    for (i, round) in network.loops.iter().enumerate() {
        for (branch, current) in round {
            loops_of[*branch].push((Some(first_loop + i), *current));
        }
    }
    for (chain, carried) in chains.iter().zip(&loops_of) {
        for (triangle, out) in chain {
            // Out of a side flows what the stream function gains along it, counterclockwise.
            let [a, b, c] = [0.0, out[2], -out[1]];
            let local: Local = [a, b, c, (b + c) / 2.0, (c + a) / 2.0, (a + b) / 2.0];
            let values: &mut Values = &mut values[*triangle];
            for (unknown, current) in carried {
                for (i, value) in local.iter().enumerate() {
                    match unknown {
                        Some(unknown) => values.add(*unknown, i, current * value),
                        None => values.fixed[i] += current * value,
                    }
                }
            }
        }
    }
    let squares = held.barrels.iter().zip(&loops_of[chains.len()..]).map(|((_, ohms), carried)| {
        let mut square = Square { weight: *ohms, fixed: 0.0, unknowns: Vec::new() };
        for (unknown, current) in carried {
            match unknown {
                Some(unknown) => square.unknowns.push((*unknown, *current)),
                None => square.fixed += current,
            }
        }
        square
    });
    Problem { mesh, weights: sheet, values, squares: squares.collect(), places }.solve()
}

/// Every triangle's values as unknowns of the stream function, and where those lie.
fn stream_function(mesh: &Mesh, nodes: &Nodes) -> (Vec<Values>, Vec<[f64; 2]>) {
    // Edges that hang together, and what hangs together by copper.
    let (mut edges, mut copper) = (Sets::new(nodes.places.len()), Sets::new(nodes.places.len()));
    let mut on_edge = vec![false; nodes.places.len()];
    for (triangle, of) in mesh.triangles.iter().zip(&nodes.of) {
        of.iter().for_each(|value| copper.join(of[0], *value));
        for (opposite, beyond) in triangle.beyond.iter().enumerate() {
            let side = on_side(opposite).map(|i| of[i]);
            if *beyond != Beyond::Copper {
                // Nodes belong to the line round a piece, but along them the stream function is free.
                side.iter().for_each(|value| edges.join(side[0], *value));
            }
            if *beyond == Beyond::Edge {
                side.iter().for_each(|value| on_edge[*value] = true);
            }
        }
    }
    // The first of an edge may itself lie on a node, where it is free: the edge's name is none of the places'.
    let count = nodes.places.len();
    let names: Vec<usize> =
        (0..count).map(|value| if on_edge[value] { count + edges.find(value) } else { value }).collect();
    // Of each piece the most frequent constant is zero, since only differences count.
    let mut uses = vec![0; 2 * count];
    nodes.of.iter().flatten().for_each(|value| uses[names[*value]] += 1);
    let mut zero: Vec<Option<usize>> = vec![None; count];
    for name in (0..2 * count).filter(|name| uses[*name] > 0) {
        let most = &mut zero[copper.find(name % count)];
        if most.is_none_or(|most| uses[most] < uses[name]) {
            *most = Some(name);
        }
    }
    let (mut numbers, mut places) = (vec![None; 2 * count], Vec::new());
    let values = nodes.of.iter().map(|of| {
        let mut values = Values::default();
        for (i, &value) in of.iter().enumerate() {
            let name = names[value];
            if zero[copper.find(value)] != Some(name) {
                let unknown = *numbers[name].get_or_insert_with(|| {
                    places.push(nodes.places[value]);
                    places.len() - 1
                });
                values.add(unknown, i, 1.0);
            }
        }
        values
    });
    (values.collect(), places)
}

/// What flows out of the sides of each triangle of a chain.
type Chain = Vec<(usize, [f64; 3])>;

/// The chains of all pieces, and the nodes that each leads from and to.
fn chains(mesh: &Mesh, nodes: &Nodes) -> (Vec<Chain>, Vec<[usize; 2]>) {
    let pieces = pieces(mesh);
    let mut beside = Beside::new();
    beside.resize(nodes.places.len(), [None; 2]);
    let mut touching = Vec::new();
    for (i, triangle) in mesh.triangles.iter().enumerate() {
        for (opposite, beyond) in triangle.beyond.iter().enumerate() {
            match beyond {
                Beyond::Copper => {
                    let sides = &mut beside[nodes.of[i][3 + opposite]];
                    sides[usize::from(sides[0].is_some())] = Some((i, opposite));
                }
                Beyond::Node(node) => touching.push((pieces[i], *node, i, opposite)),
                Beyond::Edge => {}
            }
        }
    }
    touching.sort_unstable();
    // Sides on one node that follow each other are one place of touch.
    let mut sets = Sets::new(touching.len());
    let mut at_corner = BTreeMap::new();
    for (i, (piece, node, triangle, opposite)) in touching.iter().enumerate() {
        for corner in mesh.triangles[*triangle].side(*opposite) {
            let first = *at_corner.entry((*piece, *node, corner)).or_insert(i);
            sets.join(i, first);
        }
    }
    let first_of: Vec<usize> = (0..touching.len()).filter(|i| sets.find(*i) == *i).collect();

    let (mut chains, mut ends) = (Vec::new(), Vec::new());
    for group in first_of.chunk_by(|a, b| touching[*a].0 == touching[*b].0) {
        let (_, from, root, root_side) = touching[group[0]];
        let back = ways_back(nodes, &beside, root);
        for other in &group[1..] {
            let (_, to, mut triangle, mut side) = touching[*other];
            let mut chain = Chain::new();
            loop {
                let mut out = [0.0; 3];
                out[side] += 1.0;
                match back[triangle].filter(|_| triangle != root) {
                    Some((enters, before, leaves)) => {
                        out[enters] -= 1.0;
                        chain.push((triangle, out));
                        (triangle, side) = (before, leaves);
                    }
                    None => {
                        out[root_side] -= 1.0;
                        chain.push((triangle, out));
                        break;
                    }
                }
            }
            chains.push(chain);
            ends.push([from, to]);
        }
    }
    (chains, ends)
}

/// By triangle: the side towards the root, the triangle there, and that triangle's side.
type WaysBack = Vec<Option<(usize, usize, usize)>>;

/// By the node in the middle of a side: the triangles that meet there, each with the corner opposite.
type Beside = Vec<[Option<(usize, usize)>; 2]>;

/// The shortest ways to a triangle, counted in triangles.
fn ways_back(nodes: &Nodes, beside: &Beside, root: usize) -> WaysBack {
    let mut back = vec![None; nodes.of.len()];
    back[root] = Some((0, root, 0));
    let mut open = VecDeque::from([root]);
    while let Some(triangle) = open.pop_front() {
        for opposite in 0..3 {
            for (next, enters) in beside[nodes.of[triangle][3 + opposite]].into_iter().flatten() {
                if back[next].is_none() {
                    back[next] = Some((enters, triangle, opposite));
                    open.push_back(next);
                }
            }
        }
    }
    back
}
