//! A board under test.

use super::{Plan, Window, Within};
use crate::board::{self, Board};

const POWER: &str = "[power]\nidle = [\"2 mA\", \"9 mA\"]\nhot = \"the regulator\"\nnominal = \"2.6 V\"\n\n\
                     [[rail]]\nname = \"input\"\nat = \"reg.in\"\nvoltage = [\"2.4 V\", \"3.2 V\"]\n\n";

/// The text of the tide gauge head with power and a rail of these tests' own.
pub fn text() -> String {
    let text = include_str!("../../../fixtures/tide-gauge-head/board.toml");
    let (before, own) = text.split_once("[power]").unwrap();
    let (_, after) = own.split_once("[states]").unwrap();
    format!("{before}{POWER}[states]{after}")
}

pub fn board() -> Board {
    board::parse("board.toml", &text()).unwrap()
}

pub fn plan() -> Plan {
    let board = board();
    let power = board.power.clone().unwrap();
    Plan::of(&board, &power, Window::stated(&power), Within::SUPPLY)
}
