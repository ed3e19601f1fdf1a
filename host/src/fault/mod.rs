//! Which part is at fault, how probably, and what to do about it.
//!
//! What was measured speaks for itself: the probability is that of the value lying outside its limit. Where the
//! evidence only points at several segments at once, [`prior`] shares it out. [`advice`] puts the repair into words.

pub mod advice;
pub mod prior;

use statrs::distribution::{ContinuousCDF, Normal};

use crate::{
    board::{Board, Limits, Segment},
    sweep::{
        ClosureRow, Fault, IsolationRow,
        finding::{Finding, Value},
    },
    verdict::{Class, Verdict},
};

/// Nothing is certain.
const MOST: f64 = 0.999;
/// Evidence from a closure that does not add up: some contact changed when load current came.
const CLOSURE_EVIDENCE: f64 = 0.8;

/// The unit's faults, most probable first; equally probable ones in the order of the path.
pub fn faults(
    board: &Board,
    findings: &[Finding],
    insulations: &[IsolationRow],
    closures: &[ClosureRow],
) -> Vec<Fault> {
    let mut faults: Vec<Fault> = Vec::new();
    for finding in findings {
        let segment = board.segment(finding.segment);
        let reported = finding.verdict == Verdict::Fail || finding.class == Class::RedundancyLost;
        if !reported || faults.iter().any(|fault| fault.place == segment.name) {
            continue;
        }
        let probability = finding.located.unwrap_or_else(|| measured(segment, finding));
        let advice = advice::for_segment(board, finding.segment, finding.class);
        faults.push(Fault { place: segment.name.clone(), class: finding.class, probability, advice });
    }
    for row in insulations.iter().filter(|row| row.verdict == Verdict::Fail) {
        if faults.iter().any(|fault| fault.place == row.name) {
            continue;
        }
        let advice = advice::for_insulation(row);
        faults.push(Fault { place: row.name.clone(), class: row.class, probability: MOST, advice });
    }
    if faults.iter().all(|fault| fault.class == Class::RedundancyLost)
        && closures.iter().any(|row| !row.agrees && row.whole_ohms > row.sum_ohms)
    {
        faults.extend(suspected_films(board, findings));
    }
    faults.sort_by(|a, b| b.probability.total_cmp(&a.probability));
    faults
}

/// How probable it is that a measured value really is what its class says.
fn measured(segment: &Segment, finding: &Finding) -> f64 {
    let Some(value) = &finding.value else { return MOST };
    match finding.class {
        Class::RedundancyLost => {
            let expected = segment.expected.typical_ohms;
            let limits = Limits { min_ohms: None, max_ohms: 1.2 * expected, ..segment.limits };
            outside(value, &limits)
        }
        _ => outside(value, &segment.limits),
    }
}

/// Probability that the true value lies outside the limits, given the reading.
fn outside(value: &Value, limits: &Limits) -> f64 {
    let standard = value.budget.standard();
    let Ok(normal) = Normal::new(value.ohms_20c, standard) else { return MOST };
    let below = limits.min_ohms.map_or(0.0, |min| normal.cdf(min));
    (normal.sf(limits.max_ohms) + below).clamp(0.5, MOST)
}

/// The end-to-end reading was higher before load current flowed than the contacts are now: a film, on one of them.
fn suspected_films(board: &Board, findings: &[Finding]) -> Vec<Fault> {
    let contacts: Vec<_> =
        findings.iter().map(|f| f.segment).filter(|&id| board.segment(id).kind.is_contact()).collect();
    let total: f64 = contacts.iter().map(|&id| prior::rate(&board.segment(id).kind)).sum();
    contacts
        .into_iter()
        .map(|id| {
            let segment = board.segment(id);
            Fault {
                place: segment.name.clone(),
                class: Class::Film,
                probability: CLOSURE_EVIDENCE * prior::rate(&segment.kind) / total,
                advice: advice::for_segment(board, id, Class::Film),
            }
        })
        .collect()
}
