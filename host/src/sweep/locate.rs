//! Where a path that carries no current is open.
//!
//! Both ends of the forced stretch rest on the bias node, so every pin on either side of a single open is proven
//! by its burn-out current, and the dry clamp's whole voltage stands across the open segment. Between two opens an
//! island floats: its pins prove nothing, and only a reading past them tells a dead pin from a double open.

use super::facts::{Facts, SegmentFact};
use crate::board::{PointId, SegmentId};

/// More than this across a segment that carries nothing, volt: a twentieth of the dry clamp's 18 mV.
const OPEN_VOLTS: f64 = 0.9e-3;

/// What may be open.
#[derive(Clone, PartialEq, Eq, Debug)]
pub enum Suspect {
    /// Both pins proven, the clamp's voltage between them.
    Open(SegmentId),
    /// Pins that do not answer, between two that do.
    Silent(Block),
}

/// Neighbouring pins that do not answer.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Block {
    /// The last pin before that answers.
    pub before: PointId,
    /// The silent ones.
    pub pins: Vec<PointId>,
    /// The next that answers.
    pub after: PointId,
    /// The segments at its two edges.
    pub edges: [SegmentId; 2],
}

/// How a dry look along a whole stretch went.
pub fn suspects(walked: &[SegmentFact]) -> Vec<Suspect> {
    let mut found = Vec::new();
    let mut entered: Option<(&SegmentFact, Vec<PointId>)> = None;
    for fact in walked {
        match (entered.take(), fact.proven) {
            (None, [true, true]) if fact.reading.sense_volts.abs() > OPEN_VOLTS => {
                found.push(Suspect::Open(fact.segment));
            }
            (None, [true, false]) => entered = Some((fact, vec![fact.ends[1]])),
            (Some((first, mut pins)), [false, false]) => {
                pins.push(fact.ends[1]);
                entered = Some((first, pins));
            }
            (Some((first, pins)), [false, true]) => found.push(Suspect::Silent(Block {
                before: first.ends[0],
                pins,
                after: fact.ends[1],
                edges: [first.segment, fact.segment],
            })),
            // An end of the stretch that does not answer is a matter of its own pins.
            _ => {}
        }
    }
    found
}

/// Opens found in a state: the segment, and how probable it is that this one is the open one.
pub fn opens(runs: &[&Facts]) -> Vec<(SegmentId, f64)> {
    let mut found: Vec<(SegmentId, f64)> = Vec::new();
    let mut add = |segment: SegmentId, probability: f64| {
        if !found.iter().any(|(known, _)| *known == segment) {
            found.push((segment, probability));
        }
    };
    for look in runs.iter().filter(|facts| is_dry_look(facts) && !carries(facts)) {
        for suspect in suspects(&look.segments) {
            match suspect {
                Suspect::Open(segment) => add(segment, 0.999),
                Suspect::Silent(block) if is_open_behind(&block, runs) => {
                    // A single silent pin may itself be dead beside one open; an island of several is not.
                    let probability = if block.pins.len() == 1 { 0.6 } else { 0.95 };
                    add(block.edges[0], probability);
                    add(block.edges[1], probability);
                }
                Suspect::Silent(_) => {}
            }
        }
    }
    found
}

/// Did a reading past the block find the clamp's voltage, so that the path is open behind it?
pub fn is_open_behind(block: &Block, runs: &[&Facts]) -> bool {
    bridge(block, runs).is_some_and(|volts| volts > OPEN_VOLTS)
}

/// Did a reading past the block find nothing, so that the path is whole and the pins are not?
pub fn is_whole_behind(block: &Block, runs: &[&Facts]) -> bool {
    bridge(block, runs).is_some_and(|volts| volts <= OPEN_VOLTS)
}

fn bridge(block: &Block, runs: &[&Facts]) -> Option<f64> {
    let around = block.pins.first()?;
    runs.iter()
        .flat_map(|facts| &facts.bridges)
        .find(|(point, _)| point == around)
        .map(|(_, reading)| reading.sense_volts.abs())
}

/// Is this the dry look along a stretch?
pub fn is_dry_look(facts: &Facts) -> bool {
    facts.purpose == crate::measurement::Purpose::DryLook
}

/// Did a current flow in a look along a stretch?
pub fn carries(facts: &Facts) -> bool {
    facts.segments.iter().any(|fact| fact.reading.flows)
}
