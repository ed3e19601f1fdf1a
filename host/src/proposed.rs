//! What can be done about a unit, from what the records know of it: its last sweep, its board as it was then, and what came of repairs on
//! the units of its lot.

use std::collections::BTreeMap;

use crate::{
    board::Board,
    quantity::Ohms,
    records::{self, Records, SweepId, summary::UnitHistory},
    remedy::{self, Case, Proposal, Remedies},
    trade::{Book, odds::Odds},
    verdict::Verdict,
};

/// A unit with its faults and what can be done about them.
#[derive(Clone, PartialEq, Debug)]
pub struct Proposed {
    /// Serial number.
    pub serial: String,
    /// The sweep that everything stands on.
    pub sweep: SweepId,
    /// Its verdict.
    pub verdict: Verdict,
    /// The board of that sweep.
    pub board: Board,
    /// What can be done.
    pub remedies: Remedies,
}

/// Why nothing is proposed.
#[derive(Debug, thiserror::Error)]
pub enum NoRemedy {
    /// Nothing was swept.
    #[error("unit {0:?} has not been swept, so nothing is known to be wrong with it: sweep it first")]
    NotSwept(String),
    /// The last sweep says nothing about the unit.
    #[error(
        "sweep {sweep} of unit {serial:?} is void, which says nothing about the unit: put the bench right and sweep it again"
    )]
    Void {
        /// The unit.
        serial: String,
        /// Its last sweep.
        sweep: SweepId,
    },
    /// It was repaired since.
    #[error(
        "unit {0:?} was repaired after its last sweep, so nobody knows what is wrong with it now: sweep it again"
    )]
    RepairedSince(String),
    /// Nothing is wrong with it.
    #[error("no fault to remedy: sweep {sweep} of unit {serial:?} names none")]
    NoFault {
        /// The unit.
        serial: String,
        /// Its last sweep.
        sweep: SweepId,
    },
    /// Its board file is not read any more.
    #[error(
        "the board file that unit {0:?} was swept with is not read any more: sweep it again with a file of today"
    )]
    NoBoard(String),
    /// No such number.
    #[error(
        "there is no proposal {number} for unit {serial:?}: `copperwalk remedy {serial}` numbers them from 1 to {most}"
    )]
    NoSuchNumber {
        /// The unit.
        serial: String,
        /// What was asked for.
        number: usize,
        /// How many there are.
        most: usize,
    },
}

/// What is to be known besides a unit's history.
#[derive(Debug)]
pub struct Experience {
    /// The board of its last sweep, if its file is still read.
    pub board: Option<Board>,
    /// The book of its lot, which holds what came of repairs; empty where it is of none.
    pub book: Book,
    /// What segments read on other units where they are good, by name.
    pub readings: BTreeMap<String, Vec<Ohms>>,
}

/// The hash of the board whose good readings are to be known.
pub fn board_hash(unit: &UnitHistory) -> Option<&str> {
    unit.sweeps().next_back().map(|last| last.basis.board_hash.as_str())
}

impl Proposed {
    /// Works out what can be done about a unit.
    ///
    /// # Errors
    /// See [`NoRemedy`].
    pub fn of(unit: &UnitHistory, experience: Experience) -> Result<Self, NoRemedy> {
        let serial = || unit.serial.clone();
        let last = unit.sweeps().next_back().ok_or_else(|| NoRemedy::NotSwept(serial()))?;
        let (sweep, judgement) = (last.id, &last.judgement);
        if judgement.verdict == Verdict::Void || last.voided.is_some() {
            return Err(NoRemedy::Void { serial: serial(), sweep });
        }
        if unit.is_repaired_since(sweep) {
            return Err(NoRemedy::RepairedSince(serial()));
        }
        if judgement.faults.is_empty() {
            return Err(NoRemedy::NoFault { serial: serial(), sweep });
        }
        let board = experience.board.ok_or_else(|| NoRemedy::NoBoard(serial()))?;
        let case = Case {
            limits: &remedy::limits_of(&board, judgement),
            judgement,
            wires: &unit.wires_before(last.started_us),
            odds: &Odds::of(&experience.book),
            readings: &experience.readings,
            board: &board,
        };
        let remedies = remedy::remedies(&case);
        Ok(Self { serial: serial(), sweep, verdict: judgement.verdict, remedies, board })
    }

    /// The same from the records.
    ///
    /// # Errors
    /// Those of the record store, and [`NoRemedy`].
    pub fn from(records: &Records, serial: &str) -> Result<Self, ProposedError> {
        let unit = records.unit(serial)?;
        let experience = Experience {
            board: records.board_of(&unit)?,
            book: unit.lot.as_deref().map(|lot| records.book(lot)).transpose()?.unwrap_or_default(),
            readings: board_hash(&unit)
                .map(|hash| records.good_readings(hash))
                .transpose()?
                .unwrap_or_default(),
        };
        Ok(Self::of(&unit, experience)?)
    }

    /// A proposal by its number.
    ///
    /// # Errors
    /// There is none of that number.
    pub fn numbered(mut self, number: usize) -> Result<Proposal, NoRemedy> {
        let most = self.remedies.proposals.len();
        match number.checked_sub(1).filter(|at| *at < most) {
            Some(at) => Ok(self.remedies.proposals.swap_remove(at)),
            None => Err(NoRemedy::NoSuchNumber { serial: self.serial, number, most }),
        }
    }
}

/// Why there are no proposals for a unit of the records.
#[derive(Debug, thiserror::Error)]
pub enum ProposedError {
    /// The record store.
    #[error(transparent)]
    Records(#[from] records::Error),
    /// Nothing can be proposed.
    #[error(transparent)]
    NoRemedy(#[from] NoRemedy),
}
