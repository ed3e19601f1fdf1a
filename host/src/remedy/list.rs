//! The list of proposals for a unit: every method that fits each of its faults, the least effort for a cure first.

use std::collections::BTreeMap;

use super::healthy::{Expectation, StandsOn, healthy};
use super::how;
use super::predict;
use super::proposal::{Excluded, Prediction, Proposal, SWEEP_MINUTES, Works};
use super::taken::Predicted;
use super::wiring::{self, Bounds, Wiring};
use crate::board::{Board, Segment, SegmentId};
use crate::fault::method::{At, Method, Practice, practices};
use crate::fitted::{self, Wire};
use crate::limits::LimitSet;
use crate::quantity::Ohms;
use crate::sweep::{Judgement, SegmentRow, UnitFault};
use crate::trade::odds::Odds;
use crate::verdict::{Class, Verdict};

/// A fault less probable than this gets no repair of its own (the same below which reports do not name one).
const LEAST_PROBABLE: f64 = crate::fault::NAMED;
/// Half width of the interval that chances are told with.
const CHANCE_INTERVAL: f64 = 0.9;
/// A repair that can never work is no proposal.
const LEAST_CHANCE: f64 = 1e-3;

/// A unit, and what is known from others.
#[derive(Clone, Copy, Debug)]
pub struct Case<'c> {
    /// Its board.
    pub board: &'c Board,
    /// What it is judged by.
    pub limits: &'c LimitSet,
    /// What its last sweep showed.
    pub judgement: &'c Judgement,
    /// Wires fitted to it.
    pub wires: &'c [Wire],
    /// How repairs of its lot turned out.
    pub odds: &'c Odds,
    /// What segments read on other units where they are good, by name.
    pub readings: &'c BTreeMap<String, Vec<Ohms>>,
}

/// What the drop budget has left beyond the limits, in ohms.
pub(super) type Spare = Ohms;

impl Case<'_> {
    /// The row of a segment or a wire in the last sweep; of several states the one that says most.
    pub(super) fn row(&self, name: &str) -> Option<&SegmentRow> {
        let rows = || self.judgement.segments.iter().filter(|row| row.name == name);
        rows()
            .find(|row| row.verdict == Verdict::Fail)
            .or_else(|| rows().find(|row| row.at_20c.is_some()))
            .or_else(|| rows().next())
    }

    /// What a segment will read once it is healthy.
    pub(super) fn healthy(&self, segment: &Segment) -> Expectation {
        healthy(segment, self.readings.get(&segment.name).map_or(&[], Vec::as_slice))
    }

    /// What the meter makes of a resistance that is the sum of so many readings: it is unsure by as much as it was of copper in the last
    /// sweep, in the middle of that.
    fn as_read(&self, expected: Expectation, readings: usize) -> Expectation {
        let copper = |row: &&SegmentRow| matches!(row.kind.as_str(), "trace" | "via" | "pour" | "wire");
        let mut unsure: Vec<Ohms> =
            self.judgement.segments.iter().filter(copper).filter_map(|row| row.u95).collect();
        unsure.sort_by(Ohms::total_cmp);
        let u95 = unsure.get(unsure.len() / 2).copied().unwrap_or_default() * (readings as f64).sqrt();
        let [low, high] = expected.interval;
        let widened = |end: Ohms| (end - expected.middle).hypot(u95);
        let interval = [(expected.middle - widened(low)).max(Ohms::ZERO), expected.middle + widened(high)];
        Expectation { interval, ..expected }
    }

    /// Faults that a repair is worth looking for, most probable first.
    pub(super) fn faults(&self) -> impl Iterator<Item = &UnitFault> {
        self.judgement.faults.iter().filter(|fault| fault.probability >= LEAST_PROBABLE)
    }
}

