//! What of a board a fixture is checked against: all of a sound board, and of one with mistakes what could be read, so
//! that its mistakes do not hide those of the fixture.

use super::file::Draft;
use super::graph::Graph;
use super::{Board, PointId, Side};

/// The points of a board, and what they are needed for.
#[derive(Default)]
pub(crate) struct Known {
    /// In file order; `None` when not even their names could be read.
    pub points: Option<Vec<KnownPoint>>,
    /// Are all segments known? If not, a point may be touched by more of them than it seems.
    pub complete: bool,
}

/// One point.
pub(crate) struct KnownPoint {
    /// Name.
    pub name: String,
    /// Where it is, mm, and on which side, if that could be read.
    pub place: Option<([f64; 2], Side)>,
    /// Segments that end at it.
    pub touched: usize,
    /// Is it an end of the supply path?
    pub supply_end: bool,
    /// Does it bound an isolation?
    pub isolated: bool,
}

impl Known {
    /// A sound board.
    pub fn of(board: &Board) -> Self {
        let graph = Graph::of(board);
        let supply = &board.supply;
        let point = |(i, point): (usize, &super::Point)| {
            let id = PointId::new(i);
            KnownPoint {
                name: point.name.clone(),
                place: Some((point.at, point.side)),
                touched: graph.degree(id),
                supply_end: id == supply.from || id == supply.ret || supply.to.contains(&id),
                isolated: board.isolation.iter().any(|isolation| isolation.between.contains(&id)),
            }
        };
        Self { points: Some(board.points.iter().enumerate().map(point).collect()), complete: true }
    }

    /// A board file as far as it could be read.
    pub(super) fn of_draft(draft: &Draft, graph: &Graph, complete: bool) -> Self {
        let supply = draft.supply.as_ref().ok();
        let ends = supply.into_iter().flat_map(|supply| {
            let one = [&supply.from, &supply.ret].into_iter().flatten();
            one.chain(supply.to.iter().flatten()).map(|end| end.value)
        });
        let ends: Vec<_> = ends.collect();
        let isolated: Vec<_> = draft
            .isolation
            .iter()
            .flatten()
            .filter_map(|isolation| isolation.between.ok())
            .flatten()
            .collect();
        let points = draft.points.iter().enumerate().map(|(i, point)| KnownPoint {
            name: point.name.value.clone(),
            place: point.point.as_ref().ok().map(|point| (point.at, point.side)),
            touched: graph.degree(PointId::new(i)),
            supply_end: ends.contains(&PointId::new(i)),
            isolated: isolated.contains(&PointId::new(i)),
        });
        Self { points: draft.listed.then(|| points.collect()), complete }
    }
}
