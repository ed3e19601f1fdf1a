//! Segments as a graph: what joins what, in one state or in any of them.
//!
//! A board may be walked only if its segments form a forest in every state: where two ways lead between the
//! same points they share the current, and four-wire readings along either say nothing about it alone.

use std::collections::VecDeque;

use super::{Board, PointId, SegmentId, StateId};

/// Segments as edges between points.
pub struct Graph {
    points: usize,
    states: usize,
    edges: Vec<Edge>,
}

/// One segment, reduced to what it joins and when.
#[derive(Clone)]
pub struct Edge {
    /// The segment.
    pub segment: SegmentId,
    /// Its two ends.
    pub ends: [PointId; 2],
    /// States it conducts in; `None` = always.
    pub closed: Option<Vec<StateId>>,
}

impl Graph {
    /// A graph of so many points in so many states.
    pub fn new(points: usize, states: usize, edges: Vec<Edge>) -> Self {
        Self { points, states, edges }
    }

    /// The graph of a finished board.
    pub fn of(board: &Board) -> Self {
        let edge = |(i, segment): (usize, &super::Segment)| Edge {
            segment: SegmentId::new(i),
            ends: [segment.from, segment.to],
            closed: segment.closed.clone(),
        };
        let edges = board.segments.iter().enumerate().map(edge).collect();
        Self::new(board.points.len(), board.states.len(), edges)
    }

    /// The segments that conduct in a state; with `None`, every switch is closed.
    fn conducting(&self, state: Option<StateId>) -> impl Iterator<Item = &Edge> {
        self.edges.iter().filter(move |edge| match (&edge.closed, state) {
            (Some(closed), Some(state)) => closed.contains(&state),
            _ => true,
        })
    }

    /// Segments that touch a point, whatever the state.
    pub fn degree(&self, point: PointId) -> usize {
        self.edges.iter().flat_map(|edge| edge.ends).filter(|end| *end == point).count()
    }

    /// How every point is reached from `start` in a state (`None`: with every switch closed): the entry of a
    /// reached point is the segment and the point before it, `start` itself having none.
    pub fn reach(&self, start: PointId, state: Option<StateId>) -> Reach {
        let mut beside: Vec<Vec<(SegmentId, PointId)>> = vec![Vec::new(); self.points];
        for Edge { segment, ends: [a, b], .. } in self.conducting(state) {
            beside[a.index()].push((*segment, *b));
            beside[b.index()].push((*segment, *a));
        }
        let mut before = vec![None; self.points];
        let mut reached = vec![false; self.points];
        reached[start.index()] = true;
        let mut queue = VecDeque::from([start]);
        while let Some(point) = queue.pop_front() {
            for &(segment, next) in &beside[point.index()] {
                if !reached[next.index()] {
                    reached[next.index()] = true;
                    before[next.index()] = Some((segment, point));
                    queue.push_back(next);
                }
            }
        }
        Reach { before, reached }
    }

    /// The segments from one point to another, in walking order, in the first state that joins them.
    pub fn path(&self, from: PointId, to: PointId) -> Option<Vec<SegmentId>> {
        (0..self.states).find_map(|state| self.reach(from, Some(StateId::new(state))).path(to))
    }

    /// The loops of a state: for every segment that closes one, in file order, all segments in it, in order
    /// of the way round.
    pub fn loops(&self, state: StateId) -> Vec<Vec<SegmentId>> {
        let mut forest = Self::new(self.points, self.states, Vec::new());
        let mut trees: Vec<usize> = (0..self.points).collect();
        let mut found = Vec::new();
        for edge in self.conducting(Some(state)) {
            let [a, b] = edge.ends;
            let (tree_a, tree_b) = (trees[a.index()], trees[b.index()]);
            if tree_a == tree_b {
                let mut round = forest.reach(a, None).path(b).unwrap_or_default();
                round.push(edge.segment);
                found.push(round);
            } else {
                trees.iter_mut().filter(|tree| **tree == tree_b).for_each(|tree| *tree = tree_a);
                forest.edges.push(edge.clone());
            }
        }
        found
    }
}

/// What is reached from a point, and how.
pub struct Reach {
    before: Vec<Option<(SegmentId, PointId)>>,
    reached: Vec<bool>,
}

impl Reach {
    /// Is the point reached?
    pub fn contains(&self, point: PointId) -> bool {
        self.reached[point.index()]
    }

    /// The segments from the start to a point, in walking order; `None` if it is not reached.
    pub fn path(&self, to: PointId) -> Option<Vec<SegmentId>> {
        if !self.contains(to) {
            return None;
        }
        let mut path = Vec::new();
        let mut at = to;
        while let Some((segment, before)) = self.before[at.index()] {
            path.push(segment);
            at = before;
        }
        path.reverse();
        Some(path)
    }

    /// Points reached, the start included.
    pub fn points(&self) -> impl Iterator<Item = PointId> + '_ {
        (0..self.reached.len()).filter(|i| self.reached[*i]).map(PointId::new)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Segments by their ends, in order, and the states they conduct in.
    fn graph(points: usize, edges: &[(usize, usize, Option<&[usize]>)]) -> Graph {
        let edge = |(i, (a, b, closed)): (usize, &(usize, usize, Option<&[usize]>))| Edge {
            segment: SegmentId::new(i),
            ends: [PointId::new(*a), PointId::new(*b)],
            closed: closed.map(|states| states.iter().map(|state| StateId::new(*state)).collect()),
        };
        Graph::new(points, 2, edges.iter().enumerate().map(edge).collect())
    }

    #[test]
    fn a_path_is_walked_in_order() {
        let line = graph(5, &[(1, 0, None), (1, 2, Some(&[1])), (2, 3, None)]);
        assert_eq!(line.path(PointId::new(0), PointId::new(3)), Some([0, 1, 2].map(SegmentId::new).to_vec()));
        assert_eq!(line.path(PointId::new(0), PointId::new(4)), None);
        assert_eq!(line.reach(PointId::new(0), Some(StateId::new(0))).path(PointId::new(3)), None);
        assert!(!line.reach(PointId::new(0), None).contains(PointId::new(4)));
        assert_eq!(line.degree(PointId::new(1)), 2);
    }

    /// Closed at different times, two switches in series join nothing; the long way round does.
    #[test]
    fn a_path_lies_in_one_state() {
        let way = graph(4, &[(0, 1, Some(&[0])), (1, 2, Some(&[1])), (0, 3, Some(&[1])), (3, 2, None)]);
        assert_eq!(way.path(PointId::new(0), PointId::new(2)), Some([2, 3].map(SegmentId::new).to_vec()));
        assert_eq!(
            way.reach(PointId::new(0), None).path(PointId::new(2)),
            Some([0, 1].map(SegmentId::new).to_vec())
        );
    }

    #[test]
    fn a_loop_is_named_whole_and_only_in_its_state() {
        let ring = graph(4, &[(0, 1, None), (1, 2, None), (2, 3, None), (3, 1, Some(&[1])), (0, 0, None)]);
        assert_eq!(ring.loops(StateId::new(0)), [vec![SegmentId::new(4)]]);
        let in_one = ring.loops(StateId::new(1));
        assert_eq!(in_one, [[2, 1, 3].map(SegmentId::new).to_vec(), vec![SegmentId::new(4)]]);
    }
}
