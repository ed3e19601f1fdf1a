//! Slips that the records make visible before a sweep begins: a serial number or a lot that is another one's but for
//! capitals, a unit that would move to another lot, a unit that was another board so far. Whoever means it says so, at the
//! terminal or with `--yes`; where nobody can be asked, nothing is done. Units that are received have such slips, too.

use std::io::{BufRead, IsTerminal, Write, stderr, stdin};

use super::{Failure, output::complain};
use crate::board::Board;
use crate::records::{Error, Records, summary::UnitHistory};

/// Goes on, or says what looks like a slip.
pub fn none_or_meant(
    records: &Records,
    serial: &str,
    lot: Option<&str>,
    board: &Board,
    yes: bool,
) -> Result<(), Failure> {
    if yes {
        return Ok(());
    }
    let mut doubts = match records.unit(serial) {
        Ok(history) => of_known(&history, lot, board),
        Err(Error::UnknownUnit { near, .. }) => new_but_for_capitals("unit", serial, &near),
        // A history that cannot be shown keeps nobody from measuring.
        Err(_) => vec![],
    };
    if let (Some(lot), Ok(known)) = (lot, records.lot_names()) {
        doubts.extend(new_but_for_capitals("lot", lot, &known));
    }
    refuse_unless_meant(doubts, "sweep", "swept", yes)
}

/// Goes on if there are no doubts, or somebody means it. `act` is what the command does, `done` what is then done.
pub fn refuse_unless_meant(
    doubts: Vec<String>,
    act: &str,
    done: &'static str,
    yes: bool,
) -> Result<(), Failure> {
    if yes || doubts.is_empty() || meant(&doubts, act) { Ok(()) } else { Err(Failure::Slip { doubts, done }) }
}

/// A name that is not there, while one is that differs in capitals only.
fn new_but_for_capitals(what: &str, name: &str, known: &[String]) -> Vec<String> {
    if known.iter().any(|known| known == name) {
        return vec![];
    }
    let twin = known.iter().find(|known| known.to_lowercase() == name.to_lowercase());
    twin.map(|known| is_another(what, name, known)).into_iter().collect()
}

/// A new unit or lot whose name is a known one but for capitals.
pub fn is_another(what: &str, name: &str, known: &str) -> String {
    format!("there is no {what} {name:?} yet, but a {what} {known:?}")
}

/// A unit that would move from one lot to another.
pub fn moves(serial: &str, from: Option<&str>, to: Option<&str>) -> Option<String> {
    match (from, to) {
        (Some(known), Some(lot)) if known != lot => {
            Some(format!("unit {serial:?} belongs to lot {known:?} and would move to lot {lot:?}"))
        }
        _ => None,
    }
}

fn of_known(unit: &UnitHistory, lot: Option<&str>, board: &Board) -> Vec<String> {
    let serial = &unit.serial;
    let moves = moves(serial, unit.lot.as_deref(), lot);
    // A sweep that was declared void says nothing about the unit, its board included.
    let latest = unit.sweeps().rfind(|sweep| sweep.voided.is_none());
    let changes =
        latest.filter(|sweep| (&sweep.basis.board, &sweep.basis.revision) != (&board.name, &board.revision));
    let changes = changes.map(|sweep| {
        format!(
            "unit {serial:?} was board {:?}, revision {:?}, in sweep {}, and would be board {:?}, revision {:?}",
            sweep.basis.board, sweep.basis.revision, sweep.id, board.name, board.revision
        )
    });
    [moves, changes].into_iter().flatten().collect()
}

/// Does somebody at the terminal mean it? Where nobody can be asked, nobody does.
fn meant(doubts: &[String], act: &str) -> bool {
    if !stdin().is_terminal() || !stderr().is_terminal() {
        return false;
    }
    doubts.iter().for_each(|doubt| complain(doubt));
    let _ = write!(stderr(), "Is that meant? Type yes to {act}: ");
    let mut answer = String::new();
    stdin().lock().read_line(&mut answer).is_ok() && answer.trim().eq_ignore_ascii_case("yes")
}
