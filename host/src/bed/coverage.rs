//! What one more force pin uncovers behind a break, as sets.
//!
//! After a break at `b` a segment `e` is read if a force pin stands on either side of it in what is left. On its far side there is one already: the
//! ends of all branches are forced, and before the break `e` was read. So it takes one of the force pins between `b` and `e`, any of them: with
//! the pins S, the expected number of segments read after one break is the sum over all (b, e) of the probability of `b`, if S meets the points
//! between them. A sum of such "meets this set" terms with weights that are not negative is a coverage function: monotone and submodular
//! (each pin adds no less to a smaller S). So greedy choice reaches at least 1 - 1/e of what is possible on top of the pins that are
//! needed anyway (Nemhauser, Wolsey and Fisher 1978), and no set of k pins reaches more than what stands, plus the k largest gains.
//!
//! Segments on loops are read together or not at all, which is no sum of such terms; they are not counted. Nor are diodes and transistors.

use std::collections::{BTreeMap, BTreeSet};

use crate::board::{Board, PointId, SegmentId, StateId};
use crate::hypothesis::{Defect, Rates};
use crate::plan::forest::Forest;

/// Larger boards get no further force pins: what would be worked out grows as the third power, and no bench has the channels.
pub const MOST_SEGMENTS: usize = 400;

/// Probabilities are whole numbers of this part, so that sums are exact and the same on every machine.
pub const UNIT: f64 = 1e-12;

/// The sets to be met, and what is read without any of the candidates.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Coverage {
    /// Sets of candidates, by position, of which one is enough, each with its weight.
    pub sets: Vec<(Vec<usize>, u64)>,
    /// Expected number of segments read after one break, by the pins that are there.
    pub standing: u64,
    /// The same if nothing were hidden.
    pub all: u64,
}

impl Coverage {
    /// What a board has to uncover; `forced` are the points with a force pin already, `candidates` those that may get one.
    pub fn of(board: &Board, forced: &[PointId], candidates: &[PointId]) -> Self {
        let breaks = breaks(board);
        let place: BTreeMap<PointId, usize> = candidates.iter().copied().zip(0..).collect();
        let mut sets: BTreeMap<Vec<usize>, u64> = BTreeMap::new();
        let (mut hidden, mut all) = (0, 0);
        for (state, read) in read_in(board, forced) {
            for &(broken, weight) in &breaks {
                all += weight * read.iter().filter(|id| **id != broken).count() as u64;
                if !board.segment(broken).conducts_in(state) {
                    continue;
                }
                let forest = Forest::new(board, state, &[broken]);
                let ends = [board.segment(broken).from, board.segment(broken).to];
                for root in ends {
                    let here: BTreeSet<PointId> = forest.tree(root).into_iter().collect();
                    // Where both ends still hang together the break lies on a loop, and is looked at from one of them.
                    if root == ends[1] && here.contains(&ends[0]) {
                        continue;
                    }
                    for (step, beyond) in forest.beyond(root) {
                        if !read.contains(&step.segment) {
                            continue;
                        }
                        let beyond: BTreeSet<PointId> = beyond.into_iter().collect();
                        let between: Vec<PointId> = here.difference(&beyond).copied().collect();
                        if between.iter().any(|point| forced.contains(point)) {
                            continue;
                        }
                        hidden += weight;
                        let set: Vec<usize> =
                            between.iter().filter_map(|point| place.get(point).copied()).collect();
                        if !set.is_empty() {
                            *sets.entry(set).or_default() += weight;
                        }
                    }
                }
            }
        }
        Self { sets: sets.into_iter().collect(), standing: all - hidden, all }
    }
}

/// The probability of each break, given that there is one, in units of [`UNIT`].
fn breaks(board: &Board) -> Vec<(SegmentId, u64)> {
    let opens: Vec<(SegmentId, f64)> = Rates::table()
        .weights(board)
        .into_iter()
        .filter_map(|(defect, weight)| match defect {
            Defect::Open(id) if board.segment(id).kind.one_way().is_none() => Some((id, weight)),
            _ => None,
        })
        .collect();
    let sum: f64 = opens.iter().map(|(_, weight)| weight).sum();
    opens.into_iter().map(|(id, weight)| (id, (weight / sum / UNIT).round() as u64)).collect()
}

/// By state, which segments are read in it: as in a plan, each in the richest state in which force pins reach both its sides.
fn read_in(board: &Board, forced: &[PointId]) -> Vec<(StateId, BTreeSet<SegmentId>)> {
    let conducting =
        |state: &StateId| board.segment_ids().filter(|&id| board.segment(id).conducts_in(*state)).count();
    let mut states: Vec<StateId> = board.state_ids().collect();
    states.sort_by_key(|state| std::cmp::Reverse(conducting(state)));
    let mut left: BTreeSet<SegmentId> =
        board.segment_ids().filter(|&id| board.segment(id).kind.one_way().is_none()).collect();
    let mut by_state = Vec::new();
    for state in states {
        let mut read = BTreeSet::new();
        for &id in &left {
            let segment = board.segment(id);
            if !segment.conducts_in(state) {
                continue;
            }
            let forest = Forest::new(board, state, &[id]);
            let sides = [segment.from, segment.to].map(|end| forest.tree(end));
            let on_a_loop = sides[0].contains(&segment.to);
            if !on_a_loop && sides.iter().all(|side| side.iter().any(|point| forced.contains(point))) {
                read.insert(id);
            }
        }
        left.retain(|id| !read.contains(id));
        by_state.push((state, read));
    }
    by_state
}
