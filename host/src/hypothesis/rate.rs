//! How often each kind of part has which defect, relative to the others, and what a lot teaches about it.
//!
//! Common practice, not statistics: what moves or carries a current limit fails before what lies still. A lot's own repairs
//! replace the table as they come in.

use serde::{Deserialize, Serialize};

use super::defect::Defect;
use crate::{
    board::{Board, SegmentKind},
    verdict::Class,
};

/// Of units that are hunted, so many have nothing wrong; probability. They come to the bench because they are dead.
const HEALTHY: f64 = 0.2;
/// Of faulty units, so many have a second defect; probability.
const SECOND: f64 = 0.08;
/// The table counts like so many faulty units of the lot.
const TABLE_UNITS: f64 = 20.0;
/// Rate of a bridge between two nets that should be apart, on the scale of the table.
const BRIDGE: f64 = 3.0;
/// Rate of a sense pin that does not touch, on the scale of the table: pins are proven and cleaned.
const SILENT_PIN: f64 = 0.02;

/// Kinds of defects, as far as rates tell them apart.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
enum Sort {
    Open,
    High,
    Film,
    Flaky,
    BarrelLost,
    Low,
    StaysClosed,
}

/// What is taken for how often something happens: the table, and what a lot's units have shown so far.
#[derive(Clone, PartialEq, Eq, Debug, Default, Serialize, Deserialize)]
pub struct Rates {
    /// What was wrong with units of the lot.
    found: Vec<Found>,
    /// Units of them in which two nets conducted.
    bridges: u32,
    /// Units in which anything was wrong.
    faulty: u32,
    /// Units in all.
    units: u32,
}

/// Units of a lot in which a part of some kind had some defect.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
struct Found {
    kind: String,
    sort: Sort,
    units: u32,
}

impl Rates {
    /// The table alone.
    pub fn table() -> Self {
        Self::default()
    }

    /// What the units of a lot have shown: where in how many of them something was found, how many were faulty, how many were
    /// judged. Places that the board does not have are left out.
    pub fn of_lot<'p>(
        board: &Board,
        places: impl Iterator<Item = (&'p str, Class, u32)>,
        faulty: u32,
        units: u32,
    ) -> Self {
        let mut rates = Self { faulty, units, ..Self::default() };
        for (place, class, units) in places {
            match (board.segment_named(place), sort_of(class)) {
                (Some(id), Some(sort)) => {
                    let kind = board.segment(id).kind.word();
                    match rates.found.iter_mut().find(|found| found.kind == kind && found.sort == sort) {
                        Some(found) => found.units = found.units.saturating_add(units),
                        None => rates.found.push(Found { kind: kind.into(), sort, units }),
                    }
                }
                (None, _) if matches!(class, Class::Shorted | Class::Leaky) => {
                    rates.bridges = rates.bridges.saturating_add(units);
                }
                _ => {}
            }
        }
        rates
    }

    /// Prior probability that nothing is wrong: the mean of a beta distribution, the table counting as so many units.
    pub fn healthy(&self) -> f64 {
        let good = f64::from(self.units.saturating_sub(self.faulty));
        (HEALTHY * TABLE_UNITS + good) / (TABLE_UNITS + f64::from(self.units))
    }

    /// What a report says of where the rates come from: nothing where the table stands alone.
    pub fn in_words(&self) -> Option<String> {
        (self.units > 0).then(|| {
            format!(
                "how probable each fault is follows from the table of usual rates and from what this lot has shown so far: {} faulty of \
                 {} judged; the table counts like {TABLE_UNITS:.0} units",
                self.faulty, self.units
            )
        })
    }

    /// Prior probability that a faulty unit has two defects.
    pub fn second() -> f64 {
        SECOND
    }

    /// Prior weight of every single defect of a board, not yet normalised: the mean of a Dirichlet distribution over
    /// kinds and defects, each shared evenly by the pieces of that kind.
    pub fn weights(&self, board: &Board) -> Vec<(Defect, f64)> {
        let defects = defects(board);
        let table: f64 = defects.iter().map(|&defect| in_table(board, defect)).sum();
        let group = |defect: Defect| Some((board.segment(defect.segment()?).kind.word(), sort(defect)?));
        let like = |defect: Defect| match group(defect) {
            Some(key) => defects.iter().filter(|&&other| group(other) == Some(key)).count(),
            None => defects.iter().filter(|&&other| group(other).is_none()).count(),
        };
        let seen = |defect: Defect| match group(defect) {
            Some((kind, sort)) => {
                let found = self.found.iter().find(|found| found.kind == kind && found.sort == sort);
                found.map_or(0, |found| found.units)
            }
            None => self.bridges,
        };
        let weigh = |defect: Defect| {
            let seen = seen(defect);
            let shared = if seen == 0 { 0.0 } else { f64::from(seen) / like(defect) as f64 };
            TABLE_UNITS * in_table(board, defect) / table + shared
        };
        defects.iter().map(|&defect| (defect, weigh(defect))).collect()
    }
}

