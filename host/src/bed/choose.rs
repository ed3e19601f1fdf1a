//! The fewest pins with which every segment is measured.
//!
//! A segment is read between a sense pin at each of its ends, so every point that bounds one needs a sense pin, and neighbours share it: there
//! is nothing to choose, and no bed has fewer. Force pins are needed at the ends of the path and of its branches, where an isolation is
//! bounded, wherever else a segment would lie beyond all of them, and as many at each loop as tell its segments apart.

use super::{BedError, Line, Trouble};
use crate::board::{Board, Known, PointId, SegmentId, StateId};
use crate::fixture::need;
use crate::mesh;
use crate::plan::forest::Forest;

/// A pin that is needed, and why.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Need {
    /// The point.
    pub point: PointId,
    /// Which pin.
    pub line: Line,
    /// Why, in words that follow the point's name.
    pub why: String,
}

/// Everything that is needed on top of the force pins that are there already.
///
/// # Errors
/// Segments that no pins can measure.
pub fn needed(board: &Board, forced: &[PointId]) -> Result<Vec<Need>, BedError> {
    let known = Known::of(board);
    let points = known.points.unwrap_or_default();
    let mut needs = Vec::new();
    for (at, point) in points.iter().enumerate() {
        let reasons = need::of(point, known.complete);
        for (line, why) in [Line::Force, Line::Sense].into_iter().zip(reasons) {
            if let Some(why) = why {
                needs.push(Need { point: PointId::new(at), line, why: why.into() });
            }
        }
    }
    let mut all_forced: Vec<PointId> = forced.to_vec();
    all_forced.extend(needs.iter().filter(|need| need.line == Line::Force).map(|need| need.point));
    let mut troubles = reach(board, &mut all_forced, &mut needs);
    troubles.extend(loops(board, &mut all_forced, &mut needs));
    if troubles.is_empty() { Ok(needs) } else { Err(BedError(troubles)) }
}

/// Segments that lie on no loop and have no force pin on one side in every state get one, as far beyond them as it goes: there it serves
/// whatever lies between, too.
fn reach(board: &Board, forced: &mut Vec<PointId>, needs: &mut Vec<Need>) -> Vec<Trouble> {
    let mut troubles = Vec::new();
    for id in board.segment_ids() {
        let segment = board.segment(id);
        let states: Vec<StateId> = board.state_ids().filter(|&state| segment.conducts_in(state)).collect();
        if segment.kind.one_way().is_some() || states.is_empty() {
            continue;
        }
        let lacking = states.iter().map(|&state| sides(board, state, id).map(|side| without(&side, forced)));
        let Some([from, to]) = lacking.min_by_key(|sides| sides.iter().flatten().count()) else { continue };
        for farthest in [from, to].into_iter().flatten() {
            let Some(point) = farthest else {
                troubles.push(Trouble::Unreached { segment: segment.name.clone() });
                continue;
            };
            forced.push(point);
            let why = format!("lets current through \"{}\"", segment.name);
            needs.push(Need { point, line: Line::Force, why });
        }
    }
    troubles
}

/// The points on either side of a segment in a state, nearest first; both the same where it lies on a loop.
fn sides(board: &Board, state: StateId, id: SegmentId) -> [Vec<PointId>; 2] {
    let forest = Forest::new(board, state, &[id]);
    [board.segment(id).from, board.segment(id).to].map(|end| forest.tree(end))
}

/// `None` if a side has a force pin; else the point of it that is farthest away, if there is any.
fn without(side: &[PointId], forced: &[PointId]) -> Option<Option<PointId>> {
    let has = side.iter().any(|point| forced.contains(point));
    (!has).then(|| side.last().copied())
}

/// Loops get as many force pins as tell their segments apart.
fn loops(board: &Board, forced: &mut Vec<PointId>, needs: &mut Vec<Need>) -> Vec<Trouble> {
    loop {
        let lacks = mesh::lacks(board, |point| forced.contains(&point));
        let helped = lacks.iter().find(|lack| lack.points.iter().any(|point| !forced.contains(point)));
        let Some(lack) = helped else {
            let untold = lacks.iter().filter(|lack| lack.untold);
            let names = |lack: &mesh::Lack| {
                let names: Vec<_> = lack.segments.iter().map(|&id| board.segment(id).name.as_str()).collect();
                names.join(", ")
            };
            return untold.map(|lack| Trouble::Loop { segments: names(lack) }).collect();
        };
        for point in lack.points.iter().filter(|point| !forced.contains(point)).copied().collect::<Vec<_>>() {
            forced.push(point);
            needs.push(Need { point, line: Line::Force, why: "tells the segments of a loop apart".into() });
        }
    }
}
