//! What a plan costs: relay closures against their lower bound, and device time.

use copperwalk_core::matrix::Closed;
use copperwalk_core::timing::{self, Span};
use copperwalk_wire::Shot;

use super::{LegKind, Plan, PlannedShot, Role};
use crate::board::StateId;

/// What a plan costs.
#[derive(Clone, PartialEq, Debug)]
pub struct Figures {
    /// Shots in all.
    pub shots: usize,
    /// Relay closures in all.
    pub closures: usize,
    /// Of these, what walking the segments takes by itself, per state.
    pub walks: Vec<WalkFigures>,
    /// Device time when every verdict is clear at once, µs.
    pub quick_us: u64,
    /// Device time when every budget is spent, µs.
    pub full_us: u64,
}

/// The walk over the segments of one state.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct WalkFigures {
    /// The state.
    pub state: StateId,
    /// Stretches they lie on.
    pub stretches: usize,
    /// Segments measured.
    pub segments: usize,
    /// Sense and force closures of the walk.
    pub closures: usize,
    /// Lower bound where the segments follow one another on one stretch: segments + 1 sense closures and 2 force
    /// closures. On several stretches it cannot be reached.
    pub bound: usize,
}

/// Works the figures out.
pub fn figures(plan: &Plan) -> Figures {
    let all: Vec<&[PlannedShot]> =
        plan.stages.iter().flat_map(|stage| stage.legs.iter().map(|leg| leg.shots.as_slice())).collect();
    let runs: Vec<Vec<Shot>> = plan
        .stages
        .iter()
        .map(|stage| stage.legs.iter().flat_map(|leg| leg.shots.iter().map(|planned| planned.shot)).collect())
        .collect();
    let Span { least_us, most_us } = runs.iter().map(|run| timing::run_us(run)).sum();
    Figures {
        shots: all.iter().map(|shots| shots.len()).sum(),
        closures: runs.iter().map(|run| closures(run.iter())).sum(),
        walks: plan
            .stages
            .iter()
            .map(|stage| {
                let walked: Vec<_> = stage
                    .legs
                    .iter()
                    .filter(|leg| matches!(leg.kind, LegKind::Walk(_)))
                    .flat_map(|leg| &leg.shots)
                    .filter(|planned| matches!(planned.role, Role::Segment { .. }))
                    .collect();
                let closures = closures(walked.iter().map(|planned| &planned.shot));
                let bound = if walked.is_empty() { 0 } else { walked.len() + 3 };
                let stretches = stage.legs.iter().filter(|leg| matches!(leg.kind, LegKind::Walk(_))).count();
                WalkFigures { state: stage.state, stretches, segments: walked.len(), closures, bound }
            })
            .filter(|walk| walk.segments > 0)
            .collect(),
        quick_us: least_us,
        full_us: most_us,
    }
}

/// Relays closed over shots that begin with all open, counted as the controller does, the bleed relay included.
pub fn closures<'s>(shots: impl Iterator<Item = &'s Shot>) -> usize {
    let mut closed = Closed::NONE;
    let closing = shots.map(|shot| {
        let next = Closed::of(shot);
        let count = next.closures_after(&closed);
        closed = next;
        count as usize
    });
    closing.sum()
}
