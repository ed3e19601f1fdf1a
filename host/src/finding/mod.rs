//! Findings: what the evidence proves about the unit and about the bench, by id.
//!
//! Read in this order: [`warmth`] (how warm the unit is), [`open`] (where a path that carries no current is broken), [`hidden`] (what conducts behind an open), [`segment`] (which of a segment's
//! readings counts, its value at 20 °C, verdict and class), [`mesh`] (the same of segments on loops), [`one_way`] (diodes and unpowered transistors), [`wire`] (wires fitted to the unit, with what they bypass), [`isolation`], [`path`] (which stretches are proven end to end), [`closure`] (does a series add up to its
//! end-to-end reading?), [`mod@bench`] (which pin, relay or standard is at fault) with the [`question`]s that tell its
//! suspects apart, [`witness`] (what the evidence answers to questions about hypotheses).

pub mod bench;
pub mod closure;
pub mod hidden;
pub mod isolation;
pub mod mesh;
pub mod one_way;
pub mod open;
pub mod path;
pub mod question;
pub mod segment;
pub mod warmth;
pub mod wire;
pub mod witness;

use std::collections::BTreeSet;

use crate::{
    board::{SegmentId, StateId},
    evidence::{Evidence, RunEvidence},
    fixture::Fixture,
    limits::LimitSet,
    plan::{LegKind, Plan, Stage, aim},
    quantity::Ohms,
    verdict::{Class, Verdict},
};
use segment::{Doubt, Finding};

/// A reading with less than this share of its source's current is starved; no unit. A path at twice its limits still carries half.
const STARVED: f64 = 0.25;

/// What is found about every segment a plan is to measure, in walking order.
pub fn segments(fixture: &Fixture, limits: &LimitSet, plan: &Plan, evidence: &Evidence) -> Vec<Finding> {
    plan.stages.iter().flat_map(|stage| segments_of(fixture, limits, stage, evidence)).collect()
}

/// The same of one state.
fn segments_of(fixture: &Fixture, limits: &LimitSet, stage: &Stage, evidence: &Evidence) -> Vec<Finding> {
    let runs = evidence.in_state(stage.state);
    let scene = segment::Scene::new(fixture, limits, stage.state, runs, warmth::of(fixture, evidence));
    let shots = stage.legs.iter().flat_map(|leg| leg.shots.iter().map(|planned| planned.role));
    let one_way = one_way::planned(shots);
    let one_way =
        one_way.into_iter().filter_map(|id| one_way::find(&fixture.board, evidence, id, stage.state));
    let in_meshes =
        mesh::find_in(fixture, limits, stage, evidence).into_iter().flat_map(|mesh| mesh.segments);
    walked(stage).into_iter().map(|id| scene.find(id)).chain(in_meshes).chain(one_way).collect()
}

/// Segments that a longer look may still decide: those that noise alone keeps undecided, and all of them once anything has
/// moved.
pub fn undecided(
    fixture: &Fixture,
    limits: &LimitSet,
    stage: &Stage,
    evidence: &Evidence,
) -> BTreeSet<SegmentId> {
    let findings = segments_of(fixture, limits, stage, evidence);
    let mut wanted: BTreeSet<SegmentId> = findings
        .iter()
        .filter(|finding| {
            finding.verdict == Verdict::Unproven && !is_starved(stage, evidence, finding.segment)
        })
        .filter(|finding| {
            let limits = limits.of(finding.segment);
            // A value read only in passing has had no look of its own yet.
            let in_passing = finding.doubt != Some(Doubt::Straddles);
            finding.value.as_ref().is_some_and(|value| in_passing || value.is_decided_when_quiet(limits))
        })
        .map(|finding| finding.segment)
        .collect();
    // What moves may have stood still while its own turn came.
    let moved = evidence.in_state(stage.state).any(|run| run.moved());
    if moved && !findings.iter().any(|finding| finding.class == Class::Open) {
        wanted.extend(findings.iter().map(|finding| finding.segment));
    }
    wanted
}

/// Segments whose current had not settled in any reading of a state.
pub fn unsettled(evidence: &Evidence, state: StateId) -> BTreeSet<SegmentId> {
    let readings = || {
        let runs = evidence.in_state(state);
        runs.flat_map(|run| {
            let segments = run.segments().map(|seen| (seen.segment, seen.reading.settled));
            segments.chain(run.meshes().map(|seen| (seen.segment, seen.reading.settled)))
        })
    };
    let settled: BTreeSet<_> = readings().filter(|(_, settled)| *settled).map(|(id, _)| id).collect();
    readings().map(|(id, _)| id).filter(|id| !settled.contains(id)).collect()
}

/// Has every reading of a segment been made with a small part of its source's current? Then something in its path is far too
/// high, and a longer look would rather charge capacitors past it than decide anything.
fn is_starved(stage: &Stage, evidence: &Evidence, id: SegmentId) -> bool {
    let readings = evidence.in_state(stage.state).flat_map(RunEvidence::segments);
    let mut currents = readings
        .filter(|seen| seen.segment == id)
        .map(|seen| seen.reading.current.abs() / aim::nominal_current(seen.source, Ohms::ZERO))
        .peekable();
    currents.peek().is_some() && currents.all(|share| share < STARVED)
}

/// Did something move although nothing was found that could?
pub fn unsteady(evidence: &Evidence, findings: &[Finding]) -> bool {
    let caught = findings.iter().any(|finding| matches!(finding.class, Class::Flaky | Class::Open));
    !caught && evidence.runs().iter().any(|run| run.moved())
}

/// Segments a state is to measure, in walking order.
fn walked(stage: &Stage) -> Vec<SegmentId> {
    let stretches = stage.legs.iter().filter_map(|leg| match &leg.kind {
        LegKind::Walk(stretch) => Some(stretch),
        _ => None,
    });
    stretches
        .flat_map(|stretch| {
            stretch.steps.iter().map(|step| step.segment).filter(|id| stretch.wanted.contains(id))
        })
        .collect()
}

#[cfg(test)]
mod tests;
