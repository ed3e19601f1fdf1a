//! Whoever means what looks like a slip says so, at the terminal or with `--yes`; where nobody can be asked, nothing is done.

use std::io::{BufRead, IsTerminal, Write, stderr, stdin};

use super::{Failure, output::complain};
use crate::board::Board;
use crate::records::Records;

/// Goes on with a sweep, or says what looks like a slip.
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
    refuse_unless_meant(records.doubts(serial, lot, board), "sweep", "swept", yes)
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
