//! Which copper carries current: pieces that hang together by their sides, the nodes they touch, and the way between
//! the terminals.

use std::collections::{BTreeMap, BTreeSet};

use super::held::{Held, Sets};
use super::mesh::{Beyond, Mesh};
use super::{CopperError, End};

/// The piece of each triangle.
pub(super) fn pieces(mesh: &Mesh) -> Vec<usize> {
    let mut sets = Sets::new(mesh.triangles.len());
    let (sides, count) = mesh.sides();
    let mut other = vec![None; count];
    for (i, sides) in sides.iter().enumerate() {
        for side in sides {
            if let Some(beside) = other[*side].replace(i) {
                sets.join(i, beside);
            }
        }
    }
    (0..mesh.triangles.len()).map(|i| sets.find(i)).collect()
}

/// Nodes that each piece touches.
fn touched(mesh: &Mesh, pieces: &[usize]) -> BTreeMap<usize, BTreeSet<usize>> {
    let mut touched: BTreeMap<usize, BTreeSet<usize>> = BTreeMap::new();
    for (triangle, piece) in mesh.triangles.iter().zip(pieces) {
        for beyond in triangle.beyond {
            if let Beyond::Node(node) = beyond {
                touched.entry(*piece).or_default().insert(node);
            }
        }
    }
    touched
}

/// Leaves only what may carry current from one terminal to the other.
///
/// # Errors
/// A terminal touches nothing, or they are not joined.
pub(super) fn prune(mesh: &mut Mesh, held: &mut Held) -> Result<(), CopperError> {
    let pieces = pieces(mesh);
    let touched = touched(mesh, &pieces);
    let mut sets = Sets::new(held.nodes);
    let barrels = held.barrels.iter().map(|(ends, _)| ends.to_vec());
    for joined in touched.values().map(|nodes| nodes.iter().copied().collect()).chain(barrels) {
        joined.iter().for_each(|node| sets.join(*node, joined[0]));
    }
    for (end, node) in [End::From, End::To].into_iter().zip(held.ends) {
        let meets = |nodes: &BTreeSet<usize>| nodes.contains(&node);
        if !touched.values().any(meets) && !held.barrels.iter().any(|(ends, _)| ends.contains(&node)) {
            return Err(CopperError::Outside { end });
        }
    }
    let [from, to] = held.ends.map(|end| sets.find(end));
    if from != to {
        return Err(CopperError::Apart);
    }
    held.barrels.retain(|([a, b], _)| a != b && sets.find(*a) == from);
    let mut carries = |piece: &usize| {
        touched
            .get(piece)
            .is_some_and(|nodes| nodes.len() > 1 && nodes.iter().all(|node| sets.find(*node) == from))
    };
    let carrying: Vec<bool> = pieces.iter().map(&mut carries).collect();
    let mut carrying = carrying.into_iter();
    mesh.triangles.retain(|_| carrying.next().unwrap_or_default());
    Ok(())
}
