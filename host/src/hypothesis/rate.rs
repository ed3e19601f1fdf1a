//! How often each kind of part has which defect, relative to the others, and what a lot teaches about it.
//!
//! Common practice, not statistics: what moves or carries a current limit fails before what lies still. A lot's own repairs
//! replace the table as they come in.

use std::collections::BTreeMap;

use crate::board::{Board, SegmentId, SegmentKind};

use super::defect::Defect;

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
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
enum Sort {
    Open,
    High,
    Film,
    Flaky,
    BarrelLost,
    Low,
    StaysClosed,
}

/// What is taken for how often something happens.
#[derive(Clone, PartialEq, Debug, Default)]
pub struct Rates {
    /// Faults found in the lot so far, by the part's kind and what was wrong; of how many faulty units, of how many in all.
    found: BTreeMap<(&'static str, Sort), u32>,
    bridges: u32,
    faulty: u32,
    units: u32,
}

impl Rates {
    /// The table alone.
    pub fn table() -> Self {
        Self::default()
    }

    /// Counts one more unit of the lot, with its confirmed defects.
    pub fn count(&mut self, board: &Board, defects: &[Defect]) {
        self.units = self.units.saturating_add(1);
        self.faulty = self.faulty.saturating_add(u32::from(!defects.is_empty()));
        for &defect in defects {
            match (defect.segment(), sort(defect)) {
                (Some(id), Some(sort)) => {
                    let word = board.segment(id).kind.word();
                    let count = self.found.entry((word, sort)).or_default();
                    *count = count.saturating_add(1);
                }
                _ => {
                    self.bridges = self.bridges.saturating_add(u32::from(matches!(defect, Defect::Bridge(_))))
                }
            }
        }
    }

    /// Units of the lot that they stand on.
    pub fn units(&self) -> u32 {
        self.units
    }

    /// Prior probability that nothing is wrong: a beta distribution whose mean the table gives.
    pub fn healthy(&self) -> f64 {
        let good = f64::from(self.units - self.faulty.min(self.units));
        (HEALTHY * TABLE_UNITS + good) / (TABLE_UNITS + f64::from(self.units))
    }

    /// Prior probability that a faulty unit has two defects.
    pub fn second() -> f64 {
        SECOND
    }

    /// Prior weight of every single defect of a board, not yet normalised: the mean of a Dirichlet distribution over
    /// kinds and defects, each shared by the pieces of that kind.
    pub fn weights(&self, board: &Board) -> Vec<(Defect, f64)> {
        let defects = defects(board);
        let table: f64 = defects.iter().map(|&defect| in_table(board, defect)).sum();
        // The table's share of a group of like pieces, and the lot's count of it, are pseudo-counts of one distribution.
        let group = |defect: Defect| {
            let id = defect.segment()?;
            Some((board.segment(id).kind.word(), sort(defect)?))
        };
        let mut sizes: BTreeMap<(&'static str, Sort), f64> = BTreeMap::new();
        for key in defects.iter().filter_map(|&defect| group(defect)) {
            *sizes.entry(key).or_default() += 1.0;
        }
        let bridges = defects.iter().filter(|defect| matches!(defect, Defect::Bridge(_))).count();
        let weigh = |defect: Defect| {
            let counted = match (group(defect), defect) {
                (Some(key), _) => {
                    f64::from(self.found.get(&key).copied().unwrap_or_default())
                        / sizes.get(&key).copied().unwrap_or(1.0)
                }
                (None, Defect::Bridge(_)) => f64::from(self.bridges) / bridges as f64,
                _ => 0.0,
            };
            TABLE_UNITS * in_table(board, defect) / table + counted
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
        SegmentKind::Trace { .. } | SegmentKind::Inductor | SegmentKind::Shunt { .. } => 1.0,
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

/// Prior rate of one defect of one segment by the table alone, relative to the others.
pub fn of(board: &Board, defect: Defect) -> f64 {
    debug_assert!(defect.segment().is_none_or(|id: SegmentId| id.index() < board.segments.len()));
    in_table(board, defect)
}
