//! Segments as a graph: what joins what, in one state or in any of them, and where two ways lead between the same points.
//!
//! A segment that lies on no loop carries whatever current is sent past it and is read by itself. Those on loops share their current;
//! all that do so with one another are a [`Mesh`], whose segments are read together.

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

    /// The same with one segment taken out.
    pub fn without(mut self, segment: SegmentId) -> Self {
        self.edges.retain(|edge| edge.segment != segment);
        self
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

    /// The nearest point that is wanted, from `start` in a state, without passing the segments in `without`.
    pub fn nearest(
        &self,
        start: PointId,
        state: StateId,
        without: &[SegmentId],
        wanted: impl Fn(PointId) -> bool,
    ) -> Option<PointId> {
        let mut seen = vec![false; self.points];
        seen[start.index()] = true;
        let mut queue = VecDeque::from([start]);
        while let Some(point) = queue.pop_front() {
            if wanted(point) {
                return Some(point);
            }
            for edge in self.conducting(Some(state)).filter(|edge| !without.contains(&edge.segment)) {
                let [a, b] = edge.ends;
                for (here, there) in [(a, b), (b, a)] {
                    if here == point && !std::mem::replace(&mut seen[there.index()], true) {
                        queue.push_back(there);
                    }
                }
            }
        }
        None
    }

    /// The segments from one point to another, in walking order, in the first state that joins them.
    pub fn path(&self, from: PointId, to: PointId) -> Option<Vec<SegmentId>> {
        (0..self.states).find_map(|state| self.reach(from, Some(StateId::new(state))).path(to))
    }

    /// The meshes of a state, as if the segments in `without` were not there: for every set of segments of which any two lie on
    /// a loop, these and their points, each in ascending order. A segment that begins where it ends is in none.
    pub fn meshes(&self, state: StateId, without: &[SegmentId]) -> Vec<Mesh> {
        let edges: Vec<&Edge> = self
            .conducting(Some(state))
            .filter(|edge| edge.ends[0] != edge.ends[1] && !without.contains(&edge.segment))
            .collect();
        let mut beside: Vec<Vec<usize>> = vec![Vec::new(); self.points];
        for (at, edge) in edges.iter().enumerate() {
            edge.ends.iter().for_each(|end| beside[end.index()].push(at));
        }
        let mut search = Search {
            edges: &edges,
            beside: &beside,
            entered: vec![None; self.points],
            passed: Vec::new(),
            found: Vec::new(),
        };
        (0..self.points).map(PointId::new).for_each(|point| search.from(point));
        let mut meshes = search.found;
        meshes.sort_by(|a, b| a.segments.cmp(&b.segments));
        meshes
    }

    /// Segments that conduct in a state and begin where they end.
    pub fn rings_of_one(&self, state: StateId) -> impl Iterator<Item = SegmentId> {
        self.conducting(Some(state)).filter(|edge| edge.ends[0] == edge.ends[1]).map(|edge| edge.segment)
    }
}

/// A mesh may have so many segments: what force pins tell of it is worked out from eigenvalues, whose cost grows as the third power, and
/// a hundred take a second.
pub const MOST_IN_MESH: usize = 100;

/// Segments that share their current, because any two of them lie on a loop.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Mesh {
    /// Its segments, ascending.
    pub segments: Vec<SegmentId>,
    /// The points they join, ascending.
    pub points: Vec<PointId>,
}

/// Depth-first search for biconnected components (Tarjan's lowest points; Hopcroft and Tarjan 1973), with a stack of its own: files may
/// be long.
struct Search<'g> {
    edges: &'g [&'g Edge],
    beside: &'g [Vec<usize>],
    /// When a point was entered first, and the earliest entry that can be reached from behind it.
    entered: Vec<Option<[usize; 2]>>,
    /// Segments passed and not yet given to a component.
    passed: Vec<usize>,
    found: Vec<Mesh>,
}

