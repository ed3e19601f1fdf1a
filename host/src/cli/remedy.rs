//! `copperwalk remedy SN`: what to do about a unit's faults, and `copperwalk repair SN --remedy N`, which takes one of it.

use std::path::PathBuf;

use super::{
    Failure, Status,
    deliver::{Kind, Place},
    output::Output,
    records,
};
use crate::{
    board::Board,
    records::{Records, SweepId, summary::UnitHistory, text},
    remedy::{self, Case, Proposal, Remedies, Tally},
    report::{html, json, remedies::Sheet, terminal},
    verdict::Verdict,
};

#[derive(clap::Args)]
pub struct Args {
    /// Serial number.
    #[arg(value_name = "SN")]
    serial: String,
    /// Write a page with the wires drawn on the board as well.
    #[arg(long, value_name = "FILE")]
    html: Option<PathBuf>,
    /// Replace the file of that name even if copperwalk did not make it. A record store is never replaced.
    #[arg(long, requires = "html")]
    force: bool,
    /// One JSON object on standard output, and nothing else there.
    #[arg(long)]
    json: bool,
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

pub fn run(args: Args, store: Option<PathBuf>, output: &mut Output) -> Result<Status, Failure> {
    let serial = text::serial(&args.serial)?;
    let records = records::open_to_read(store)?;
    let place =
        args.html.map(|path| Place::new(&path, Kind::Page, args.force, Some(records.path()))).transpose()?;
    let known = Known::of(&records, &serial)?;
    let sheet = known.sheet();
    if let Some(place) = place {
        place.write(html::remedies(&sheet, &known.board, &html::Links::NONE))?;
    }
    match args.json {
        true => output.text(&json::object(&sheet).map_err(|error| Failure::Output(error.into()))?)?,
        false => output.text(&terminal::remedies(&sheet, output.screen()))?,
    }
    Ok(Status::Pass)
}

/// A proposal for a unit, by its number.
pub fn numbered(records: &Records, serial: &str, number: usize) -> Result<Proposal, Failure> {
    let mut proposals = Known::of(records, serial)?.remedies.proposals;
    let most = proposals.len();
    match number.checked_sub(1).filter(|at| *at < most) {
        Some(at) => Ok(proposals.swap_remove(at)),
        None => Err(NoRemedy::NoSuchNumber { serial: serial.into(), number, most }.into()),
    }
}

/// A unit with its faults and what can be done about them.
pub struct Known {
    serial: String,
    sweep: SweepId,
    verdict: Verdict,
    pub board: Board,
    pub remedies: Remedies,
}

impl Known {
    /// From the records: the unit's last sweep, its board as it was then, and what came of repairs on units of its lot, or, where it is of
    /// none, on all.
    pub fn of(records: &Records, serial: &str) -> Result<Self, Failure> {
        let unit: UnitHistory = records.unit(serial)?;
        let named = || serial.to_owned();
        let last = unit.sweeps().next_back().ok_or_else(|| NoRemedy::NotSwept(named()))?;
        let (sweep, judgement) = (last.id, &last.judgement);
        if judgement.verdict == Verdict::Void || last.voided.is_some() {
            return Err(NoRemedy::Void { serial: named(), sweep }.into());
        }
        if unit.is_repaired_since(sweep) {
            return Err(NoRemedy::RepairedSince(named()).into());
        }
        if judgement.faults.is_empty() {
            return Err(NoRemedy::NoFault { serial: named(), sweep }.into());
        }
        let board = records.board_of(&unit)?.ok_or_else(|| NoRemedy::NoBoard(named()))?;
        let limits = remedy::limits_of(&board, judgement);
        let tally = Tally::of(&board, &records.repairs(unit.lot.as_deref())?);
        let readings = records.good_readings(&board.hash)?;
        let wires = unit.wires_before(last.started_us);
        let case = Case {
            board: &board,
            limits: &limits,
            judgement,
            wires: &wires,
            tally: &tally,
            readings: &readings,
        };
        let remedies = remedy::remedies(&case);
        Ok(Self { serial: named(), sweep, verdict: judgement.verdict, remedies, board })
    }

    /// For people and scripts.
    pub fn sheet(&self) -> Sheet<'_> {
        Sheet {
            serial: &self.serial,
            board: &self.board.name,
            revision: &self.board.revision,
            sweep: self.sweep,
            verdict: self.verdict,
            remedies: &self.remedies,
        }
    }
}
