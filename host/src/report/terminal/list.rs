//! What is in the records: units, lots.

use super::layout::{Cell, Column, table};
use super::{Screen, standing};
use crate::records::summary::{LotLine, UnitLine};
use crate::report::{figures, words};

/// Every unit, a line each.
pub fn units(units: &[UnitLine], screen: Screen) -> String {
    const COLUMNS: [Column; 7] = [
        Column::name("unit"),
        Column::word("status"),
        Column::name("lot"),
        Column::name("board"),
        Column::word("now"),
        Column::figure("sweeps"),
        Column::word("last swept"),
    ];
    let rows: Vec<_> = units
        .iter()
        .map(|UnitLine { lot, unit }| {
            let swept = unit.swept.as_ref();
            [
                (&unit.serial).into(),
                words::status(unit.status).into(),
                lot.as_deref().unwrap_or_default().into(),
                swept.map_or("", |swept| swept.board.as_str()).into(),
                standing(unit),
                swept.map_or(0, |swept| swept.sweeps).to_string().into(),
                swept.map(|swept| figures::day(swept.last_us)).unwrap_or_default().into(),
            ]
        })
        .collect();
    listed(screen, &COLUMNS, &rows, "no units in these records\n")
}

/// Every lot, a line each.
pub fn lots(lots: &[LotLine], screen: Screen) -> String {
    const COLUMNS: [Column; 5] = [
        Column::name("lot"),
        Column::figure("units"),
        Column::figure("pass"),
        Column::figure("yield"),
        Column::word("last swept"),
    ];
    let rows: Vec<_> = lots
        .iter()
        .map(|line| {
            [
                (&line.lot).into(),
                line.now.total().to_string().into(),
                line.now.pass.to_string().into(),
                figures::share(line.now.passed()).into(),
                line.last_us.map(figures::day).unwrap_or_default().into(),
            ]
        })
        .collect();
    listed(screen, &COLUMNS, &rows, "no lots in these records\n")
}

fn listed<const N: usize>(screen: Screen, columns: &[Column; N], rows: &[[Cell; N]], none: &str) -> String {
    if rows.is_empty() {
        return none.into();
    }
    let mut out = String::new();
    table(&mut out, screen, columns, rows);
    out
}
