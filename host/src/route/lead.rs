//! From the taut wire to one that can be bent so: other ways round are tried where the shortest has no room for its bends.

use std::cmp::Reverse;
use std::collections::{BTreeSet, BinaryHeap};

use super::bends::{Disc, led};
use super::ground::{Grounds, Role};
use super::laid::Leg;
use super::problem::RouteError;
use super::search::{Barred, Field, Found, Kind};
use super::task::Task;
use super::vector::Vector;
use super::walls::ROUNDING_MM;
use crate::board::Face;

/// Ways that are tried at most.
const MOST_TRIES: usize = 40;
/// Ways to nodes that all searches together may look at.
const MOST_LABELS: usize = 400_000;
/// As near to the shortest as this share, and no other way is looked for.
const NEAR_ENOUGH: f64 = 0.002;

/// Shorter pieces are rounding, mm.
const SHORTEST_MM: f64 = 1e-7;

/// A wire that can be laid.
pub(super) struct Led {
    pub legs: Vec<Leg>,
    pub passages: Vec<usize>,
    /// Its length with the price of its passages, mm.
    pub price: f64,
}

/// A way that was searched for, and what was barred for it.
struct Try {
    nodes: Vec<u32>,
    barred: Barred,
}

/// The shortest of the bent wires that come from taut ones, in the order of the taut ones' lengths; the first of these is given. A taut wire is
/// never longer than the bent one that it becomes.
///
/// # Errors
/// The bound on lines of sight was reached.
pub(super) fn bent(
    task: &Task,
    grounds: &Grounds,
    field: &mut Field<'_>,
    first: (Vec<u32>, f64),
    most_tries: usize,
) -> Result<Option<Led>, RouteError> {
    let mut best: Option<Led> = None;
    let mut seen = BTreeSet::from([first.0.clone()]);
    // The shortest first; prices as bits, which have the order of the numbers as long as these are not negative.
    let mut queue = BinaryHeap::from([Reverse((first.1.to_bits(), 0))]);
    let mut tries = vec![Try { nodes: first.0, barred: Barred::new() }];
    let mut labels = 0;
    while let Some(Reverse((price, number))) = queue.pop() {
        let price = f64::from_bits(price);
        if best.as_ref().is_some_and(|best| best.price * (1.0 - NEAR_ENOUGH) <= price) {
            break;
        }
        let (nodes, barred) = (tries[number].nodes.clone(), tries[number].barred.clone());
        if let Some(found) = lay(task, grounds, field, &nodes)
            && best.as_ref().is_none_or(|best| found.price < best.price)
        {
            best = Some(found);
        }
        if best.as_ref().is_some_and(|best| best.price * (1.0 - NEAR_ENOUGH) <= price) {
            break;
        }
        for pair in nodes.windows(2) {
            if tries.len() >= most_tries.min(MOST_TRIES) || labels > MOST_LABELS {
                break;
            }
            let mut barred = barred.clone();
            barred.insert((pair[0], pair[1]));
            if let Found::Way { nodes, price, labels: looked } = field.search(&barred)? {
                labels += looked;
                if seen.insert(nodes.clone()) {
                    queue.push(Reverse((price.to_bits(), tries.len())));
                    tries.push(Try { nodes, barred });
                }
            }
        }
    }
    Ok(best)
}

/// A taut wire with its bends made as wide as they have to be; nothing where there is no room for them.
fn lay(task: &Task, grounds: &Grounds, field: &Field<'_>, nodes: &[u32]) -> Option<Led> {
    let mut legs = Vec::new();
    let mut passages = Vec::new();
    let mut from: Option<Vector> = None;
    let mut round: Vec<(Disc, f64)> = Vec::new();
    for number in nodes {
        let node = field.nodes.get(*number as usize)?;
        let ground = &grounds.faces[node.face];
        match (node.kind, from) {
            (Kind::Arc(arc), _) => {
                let arc = ground.arcs.get(arc)?;
                let disc = Disc { centre: arc.centre, radius: arc.needed };
                round.push((disc, node.pulley.radius.signum()));
            }
            // Where the wire begins, or comes out of a hole.
            (Kind::Place(_), None) => from = Some(node.pulley.centre),
            (Kind::Place(role), Some(start)) => {
                let ends = [start, node.pulley.centre];
                // Rounding has its share in what is kept from corners, and bends have to stay as wide.
                let pieces = led(ends, &round, task.wire.bend_mm + ROUNDING_MM, &ground.walls)?;
                let pieces = pieces.into_iter().filter(|piece| piece.length_mm() > SHORTEST_MM).collect();
                let face = if node.face == 0 { Face::Front } else { Face::Back };
                legs.push(Leg { face, pieces });
                round.clear();
                from = None;
                if let Role::Hole(hole) = role {
                    passages.push(hole);
                }
            }
        }
    }
    let through = passages.len() as f64 * (task.thickness_mm + task.passage_mm);
    let price = legs.iter().map(Leg::length_mm).sum::<f64>() + through;
    Some(Led { legs, passages, price })
}
