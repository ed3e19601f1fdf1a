//! What the sweep found about each segment: which of its readings counts, its value at 20 °C, verdict and class.

use copperwalk_wire::Source;

use super::{
    facts::{Facts, SegmentFact},
    locate,
};
use crate::{
    board::{
        Board, Segment, SegmentId, SegmentKind, StateId,
        expected::{ALPHA_COPPER, to_20c},
    },
    measure::{
        ratio::{Motion, Reading},
        uncertainty::{Budget, TEMPERATURE_STANDARD_KELVIN},
    },
    verdict::{self, Class, Verdict},
};

/// A contact that moved by less than this share of its limit is settled enough.
const MOTION_SHARE: f64 = 0.25;
/// A rough reading fails only when it is outside by so many times its 95 % uncertainty.
const ROUGH_FACTOR: f64 = 3.0;
/// Motion of less than this share of the widest seen is a neighbour's.
const NEIGHBOUR_SHARE: f64 = 0.1;
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
    let all: Vec<&SegmentFact> = known
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
            // One of many readings taken with whatever current there was: to fail by it, a value has to stand out.
            false if fact.rough => {
                let u = value.expanded();
                match verdict::judge(value.ohms_20c, u, &segment.limits) {
                    Verdict::Fail => verdict::judge(value.ohms_20c, ROUGH_FACTOR * u, &segment.limits),
                    verdict => verdict,
                }
            }
            false => verdict::judge(value.ohms_20c, value.expanded(), &segment.limits),
        };
        (value, verdict)
    };
    let widest = widest_motion(known);
    if let Some(moved) = all.iter().find(|fact| moves(segment, &fact.reading, widest)) {
        return finding(Some(judged(moved).0), Verdict::Fail, Class::Flaky, None);
    }
    let steady: Vec<&SegmentFact> =
        all.iter().copied().filter(|fact| fact.reading.motion.is_none()).collect();
    // While another piece makes and breaks, a reading may be off without showing it. One that passes cannot have
    // passed by that.
    let passed = steady.iter().map(|fact| judged(fact)).find(|(_, v)| widest > 0.0 && *v == Verdict::Pass);
    if let Some((value, verdict)) = passed.or_else(|| authoritative(segment, &steady, judged)) {
        let class = classify(segment, &value, verdict, &steady, judged);
        return finding(Some(value), verdict, class, None);
    }
    // Read only while something else in the loop moved: a value, but nothing to judge by.
    match authoritative(segment, &all, judged) {
        Some((value, _)) => finding(Some(value), Verdict::Unproven, Class::Ok, None),
        None => finding(None, Verdict::Unproven, Class::NotReached, None),
    }
}

/// The reading that counts. Contacts: dry; all else: under load, or dry where load was out of the question; of several
/// the least uncertain. But whatever failed dry has failed, because the load may since have broken through a film.
fn authoritative(
    segment: &Segment,
    readings: &[&SegmentFact],
    judged: impl Fn(&SegmentFact) -> (Value, Verdict),
) -> Option<(Value, Verdict)> {
    let dry = |fact: &SegmentFact| fact.source == Source::Dry;
    let in_range = |fact: &SegmentFact| !fact.reading.over_range;
    let least = |wanted: &dyn Fn(&SegmentFact) -> bool| {
        readings
            .iter()
            .filter(|fact| wanted(fact))
            .map(|fact| judged(fact))
            .min_by(|a, b| a.0.expanded().total_cmp(&b.0.expanded()))
    };
    let failed_dry =
        readings.iter().filter(|fact| dry(fact)).map(|fact| judged(fact)).find(|(_, v)| *v == Verdict::Fail);
    let usual = least(&|fact| in_range(fact) && dry(fact) == segment.kind.is_contact());
    match (failed_dry, usual) {
        // Both failed: the better value.
        (Some(_), Some((value, Verdict::Fail))) => Some((value, Verdict::Fail)),
        (Some(failed), _) => Some(failed),
        (None, Some(usual)) => Some(usual),
        (None, None) => least(&in_range).or_else(|| least(&|_| true)),
    }
}

/// Did the segment itself move, by a good part of its limit? A contact that makes and breaks shakes the readings of its
/// neighbours too, by far less than its own.
fn moves(segment: &Segment, reading: &Reading, widest_ohms: f64) -> bool {
    match reading.motion {
        Some(Motion::Here([low, high])) => {
            high - low > (MOTION_SHARE * segment.limits.max_ohms).max(NEIGHBOUR_SHARE * widest_ohms)
                && high > 2.0 * low
        }
        _ => false,
    }
}

/// The widest motion of any segment, ohm.
fn widest_motion(known: &[&Facts]) -> f64 {
    known
        .iter()
        .flat_map(|facts| &facts.segments)
        .filter_map(|fact| match fact.reading.motion {
            Some(Motion::Here([low, high])) => Some(high - low),
            _ => None,
        })
        .fold(0.0, f64::max)
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
            if passes_under_load { Class::Film } else { Class::High }
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