/// Every proposal, numbered, and what is excluded and why.
pub fn list(case: &Case<'_>, spare: Spare) -> (Vec<Proposal>, Vec<Excluded>) {
    let (mut proposals, mut excluded) = (Vec::new(), Vec::new());
    for fault in case.faults() {
        let fitted = case.wires.iter().find(|wire| wire.name() == fault.place);
        let Some(at) = At::of(case.board, &fault.place) else { continue };
        for practice in practices(at, fault.class) {
            match propose(case, spare, fault, at, fitted, &practice) {
                Ok(proposal) if proposal.chance >= LEAST_CHANCE => proposals.push(proposal),
                Ok(_) => {}
                Err(why) => {
                    excluded.push(Excluded { place: fault.place.clone(), method: practice.method, why });
                }
            }
        }
    }
    proposals.sort_by(|a, b| a.minutes_per_cure.total_cmp(&b.minutes_per_cure));
    // A wire that reaches over two suspects is proposed for each of them; once is enough.
    let mut laid: Vec<[String; 2]> = Vec::new();
    proposals.retain(|proposal| {
        let Some(wiring) = &proposal.wire else { return true };
        let ends = [wiring.wire.from.clone(), wiring.wire.to.clone()];
        let new = !laid.contains(&ends);
        laid.push(ends);
        new
    });
    for (index, proposal) in proposals.iter_mut().enumerate() {
        proposal.number = index + 1;
    }
    (proposals, excluded)
}

/// A method for a fault.
fn propose(
    case: &Case<'_>,
    spare: Spare,
    fault: &UnitFault,
    at: At,
    fitted: Option<&Wire>,
    practice: &Practice,
) -> Result<Proposal, String> {
    let board = case.board;
    let method = practice.method;
    let id = board.segment_named(&fault.place);
    let mut probability = fault.probability;
    let (mut how, mut wire, mut predicted) = (String::new(), None, None);
    match (method, id, fitted) {
        (Method::WireAround | Method::ParallelWire, Some(id), _) => {
            let across = suspects(case, fault, id);
            let wiring = wiring::across(Bounds { board, limits: case.limits, spare }, &across)
                .or_else(|error| match across.len() {
                    1 => Err(error),
                    _ => wiring::across(Bounds { board, limits: case.limits, spare }, &[id]),
                })
                .map_err(|error| error.to_string())?;
            // Whichever of the bypassed segments it is: the wire cures them all.
            let bypassed = |other: &&UnitFault| wiring.bypasses.contains(&other.place);
            probability = case.judgement.faults.iter().filter(bypassed).map(|other| other.probability).sum();
            probability = probability.min(crate::fault::MOST);
            how = how::with_wire(&wiring, method);
            predicted = Some(of_wire(case, fault, &wiring));
            wire = Some(Box::new(wiring));
        }
        (_, Some(id), _) => {
            let segment = board.segment(id);
            let strand = predict::strand(&segment.kind);
            if method == Method::RebuildVia && strand.is_none() {
                return Err("no strand of wire goes through its plated hole".into());
            }
            how = how::on_segment(board, segment, fault.class, method, strand);
            predicted = of_segment(case, fault, id, method);
        }
        (_, None, Some(wire)) => {
            how = how::on_wire(&wire.from, &wire.to, method);
            let expected = case.as_read(predict::wire(wire.length_mm, wire.awg), 1);
            let read = Predicted { row: wire.name(), middle: expected.middle, interval: expected.interval };
            predicted = Some(Prediction::new(read, expected.stands_on, None, wire.max));
        }
        (_, None, None) => how.push_str(&how::on_gap(&fault.place, method)),
    }
    let option = case.odds.option(at, fault.class, practice);
    let works = Works {
        chance: option.chance.mean(),
        interval_90: option.chance.interval(CHANCE_INTERVAL),
        counted: [option.record.worked, option.record.failed],
        others: case.odds.tries().saturating_sub(option.record.tries()),
    };
    let cures = probability * works.chance * (1.0 - practice.spoils);
    Ok(Proposal {
        number: 0,
        place: fault.place.clone(),
        class: fault.class,
        probability,
        method,
        how,
        works,
        chance: cures,
        minutes: practice.minutes,
        expected_minutes: option.minutes,
        minutes_per_cure: (option.minutes + SWEEP_MINUTES) / cures,
        spoils: practice.spoils,
        parts: practice.parts.into(),
        tools: method.tools().into(),
        caution: fault.advice.caution.clone(),
        predicted,
        wire,
    })
}

