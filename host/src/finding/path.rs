//! Which stretches are proven end to end.

use crate::{
    board::{Board, StateId},
    evidence::{Evidence, RunEvidence},
    limits::LimitSet,
    plan::{self, LegKind, Stage, Stretch},
};

/// Does a stretch's latest reading end to end, a steady one, lie within its limit? Whatever one of its segments reads above its own
/// limit, the path has room for it then; only a reading of its own tells.
pub fn carries(
    board: &Board,
    limits: &LimitSet,
    state: StateId,
    evidence: &Evidence,
    stretch: &Stretch,
) -> bool {
    let limit = plan::gate_resistance(board, limits, stretch);
    let seen = evidence.in_state(state).flat_map(RunEvidence::end_to_ends);
    let latest = seen.filter(|seen| [seen.from, seen.to] == [stretch.from, stretch.to]).last();
    latest.is_some_and(|seen| {
        let reading = &seen.reading;
        reading.flows
            && !reading.over_range
            && reading.motion.is_none()
            && seen.touches == [true; 2]
            && reading.resistance + reading.budget.expanded() <= limit
    })
}

/// The stretches of a stage.
pub fn stretches(stage: &Stage) -> impl Iterator<Item = &Stretch> {
    stage.legs.iter().filter_map(|leg| match &leg.kind {
        LegKind::Walk(stretch) => Some(stretch),
        _ => None,
    })
}
