//! Which stretches are proven end to end.

use crate::{
    board::Board,
    evidence::{Evidence, RunEvidence},
    limits::LimitSet,
    plan::{self, LegKind, Stage, Stretch},
};

/// The stretches of a stage whose latest steady reading lies within their end-to-end limit. Whatever one of their segments reads above its
/// own limit, the path has room for it; only a reading of its own tells.
pub fn carrying<'s>(
    board: &'s Board,
    limits: &'s LimitSet,
    stage: &'s Stage,
    evidence: &'s Evidence,
) -> impl Iterator<Item = &'s Stretch> {
    let carries = move |stretch: &&Stretch| {
        let limit = plan::gate_resistance(board, limits, stretch);
        let seen = evidence.in_state(stage.state).flat_map(RunEvidence::end_to_ends);
        let latest = seen.filter(|seen| [seen.from, seen.to] == [stretch.from, stretch.to]).last();
        latest.is_some_and(|seen| {
            let reading = &seen.reading;
            reading.flows
                && !reading.over_range
                && reading.motion.is_none()
                && seen.touches == [true; 2]
                && reading.resistance + reading.budget.expanded() <= limit
        })
    };
    stretches(stage).filter(carries)
}

/// The stretches of a stage.
pub fn stretches(stage: &Stage) -> impl Iterator<Item = &Stretch> {
    stage.legs.iter().filter_map(|leg| match &leg.kind {
        LegKind::Walk(stretch) => Some(stretch),
        _ => None,
    })
}
