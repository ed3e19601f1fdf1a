//! Which part is at fault, how probably, and what to do about it.
//!
//! What was measured speaks for itself: the probability is that of the value lying outside its limit. Where the
//! evidence only points at several segments at once, the [table of rates](rate::of_kind) shares it out. [`advice`] puts the repair into words.

pub mod advice;
pub mod method;

use statrs::distribution::{ContinuousCDF, Normal};

use crate::{
    board::{Board, PointId, Segment},
    finding::{
        closure,
        isolation::{self, Barrier},
        segment::{Finding, Value},
    },
    hypothesis::rate,
    limits::{LimitSet, Limits},
    sweep::UnitFault,
    verdict::{Class, Verdict},
};

/// A place less probable than this is not named where only hypotheses speak.
pub const NAMED: f64 = 0.1;
/// Nothing is certain.
pub const MOST: f64 = 0.999;
/// Evidence from a closure that does not add up: some contact changed when load current came.
const CLOSURE_EVIDENCE: f64 = 0.8;
/// How probable a second leak is where one found elsewhere explains the reading.
const EXPLAINED: f64 = 0.05;
/// A leak explains another reading of the same nets if that is at least this share of it: a second leak would lower it.
const EXPLAINS: f64 = 0.95;
/// A barrel counts as lost above this multiple of the expected value.
const BARREL_LIMIT: f64 = 1.2;

/// The unit's faults, most probable first; equally probable ones in the order of the path.
pub fn faults(
    board: &Board,
    limits: &LimitSet,
    segments: &[Finding],
    isolations: &[isolation::Finding],
    closures: &[closure::Finding],
) -> Vec<UnitFault> {
    let mut faults: Vec<UnitFault> = Vec::new();
    let mut alternatives = Alternatives::default();
    let no_fault = [Class::Ok, Class::NotReached, Class::NotJudgedUnpowered];
    for finding in segments.iter().filter(|finding| !no_fault.contains(&finding.class)) {
        let segment = board.segment(finding.segment);
        if faults.iter().any(|fault| fault.place == segment.name) {
            continue;
        }
        let located = finding.located;
        faults.push(UnitFault {
            place: segment.name.clone(),
            class: finding.class,
            probability: located.map_or_else(
                || measured(segment, limits.of(finding.segment), finding),
                |open| open.probability,
            ),
            alternative: located.and_then(|open| Some(alternatives.group(Evidence::SilentPin(open.beside?)))),
            advice: advice::for_segment(board, finding.segment, finding.class),
        });
    }
    for finding in isolations.iter().filter(|finding| finding.verdict == Verdict::Fail) {
        let place = finding.barrier.name(board);
        if faults.iter().any(|fault| fault.place == place) {
            continue;
        }
        let cause = explanation(board, finding, isolations);
        let explained = cause.is_some_and(|cause| cause.barrier != finding.barrier);
        faults.push(UnitFault {
            advice: advice::for_isolation(board, finding),
            place,
            class: finding.class,
            probability: if explained { EXPLAINED } else { MOST },
            alternative: None,
        });
    }
    if faults.iter().all(|fault| fault.class == Class::RedundancyLost)
        && closures.iter().any(|found| !found.agrees && found.end_to_end > found.sum)
    {
        faults.extend(suspected_films(board, segments, &mut alternatives));
    }
    faults.sort_by(|a, b| b.probability.total_cmp(&a.probability));
    faults
}

/// Evidence that several faults stand on together.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Evidence {
    /// A pin, by its point, that does not answer.
    SilentPin(PointId),
    /// A closure that does not add up.
    Closure,
}

/// Numbers for groups of faults that are alternatives to each other.
#[derive(Default)]
struct Alternatives(Vec<Evidence>);

impl Alternatives {
    fn group(&mut self, evidence: Evidence) -> u8 {
        let known = self.0.iter().position(|other| *other == evidence);
        let at = known.unwrap_or_else(|| {
            self.0.push(evidence);
            self.0.len() - 1
        });
        u8::try_from(at).unwrap_or(u8::MAX)
    }
}

/// The leak that a reading is of: itself, unless a narrower one of the same nets explains it.
fn explanation<'f>(
    board: &Board,
    finding: &isolation::Finding,
    all: &'f [isolation::Finding],
) -> Option<&'f isolation::Finding> {
    let ohms = |finding: &isolation::Finding| finding.reading.as_ref().and_then(|reading| reading.resistance);
    all.iter().find(|other| {
        let nets = matches!((finding.barrier, other.barrier), (Barrier::Between(_), Barrier::Between(_)));
        let narrower = isolation::covers(board, finding, other) && !isolation::covers(board, other, finding);
        let alike = ohms(finding).zip(ohms(other)).is_some_and(|(wide, narrow)| wide >= EXPLAINS * narrow);
        nets && narrower && alike && other.verdict == Verdict::Fail
    })
}

