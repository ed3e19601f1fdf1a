//! What differs between two judgements of one measurement, and why.

use serde::Serialize;
use utoipa::ToSchema;

use crate::{
    quantity::{engineering, with_uncertainty},
    sweep::{IsolationRow, Judgement, SegmentRow},
    verdict::{Class, Verdict},
};

/// A row whose verdict or class is another one.
#[derive(Clone, PartialEq, Debug, Serialize, ToSchema)]
pub struct Change {
    /// A segment's name, or `point~point`.
    #[serde(rename = "where")]
    pub place: String,
    /// State it was measured in.
    pub state: String,
    /// Verdict and class as they were.
    pub before: Opinion,
    /// Verdict and class as they would be.
    pub after: Opinion,
    /// Why, in a sentence.
    pub why: String,
}

/// A verdict with its class.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, ToSchema)]
pub struct Opinion {
    /// The verdict.
    pub verdict: Verdict,
    /// The class.
    pub class: Class,
}

/// Every row that would change, in the order of the new judgement.
pub fn changes(before: &Judgement, after: &Judgement) -> Vec<Change> {
    let segments = after.segments.iter().filter_map(|new| {
        let same = |old: &&SegmentRow| old.name == new.name && old.state == new.state;
        let old = before.segments.iter().find(same)?;
        let [was, is] = [old, new].map(|row| Opinion { verdict: row.verdict, class: row.class });
        (was != is).then(|| change(&new.name, &new.state, was, is, why_segment(old, new, before, after)))
    });
    let isolation = after.isolation.iter().filter_map(|new| {
        let same = |old: &&IsolationRow| old.name == new.name && old.state == new.state;
        let old = before.isolation.iter().find(same)?;
        let [was, is] = [old, new].map(|row| Opinion { verdict: row.verdict, class: row.class });
        (was != is).then(|| change(&new.name, &new.state, was, is, why_isolation(old, new, before, after)))
    });
    segments.chain(isolation).collect()
}

fn change(place: &str, state: &str, before: Opinion, after: Opinion, why: String) -> Change {
    Change { place: place.into(), state: state.into(), before, after, why }
}

fn why_segment(old: &SegmentRow, new: &SegmentRow, before: &Judgement, after: &Judgement) -> String {
    if (old.min, old.max) != (new.min, new.max) {
        return format!("the limit was {} and is {}", limit(old), limit(new));
    }
    let value = |row: &SegmentRow| match (row.at_20c, row.u95) {
        (Some(ohms), Some(u95)) => with_uncertainty(ohms, u95).to_string(),
        (Some(ohms), None) => engineering(ohms),
        _ => "nothing".into(),
    };
    if (old.at_20c, old.u95) != (new.at_20c, new.u95) {
        return format!("the value was {} and is {}", value(old), value(new));
    }
    by_program(before, after)
}

fn why_isolation(old: &IsolationRow, new: &IsolationRow, before: &Judgement, after: &Judgement) -> String {
    if old.min != new.min {
        return format!("the limit was {} and is {}", engineering(old.min), engineering(new.min));
    }
    by_program(before, after)
}

/// Nothing that stands in the rows explains it: another row does, or the program.
fn by_program(before: &Judgement, after: &Judgement) -> String {
    if before.verdict != after.verdict && [before.verdict, after.verdict].contains(&Verdict::Void) {
        "the bench is judged differently".into()
    } else if before.program != after.program {
        format!("copperwalk {} judges the same readings differently than {}", after.program, before.program)
    } else {
        "another row of this sweep is judged differently".into()
    }
}

fn limit(row: &SegmentRow) -> String {
    match row.min {
        Some(min) => format!("{} to {}", engineering(min), engineering(row.max)),
        None => format!("at most {}", engineering(row.max)),
    }
}
