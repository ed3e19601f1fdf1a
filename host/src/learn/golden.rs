//! Whose sweeps count: the last sweep of each unit, if it passed, is as it was written, was not declared void, and no
//! repair was written down for the unit.

use serde::Serialize;

use crate::{
    board::Board,
    quantity::Ohms,
    records::{
        self, Records, SweepId,
        summary::{Event, PastSweep, UnitHistory},
    },
    sweep::SegmentRow,
    verdict::Verdict,
};

/// Which units are looked at.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Of<'o> {
    /// Those of a lot.
    Lot(&'o str),
    /// These.
    Units(&'o [String]),
}

impl Of<'_> {
    /// The lot, if one was named.
    pub fn lot(&self) -> Option<&str> {
        match self {
            Self::Lot(lot) => Some(lot),
            Self::Units(_) => None,
        }
    }
}

/// A golden unit and what its last sweep read.
#[derive(Clone, PartialEq, Debug)]
pub struct Golden {
    /// Serial number.
    pub serial: String,
    /// Its last sweep.
    pub sweep: SweepId,
    /// Start of that sweep, µs since 1970-01-01 UTC.
    pub started_us: i64,
    pub(super) rows: Vec<SegmentRow>,
}

impl Golden {
    /// The states that a segment was read in.
    pub(super) fn states_of(&self, segment: &str) -> Vec<&str> {
        self.readings().filter(|(name, _, _)| *name == segment).map(|(_, state, _)| state).collect()
    }

    /// What a segment read in a state, at 20 °C.
    pub(super) fn reading(&self, segment: &str, state: &str) -> Option<Ohms> {
        self.readings().find(|(name, of, _)| (*name, *of) == (segment, state)).map(|(_, _, ohms)| ohms)
    }

    /// Segment, state and value at 20 °C.
    pub(super) fn readings(&self) -> impl Iterator<Item = (&str, &str, Ohms)> {
        let row = |row: &'_ SegmentRow| row.at_20c;
        self.rows.iter().filter_map(move |each| Some((each.name.as_str(), each.state.as_str(), row(each)?)))
    }

    /// Does it have a reading for everything that another one has?
    fn reads_like(&self, other: &Self) -> bool {
        self.readings()
            .map(|(name, state, _)| (name, state))
            .eq(other.readings().map(|(name, state, _)| (name, state)))
    }
}

/// A unit that does not count.
#[derive(Clone, PartialEq, Eq, Debug, Serialize)]
pub struct LeftOut {
    /// Serial number.
    pub serial: String,
    /// Why not, in words.
    pub why: String,
}

/// The golden units among those asked for, and the others with the reason.
pub(super) fn of(
    records: &Records,
    board: &Board,
    of: Of<'_>,
) -> Result<(Vec<Golden>, Vec<LeftOut>), records::Error> {
    let of_lot;
    let serials = match of {
        Of::Units(serials) => serials,
        Of::Lot(lot) => {
            of_lot = records.lot(lot)?.units.into_iter().map(|unit| unit.serial).collect::<Vec<_>>();
            &of_lot
        }
    };
    let (mut golden, mut left_out): (Vec<Golden>, Vec<LeftOut>) = (Vec::new(), Vec::new());
    for serial in serials {
        let read = match records.unit(serial) {
            Ok(unit) => judged(&unit, board),
            // Not as it was written: that is said, and the others count.
            Err(error @ records::Error::Altered { .. }) => Err(error.to_string()),
            Err(error) => return Err(error),
        };
        match read {
            Ok(unit) if golden.first().is_none_or(|first| unit.reads_like(first)) => golden.push(unit),
            Ok(_) => {
                let why = "its sweep read other segments than that of the first".into();
                left_out.push(LeftOut { serial: serial.clone(), why });
            }
            Err(why) => left_out.push(LeftOut { serial: serial.clone(), why }),
        }
    }
    Ok((golden, left_out))
}

/// A unit by its history, or why it does not count.
fn judged(unit: &UnitHistory, board: &Board) -> Result<Golden, String> {
    if unit.events.iter().any(|event| matches!(event, Event::Repair(_))) {
        return Err("it was repaired".into());
    }
    let last: &PastSweep = unit.sweeps().next_back().ok_or("it has not been swept")?;
    let (name, revision) = (&last.basis.board, &last.basis.revision);
    if (name, revision) != (&board.name, &board.revision) {
        return Err(format!("it was swept as board {name:?}, revision {revision:?}"));
    }
    match last.judgement.verdict {
        Verdict::Pass => {}
        Verdict::Fail => return Err("its last sweep failed".into()),
        Verdict::Unproven => return Err("its last sweep proved nothing".into()),
        Verdict::Void => return Err("its last sweep was void".into()),
    }
    Ok(Golden {
        serial: unit.serial.clone(),
        sweep: last.id,
        started_us: last.started_us,
        rows: last.judgement.segments.clone(),
    })
}