/// Every single defect that a board may have.
fn defects(board: &Board) -> Vec<Defect> {
    let mut all = Vec::new();
    for id in board.segment_ids() {
        let segment = board.segment(id);
        if segment.kind.one_way().is_some() {
            // At the 20 mV of a dry reading it is open either way: no look tells anything about it.
            continue;
        }
        all.extend([Defect::Open(id), Defect::High(id), Defect::Flaky(id), Defect::Film(id)]);
        all.extend([Defect::BarrelLost(id), Defect::Low(id), Defect::StaysClosed(id)]);
    }
    all.extend((0..board.isolation.len()).map(Defect::Bridge));
    all.retain(|&defect| in_table(board, defect) > 0.0);
    all
}

/// Relative rate of a kind of part, all its defects together.
pub fn of_kind(kind: &SegmentKind) -> f64 {
    match kind {
        SegmentKind::Switch => 10.0,
        SegmentKind::Connector => 8.0,
        SegmentKind::Joint => 6.0,
        SegmentKind::Fuse { .. } => 5.0,
        SegmentKind::Via { .. } | SegmentKind::Wire { .. } => 3.0,
        SegmentKind::Resettable { .. }
        | SegmentKind::Ferrite
        | SegmentKind::Diode { .. }
        | SegmentKind::Transistor { .. } => 2.0,
        SegmentKind::Trace { .. }
        | SegmentKind::Pour { .. }
        | SegmentKind::Inductor
        | SegmentKind::Shunt { .. } => 1.0,
    }
}

/// How a kind's faults are shared between open, high, film, flaky, a lost barrel, low, and a switch that stays closed.
fn shares(kind: &SegmentKind) -> [f64; 7] {
    match kind {
        SegmentKind::Switch => [0.30, 0.30, 0.18, 0.20, 0.0, 0.0, 0.02],
        SegmentKind::Connector => [0.35, 0.30, 0.15, 0.20, 0.0, 0.0, 0.0],
        SegmentKind::Joint => [0.50, 0.30, 0.05, 0.15, 0.0, 0.0, 0.0],
        SegmentKind::Fuse { .. } | SegmentKind::Resettable { .. } => [0.90, 0.10, 0.0, 0.0, 0.0, 0.0, 0.0],
        SegmentKind::Via { count, .. } if *count > 1 => [0.65, 0.15, 0.0, 0.05, 0.15, 0.0, 0.0],
        SegmentKind::Via { .. } => [0.80, 0.15, 0.0, 0.05, 0.0, 0.0, 0.0],
        SegmentKind::Shunt { .. } => [0.60, 0.25, 0.0, 0.0, 0.0, 0.15, 0.0],
        SegmentKind::Trace { .. }
        | SegmentKind::Pour { .. }
        | SegmentKind::Wire { .. }
        | SegmentKind::Ferrite
        | SegmentKind::Inductor
        | SegmentKind::Diode { .. }
        | SegmentKind::Transistor { .. } => [0.75, 0.20, 0.0, 0.05, 0.0, 0.0, 0.0],
    }
}

fn sort(defect: Defect) -> Option<Sort> {
    Some(match defect {
        Defect::Open(_) => Sort::Open,
        Defect::High(_) => Sort::High,
        Defect::Film(_) => Sort::Film,
        Defect::Flaky(_) => Sort::Flaky,
        Defect::BarrelLost(_) => Sort::BarrelLost,
        Defect::Low(_) => Sort::Low,
        Defect::StaysClosed(_) => Sort::StaysClosed,
        Defect::Bridge(_) | Defect::SilentPin(_) => return None,
    })
}

/// What a unit's record says was wrong.
fn sort_of(class: Class) -> Option<Sort> {
    Some(match class {
        Class::Open => Sort::Open,
        Class::High => Sort::High,
        Class::Film => Sort::Film,
        Class::Flaky => Sort::Flaky,
        Class::RedundancyLost => Sort::BarrelLost,
        Class::Low => Sort::Low,
        _ => return None,
    })
}

fn in_table(board: &Board, defect: Defect) -> f64 {
    match (defect.segment(), sort(defect)) {
        (Some(id), Some(sort)) => {
            let kind = &board.segment(id).kind;
            of_kind(kind) * shares(kind)[sort as usize]
        }
        _ if matches!(defect, Defect::SilentPin(_)) => SILENT_PIN,
        _ => BRIDGE,
    }
}

/// Weight of a silent sense pin beside [`Rates::weights`].
pub(super) fn silent_pin() -> f64 {
    SILENT_PIN
}
