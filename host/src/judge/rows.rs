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
        warmth::{self, Silent},
        wire,
    },
    fitted::Wire,
    fixture::Fixture,
    limits::{LimitOrigin, LimitSet},
    measure::platinum,
    measurement::Method,
    sweep::{ClosureRow, IsolationRow, SegmentRow, StandardRow, ThermometerRow},
    verdict::{Class, Verdict},
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
        state: board.state(finding.state).name.clone(),
        resistance: value.map(|value| value.resistance),
        at_20c: value.map(|value| value.at_20c),
        u95: value.map(|value| value.expanded()),
        min: limits.min,
        max: limits.max,
        limit_derived: limits.origin == LimitOrigin::Derived,
        typical: segment.expected.typical,
        verdict: if void { Verdict::Void } else { finding.verdict },
        class: finding.class,
        method: match finding.doubt {
            Some(segment::Doubt::Conducts(_)) => Some(Method::Continuity),
            _ => four_wire(finding.class),
        },
        reason: if void { None } else { reason::of_segment(board, finding, all) },
    }
}

/// A wire fitted to the unit, with what it bypasses.
pub fn wire(board: &Board, wire: &Wire, finding: &wire::Finding, void: bool) -> SegmentRow {
    let value = finding.value.as_ref();
    let limits = wire::limits(wire);
    SegmentRow {
        name: wire.name(),
        kind: wire.kind().word().into(),
        state: board.state(finding.state).name.clone(),
        resistance: value.map(|value| value.resistance),
        at_20c: value.map(|value| value.at_20c),
        u95: value.map(|value| value.expanded()),
        min: limits.min,
        max: limits.max,
        limit_derived: false,
        typical: wire.typical,
        verdict: if void { Verdict::Void } else { finding.verdict },
        class: finding.class,
        method: four_wire(finding.class),
        reason: if void { None } else { reason::of_wire(finding) },
    }
}

/// An isolation or an open switch in a state.
pub fn isolation(board: &Board, finding: &isolation::Finding, void: bool) -> IsolationRow {
    let reading = finding.reading.as_ref();
    let bounds = reading.map(|reading| (reading.at_least, reading.at_most));
    let resistance = reading.and_then(|reading| reading.resistance);
    let half_width = match (resistance, bounds) {
        (Some(_), Some((Some(least), Some(most)))) => Some(0.5 * (most - least).abs()),
        _ => None,
    };
    IsolationRow {
        name: finding.barrier.name(board),
        between: finding.between.map(|point| board.point(point).name.clone()),
        is_switch: matches!(finding.barrier, Barrier::Switch(_)),
        state: board.state(finding.state).name.clone(),
        resistance,
        u95: half_width.filter(|u| u.is_finite()),
        at_least: reading.and_then(|reading| reading.at_least),
        min: finding.min,
        verdict: if void { Verdict::Void } else { finding.verdict },
        class: finding.class,
        method: four_wire(finding.class),
        still_charging: finding.doubt == Some(Doubt::Charging),
        reason: if void { None } else { reason::of_isolation(board, finding) },
    }
}

/// A bench reads everything that it reaches with four wires.
fn four_wire(class: Class) -> Option<Method> {
    (class != Class::NotReached).then_some(Method::FourWire)
}

/// Every reading of a check standard.
pub fn standards(fixture: &Fixture, evidence: &Evidence) -> Vec<StandardRow> {
    let seen = evidence.runs().iter().flat_map(|run| &run.observations).filter_map(|seen| match seen {
        Observation::Standard(index, reading) => Some((fixture.standards.get(*index)?, reading)),
        _ => None,
    });
    seen.map(|(built_in, reading)| {
        let (stated, tolerance) = built_in.known();
        StandardRow {
            name: built_in.name.clone(),
            stated,
            tolerance,
            resistance: reading.flows.then_some(reading.resistance),
            u95: reading.flows.then(|| reading.budget.expanded()),
            verdict: standard(built_in, reading),
        }
    })
    .collect()
}

/// The thermometers of the bed.
pub fn thermometers(fixture: &Fixture, evidence: &Evidence) -> Vec<ThermometerRow> {
    let counts = warmth::of(fixture, evidence).thermometer;
    let row = |read: warmth::Read| {
        let resistance = match read.said {
            Ok(said) => Some(platinum::resistance(said.value)),
            Err(Silent::NoTemperature(resistance)) => Some(resistance),
            Err(Silent::Contact | Silent::Open) => None,
        };
        Some(ThermometerRow {
            name: fixture.thermometers.get(read.index)?.name.clone(),
            resistance,
            temperature: read.said.ok().map(|said| said.value),
            u95_kelvin: read.said.ok().map(|said| said.u95_kelvin),
            counts: counts == Some(read.index),
        })
    };
    warmth::thermometers(fixture, evidence).into_iter().filter_map(row).collect()
}

/// A series closure.
pub fn closure(board: &Board, found: &closure::Finding) -> ClosureRow {
    let [from, to] = found.between.map(|point| board.point(point).name.clone());
    ClosureRow { from, to, whole: found.end_to_end, sum: found.sum, u95: found.u95, agrees: found.agrees }
}
