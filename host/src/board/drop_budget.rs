//! Limits that the file does not state: each segment's share of the supply's drop budget.
//!
//! The budget in ohms is `max_drop / load`. On the way from the supply to a load, and back along the
//! costliest return, the stated limits are taken off first; what is left is shared among the other segments
//! in proportion to the highest resistance a healthy one has. A segment on several ways gets its smallest
//! share. Nobody gets more than [`MOST_OF_HIGH`] times that resistance: a generous budget must not hide a
//! segment that is plainly ill.

use super::graph::Graph;
use super::{Board, PointId, Segment, SegmentId, Supply};
use crate::quantity::{Ohms, engineering};

/// No derived limit is above this multiple of the highest healthy resistance.
pub const MOST_OF_HIGH: f64 = 3.0;

/// What is known of a segment before its limit is.
#[derive(Clone, Copy, Debug)]
pub struct Claim {
    /// Highest resistance of a healthy one.
    pub high: Ohms,
    /// Upper limit in the file.
    pub stated: Option<Ohms>,
}

impl Claim {
    /// What it takes of the budget at least.
    fn takes(&self) -> Ohms {
        self.stated.unwrap_or(self.high)
    }
}

/// What the budget is spent on: the ends of the supply path, and the budget itself.
#[derive(Clone, PartialEq, Debug)]
pub struct DropBudget {
    /// Where the supply comes in.
    pub from: PointId,
    /// The loads.
    pub to: Vec<PointId>,
    /// Where the return goes out.
    pub ret: PointId,
    /// Resistance that the way to a load and back may have.
    pub resistance: Ohms,
}

impl DropBudget {
    /// Of a supply.
    pub fn of(supply: &Supply) -> Self {
        let resistance = supply.max_drop / supply.load;
        Self { from: supply.from, to: supply.to.clone(), ret: supply.ret, resistance }
    }
}

/// The way to a load and back, and what it takes at least.
struct Way {
    load: PointId,
    segments: Vec<SegmentId>,
    /// Sum of the limits in the file.
    stated: Ohms,
    /// Sum of what the others may read while healthy.
    healthy: Ohms,
}

fn ways(claims: &[Claim], graph: &Graph, budget: &DropBudget) -> Vec<Way> {
    let back = costliest_return(claims, graph, budget.ret);
    let way = |&load| {
        let way = graph.path(budget.from, load).unwrap_or_default();
        let segments: Vec<_> = way.into_iter().chain(back.iter().copied()).collect();
        let claims = || segments.iter().map(|id: &SegmentId| claims[id.index()]);
        let stated = claims().filter_map(|claim| claim.stated).sum();
        let healthy = claims().filter(|claim| claim.stated.is_none()).map(|claim| claim.high).sum();
        Way { load, segments, stated, healthy }
    };
    budget.to.iter().map(way).collect()
}

/// What is known of the segments of a board.
pub fn claims(board: &Board) -> Vec<Claim> {
    let claim = |segment: &Segment| Claim { high: segment.expected.high, stated: segment.stated.max };
    board.segments.iter().map(claim).collect()
}

/// A budget that nobody stated has to hold the stated limits, and twice what the other segments may have while healthy.
pub fn ample(claims: &[Claim], graph: &Graph, budget: &DropBudget) -> Ohms {
    let takes = ways(claims, graph, budget).into_iter().map(|way| way.stated + way.healthy * 2.0);
    takes.fold(Ohms::ZERO, |most, takes| if takes > most { takes } else { most })
}

/// Every load whose way there and back takes more than the budget even if every segment is healthy, with the figures
/// and the segment that takes most.
pub fn overdrawn(claims: &[Claim], graph: &Graph, budget: &DropBudget) -> Vec<(PointId, SegmentId, String)> {
    let beyond =
        ways(claims, graph, budget).into_iter().filter(|way| way.stated + way.healthy > budget.resistance);
    beyond
        .filter_map(|way| {
            let takes = |id: &SegmentId| claims[id.index()].takes();
            let most = *way.segments.iter().max_by(|a, b| takes(a).total_cmp(&takes(b)))?;
            let figures = format!(
                "the budget of {} cannot be kept: stated limits take {}, the other segments {} while healthy; the \
                 largest share is {}",
                engineering(budget.resistance),
                engineering(way.stated),
                engineering(way.healthy),
                engineering(takes(&most)),
            );
            Some((way.load, most, figures))
        })
        .collect()
}

