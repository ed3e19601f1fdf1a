//! A board under test.

use super::{Plan, Window, Within};
use crate::board::{self, Board};

/// The tide gauge head with power and a rail.
pub const BOARD: &str = concat!(
    include_str!("../../../fixtures/tide-gauge-head/board.toml"),
    "\n[power]\nidle = [\"2 mA\", \"9 mA\"]\nhot = \"the regulator\"\nnominal = \"2.6 V\"\n\n",
    "[[rail]]\nname = \"input\"\nat = \"reg.in\"\nvoltage = [\"2.4 V\", \"3.2 V\"]\n"
);

pub fn board() -> Board {
    board::parse("board.toml", BOARD).unwrap()
}

pub fn plan() -> Plan {
    let board = board();
    let power = board.power.clone().unwrap();
    Plan::of(&board, &power, Window::stated(&power), Within::SUPPLY)
}
