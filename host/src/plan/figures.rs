//! What a plan costs: relay closures against their lower bound, and device time.

use std::collections::BTreeSet;

use copperwalk_wire::{
    Contacts, Method, Rate, Shot,
    hardware::wait::{OPERATE_US, QUIET_US, RELEASE_US, REVERSE_US, SETTLE_US},
};

use super::{LegKind, Plan, PlannedShot, Role};

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
    /// Index of the state.
    pub state: usize,
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
    Figures {
        shots: all.iter().map(|shots| shots.len()).sum(),
        closures: runs.iter().map(|run| closures(run.iter().map(|shot| shot.contacts))).sum(),
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
                let closures = closures(walked.iter().map(|planned| planned.shot.contacts));
                let bound = if walked.is_empty() { 0 } else { walked.len() + 3 };
                let stretches = stage.legs.iter().filter(|leg| matches!(leg.kind, LegKind::Walk(_))).count();
                WalkFigures { state: stage.state.0, stretches, segments: walked.len(), closures, bound }
            })
            .filter(|walk| walk.segments > 0)
            .collect(),
        quick_us: runs.iter().map(|run| device_us(run, false)).sum(),
        full_us: runs.iter().map(|run| device_us(run, true)).sum(),
    }
}

/// A relay: which bus, which channel.
type Relay = (u8, u8);

fn relays(contacts: Contacts) -> BTreeSet<Relay> {
    let buses = [contacts.force_plus, contacts.force_minus, contacts.sense_plus, contacts.sense_minus];
    (0..).zip(buses).filter_map(|(bus, channel)| Some((bus, channel?))).collect()
}

/// Relays closed over a sequence that begins with all open.
pub fn closures(sequence: impl Iterator<Item = Contacts>) -> usize {
    let mut closed = BTreeSet::new();
    let mut count = 0;
    for contacts in sequence {
        let next = relays(contacts);
        count += next.difference(&closed).count();
        closed = next;
    }
    count
}

/// Settling and conversion times of a run, µs.
fn device_us(run: &[Shot], full: bool) -> u64 {
    let mut closed = BTreeSet::new();
    let mut total = 0;
    for shot in run {
        let next = relays(shot.contacts);
        let breaks = closed.difference(&next).next().is_some();
        let makes = next.difference(&closed).next().is_some();
        let moves = u64::from(breaks) * u64::from(RELEASE_US) + u64::from(makes) * u64::from(OPERATE_US);
        total += moves + u64::from(QUIET_US) + sampling_us(&shot.method, full);
        closed = next;
    }
    total
}

fn sampling_us(method: &Method, full: bool) -> u64 {
    let quick = u64::from(Rate::Sps1000.micros());
    let settle = u64::from(SETTLE_US);
    match *method {
        Method::Residual => 4 * quick + settle,
        Method::Bleed { millis } => u64::from(millis) * 1000,
        Method::Look { rate, count, .. } => settle + u64::from(count) * u64::from(rate.micros()),
        Method::Ratio(ratio) => {
            let conversion = u64::from(ratio.rate.micros());
            let half_cycles = 3 * u64::from(if full { ratio.triples_max } else { ratio.triples_min });
            let proofs = if ratio.contact_check { settle + 2 * quick } else { 0 };
            let ends = if ratio.ends { 2 } else { 0 };
            // The source comes on once; every half-cycle but the first, and each end, turns the current round.
            let turns = half_cycles - 1 + ends;
            let waits = settle + turns * u64::from(REVERSE_US) + (1 + turns) * u64::from(ratio.wait_us);
            proofs + waits + (ends + 2 * half_cycles) * conversion
        }
        Method::Settle(settle_shot) => {
            let pair = 2 * u64::from(settle_shot.rate.micros());
            let windows = if full { u64::from(settle_shot.windows_max) } else { 2 };
            2 * settle + 2 * quick + 4 * (pair / 2) + windows * u64::from(settle_shot.window) * pair
        }
    }
}