/// The upper limit of every segment, in file order. No load may be [`overdrawn`].
pub fn derive(claims: &[Claim], graph: &Graph, budget: &DropBudget) -> Vec<Ohms> {
    let mut factors = vec![MOST_OF_HIGH; claims.len()];
    for way in ways(claims, graph, budget) {
        for id in way.segments.iter().filter(|id| claims[id.index()].stated.is_none()) {
            factors[id.index()] = factors[id.index()].min((budget.resistance - way.stated) / way.healthy);
        }
    }
    let limit = |(claim, factor): (&Claim, f64)| claim.stated.unwrap_or(claim.high * factor);
    claims.iter().zip(factors).map(limit).collect()
}

/// The way back to the supply that costs most: every load's current may take it.
fn costliest_return(claims: &[Claim], graph: &Graph, ret: PointId) -> Vec<SegmentId> {
    let reach = graph.reach(ret, None);
    let cost = |way: &[SegmentId]| -> Ohms { way.iter().map(|id| claims[id.index()].takes()).sum() };
    reach
        .points()
        .filter_map(|point| reach.path(point))
        .max_by(|a, b| cost(a).total_cmp(&cost(b)))
        .unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use super::super::graph::Edge;
    use super::*;

    /// A trunk (0) from the supply that branches to two loads (1, 2), and a return (3) with a longer branch
    /// (4, 5).
    fn graph() -> Graph {
        let edges = [(0, 1), (1, 2), (1, 3), (4, 5), (5, 6), (6, 7)];
        let edge = |(i, (a, b))| Edge {
            segment: SegmentId::new(i),
            ends: [PointId::new(a), PointId::new(b)],
            closed: None,
        };
        Graph::new(8, 1, edges.into_iter().enumerate().map(edge).collect())
    }

    fn budget(ohms: f64) -> DropBudget {
        DropBudget {
            from: PointId::new(0),
            to: vec![PointId::new(2), PointId::new(3)],
            ret: PointId::new(4),
            resistance: Ohms(ohms),
        }
    }

    fn claims(stated: [Option<f64>; 6]) -> Vec<Claim> {
        let high = [1.0, 1.0, 2.0, 0.5, 0.25, 0.25];
        high.into_iter()
            .zip(stated)
            .map(|(high, stated)| Claim { high: Ohms(high), stated: stated.map(Ohms) })
            .collect()
    }

    fn limits(stated: [Option<f64>; 6], ohms: f64) -> Vec<f64> {
        let claims = claims(stated);
        assert_eq!(overdrawn(&claims, &graph(), &budget(ohms)), []);
        derive(&claims, &graph(), &budget(ohms)).into_iter().map(|limit| limit.0).collect()
    }

    #[test]
    fn the_rest_is_shared_in_proportion_and_the_smallest_share_counts() {
        // Longest way: 0, 2 and back 3, 4, 5: healthy 1 + 2 + 1 = 4 of a budget of 8, so twice the healthy
        // value. The way over 1 alone would allow 8/3 of it.
        let limits = limits([None; 6], 8.0);
        assert_eq!(limits, [2.0, 8.0 / 3.0, 4.0, 1.0, 0.5, 0.5]);
    }

    #[test]
    fn stated_limits_are_taken_off_first() {
        let stated = [Some(3.0), None, None, None, None, None];
        let limits = limits(stated, 8.0);
        let factor = (8.0 - 3.0) / 3.0;
        assert_eq!(limits, [3.0, 2.5, 2.0 * factor, 0.5 * factor, 0.25 * factor, 0.25 * factor]);
    }

    #[test]
    fn a_generous_budget_hides_nothing() {
        let limits = limits([None; 6], 1000.0);
        assert_eq!(limits, [3.0, 3.0, 6.0, 1.5, 0.75, 0.75]);
    }

    #[test]
    fn every_load_beyond_the_budget_is_named() {
        let lost = |stated| overdrawn(&claims(stated), &graph(), &budget(3.5));
        let why = "the budget of 3.50 Ω cannot be kept: stated limits take 0 Ω, the other segments 4.00 Ω while \
                   healthy; the largest share is 2.00 Ω";
        assert_eq!(lost([None; 6]), [(PointId::new(3), SegmentId::new(2), why.to_owned())]);
        assert_eq!(lost([Some(9.0); 6]).len(), 2);
        // Exactly kept is kept.
        assert_eq!(overdrawn(&claims([None; 6]), &graph(), &budget(4.0)), []);
    }
}