/// The neighbours that are suspected together with a segment, where a wire may lie across all of them; else the segment alone.
fn suspects(case: &Case<'_>, fault: &UnitFault, id: SegmentId) -> Vec<SegmentId> {
    let alternatives = case.judgement.faults.iter().filter(|other| {
        fault.alternative.is_some() && other.alternative == fault.alternative && other.class == fault.class
    });
    let ids: Vec<SegmentId> =
        alternatives.filter_map(|other| case.board.segment_named(&other.place)).collect();
    let [one, other] = ids.as_slice() else { return vec![id] };
    let (a, b) = (case.board.segment(*one), case.board.segment(*other));
    let neighbours = [a.from, a.to].iter().any(|point| [b.from, b.to].contains(point));
    let both = [a, b].iter().all(|segment| fitted::may_bypass(&segment.kind));
    if neighbours && both { vec![*one, *other] } else { vec![id] }
}

/// What the row of a segment should read.
fn of_segment(case: &Case<'_>, fault: &UnitFault, id: SegmentId, method: Method) -> Option<Prediction> {
    let segment = case.board.segment(id);
    let row = case.row(&segment.name);
    let read = row.and_then(|row| Some([row.at_20c?, row.u95?]));
    let expected = predict::after(case.board, segment, method, fault.class, read, case.healthy(segment))?;
    // Readings of other units hold what the meter is unsure by.
    let expected = match expected.stands_on {
        StandsOn::Units(_) => expected,
        StandsOn::BoardFile | StandsOn::Wire => case.as_read(expected, 1),
    };
    let limits = case.limits.of(id);
    let read = Predicted { row: segment.name.clone(), middle: expected.middle, interval: expected.interval };
    Some(Prediction::new(read, expected.stands_on, limits.min, limits.max))
}

/// What the row of a wire should read: alone past an open, else in parallel with what it lies across.
fn of_wire(case: &Case<'_>, fault: &UnitFault, wiring: &Wiring) -> Prediction {
    let pieces = wiring.bypasses.iter().map(|name| {
        let row = case.row(name).filter(|row| row.verdict == Verdict::Pass || name == &fault.place);
        let read = row.and_then(|row| Some((row.at_20c?, row.u95?)));
        let segment = case.board.segment_named(name).map(|id| case.board.segment(id))?;
        Some(match read {
            Some((value, u95)) => [(value - u95).max(Ohms::ZERO), value, value + u95],
            None => {
                let healthy = case.healthy(segment);
                [healthy.interval[0], healthy.middle, healthy.interval[1]]
            }
        })
    });
    let beside =
        pieces.flatten().fold([Ohms::ZERO; 3], |sum, piece| [0, 1, 2].map(|i: usize| sum[i] + piece[i]));
    let copper =
        Expectation { middle: beside[1], interval: [beside[0], beside[2]], stands_on: StandsOn::Wire };
    let expected = match fault.class {
        Class::Open => wiring.expected(None),
        // It carries by turns: beside the wire, or not.
        Class::Flaky => {
            let alone = wiring.expected(None);
            let both = wiring.expected(Some(copper));
            Expectation { interval: [both.interval[0], alone.interval[1]], ..alone }
        }
        _ => wiring.expected(Some(copper)),
    };
    let read = case.as_read(expected, wiring.bypasses.len());
    let read = Predicted { row: wiring.wire.name(), middle: read.middle, interval: read.interval };
    Prediction::new(read, expected.stands_on, None, wiring.wire.max)
}
