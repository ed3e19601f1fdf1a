//! Where a way through a net's copper is cut: at every spot that all of the current passes and that a pin can touch. What lies
//! between two cuts, loops included, is one stretch, so no current is counted twice and none is left out.

use std::collections::{BTreeSet, VecDeque};

use super::layout::Layout;
use super::net::{Net, PieceId, SpotId};
use crate::board::Side;
use crate::plane::apart;

/// Pins of one side stand at least this far apart, mm: what fixture files demand.
const PITCH_MM: f64 = 1.0;

/// Copper between two spots.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Stretch {
    /// Its ends.
    pub ends: [SpotId; 2],
    /// Pieces that can carry current from one end to the other.
    pub pieces: BTreeSet<PieceId>,
    /// Spots that these touch, without the ends.
    pub within: BTreeSet<SpotId>,
}

/// A spot or a piece.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
enum Node {
    Spot(SpotId),
    Piece(PieceId),
}

fn neighbours(net: &Net, node: Node) -> Vec<Node> {
    match node {
        Node::Spot(id) => net
            .spots
            .get(id)
            .into_iter()
            .flat_map(|spot| &spot.pieces)
            .map(|&piece| Node::Piece(piece))
            .collect(),
        Node::Piece(id) => net
            .pieces
            .get(id)
            .into_iter()
            .flat_map(|piece| &piece.spots)
            .map(|&spot| Node::Spot(spot))
            .collect(),
    }
}

/// The shortest way from one spot to another, ends included, that passes none of the barred ones.
fn way(net: &Net, from: SpotId, to: SpotId, barred: &BTreeSet<Node>) -> Option<Vec<Node>> {
    let start = Node::Spot(from);
    let mut came = std::collections::BTreeMap::from([(start, start)]);
    let mut queue = VecDeque::from([start]);
    while let Some(node) = queue.pop_front() {
        if node == Node::Spot(to) {
            let mut path = vec![node];
            let mut at = node;
            while let Some(&before) = came.get(&at).filter(|before| **before != at) {
                path.push(before);
                at = before;
            }
            path.reverse();
            return Some(path);
        }
        for next in neighbours(net, node) {
            if !barred.contains(&next) && !came.contains_key(&next) {
                came.insert(next, node);
                queue.push_back(next);
            }
        }
    }
    None
}

/// How many steps lie between two spots; `None` where no copper joins them.
pub fn steps(net: &Net, from: SpotId, to: SpotId) -> Option<usize> {
    way(net, from, to, &BTreeSet::new()).map(|way| way.len())
}

/// The stretches from one spot to another, in order; `None` where no copper joins them.
pub fn stretches(layout: &Layout, net: &Net, from: SpotId, to: SpotId) -> Option<Vec<Stretch>> {
    let path = way(net, from, to, &BTreeSet::new())?;
    let is_cut = |node: &&Node| match node {
        Node::Spot(spot) if *spot != from && *spot != to => {
            way(net, from, to, &BTreeSet::from([**node])).is_none() && touchable(layout, net, *spot)
        }
        _ => false,
    };
    let all = path.iter().filter(is_cut).filter_map(|node| match node {
        Node::Spot(spot) => Some(*spot),
        Node::Piece(_) => None,
    });
    let mut cuts = vec![from];
    for spot in all {
        let last = cuts.last().copied().unwrap_or(from);
        if !crowded(layout, net, last, spot) && !crowded(layout, net, spot, to) {
            cuts.push(spot);
        }
    }
    cuts.push(to);
    Some(cuts.iter().zip(cuts.iter().skip(1)).map(|(&a, &b)| between(net, a, b)).collect())
}

fn touchable(layout: &Layout, net: &Net, spot: SpotId) -> bool {
    net.spots.get(spot).is_some_and(|spot| spot.side(layout).is_some())
}

/// Are two spots too close together for a pin each on the same side?
fn crowded(layout: &Layout, net: &Net, one: SpotId, other: SpotId) -> bool {
    let (Some(one), Some(other)) = (net.spots.get(one), net.spots.get(other)) else { return false };
    let close = matches!((one.at(layout), other.at(layout)), (Some(a), Some(b)) if apart(a, b) < PITCH_MM);
    let sides = (one.side(layout), other.side(layout));
    close && !matches!(sides, (Some(Side::Front), Some(Side::Back)) | (Some(Side::Back), Some(Side::Front)))
}

/// Everything that hangs between two spots; dead ends are left off, but for the spots beside what carries current.
pub fn between(net: &Net, from: SpotId, to: SpotId) -> Stretch {
    let ends = BTreeSet::from([Node::Spot(from), Node::Spot(to)]);
    let mut pieces: BTreeSet<PieceId> = BTreeSet::new();
    let mut seen = ends.clone();
    for first in neighbours(net, Node::Spot(from)) {
        if seen.contains(&first) {
            continue;
        }
        // One part of what is left of the net when both ends are taken out.
        let (mut part, mut queue, mut reaches) = (BTreeSet::from([first]), vec![first], false);
        while let Some(node) = queue.pop() {
            for next in neighbours(net, node) {
                reaches |= next == Node::Spot(to);
                if !ends.contains(&next) && part.insert(next) {
                    queue.push(next);
                }
            }
        }
        seen.extend(part.iter().copied());
        if reaches {
            pieces.extend(part.iter().filter_map(|node| match node {
                Node::Piece(piece) => Some(*piece),
                Node::Spot(_) => None,
            }));
        }
    }
    // Pieces that touch a single spot that leads on carry nothing; without them others may carry nothing either.
    loop {
        let leads = |spot: &SpotId| {
            let carrying = net.spots.get(*spot).map_or(0, |spot| spot.pieces.intersection(&pieces).count());
            *spot == from || *spot == to || carrying > 1
        };
        let dead: Vec<PieceId> = pieces
            .iter()
            .filter(|id| {
                net.pieces.get(**id).is_none_or(|piece| piece.spots.iter().filter(|s| leads(s)).count() < 2)
            })
            .copied()
            .collect();
        if dead.is_empty() {
            break;
        }
        pieces.retain(|piece| !dead.contains(piece));
    }
    let touched = pieces.iter().filter_map(|id| net.pieces.get(*id)).flat_map(|piece| &piece.spots);
    let within = touched.filter(|spot| **spot != from && **spot != to).copied().collect();
    Stretch { ends: [from, to], pieces, within }
}

/// The spots of two ways that share none, where a stretch has a second way; those inside it that can be told apart.
pub fn two_ways(net: &Net, stretch: &Stretch) -> Option<[Vec<SpotId>; 2]> {
    let [from, to] = stretch.ends;
    let own = |node: &Node| match node {
        Node::Spot(spot) => stretch.ends.contains(spot) || stretch.within.contains(spot),
        Node::Piece(piece) => stretch.pieces.contains(piece),
    };
    let all = (0..net.spots.len()).map(Node::Spot).chain((0..net.pieces.len()).map(Node::Piece));
    let mut barred: BTreeSet<Node> = all.filter(|node| !own(node)).collect();
    let inner = |way: &[Node]| -> Vec<SpotId> {
        way.iter()
            .filter_map(|node| match node {
                Node::Spot(spot) if !stretch.ends.contains(spot) => Some(*spot),
                _ => None,
            })
            .collect()
    };
    let first = way(net, from, to, &barred)?;
    let taken = first.iter().filter(|node| **node != Node::Spot(from) && **node != Node::Spot(to));
    barred.extend(taken.copied());
    let second = way(net, from, to, &barred)?;
    Some([inner(&first), inner(&second)])
}
