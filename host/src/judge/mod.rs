//! Judging: what this program makes of a measurement, with names for people. Pure, so that a stored measurement can
//! be judged again, by other limits too.
//!
//! Evidence becomes findings, findings become the rows, faults and notes of a [`Judgement`]; ids turn into names here
//! and nowhere before. `bench` words the bench's faults, `reason` says why something is not proven, `notes` what
//! the operator should know besides.

mod bench;
mod change;
mod hunt;
mod notes;
mod proof;
mod reason;
mod rows;

pub use change::{Change, Opinion, changes};
pub use hunt::left_of;

use crate::{
    board::assumed,
    evidence::{Evidence, EvidenceError},
    fault,
    finding::{self, closure, isolation, warmth, wire},
    fixture::Fixture,
    limits::LimitSet,
    measurement::{Manner, Measurement},
    plan::Plan,
    proof::Proof,
    sweep::{Judgement, LimitsUsed, SegmentRow},
    verdict::{Class, Verdict, worst},
};

/// Judges a measurement made with this fixture and this plan by these limits.
///
/// # Errors
/// Codes that do not fit their shots, a state the board does not have.
pub fn judge(
    fixture: &Fixture,
    limits: &LimitSet,
    plan: &Plan,
    measurement: &Measurement,
) -> Result<Judgement, EvidenceError> {
    let board = &fixture.board;
    let evidence = Evidence::of(fixture, measurement)?;
    let mut bench_faults: Vec<_> = finding::bench::findings(fixture, plan, &evidence)
        .iter()
        .map(|finding| bench::fault(fixture, finding))
        .collect();
    let mut notices = Vec::new();
    match proof::lack(fixture, measurement) {
        Some(proof::Lack::Void(fault)) => bench_faults.push(fault),
        Some(proof::Lack::Notice(notice)) => notices.push(notice),
        None => {}
    }
    let void = !bench_faults.is_empty();

    let mut segments = finding::segments(fixture, limits, plan, &evidence);
    let isolations = isolation::find(board, plan, &evidence);
    let meshes = finding::mesh::find(fixture, limits, plan, &evidence);
    let closures = closure::find(board, &evidence, &segments, &meshes);
    let unsteady = finding::unsteady(&evidence, &segments);
    let fitted = &measurement.wires;
    let wires = wire::find(board, warmth::of(fixture, &evidence), fitted, &mut segments);

    let faults = match void {
        true => Vec::new(),
        false => fault::faults(board, limits, &segments, fitted, &wires, &isolations, &closures),
    };
    let hunted = (measurement.manner == Manner::Hunt)
        .then(|| hunt::weigh(fixture, limits, plan, measurement, &evidence));
    let faults = match &hunted {
        Some(hunted) if !void => hunted.faults(board, faults),
        _ => faults,
    };
    let parts = segments
        .iter()
        // Nothing that could be known is left undone: the notes name what the first power-up has to show, and what is
        // bypassed is judged with its wire.
        .filter(|finding| !matches!(finding.class, Class::NotJudgedUnpowered | Class::Bypassed))
        .map(|finding| finding.verdict)
        .chain(wires.iter().map(|finding| finding.verdict))
        .chain(isolations.iter().map(|finding| finding.verdict))
        .chain(closures.iter().map(|found| if found.agrees { Verdict::Pass } else { Verdict::Unproven }))
        .chain(unsteady.then_some(Verdict::Unproven));
    let verdict = match worst(parts) {
        _ if void => Verdict::Void,
        Verdict::Unproven
            if faults.is_empty()
                && !unsteady
                && hunted
                    .as_ref()
                    .is_some_and(|hunted| hunted.is_shown_good(plan, &evidence, &meshes, &isolations)) =>
        {
            Verdict::Pass
        }
        verdict => verdict,
    };
    let row = |finding| {
        let row = rows::segment(board, limits, finding, &segments, void);
        let because = hunted.as_ref().and_then(|hunted| hunted.reason(board, finding));
        match (because, row.verdict) {
            (Some(because), Verdict::Unproven) => SegmentRow { reason: Some(because), ..row },
            _ => row,
        }
    };
    Ok(Judgement {
        program: env!("CARGO_PKG_VERSION").into(),
        limits: LimitsUsed { origin: limits.origin().into(), hash: limits.hash().into() },
        air: evidence.air(),
        proof: measurement.proven(fixture).and(measurement.proof.as_ref()).map(Proof::hash),
        verdict,
        bench_faults,
        segments: segments
            .iter()
            .map(row)
            .chain(
                wires
                    .iter()
                    .filter_map(|found| Some(rows::wire(board, fitted.get(found.wire)?, found, void))),
            )
            .collect(),
        isolation: isolations.iter().map(|finding| rows::isolation(board, finding, void)).collect(),
        thermometers: rows::thermometers(fixture, &evidence),
        standards: rows::standards(fixture, &evidence),
        closures: closures.iter().map(|found| rows::closure(board, found)).collect(),
        faults,
        notes: [
            notices,
            assumed::note(&board.assumed, &board.supply).into_iter().collect(),
            hunted.is_some().then(|| measurement.rates.in_words()).flatten().into_iter().collect(),
            notes::notes(fixture, &evidence, &segments, &meshes, &isolations, &closures, unsteady),
        ]
        .concat(),
        steps: hunted.map(|hunted| hunted.steps).unwrap_or_default(),
    })
}
