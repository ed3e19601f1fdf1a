//! The report of one lot.

use super::flow::{BODY, Flow, SIDE, SMALL};
use super::font::{Face, Line};
use super::page::{INK, SOFT, WASH};
use super::paper::Paper;
use super::sign;
use super::table::{Cell, Column, Row};
use crate::records::summary::{Counts, LotSummary, ParetoRow, UnitState};
use crate::report::{figures, words};
use crate::verdict::Verdict;

/// The report of one lot, as a PDF.
pub fn lot(lot: &LotSummary, paper: Paper) -> Vec<u8> {
    let mut flow = Flow::new(paper, "lot report", &lot.lot);
    flow.facts(&[
        ("Units", Some(lot.units.len().to_string())),
        ("First sweep", lot.first_us.map(figures::time)),
        ("Last sweep", lot.last_us.map(figures::time)),
        ("Sweeps", Some(lot.sweeps.to_string())),
    ]);
    yields(&mut flow, lot);
    pareto(&mut flow, &lot.pareto);
    units(&mut flow, &lot.units);
    flow.finish()
}

fn yields(flow: &mut Flow, lot: &LotSummary) {
    const GAP: f32 = 14.0;
    const HEIGHT: f32 = 88.0;
    flow.heading("Yield", HEIGHT);
    flow.keep(HEIGHT);
    let width = (flow.width() - GAP) / 2.0;
    for (i, (name, counts)) in
        [("Yield as they came", lot.first), ("Yield as they are now", lot.now)].into_iter().enumerate()
    {
        one_yield(flow, SIDE + i as f32 * (width + GAP), width, name, counts);
    }
    flow.y += HEIGHT + 5.0;
    let remarks = words::lot_remarks(lot);
    if !remarks.is_empty() {
        flow.paragraph(&remarks, Face::Regular, BODY, INK);
        flow.y += 2.0;
    }
    flow.paragraph(words::YIELD, Face::Regular, SMALL, SOFT);
}

/// Share, interval, a bar of the counts, and the counts by verdict.
fn one_yield(flow: &mut Flow, left: f32, width: f32, name: &str, counts: Counts) {
    const PAD: f32 = 10.0;
    let top = flow.y + 2.0;
    flow.page.fill([left, top, width, 84.0], WASH);
    let inner = left + PAD;
    let large = Line::of(&figures::share(counts.passed()), Face::Bold, 22.0);
    flow.page.text(&mut flow.fonts, &large, [inner, top + 25.0], INK);
    let label = Line::of(name, Face::Bold, BODY);
    flow.page.text(&mut flow.fonts, &label, [inner + large.width + 10.0, top + 16.0], INK);
    if let Some(between) = figures::share_interval(counts.passed_interval()) {
        let between = Line::of(&format!("95\u{a0}% interval {between}"), Face::Regular, BODY);
        flow.page.text(&mut flow.fonts, &between, [inner + large.width + 10.0, top + 27.0], SOFT);
    }
    let room = width - 2.0 * PAD;
    let total = counts.total().max(1) as f32;
    let mut at = inner;
    for (verdict, of) in words::COUNTED.iter().filter(|(_, of)| of(counts) > 0) {
        let part = room * of(counts) as f32 / total;
        flow.page.fill([at, top + 36.0, (part - 1.0).max(0.5), 9.0], sign::colour(*verdict));
        at += part;
    }
    let mut at = inner;
    for (verdict, of) in words::COUNTED.iter().filter(|(_, of)| of(counts) > 0) {
        let said = Line::of(&format!("{} {}", words::verdict(*verdict), of(counts)), Face::Bold, BODY);
        let shape = 12.0;
        sign::draw(&mut flow.page, *verdict, [at + 4.5, top + 62.0], 9.0);
        flow.page.text(&mut flow.fonts, &said, [at + shape, top + 65.0], sign::colour(*verdict));
        at += shape + said.width + 12.0;
    }
    let known = words::counted(counts.judged() as usize, "unit", "units");
    let known = Line::of(&format!("of {known} about which something is known"), Face::Regular, SMALL);
    flow.page.text(&mut flow.fonts, &known, [inner, top + 78.0], SOFT);
}

fn pareto(flow: &mut Flow, rows: &[ParetoRow]) {
    const COLUMNS: [Column; 7] = [
        Column::words("Place"),
        Column::words("Class"),
        Column::bar("Full: failing still. Empty: repaired"),
        Column::figure("Units"),
        Column::figure("Still"),
        Column::figure("Running share"),
        Column::words("Board"),
    ];
    let Some(most) = rows.iter().map(|row| row.units).max() else { return };
    let part = |units: u32| units as f32 / most.max(1) as f32;
    let table: Vec<Row> = rows
        .iter()
        .zip(words::running_shares(rows))
        .map(|(row, so_far)| Row {
            cells: vec![
                Cell::Name(row.place.clone()),
                words::class(row.class).into(),
                Cell::Bar { whole: part(row.units), full: part(row.still) },
                row.units.to_string().into(),
                row.still.to_string().into(),
                figures::share(Some(so_far)).into(),
                row.board.as_str().into(),
            ],
            marked: false,
        })
        .collect();
    flow.heading("Where units failed", 6.0 * BODY);
    flow.table(&COLUMNS, &table);
}

fn units(flow: &mut Flow, units: &[UnitState]) {
    const COLUMNS: [Column; 8] = [
        Column::words("Unit"),
        Column::verdict("Now"),
        Column::words("Where"),
        Column::verdict("Came in"),
        Column::figure("Sweeps"),
        Column::figure("Repairs"),
        Column::words("Board"),
        Column::figure("Last swept"),
    ];
    let rows: Vec<Row> = units
        .iter()
        .map(|unit| {
            let swept = unit.swept.as_ref();
            let place = swept.and_then(|swept| swept.fault.as_ref());
            let place = place.map(|fault| format!("{} {}", fault.place, words::class(fault.class)));
            let won = unit.won_back().then(|| words::WON_BACK.to_owned());
            Row {
                cells: vec![
                    Cell::Name(unit.serial.clone()),
                    // Of a unit that was not swept yet, where it stands.
                    unit.now().map_or_else(|| words::status(unit.status).into(), Cell::Verdict),
                    place.or(won).unwrap_or_default().into(),
                    unit.first().map_or_else(|| "".into(), Cell::Verdict),
                    swept.map_or(0, |swept| swept.sweeps).to_string().into(),
                    unit.repairs.to_string().into(),
                    swept
                        .map(|swept| format!("{} {}", swept.board, swept.revision))
                        .unwrap_or_default()
                        .into(),
                    swept
                        .map(|swept| figures::day(swept.last_us).replace(' ', "\u{a0}"))
                        .unwrap_or_default()
                        .into(),
                ],
                marked: unit.now() != Some(Verdict::Pass),
            }
        })
        .collect();
    flow.heading("Every unit", 5.0 * BODY);
    flow.table(&COLUMNS, &rows);
}
