//! Slips that the records make visible before a sweep begins: a serial number or a lot that is another one's but for
//! capitals, a unit that would move to another lot, a unit that was another board so far.

use super::summary::UnitHistory;
use super::{Error, Store};
use crate::board::Board;

impl Store {
    /// What looks like a slip in a sweep that is about to begin, a sentence each; empty where nothing does.
    ///
    /// A history that cannot be shown keeps nobody from measuring, and so says nothing here.
    pub async fn doubts(&self, serial: &str, lot: Option<&str>, board: &Board) -> Vec<String> {
        let mut doubts = match self.unit(serial).await {
            Ok(history) => of_known(&history, lot, board),
            Err(Error::UnknownUnit { near, .. }) => new_but_for_capitals("unit", serial, &near),
            Err(_) => Vec::new(),
        };
        if let (Some(lot), Ok(known)) = (lot, self.lot_names().await) {
            doubts.extend(new_but_for_capitals("lot", lot, &known));
        }
        doubts
    }
}

/// A name that is not there, while one is that differs in capitals only.
pub fn new_but_for_capitals(what: &str, name: &str, known: &[String]) -> Vec<String> {
    if known.iter().any(|known| known == name) {
        return Vec::new();
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
