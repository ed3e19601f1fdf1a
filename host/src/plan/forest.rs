//! The segments that conduct in one state, as a forest: no loops (board files with loops are refused), so between
//! two points there is one path or none.

use std::collections::VecDeque;

use crate::board::{Board, PointId, SegmentId, StateId};

/// One segment walked from force+ towards force-.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Step {
    /// The segment.
    pub segment: SegmentId,
    /// The end nearer force+.
    pub from: PointId,
    /// The end nearer force-.
    pub to: PointId,
}

/// Conducting segments of one state.
#[derive(Clone, Debug)]
pub struct Forest {
    /// For each point, the segments that end there and the points across.
    neighbours: Vec<Vec<(SegmentId, PointId)>>,
}

impl Forest {
    /// What conducts in `state` either way, the segments in `broken` taken out.
    pub fn new(board: &Board, state: StateId, broken: &[SegmentId]) -> Self {
        let mut neighbours = vec![Vec::new(); board.points.len()];
        for id in board.segment_ids() {
            let segment = board.segment(id);
            if segment.conducts_in(state) && segment.kind.one_way().is_none() && !broken.contains(&id) {
                neighbours[segment.from.index()].push((id, segment.to));
                neighbours[segment.to.index()].push((id, segment.from));
            }
        }
        Self { neighbours }
    }

    /// Every point reachable from `root`, nearest first, each with the step that leads to it and where in the
    /// list that step comes from.
    fn spread(&self, root: PointId) -> Vec<Visit> {
        let mut seen = vec![false; self.neighbours.len()];
        seen[root.index()] = true;
        let mut visits = vec![Visit { point: root, by: None }];
        let mut queue = VecDeque::from([0]);
        while let Some(at) = queue.pop_front() {
            let from = visits[at].point;
            for &(segment, to) in &self.neighbours[from.index()] {
                if !std::mem::replace(&mut seen[to.index()], true) {
                    visits.push(Visit { point: to, by: Some((at, Step { segment, from, to })) });
                    queue.push_back(visits.len() - 1);
                }
            }
        }
        visits
    }

    /// Points connected with `root`, itself first, nearest next.
    pub fn tree(&self, root: PointId) -> Vec<PointId> {
        self.spread(root).into_iter().map(|visit| visit.point).collect()
    }

    /// For every point reachable from `root`: how many segments on the way satisfy `wanted`.
    pub fn counts(&self, root: PointId, wanted: impl Fn(SegmentId) -> bool) -> Vec<(PointId, usize)> {
        let visits = self.spread(root);
        let mut counts: Vec<(PointId, usize)> = Vec::with_capacity(visits.len());
        for visit in &visits {
            let count = visit.by.map_or(0, |(at, step)| counts[at].1 + usize::from(wanted(step.segment)));
            counts.push((visit.point, count));
        }
        counts
    }

    /// The path between two points; `None` if they are not connected.
    pub fn path(&self, from: PointId, to: PointId) -> Option<Vec<Step>> {
        let visits = self.spread(from);
        let mut at = visits.iter().position(|visit| visit.point == to)?;
        let mut steps = Vec::new();
        while let Some((before, step)) = visits[at].by {
            steps.push(step);
            at = before;
        }
        steps.reverse();
        Some(steps)
    }
}

struct Visit {
    point: PointId,
    by: Option<(usize, Step)>,
}
