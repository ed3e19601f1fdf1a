//! Slips that the records make visible before a sweep begins: a serial number or a lot that is another one's but for
//! capitals, a unit that would move to another lot, a unit that was another board so far. Whoever means it says so, at the
//! terminal or with `--yes`; where nobody can be asked, nothing is swept.

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
    if doubts.is_empty() || meant(&doubts) { Ok(()) } else { Err(Failure::Slip(doubts)) }
}

/// A name that is not there, while one is that differs in capitals only.
fn new_but_for_capitals(what: &str, name: &str, known: &[String]) -> Vec<String> {
    if known.iter().any(|known| known == name) {
        return vec![];
    }
    let twin = known.iter().find(|known| known.to_lowercase() == name.to_lowercase());
    twin.map(|known| format!("there is no {what} {name:?} yet, but a {what} {known:?}")).into_iter().collect()
}

fn of_known(unit: &UnitHistory, lot: Option<&str>, board: &Board) -> Vec<String> {
    let serial = &unit.serial;
    let moves = match (&unit.lot, lot) {
        (Some(known), Some(lot)) if known != lot => {
            Some(format!("unit {serial:?} belongs to lot {known:?} and would move to lot {lot:?}"))
        }
        _ => None,
    };
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
fn meant(doubts: &[String]) -> bool {
    if !stdin().is_terminal() || !stderr().is_terminal() {
        return false;
    }
    doubts.iter().for_each(|doubt| complain(doubt));
    let _ = write!(stderr(), "Is that meant? Type yes to sweep: ");
    let mut answer = String::new();
    stdin().lock().read_line(&mut answer).is_ok() && answer.trim().eq_ignore_ascii_case("yes")
}