impl Search<'_> {
    /// Everything that hangs together with a point, if it was not seen before.
    fn from(&mut self, start: PointId) {
        if self.entered[start.index()].is_some() {
            return;
        }
        let mut clock = 0;
        let mut enter = |entered: &mut Vec<Option<[usize; 2]>>, point: PointId| {
            entered[point.index()] = Some([clock; 2]);
            clock += 1;
        };
        enter(&mut self.entered, start);
        // Points on the way, the segment each was entered by, and how many of its segments have been followed.
        let mut way: Vec<(PointId, Option<usize>, usize)> = vec![(start, None, 0)];
        while let Some(top) = way.len().checked_sub(1) {
            let (point, by, followed) = way[top];
            let Some(&edge) = self.beside[point.index()].get(followed) else {
                way.pop();
                if let (Some(by), Some(&(before, ..))) = (by, way.last()) {
                    self.leave(point, before, by);
                }
                continue;
            };
            way[top].2 += 1;
            if Some(edge) == by {
                continue;
            }
            let [a, b] = self.edges[edge].ends;
            let across = if a == point { b } else { a };
            match self.entered[across.index()] {
                None => {
                    self.passed.push(edge);
                    enter(&mut self.entered, across);
                    way.push((across, Some(edge), 0));
                }
                Some([first, _]) => {
                    let [own, _] = self.times(point);
                    if first < own {
                        self.passed.push(edge);
                        self.lower(point, first);
                    }
                }
            }
        }
    }

    fn times(&self, point: PointId) -> [usize; 2] {
        self.entered[point.index()].unwrap_or_default()
    }

    fn lower(&mut self, point: PointId, to: usize) {
        if let Some([_, low]) = &mut self.entered[point.index()] {
            *low = (*low).min(to);
        }
    }

    /// Back from a point to the one before it, over the segment it was entered by: nothing behind it leads further back than there, so
    /// what was passed since then is a component.
    fn leave(&mut self, point: PointId, before: PointId, by: usize) {
        let [_, low] = self.times(point);
        self.lower(before, low);
        if low < self.times(before)[0] {
            return;
        }
        let first = self.passed.iter().rposition(|&edge| edge == by).unwrap_or(0);
        let component = self.passed.split_off(first);
        if component.len() < 2 {
            return;
        }
        let mut segments: Vec<_> = component.iter().map(|&edge| self.edges[edge].segment).collect();
        let mut points: Vec<_> = component.iter().flat_map(|&edge| self.edges[edge].ends).collect();
        segments.sort_unstable();
        points.sort_unstable();
        points.dedup();
        self.found.push(Mesh { segments, points });
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

    /// A segment, a ring of three of which one is a switch, one that begins where it ends, two that are parallel behind another
    /// segment, and a ring that shares a point with them.
    #[test]
    fn meshes_are_found_whole_and_only_in_their_state() {
        let board = graph(
            9,
            &[
                (0, 1, None),
                (1, 2, None),
                (2, 3, None),
                (3, 1, Some(&[1])),
                (0, 0, None),
                (3, 4, None),
                (4, 5, None),
                (5, 4, None),
                (4, 6, None),
                (6, 7, None),
                (7, 4, None),
                (7, 8, None),
            ],
        );
        let found = |state, without: &[usize]| -> Vec<Vec<usize>> {
            let without: Vec<_> = without.iter().copied().map(SegmentId::new).collect();
            let meshes = board.meshes(StateId::new(state), &without);
            meshes.iter().map(|mesh| mesh.segments.iter().map(|id| id.index()).collect()).collect()
        };
        assert_eq!(found(0, &[]), [vec![6, 7], vec![8, 9, 10]]);
        assert_eq!(found(1, &[]), [vec![1, 2, 3], vec![6, 7], vec![8, 9, 10]]);
        assert_eq!(found(1, &[2, 6]), [vec![8, 9, 10]]);
        assert_eq!(board.meshes(StateId::new(0), &[])[1].points, [4, 6, 7].map(PointId::new));
        assert_eq!(board.rings_of_one(StateId::new(0)).collect::<Vec<_>>(), [SegmentId::new(4)]);
    }

    /// A wheel: hub 0 and a rim of 1 to 5. Any two of its segments lie on a loop; so do those of a long ladder, which no recursion
    /// would survive.
    #[test]
    fn a_mesh_with_many_loops_is_one() {
        let spokes = (1..6).map(|rim| (0, rim, None));
        let wheel: Vec<_> = spokes.chain((1..6).map(|rim| (rim, rim % 5 + 1, None))).collect();
        let meshes = graph(6, &wheel).meshes(StateId::new(0), &[]);
        assert_eq!(meshes.len(), 1);
        assert_eq!(meshes[0].segments.len(), 10);
        let sections = 50_000;
        let ladder: Vec<_> = (0..sections)
            .flat_map(|i| [(2 * i, 2 * i + 1, None), (2 * i, 2 * i + 2, None), (2 * i + 1, 2 * i + 3, None)])
            .collect();
        let meshes = graph(2 * sections + 2, &ladder).meshes(StateId::new(0), &[]);
        assert_eq!(meshes.iter().map(|mesh| mesh.segments.len()).collect::<Vec<_>>(), [3 * sections - 2]);
    }
}
