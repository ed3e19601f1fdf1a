//! Stretches: paths between two forced points that together cover what is to be measured.
//!
//! The force current runs once over the longest stretch that still has something to measure, then the next, until
//! everything within reach is covered.

use std::collections::BTreeSet;

use super::forest::{Crossing, Forest, Step};
use crate::{
    board::{PointId, SegmentId},
    fixture::Fixture,
};

/// A path between two points that carry both a force pin and a sense pin.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Stretch {
    /// Forced at +.
    pub from: PointId,
    /// Forced at -.
    pub to: PointId,
    /// The whole path, apart from what lies in meshes.
    pub steps: Vec<Step>,
    /// The meshes it runs through.
    pub crossings: Vec<Crossing>,
    /// Which of its segments this stretch is to measure.
    pub wanted: BTreeSet<SegmentId>,
}

/// Can a point be forced and sensed?
pub fn is_forced(fixture: &Fixture, point: PointId) -> bool {
    fixture.pins(point).force.is_some() && fixture.pins(point).sense.is_some()
}

/// Covers as much of `wanted` as force pins allow; also gives back what none can reach, and what lies in meshes.
pub fn cover(
    forest: &Forest,
    fixture: &Fixture,
    wanted: &BTreeSet<SegmentId>,
) -> (Vec<Stretch>, BTreeSet<SegmentId>) {
    let forced: Vec<PointId> =
        (0..fixture.pins.len()).map(PointId::new).filter(|&point| is_forced(fixture, point)).collect();
    // The supply's own terminal first: a stretch that begins where the last one did moves one force relay less.
    let supply = fixture.board.supply.from;
    let roots = || forced.iter().copied().filter(|&p| p == supply).chain(forced.iter().copied());

    let mut left = wanted.clone();
    let mut stretches = Vec::new();
    while !left.is_empty() {
        let mut best: Option<(usize, PointId, PointId)> = None;
        for root in roots() {
            for (end, count) in forest.counts(root, |segment| left.contains(&segment)) {
                if count > best.map_or(0, |(most, ..)| most) && forced.contains(&end) {
                    best = Some((count, root, end));
                }
            }
        }
        let Some((_, from, to)) = best else { break };
        let Some(steps) = forest.path(from, to) else { break };
        let mine: BTreeSet<_> = steps.iter().map(|step| step.segment).filter(|s| left.remove(s)).collect();
        let crossings = forest.crossings(from, to);
        stretches.push(Stretch { from, to, steps, crossings, wanted: mine });
    }
    (stretches, left)
}
