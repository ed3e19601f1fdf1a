//! The supply path as strips: stretches without a branch, each beginning where an earlier one ended.

use crate::board::{Board, PointId, SegmentId};

/// A stretch of segments in series.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Strip {
    /// Where it begins.
    pub from: PointId,
    /// Its segments, each with the point it leads to.
    pub steps: Vec<(SegmentId, PointId)>,
}

/// Every segment exactly once, walked from the supply's terminal, then from its return, then from wherever is left.
/// A strip ends at a branch point, at an end, or where it meets a walked one.
pub fn strips(board: &Board) -> Vec<Strip> {
    let mut used = vec![false; board.segments.len()];
    let mut strips = Vec::new();
    let others = board.segments.iter().map(|segment| segment.from);
    for root in [board.supply.from, board.supply.ret].into_iter().chain(others) {
        // Branches wait here, the first one on top.
        let mut waiting: Vec<(PointId, SegmentId)> =
            ways(board, &used, root).map(|way| (root, way)).collect();
        waiting.reverse();
        while let Some((from, first)) = waiting.pop() {
            if used[first.index()] {
                continue;
            }
            let mut strip = Strip { from, steps: Vec::new() };
            let (mut here, mut next) = (from, Some(first));
            while let Some(segment) = next {
                used[segment.index()] = true;
                let ends = board.segment(segment);
                here = if ends.from == here { ends.to } else { ends.from };
                strip.steps.push((segment, here));
                let mut onward = ways(board, &used, here);
                next = onward.next().filter(|_| onward.next().is_none() && !is_load(board, here));
            }
            let branches: Vec<_> = ways(board, &used, here).map(|way| (here, way)).collect();
            waiting.extend(branches.into_iter().rev());
            strips.push(strip);
        }
    }
    strips
}

/// Segments that leave a point and were not walked yet, in file order.
fn ways<'a>(board: &'a Board, used: &'a [bool], point: PointId) -> impl Iterator<Item = SegmentId> + 'a {
    board.segment_ids().filter(move |&id| {
        let segment = board.segment(id);
        !used[id.index()] && (segment.from == point || segment.to == point)
    })
}

fn is_load(board: &Board, point: PointId) -> bool {
    board.supply.to.contains(&point)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::sample;

    fn names(board: &Board) -> Vec<(String, Vec<String>)> {
        strips(board)
            .iter()
            .map(|strip| {
                let steps = strip.steps.iter().map(|(segment, _)| board.segment(*segment).name.clone());
                (board.point(strip.from).name.clone(), steps.collect())
            })
            .collect()
    }

    #[test]
    fn branches_are_strips_that_begin_at_the_branch_point() {
        let strips = names(&sample::branching_board());
        let shape: Vec<_> = strips.iter().map(|(from, steps)| (from.as_str(), steps.len())).collect();
        assert_eq!(shape, [("in+", 10), ("node", 10), ("node", 10), ("in-", 3), ("gv.b", 1), ("gv.b", 1)]);
        assert_eq!(strips[2].1[0], "radio feed");
    }

    #[test]
    fn a_path_without_branches_is_one_strip() {
        let strips = names(&sample::board());
        assert_eq!(strips.len(), 1);
        assert_eq!((strips[0].0.as_str(), strips[0].1.len()), ("cell+", 12));
    }

    #[test]
    fn every_segment_is_drawn_once_even_where_nothing_joins_it() {
        let mut board = sample::board();
        board.segments.remove(4); // the path is in two pieces now
        let strips = strips(&board);
        let mut drawn: Vec<_> =
            strips.iter().flat_map(|strip| &strip.steps).map(|(segment, _)| *segment).collect();
        drawn.sort();
        assert_eq!(drawn, board.segment_ids().collect::<Vec<_>>());
    }
}
