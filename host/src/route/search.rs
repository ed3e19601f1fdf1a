//! The shortest taut wire, by A* over tangents of arcs.
//!
//! Every shortest way among obstacles widened by a disc consists of tangents between arcs of that widening, and of pieces of these arcs. Nodes
//! are the arcs, each once for either turn, and the places. Which straight pieces leave an arc is worked out when the search comes to it,
//! and only those are looked at that leave and arrive in the sense of the arcs.

use std::cmp::Ordering;
use std::collections::{BTreeSet, BinaryHeap};

use super::corners::SAME_ANGLE;
use super::ground::{Grounds, Role};
use super::problem::RouteError;
use super::tangent::{Pulley, Tangent};
use super::vector::{Vector, along, angle};
use crate::plane::apart;

/// Most lines of sight that are looked at.
const MOST_SIGHTS: usize = 8_000_000;
/// Lengths closer than this are one, mm.
const SAME_MM: f64 = 1e-9;

/// A place, or an arc with a turn.
#[derive(Clone, Copy, Debug)]
pub(super) struct Node {
    /// 0 for the front, 1 for the back.
    pub face: usize,
    pub pulley: Pulley,
    pub kind: Kind,
}

#[derive(Clone, Copy, Debug)]
pub(super) enum Kind {
    Place(Role),
    /// By its number among the arcs of the face.
    Arc(usize),
}

/// A straight piece from one node to another; `leave` and `arrive` are how far round their arcs it touches them, radians in the
/// sense of the turn.
#[derive(Clone, Copy, Debug)]
struct Hop {
    to: u32,
    leave: f64,
    arrive: f64,
    length: f64,
}

/// Straight pieces from one node to another that are not to be used.
pub(super) type Barred = BTreeSet<(u32, u32)>;

/// The nodes of both faces, and the straight pieces found so far.
pub(super) struct Field<'a> {
    grounds: &'a Grounds,
    pub nodes: Vec<Node>,
    hops: Vec<Option<Vec<Hop>>>,
    goals: Vec<Vector>,
    /// What a passage through a hole adds, mm.
    passage: f64,
    sights: usize,
}

/// What a search came to.
pub(super) enum Found {
    /// The nodes in order, and the way's price in mm.
    Way {
        nodes: Vec<u32>,
        price: f64,
        /// How many ways to nodes were looked at.
        labels: usize,
    },
    /// There is none; the places that were reached, as face and role.
    Nothing { reached: Vec<(usize, Role)> },
}

/// A way as far as a node.
#[derive(Clone, Copy)]
struct Label {
    node: u32,
    arrive: f64,
    price: f64,
    before: Option<u32>,
    /// Did it come through a hole? Then it goes on over this face; one that came over the face to a hole goes through.
    through: bool,
}

/// A label in the queue, the most promising first.
struct Queued {
    promise: f64,
    label: u32,
}

impl PartialEq for Queued {
    fn eq(&self, other: &Self) -> bool {
        self.cmp(other) == Ordering::Equal
    }
}

impl Eq for Queued {}

impl PartialOrd for Queued {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

impl Ord for Queued {
    fn cmp(&self, other: &Self) -> Ordering {
        other.promise.total_cmp(&self.promise).then(other.label.cmp(&self.label))
    }
}

impl<'a> Field<'a> {
    /// `passage`: the price of a passage through a hole, the board's thickness included, mm.
    pub fn new(grounds: &'a Grounds, passage: f64) -> Self {
        let mut nodes = Vec::new();
        for (face, ground) in grounds.faces.iter().enumerate() {
            nodes.extend(ground.places.iter().map(|place| Node {
                face,
                pulley: Pulley { centre: place.at, radius: 0.0 },
                kind: Kind::Place(place.role),
            }));
            nodes.extend(ground.arcs.iter().enumerate().flat_map(|(number, arc)| {
                [1.0, -1.0].map(|turn| Node {
                    face,
                    pulley: Pulley { centre: arc.centre, radius: turn * arc.radius },
                    kind: Kind::Arc(number),
                })
            }));
        }
        let goals = nodes.iter().filter(|node| matches!(node.kind, Kind::Place(Role::To)));
        let goals = goals.map(|node| node.pulley.centre).collect();
        Self { grounds, hops: vec![None; nodes.len()], nodes, goals, passage, sights: 0 }
    }

