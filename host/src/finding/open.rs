//! Where a path that carries no current is open.
//!
//! Both ends of the forced stretch rest on the bias node, so every pin on either side of a single open touches by
//! the contact check, and the dry clamp's whole voltage stands across the open segment. Between two opens an island
//! floats: its pins do not answer, and only a reading past them tells a dead pin from a double open.
//!
//! A mesh carries no current only if it is open on every way through it. The clamp's voltage then stands across each of the segments
//! that part the two sides.

use crate::{
    board::{PointId, SegmentId},
    evidence::{MeshReading, Observation, RunEvidence, SegmentReading},
    quantity::Volts,
};

/// More than this across a segment that carries nothing is the clamp's voltage: a twentieth of its 18 mV.
pub const OPEN: Volts = Volts(0.9e-3);
/// An open with a touching pin on either side.
const LOCATED: f64 = 0.999;
/// One of the two edges of an island of several pins.
const EDGE_OF_ISLAND: f64 = 0.95;
/// One of the two edges of a single silent pin, which may itself be dead beside one open.
const EDGE_OF_PIN: f64 = 0.6;

/// A segment found open.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Open {
    /// The segment.
    pub segment: SegmentId,
    /// How probable it is that this one is the open one.
    pub probability: f64,
    /// The point whose silent pin leaves it open which of two segments is broken, or whether both are.
    pub beside: Option<PointId>,
}

/// What may be open.
#[derive(Clone, PartialEq, Eq, Debug)]
pub enum Suspect {
    /// Both pins touch, the clamp's voltage between them.
    Open(SegmentId),
    /// Pins that do not answer, between two that do.
    Silent(Block),
}

/// Neighbouring pins that do not answer.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Block {
    /// The last pin before that answers.
    pub before: PointId,
    /// The silent ones; never empty.
    pub pins: Vec<PointId>,
    /// The next that answers.
    pub after: PointId,
    /// The segments at its two edges.
    pub edges: [SegmentId; 2],
}

/// What the dry survey of a whole stretch leaves to suspect.
pub fn suspects<'r>(walked: impl Iterator<Item = &'r SegmentReading>) -> Vec<Suspect> {
    let mut found = Vec::new();
    let mut entered: Option<(&SegmentReading, Vec<PointId>)> = None;
    for seen in walked {
        match (entered.take(), seen.touches) {
            (None, [true, true]) if seen.reading.voltage.abs() > OPEN => {
                found.push(Suspect::Open(seen.segment));
            }
            (None, [true, false]) => entered = Some((seen, vec![seen.ends[1]])),
            (Some((first, mut pins)), [false, false]) => {
                // Where a mesh lies between two segments, both its points float.
                pins.extend(seen.ends);
                pins.dedup();
                entered = Some((first, pins));
            }
            (Some((first, mut pins)), [false, true]) => {
                pins.push(seen.ends[0]);
                pins.dedup();
                found.push(Suspect::Silent(Block {
                    before: first.ends[0],
                    pins,
                    after: seen.ends[1],
                    edges: [first.segment, seen.segment],
                }));
            }
            // An end of the stretch that does not answer is a matter of its own pins.
            _ => {}
        }
    }
    found
}

/// Opens found by the runs of one state.
pub fn opens<'r>(runs: impl Iterator<Item = &'r RunEvidence> + Clone) -> Vec<Open> {
    let mut found: Vec<Open> = Vec::new();
    let mut add = |segment, probability, beside| {
        if !found.iter().any(|open| open.segment == segment) {
            found.push(Open { segment, probability, beside });
        }
    };
    for suspect in suspected(runs.clone()) {
        match suspect {
            Suspect::Open(segment) => add(segment, LOCATED, None),
            Suspect::Silent(block) if is_open_behind(&block, runs.clone()) => {
                let lone = match block.pins[..] {
                    [pin] => Some(pin),
                    _ => None,
                };
                let probability = if lone.is_some() { EDGE_OF_PIN } else { EDGE_OF_ISLAND };
                add(block.edges[0], probability, lone);
                add(block.edges[1], probability, lone);
            }
            Suspect::Silent(_) => {}
        }
    }
    for seen in parted(runs) {
        match seen.touches {
            [true, true] if seen.reading.voltage.abs() > OPEN => add(seen.segment, LOCATED, None),
            [true, false] => add(seen.segment, EDGE_OF_PIN, Some(seen.ends[1])),
            [false, true] => add(seen.segment, EDGE_OF_PIN, Some(seen.ends[0])),
            _ => {}
        }
    }
    found
}

/// Readings in meshes that were found open on every way between two forced points: the clamp's voltage stands somewhere between pins that
/// answer, and nothing flows.
fn parted<'r>(runs: impl Iterator<Item = &'r RunEvidence>) -> Vec<&'r MeshReading> {
    let mut parted = Vec::new();
    for run in runs {
        let is_open = |seen: &MeshReading| {
            !seen.reading.flows && seen.touches == [true; 2] && seen.reading.voltage.abs() > OPEN
        };
        let open: Vec<[PointId; 2]> =
            run.meshes().filter(|seen| is_open(seen)).map(|seen| seen.forced).collect();
        parted.extend(run.meshes().filter(|seen| !seen.reading.flows && open.contains(&seen.forced)));
    }
    parted
}

/// Points that float between two opens: their silence is the unit's doing.
pub fn islands<'r>(runs: impl Iterator<Item = &'r RunEvidence> + Clone) -> Vec<PointId> {
    let silent = |seen: &MeshReading| {
        let ends = seen.ends.into_iter().zip(seen.touches);
        ends.filter(|(_, touches)| !touches).map(|(point, _)| point).collect::<Vec<_>>()
    };
    let in_meshes: Vec<PointId> = parted(runs.clone()).into_iter().flat_map(silent).collect();
    suspected(runs.clone())
        .into_iter()
        .filter_map(|suspect| match suspect {
            Suspect::Silent(block) if is_open_behind(&block, runs.clone()) => Some(block.pins),
            _ => None,
        })
        .flatten()
        .chain(in_meshes)
        .collect()
}

fn suspected<'r>(runs: impl Iterator<Item = &'r RunEvidence>) -> Vec<Suspect> {
    runs.filter(|run| run.is_survey() && !run.carries()).flat_map(|run| suspects(run.segments())).collect()
}

/// Did a reading past the block find the clamp's voltage, so that the path is open behind it?
fn is_open_behind<'r>(block: &Block, runs: impl Iterator<Item = &'r RunEvidence>) -> bool {
    let seen = runs.flat_map(|run| &run.observations).find_map(|seen| match seen {
        Observation::Around(point, reading) if block.pins.first() == Some(point) => Some(reading),
        _ => None,
    });
    seen.is_some_and(|reading| reading.voltage.abs() > OPEN)
}
