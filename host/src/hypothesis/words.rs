//! Hypotheses for people.

use super::defect::{Defect, Hypothesis};
use crate::board::Board;

/// What a hypothesis says.
pub fn in_words(board: &Board, hypothesis: &Hypothesis) -> String {
    let words: Vec<String> = hypothesis.defects().map(|defect| defect_in_words(board, defect)).collect();
    if words.is_empty() { "nothing wrong".into() } else { words.join(" and ") }
}

fn defect_in_words(board: &Board, defect: Defect) -> String {
    let name = |id| &board.segment(id).name;
    match defect {
        Defect::Open(id) => format!("{} open", name(id)),
        Defect::High(id) => format!("{} too high", name(id)),
        Defect::Film(id) => format!("{} has a film", name(id)),
        Defect::Flaky(id) => format!("{} comes and goes", name(id)),
        Defect::BarrelLost(id) => format!("{} has lost a barrel", name(id)),
        Defect::Low(id) => format!("{} too low", name(id)),
        Defect::StaysClosed(id) => format!("{} stays closed", name(id)),
        Defect::Bridge(index) => match board.isolation.get(index) {
            Some(entry) => {
                let [a, b] = entry.between.map(|point| &board.point(point).name);
                format!("{a} and {b} conduct")
            }
            None => "two nets conduct".into(),
        },
        Defect::SilentPin(point) => format!("the pin at {} touches nothing", board.point(point).name),
    }
}