    /// The shortest way that uses no barred piece.
    ///
    /// # Errors
    /// The bound on lines of sight was reached.
    pub fn search(&mut self, barred: &Barred) -> Result<Found, RouteError> {
        let mut labels: Vec<Label> = Vec::new();
        let mut queue = BinaryHeap::new();
        // Settled ways to a node that no other is better than in every respect: how far round, and the price.
        let mut settled: Vec<Vec<(f64, f64)>> = vec![Vec::new(); self.nodes.len()];
        for (number, node) in self.nodes.iter().enumerate() {
            if matches!(node.kind, Kind::Place(Role::From)) {
                let label =
                    Label { node: number as u32, arrive: 0.0, price: 0.0, before: None, through: false };
                queue
                    .push(Queued { promise: self.remaining(node.pulley.centre), label: labels.len() as u32 });
                labels.push(label);
            }
        }
        while let Some(Queued { label: number, .. }) = queue.pop() {
            let label = labels[number as usize];
            let node = self.nodes[label.node as usize];
            let radius = node.pulley.radius.abs();
            if worse(&settled[label.node as usize], radius, label.arrive, label.price) {
                continue;
            }
            settled[label.node as usize].push((label.arrive, label.price));
            if matches!(node.kind, Kind::Place(Role::To)) {
                let nodes = trace(&labels, number);
                return Ok(Found::Way { nodes, price: label.price, labels: labels.len() });
            }
            if let (Kind::Place(Role::Hole(hole)), false) = (node.kind, label.through) {
                let other = self.nodes.iter().position(|other| {
                    other.face != node.face
                        && matches!(other.kind, Kind::Place(Role::Hole(same)) if same == hole)
                });
                if let Some(other) = other {
                    let price = label.price + self.passage;
                    let promise = price + self.remaining(node.pulley.centre);
                    queue.push(Queued { promise, label: labels.len() as u32 });
                    let node = other as u32;
                    labels.push(Label { node, arrive: 0.0, price, before: Some(number), through: true });
                }
                continue;
            }
            self.expand(label.node)?;
            let hops = self.hops[label.node as usize].as_deref().unwrap_or_default();
            for hop in hops {
                let round = hop.leave - label.arrive;
                if round < -2.0 * SAME_ANGLE || barred.contains(&(label.node, hop.to)) {
                    continue;
                }
                let price = label.price + radius * round.max(0.0) + hop.length;
                let target = &self.nodes[hop.to as usize];
                if worse(&settled[hop.to as usize], target.pulley.radius.abs(), hop.arrive, price) {
                    continue;
                }
                let contact = self.contact(target, hop.arrive);
                let next =
                    Label { node: hop.to, arrive: hop.arrive, price, before: Some(number), through: false };
                queue.push(Queued { promise: price + self.remaining(contact), label: labels.len() as u32 });
                labels.push(next);
            }
        }
        let reached = self.nodes.iter().zip(&settled).filter(|(_, settled)| !settled.is_empty());
        let reached = reached.filter_map(|(node, _)| match node.kind {
            Kind::Place(role) => Some((node.face, role)),
            Kind::Arc(_) => None,
        });
        Ok(Found::Nothing { reached: reached.collect() })
    }

    /// Where a wire touches a node that it is so far round.
    fn contact(&self, node: &Node, round: f64) -> Vector {
        let Kind::Arc(number) = node.kind else { return node.pulley.centre };
        let arc = &self.grounds.faces[node.face].arcs[number];
        let from_start = if node.pulley.radius > 0.0 { round } else { arc.sweep - round };
        along(arc.centre, super::vector::turned(arc.from, from_start), arc.radius)
    }

    /// Straight to the nearer goal; never more than what a way costs.
    fn remaining(&self, at: Vector) -> f64 {
        self.goals.iter().map(|goal| apart(*goal, at)).fold(f64::INFINITY, f64::min)
    }

    /// Works out the straight pieces that leave a node.
    fn expand(&mut self, number: u32) -> Result<(), RouteError> {
        if self.hops[number as usize].is_some() {
            return Ok(());
        }
        let node = self.nodes[number as usize];
        let ground = &self.grounds.faces[node.face];
        let mut hops = Vec::new();
        for (to, target) in self.nodes.iter().enumerate() {
            if target.face != node.face || to == number as usize {
                continue;
            }
            let Some(tangent) = Tangent::between(node.pulley, target.pulley) else { continue };
            let (Some(leave), Some(arrive)) = (self.round(&node, &tangent), self.round(target, &tangent))
            else {
                continue;
            };
            self.sights += 1;
            if ground.walls.sees(tangent.touches(node.pulley), tangent.touches(target.pulley)) {
                hops.push(Hop { to: to as u32, leave, arrive, length: tangent.length });
            }
        }
        if self.sights > MOST_SIGHTS {
            return Err(RouteError::Crowded { most: MOST_SIGHTS });
        }
        self.hops[number as usize] = Some(hops);
        Ok(())
    }

    /// How far round a node a tangent touches it; nothing where that is not on its arc.
    fn round(&self, node: &Node, tangent: &Tangent) -> Option<f64> {
        let Kind::Arc(number) = node.kind else { return Some(0.0) };
        let arc = &self.grounds.faces[node.face].arcs[number];
        let contact = tangent.contact(node.pulley);
        if !arc.spans(contact) {
            return None;
        }
        let from_start = angle(arc.from, contact).clamp(0.0, arc.sweep);
        Some(if node.pulley.radius > 0.0 { from_start } else { arc.sweep - from_start })
    }
}

/// Is there a settled way that is no farther round and, on from there, no dearer?
fn worse(settled: &[(f64, f64)], radius: f64, arrive: f64, price: f64) -> bool {
    settled.iter().any(|(round, paid)| {
        *round <= arrive + SAME_ANGLE && paid + radius * (arrive - round).max(0.0) <= price + SAME_MM
    })
}

fn trace(labels: &[Label], last: u32) -> Vec<u32> {
    let mut nodes = Vec::new();
    let mut at = Some(last);
    while let Some(label) = at.and_then(|number| labels.get(number as usize)) {
        nodes.push(label.node);
        at = label.before;
    }
    nodes.reverse();
    nodes
}
