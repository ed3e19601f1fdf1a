//! What is found about wires that were fitted to the unit, each together with what it lies across.
//!
//! The current divides between a wire and what it bypasses, and nobody can tell how. But the voltages of the bypassed segments, read one after
//! the other with the same current, add up to that between the ends of the wire: so the sum of their readings is what both
//! have together. Of a bypassed segment by itself nothing can be said. Behind its break it reads zero, before it all of the wire.

use super::{
    segment::{self, Doubt, Value},
    warmth::Warmth,
};
use crate::{
    board::{Board, SegmentId, StateId},
    fitted::Wire,
    limits::{LimitOrigin, Limits},
    measure::uncertainty::Budget,
    quantity::Ohms,
    verdict::{self, Class, Verdict},
};

/// A wire in the state in which its segments were read.
#[derive(Clone, PartialEq, Debug)]
pub struct Finding {
    /// Which of the unit's wires.
    pub wire: usize,
    /// The state.
    pub state: StateId,
    /// What it and the bypassed segments have together, if that is known.
    pub value: Option<Value>,
    /// Verdict.
    pub verdict: Verdict,
    /// Class.
    pub class: Class,
    /// Why nothing is proven; `None` unless the verdict is unproven.
    pub doubt: Option<Doubt>,
}

/// The limits of a wire with what it bypasses.
pub fn limits(wire: &Wire) -> Limits {
    Limits { min: None, max: wire.max, origin: LimitOrigin::Stated }
}

/// Judges the wires, and marks the segments they bypass as such. Wires that the board has no place for are left out.
pub fn find(
    board: &Board,
    warmth: Warmth,
    wires: &[Wire],
    segments: &mut [segment::Finding],
) -> Vec<Finding> {
    let mut found = Vec::new();
    for (index, wire) in wires.iter().enumerate() {
        let Ok(bypassed) = wire.bypasses(board) else { continue };
        found.extend(together(index, wire, warmth, &bypassed, segments));
        for finding in segments.iter_mut().filter(|finding| bypassed.contains(&finding.segment)) {
            finding.verdict = Verdict::Unproven;
            finding.class = Class::Bypassed;
            finding.doubt = Some(Doubt::Bypassed);
        }
    }
    found
}

/// A wire by the findings about what it bypasses; `None` where the plan reads nothing of it.
fn together(
    index: usize,
    wire: &Wire,
    warmth: Warmth,
    bypassed: &[SegmentId],
    segments: &[segment::Finding],
) -> Option<Finding> {
    let of = |id: &SegmentId| segments.iter().find(|finding| finding.segment == *id);
    let pieces: Vec<&segment::Finding> = bypassed.iter().filter_map(of).collect();
    let state = pieces.last()?.state;
    let finding = |value, verdict, class, doubt| Finding { wire: index, state, value, verdict, class, doubt };
    let any = |class| pieces.iter().any(|piece| piece.class == class && piece.verdict == Verdict::Fail);
    if any(Class::Open) {
        return Some(finding(None, Verdict::Fail, Class::Open, None));
    }
    let doubt = match pieces.len() == bypassed.len() {
        // What a limit of its own leaves open says nothing about the sum.
        true => pieces.iter().find_map(|piece| piece.doubt.filter(|doubt| *doubt != Doubt::Straddles)),
        false => Some(Doubt::NotReached),
    };
    let values: Option<Vec<&Value>> = pieces.iter().map(|piece| piece.value.as_ref()).collect();
    let value = values.and_then(|values| {
        let resistance: Ohms = values.iter().map(|value| value.resistance).sum();
        let budget = Budget::in_series(values.iter().map(|value| &value.as_measured))?;
        Some(Value::of(&wire.kind(), resistance, budget, warmth))
    });
    if any(Class::Flaky) {
        return Some(finding(value, Verdict::Fail, Class::Flaky, None));
    }
    let limits = limits(wire);
    Some(match (&value, doubt) {
        (None, doubt) => {
            finding(value, Verdict::Unproven, Class::NotReached, doubt.or(Some(Doubt::NotReached)))
        }
        (Some(_), Some(doubt)) => finding(value, Verdict::Unproven, Class::Ok, Some(doubt)),
        (Some(known), None) => {
            let verdict = verdict::judge(known.at_20c, known.budget.guard(), &limits);
            let class = if verdict == Verdict::Fail { Class::High } else { Class::Ok };
            let doubt = (verdict == Verdict::Unproven).then_some(Doubt::Straddles);
            finding(value, verdict, class, doubt)
        }
    })
}
