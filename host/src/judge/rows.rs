//! Findings as rows with names.

use super::reason;
use crate::{
    board::Board,
    evidence::{Evidence, Observation},
    finding::{
        bench::standard,
        closure,
        isolation::{self, Barrier, Doubt},
        segment,
    },
    fixture::Fixture,
    limits::{LimitOrigin, LimitSet},
    sweep::{ClosureRow, IsolationRow, SegmentRow, StandardRow},
    verdict::Verdict,
};

/// A segment in a state.
pub fn segment(
    board: &Board,
    limits: &LimitSet,
    finding: &segment::Finding,
    all: &[segment::Finding],
    void: bool,
) -> SegmentRow {
    let (segment, limits) = (board.segment(finding.segment), limits.of(finding.segment));
    let value = finding.value.as_ref();
    SegmentRow {
        name: segment.name.clone(),
        kind: segment.kind.word().into(),
        state: board.states[finding.state.0].name.clone(),
        ohms: value.map(|value| value.ohms),
        ohms_20c: value.map(|value| value.ohms_20c),
        u95_ohms: value.map(|value| value.expanded()),
        min_ohms: limits.min_ohms,
        max_ohms: limits.max_ohms,
        limit_derived: limits.origin == LimitOrigin::Derived,
        typical_ohms: segment.expected.typical_ohms,
        verdict: if void { Verdict::Void } else { finding.verdict },
        class: finding.class,
        reason: if void { None } else { reason::of_segment(board, finding, all) },
    }
}

/// An isolation or an open switch in a state.
pub fn isolation(board: &Board, finding: &isolation::Finding, void: bool) -> IsolationRow {
    let reading = finding.reading.as_ref();
    let bounds = reading.map(|reading| (reading.at_least_ohms, reading.at_most_ohms));
    let ohms = reading.and_then(|reading| reading.ohms);
    let half_width = match (ohms, bounds) {
        (Some(_), Some((Some(least), Some(most)))) => Some(0.5 * (most - least).abs()),
        _ => None,
    };
    IsolationRow {
        name: finding.barrier.name(board),
        between: finding.between.map(|point| board.point(point).name.clone()),
        is_switch: matches!(finding.barrier, Barrier::Switch(_)),
        state: board.states[finding.state.0].name.clone(),
        ohms,
        u95_ohms: half_width.filter(|u| u.is_finite()),
        at_least_ohms: reading.and_then(|reading| reading.at_least_ohms),
        min_ohms: finding.min_ohms,
        verdict: if void { Verdict::Void } else { finding.verdict },
        class: finding.class,
        still_charging: finding.doubt == Some(Doubt::Charging),
        reason: if void { None } else { reason::of_isolation(board, finding) },
    }
}

/// Every reading of a check standard.
pub fn standards(fixture: &Fixture, evidence: &Evidence) -> Vec<StandardRow> {
    let seen = evidence.runs().iter().flat_map(|run| &run.observations).filter_map(|seen| match seen {
        Observation::Standard(index, reading) => Some((fixture.standards.get(*index)?, reading)),
        _ => None,
    });
    seen.map(|(stated, reading)| StandardRow {
        name: stated.name.clone(),
        stated_ohms: stated.ohms,
        tolerance: stated.tolerance,
        ohms: reading.flows.then_some(reading.ohms),
        u95_ohms: reading.flows.then(|| reading.budget.expanded()),
        verdict: standard(stated, reading),
    })
    .collect()
}

/// A series closure.
pub fn closure(board: &Board, found: &closure::Finding) -> ClosureRow {
    let [from, to] = found.between.map(|point| board.point(point).name.clone());
    ClosureRow {
        from,
        to,
        whole_ohms: found.end_to_end_ohms,
        sum_ohms: found.sum_ohms,
        u95_ohms: found.u95_ohms,
        agrees: found.agrees,
    }
}
