//! What the sweep found about each segment: which of its readings counts, its value at 20 °C, verdict and class.

use copperwalk_wire::Source;

use super::{
    facts::{Facts, SegmentFact},
    locate,
    outcome::{Class, Verdict},
};
use crate::{
    board::{
        Board, Segment, SegmentId, SegmentKind, StateId,
        expected::{ALPHA_COPPER, to_20c},
    },
    measure::{
        ratio::Reading,
        uncertainty::{Budget, TEMPERATURE_STANDARD_KELVIN},
    },
    verdict,
};

/// A contact that moved by less than this share of its limit is settled enough.
const FLICKER_SHARE: f64 = 0.25;
/// Above this a contact is called open rather than high, ohm: dry, less than 0.2 µA flow.
const OPEN_OHMS: f64 = 100e3;

/// One segment in one state.
#[derive(Clone, PartialEq, Debug)]
pub struct Finding {
    /// The segment.
    pub segment: SegmentId,
    /// The state.
    pub state: StateId,
    /// The value that counts, if there is one.
    pub value: Option<Value>,
    /// Verdict.
    pub verdict: Verdict,
    /// Class.
    pub class: Class,
    /// For what was located rather than measured: how probable it is.
    pub located: Option<f64>,
}

/// A resistance.
#[derive(Clone, PartialEq, Debug)]
pub struct Value {
    /// As measured, ohm.
    pub ohms: f64,
    /// Copper referred to 20 °C, ohm.
    pub ohms_20c: f64,
    /// Budget of `ohms` (no temperature part).
    pub as_measured: Budget,
    /// Budget of `ohms_20c`.
    pub budget: Budget,
}

impl Value {
    fn new(segment: &Segment, reading: &Reading, celsius: f64) -> Self {
        let ohms = reading.ohms;
        let ohms_20c = if segment.kind.is_copper() { to_20c(ohms, celsius) } else { ohms };
        let temperature = if segment.kind.is_copper() {
            ohms_20c.abs() * ALPHA_COPPER * TEMPERATURE_STANDARD_KELVIN
        } else {
            0.0
        };
        let factor = if ohms == 0.0 { 1.0 } else { ohms_20c / ohms };
        let as_measured = reading.budget;
        Self { ohms, ohms_20c, as_measured, budget: as_measured.scaled(factor, temperature) }
    }

    /// Expanded uncertainty of `ohms_20c`, 95 %.
    pub fn expanded(&self) -> f64 {
        self.budget.expanded()
    }
}

/// Finds out about one segment from everything read in a state.
pub fn find(board: &Board, id: SegmentId, state: StateId, known: &[&Facts], celsius: f64) -> Finding {
    let segment = board.segment(id);
    let finding =
        |value, verdict, class, located| Finding { segment: id, state, value, verdict, class, located };
    if let Some((_, probability)) = locate::opens(known).into_iter().find(|(open, _)| *open == id) {
        return finding(None, Verdict::Fail, Class::Open, Some(probability));
    }
    let readings: Vec<&SegmentFact> = known
        .iter()
        .flat_map(|facts| &facts.segments)
        .filter(|fact| fact.segment == id && fact.reading.flows && fact.proven == [true; 2])
        .collect();
    let judged = |fact: &SegmentFact| {
        let value = Value::new(segment, &fact.reading, celsius);
        let verdict = match fact.reading.over_range {
            // The value is a lower bound: it may fail, but never pass.
            true if value.ohms_20c - value.expanded() > segment.limits.max_ohms => Verdict::Fail,
            true => Verdict::Unproven,
            false => verdict::judge(value.ohms_20c, value.expanded(), &segment.limits),
        };
        (value, verdict)
    };
    if let Some(value) = flicker(segment, &readings, |fact| judged(fact).0) {
        return finding(Some(value), Verdict::Fail, Class::Flaky, None);
    }
    let Some((value, verdict)) = authoritative(segment, &readings, judged) else {
        return finding(None, Verdict::Unproven, Class::NotReached, None);
    };
    let class = classify(segment, &value, verdict, &readings, judged);
    finding(Some(value), verdict, class, None)
}

/// The reading that counts. Contacts: dry, and a dry failure stands whatever came after, because load may have
/// punctured its film. All else: the least uncertain reading under load, or dry where load was out of the question.
fn authoritative(
    segment: &Segment,
    readings: &[&SegmentFact],
    judged: impl Fn(&SegmentFact) -> (Value, Verdict),
) -> Option<(Value, Verdict)> {
    let preferred = |fact: &&&SegmentFact| {
        let dry = fact.source == Source::Dry;
        !fact.reading.over_range && dry == segment.kind.is_contact()
    };
    let least = |facts: &mut dyn Iterator<Item = &&SegmentFact>| {
        facts.map(|fact| judged(fact)).min_by(|a, b| a.0.expanded().total_cmp(&b.0.expanded()))
    };
    if segment.kind.is_contact()
        && let Some(failed) =
            readings.iter().filter(preferred).map(|fact| judged(fact)).find(|(_, v)| *v == Verdict::Fail)
    {
        return Some(failed);
    }
    least(&mut readings.iter().filter(preferred))
        .or_else(|| least(&mut readings.iter().filter(|fact| !fact.reading.over_range)))
        .or_else(|| least(&mut readings.iter()))
}

/// The worst value of a contact that moved while it was read.
fn flicker(
    segment: &Segment,
    readings: &[&SegmentFact],
    value: impl Fn(&SegmentFact) -> Value,
) -> Option<Value> {
    let moved = |fact: &&&SegmentFact| {
        fact.reading.flicker.is_some_and(|[low, high]| {
            high - low > FLICKER_SHARE * segment.limits.max_ohms && high > 2.0 * low
        })
    };
    readings.iter().find(moved).map(|fact| value(fact))
}

fn classify(
    segment: &Segment,
    value: &Value,
    verdict: Verdict,
    readings: &[&SegmentFact],
    judged: impl Fn(&SegmentFact) -> (Value, Verdict),
) -> Class {
    match verdict {
        Verdict::Fail if segment.limits.min_ohms.is_some_and(|min| value.ohms_20c < min) => Class::Low,
        Verdict::Fail if value.ohms_20c > OPEN_OHMS => Class::Open,
        Verdict::Fail => {
            let passes_under_load =
                readings.iter().any(|fact| fact.source == Source::Load && judged(fact).1 == Verdict::Pass);
            if segment.kind.is_contact() && passes_under_load { Class::Film } else { Class::High }
        }
        _ if barrel_lost(segment, value) => Class::RedundancyLost,
        _ => Class::Ok,
    }
}

/// Does a group of n parallel barrels read like n − 1? The line is half way, by ratio, between the two.
fn barrel_lost(segment: &Segment, value: &Value) -> bool {
    let SegmentKind::Via { count, .. } = segment.kind else { return false };
    let all = f64::from(count);
    count > 1
        && value.ohms_20c - value.expanded() > segment.expected.typical_ohms * (all / (all - 1.0)).sqrt()
}