/// How probable it is that a measured value really is what its class says.
fn measured(segment: &Segment, limits: &Limits, finding: &Finding) -> f64 {
    let Some(value) = &finding.value else { return MOST };
    match finding.class {
        Class::RedundancyLost => {
            let max = BARREL_LIMIT * segment.expected.typical;
            outside(value, &Limits { min: None, max, ..*limits })
        }
        _ => outside(value, limits),
    }
}

/// Probability that the true value lies outside the limits, given the reading.
fn outside(value: &Value, limits: &Limits) -> f64 {
    let standard = value.budget.standard();
    let Ok(normal) = Normal::new(value.at_20c.0, standard.0) else { return MOST };
    let below = limits.min.map_or(0.0, |min| normal.cdf(min.0));
    (normal.sf(limits.max.0) + below).clamp(0.5, MOST)
}

/// The end-to-end reading was higher before load current flowed than the contacts are now: a film, on one of them.
fn suspected_films(board: &Board, segments: &[Finding], alternatives: &mut Alternatives) -> Vec<UnitFault> {
    let contacts: Vec<_> =
        segments.iter().map(|f| f.segment).filter(|&id| board.segment(id).kind.is_contact()).collect();
    let total: f64 = contacts.iter().map(|&id| rate::of_kind(&board.segment(id).kind)).sum();
    let group = alternatives.group(Evidence::Closure);
    contacts
        .into_iter()
        .map(|id| {
            let segment = board.segment(id);
            UnitFault {
                place: segment.name.clone(),
                class: Class::Film,
                probability: CLOSURE_EVIDENCE * rate::of_kind(&segment.kind) / total,
                alternative: Some(group),
                advice: advice::for_segment(board, id, Class::Film),
            }
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{
        board::StateId,
        measure::{isolation::Isolation, uncertainty::Budget},
        quantity::Ohms,
    };

    fn board() -> Board {
        crate::board::parse("board.toml", include_str!("../../../fixtures/tide-gauge-head/board.toml"))
            .unwrap()
    }

    fn finding(board: &Board, name: &str, class: Class, value: Ohms, standard: Ohms) -> Finding {
        let budget = Budget::of_noise(standard);
        Finding {
            segment: board.segment_named(name).unwrap(),
            state: StateId::new(1),
            value: Some(Value { resistance: value, at_20c: value, as_measured: budget, budget }),
            verdict: Verdict::Fail,
            class,
            located: None,
            doubt: None,
            one_way: None,
        }
    }

    fn leak(board: &Board, index: usize, ohms: f64) -> isolation::Finding {
        let entry = &board.isolation[index];
        isolation::Finding {
            barrier: Barrier::Between(index),
            between: entry.between,
            state: entry.state,
            reading: Some(Isolation {
                at_least: None,
                at_most: Some(Ohms(1.01 * ohms)),
                resistance: Some(Ohms(ohms)),
                driven: true,
                still_charging: false,
                contacts: [0; 2],
            }),
            min: entry.min,
            verdict: Verdict::Fail,
            class: Class::Leaky,
            doubt: None,
        }
    }

    #[test]
    fn a_barrel_counts_as_lost_above_1_2_times_the_value_of_the_group() {
        let (board, limits) = (board(), LimitSet::of_board(&board()));
        let typical = board.segment(board.segment_named("via pair 1").unwrap()).expected.typical;
        for (times, probability) in [(1.15, 0.5), (1.25, MOST)] {
            let found = finding(&board, "via pair 1", Class::RedundancyLost, times * typical, 0.01 * typical);
            let faults = faults(&board, &limits, &[found], &[], &[]);
            assert_eq!(faults[0].probability, probability, "{times} times");
        }
    }

    #[test]
    fn a_value_is_outside_with_the_probability_of_its_interval_and_never_with_certainty() {
        let (board, limits) = (board(), LimitSet::of_board(&board()));
        let id = board.segment_named("cross trace").unwrap();
        let max = limits.of(id).max;
        // One standard deviation above the limit: 84.13 % (normal distribution, any table).
        for (sigmas, least, most) in [(1.0, 0.8413, 0.8414), (6.0, MOST, MOST), (-1.0, 0.5, 0.5)] {
            let found = finding(&board, "cross trace", Class::High, max + Ohms(sigmas * 1e-3), Ohms(1e-3));
            let probability = faults(&board, &limits, &[found], &[], &[])[0].probability;
            assert!((least..=most).contains(&probability), "{sigmas}: {probability}");
        }
    }

    /// The supply's leak is read again behind the closed switch; only a lower reading there is a second leak.
    #[test]
    fn a_leak_explains_a_wider_reading_down_to_0_95_of_itself() {
        let (board, limits) = (board(), LimitSet::of_board(&board()));
        for (share, probability) in [(0.97, EXPLAINED), (0.93, MOST)] {
            let leaks = [leak(&board, 0, 5e3), leak(&board, 1, share * 5e3)];
            let faults = faults(&board, &limits, &[], &leaks, &[]);
            let wide = faults.iter().find(|fault| fault.place == leaks[1].barrier.name(&board)).unwrap();
            assert_eq!(wide.probability, probability, "{share}");
        }
    }
}
