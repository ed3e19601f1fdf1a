//! One lot on a terminal.

use super::layout::{Cell, Column, paragraph, table};
use super::{Screen, heading, standing, title};
use crate::records::summary::{Counts, LotSummary};
use crate::report::{figures, words};
use crate::verdict::Verdict;

/// Columns of the longest bar.
const BAR: u32 = 20;

/// One lot: counts, yield, where units failed, and every unit.
pub fn lot(lot: &LotSummary, screen: Screen) -> String {
    let mut out = String::new();
    let units = words::counted(lot.units.len(), "unit", "units");
    let sweeps = words::counted(lot.sweeps as usize, "sweep", "sweeps");
    title(&mut out, &format!("lot {} · {units}, {sweeps}", lot.lot), screen);
    out.push('\n');
    counts(&mut out, lot, screen);
    pareto(&mut out, lot, screen);
    every_unit(&mut out, lot, screen);
    out
}

/// The board's name, or nothing where every unit of the lot is the same board: a column of nothing is left out.
fn board_column<'a>(lot: &LotSummary, board: &'a str) -> &'a str {
    let mixed = lot.units.iter().filter_map(|unit| unit.swept.as_ref()).any(|swept| swept.board != board);
    if mixed { board } else { "" }
}

fn counts(out: &mut String, lot: &LotSummary, screen: Screen) {
    const COLUMNS: [Column; 3] =
        [Column::word("units"), Column::figure("as they came"), Column::figure("as they are now")];
    let mut rows: Vec<_> = words::COUNTED
        .iter()
        .filter(|(verdict, of)| *verdict != Verdict::Void || of(lot.first) > 0)
        .map(|(verdict, of)| {
            [Cell::verdict(*verdict), of(lot.first).to_string().into(), of(lot.now).to_string().into()]
        })
        .collect();
    if lot.now.unswept > 0 {
        rows.push(["not swept yet".into(), "".into(), lot.now.unswept.to_string().into()]);
    }
    rows.push([
        "yield".into(),
        figures::share(lot.first.passed()).into(),
        figures::share(lot.now.passed()).into(),
    ]);
    let interval = |counts: Counts| figures::share_interval(counts.passed_interval()).unwrap_or_default();
    rows.push(["95\u{a0}% interval".into(), interval(lot.first).into(), interval(lot.now).into()]);
    table(out, screen, &COLUMNS, &rows);
    paragraph(out, "", &words::lot_remarks(lot), screen.width);
}

fn pareto(out: &mut String, lot: &LotSummary, screen: Screen) {
    const COLUMNS: [Column; 5] = [
        Column::name("where units failed"),
        Column::name("board"),
        Column::word("class"),
        Column::figure("units"),
        Column::word("█ to repair, ░ repaired"),
    ];
    if lot.pareto.is_empty() {
        return;
    }
    let full = figures::full_bar(lot);
    out.push('\n');
    let rows: Vec<_> = lot
        .pareto
        .iter()
        .map(|row| {
            let length = |units: u32| (units * BAR).div_ceil(full) as usize;
            let (whole, still) = (length(row.units), length(row.still));
            [
                (&row.place).into(),
                board_column(lot, &row.board).into(),
                words::class(row.class).into(),
                row.units.to_string().into(),
                format!("{}{}", "█".repeat(still), "░".repeat(whole.saturating_sub(still))).into(),
            ]
        })
        .collect();
    table(out, screen, &COLUMNS, &rows);
}

fn every_unit(out: &mut String, lot: &LotSummary, screen: Screen) {
    const COLUMNS: [Column; 7] = [
        Column::name("unit"),
        Column::word("status"),
        Column::name("board"),
        Column::word("came in"),
        Column::word("now"),
        Column::name("where"),
        Column::word("class"),
    ];
    let rows: Vec<_> = lot
        .units
        .iter()
        .map(|unit| {
            let swept = unit.swept.as_ref();
            let fault = swept.and_then(|swept| swept.fault.as_ref());
            let place = fault.map_or("", |fault| &fault.place);
            // Beside a pass the class stands with the verdict.
            let class = fault.filter(|_| words::remark(unit).is_none());
            let class = class.map_or("", |fault| words::class(fault.class));
            [
                (&unit.serial).into(),
                words::status(unit.status).into(),
                swept.map_or("", |swept| board_column(lot, &swept.board)).into(),
                unit.first().map_or("".into(), Cell::verdict),
                standing(unit),
                place.into(),
                class.into(),
            ]
        })
        .collect();
    heading(out, "Every unit", screen);
    table(out, screen, &COLUMNS, &rows);
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::sample;

    #[test]
    fn a_lot_shows_yield_and_where_units_failed() {
        let text = lot(&sample::lot(), Screen::PLAIN);
        let yields = text.lines().find(|line| line.starts_with("yield")).unwrap();
        assert!(yields.contains("14 %") && yields.contains("43 %"), "{yields}");
        assert!(text.contains("2 units repaired and passing"), "{text}");
        let bars: Vec<usize> =
            text.lines().map(|l| l.matches(['█', '░']).count()).filter(|n| *n > 2).collect();
        assert_eq!(bars, [8, 3, 3], "of a lot of eight units a whole bar is eight");
    }
}
