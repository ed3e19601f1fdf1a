//! The segments that conduct in one state, as a forest: a mesh, whose segments form loops, counts as one piece, so between two points
//! there is one path or none.

use std::collections::VecDeque;

use crate::board::{
    Board, PointId, SegmentId, StateId,
    graph::{Graph, Mesh},
};

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

/// A path through a mesh, by whatever of its segments the current takes.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Crossing {
    /// Where it enters the mesh.
    pub from: PointId,
    /// Where it leaves it.
    pub to: PointId,
    /// The mesh.
    pub mesh: Mesh,
}

/// Conducting segments of one state. The segments of a mesh join points, but they are no steps of a path and none of them is counted:
/// no current is known to take them one after the other.
#[derive(Clone, Debug)]
pub struct Forest {
    /// For each point, the segments that end there and the points across.
    neighbours: Vec<Vec<(SegmentId, PointId)>>,
    meshes: Vec<Mesh>,
    /// By segment: the mesh it belongs to.
    mesh_of: Vec<Option<usize>>,
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
        let meshes = Graph::of(board).meshes(state, broken);
        let mut mesh_of = vec![None; board.segments.len()];
        for (at, mesh) in meshes.iter().enumerate() {
            mesh.segments.iter().for_each(|id| mesh_of[id.index()] = Some(at));
        }
        Self { neighbours, meshes, mesh_of }
    }

    fn mesh_of(&self, segment: SegmentId) -> Option<usize> {
        self.mesh_of[segment.index()]
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

    /// For every point reachable from `root`: how many steps on the way satisfy `wanted`.
    pub fn counts(&self, root: PointId, wanted: impl Fn(SegmentId) -> bool) -> Vec<(PointId, usize)> {
        let visits = self.spread(root);
        let mut counts: Vec<(PointId, usize)> = Vec::with_capacity(visits.len());
        for visit in &visits {
            let is_step = |step: Step| self.mesh_of(step.segment).is_none() && wanted(step.segment);
            let count = visit.by.map_or(0, |(at, step)| counts[at].1 + usize::from(is_step(step)));
            counts.push((visit.point, count));
        }
        counts
    }

    /// Every step that is walked by itself from `root` on, nearest first, with the points beyond it.
    pub fn beyond(&self, root: PointId) -> Vec<(Step, Vec<PointId>)> {
        let visits = self.spread(root);
        let mut behind: Vec<Vec<PointId>> = visits.iter().map(|visit| vec![visit.point]).collect();
        // A visit stands behind the one it came from, so from the end on every list is whole when it is handed on.
        for (at, visit) in visits.iter().enumerate().rev() {
            if let Some((before, _)) = visit.by {
                let own = behind[at].clone();
                behind[before].extend(own);
            }
        }
        let steps = visits.iter().zip(behind).filter_map(|(visit, points)| Some((visit.by?.1, points)));
        steps.filter(|(step, _)| self.mesh_of(step.segment).is_none()).collect()
    }

    /// The path between two points, without what it takes through meshes: where a step does not begin at the end of the one before,
    /// a mesh lies between. `None` if the points are not connected.
    pub fn path(&self, from: PointId, to: PointId) -> Option<Vec<Step>> {
        let way = self.way(from, to)?;
        Some(way.into_iter().filter(|step| self.mesh_of(step.segment).is_none()).collect())
    }

    /// The meshes that the path between two points runs through, in its order; none if the points are not connected.
    pub fn crossings(&self, from: PointId, to: PointId) -> Vec<Crossing> {
        let mut crossings: Vec<(usize, Crossing)> = Vec::new();
        for Step { segment, from, to } in self.way(from, to).unwrap_or_default() {
            let Some(at) = self.mesh_of(segment) else { continue };
            match crossings.last_mut() {
                Some((last, crossing)) if *last == at => crossing.to = to,
                _ => crossings.push((at, Crossing { from, to, mesh: self.meshes[at].clone() })),
            }
        }
        crossings.into_iter().map(|(_, crossing)| crossing).collect()
    }

    /// One way between two points, through meshes by the fewest of their segments.
    fn way(&self, from: PointId, to: PointId) -> Option<Vec<Step>> {
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
