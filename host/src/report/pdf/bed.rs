//! The sheets of a bed: what to do, what to wire, where every hole is, and each plate at 1:1 with a scale bar and a square to check the print by.

use pdf_writer::Content;

use super::flow::{BODY, Flow, SMALL};
use super::font::{Face, Line};
use super::page::{COPPER, Colour, INK, RULE, SOFT};
use super::paper::{MM, Paper};
use super::sign::circle;
use super::table::{Cell, Column, Row};
use crate::bed::plate::{Plate, Use};
use crate::bed::{Bed, bill, checklist, files, svg, wiring};
use crate::board::Board;

/// Blank edge of a page with a drawing, mm: printers reach so far.
const EDGE_MM: f32 = 10.0;
/// Height that the check square and the scale bar take, mm.
const CHECK_MM: f32 = 56.0;
/// Side of the check square, mm.
const SQUARE_MM: f32 = 50.0;
/// Length of the scale bar, mm.
const BAR_MM: f32 = 100.0;
/// Neighbouring sheets show so much of the same, mm.
const OVERLAP_MM: f32 = 10.0;
/// Sheets of one plate in a direction, at most.
const MOST_SHEETS: usize = 12;

/// All sheets; `fixture` is the name of the fixture file.
pub fn bed(bed: &Bed, plates: &[Plate], board: &Board, fixture: &str, paper: Paper) -> Vec<u8> {
    let mut flow = Flow::new(paper, "bed of pins", &bed.start.name);
    let pressed: f64 = plates.iter().map(|plate| plate.support.newton).sum();
    flow.facts(&[
        ("Board", Some(format!("{}, revision {}", board.name, board.revision))),
        ("Pins", Some(bed.pins.len().to_string())),
        ("Springs press with", Some(format!("{pressed:.0} N"))),
    ]);
    if !bed.notes.is_empty() {
        flow.heading("To be looked at before drilling", 30.0);
        bed.notes.iter().for_each(|note| flow.point(note));
    }
    flow.heading("To build and to prove", 30.0);
    for step in checklist::steps(bed, plates, board, fixture) {
        flow.point(&step);
    }
    let columns = [
        Column::words("line"),
        Column::figure("channel"),
        Column::words("pin"),
        Column::words("leads to"),
        Column::words("touches"),
        Column::words("colour (any will do)"),
    ];
    list(&mut flow, "Wiring, by channel", &columns, &wiring::rows(&wiring::wires(bed, board)));
    let columns = [Column::figure("count"), Column::words("part"), Column::words("detail")];
    list(&mut flow, "Parts", &columns, &bill::rows(&bill::parts(bed, plates)));
    let columns = [
        Column::words("plate"),
        Column::words("hole"),
        Column::words("point"),
        Column::figure("plate x, mm"),
        Column::figure("plate y, mm"),
        Column::figure("board x, mm"),
        Column::figure("board y, mm"),
        Column::figure("drill, mm"),
    ];
    list(&mut flow, "Holes", &columns, &files::holes(bed, plates, board));
    for plate in plates {
        drawings(&mut flow, plate, paper);
    }
    flow.finish()
}

/// A table of texts whose first row is the head that the columns already have.
fn list(flow: &mut Flow, title: &str, columns: &[Column], rows: &[Vec<String>]) {
    flow.heading(title, 60.0);
    let row = |row: &Vec<String>| Row {
        cells: row.iter().map(|text| Cell::Text(text.clone())).collect(),
        marked: false,
    };
    let rows: Vec<Row> = rows.iter().skip(1).map(row).collect();
    flow.table(columns, &rows);
}

/// A plate at 1:1, on as many sheets as it takes.
fn drawings(flow: &mut Flow, plate: &Plate, paper: Paper) {
    let [page_width, page_height] = paper.millimetres();
    // The heading above and the foot below take 14 and 22 mm.
    let room = [page_width - 2.0 * EDGE_MM, page_height - 36.0 - CHECK_MM];
    let size = plate.size_mm.map(|length| length as f32);
    let count = [0, 1].map(|axis| sheets(size[axis], room[axis]));
    for row in 0..count[1] {
        for column in 0..count[0] {
            flow.turn();
            let of = match count {
                [1, 1] => String::new(),
                [across, down] => format!(
                    " · sheet {} of {}: neighbours overlap by {OVERLAP_MM} mm",
                    row * across + column + 1,
                    across * down
                ),
            };
            let title = format!("{} plate, 1:1{of}", plate.level.word());
            let title = Line::of(&title, Face::Bold, BODY + 2.0);
            let top = EDGE_MM * MM;
            flow.page.text(&mut flow.fonts, &title, [EDGE_MM * MM, top + 4.0], INK);
            let view = Line::of(&plate.view(), Face::Regular, SMALL);
            flow.page.text(&mut flow.fonts, &view, [EDGE_MM * MM, top + 15.0], SOFT);
            let step = room.map(|length| length - OVERLAP_MM);
            let from = [column as f32 * step[0], row as f32 * step[1]];
            let window = [0, 1].map(|axis| (size[axis] - from[axis]).min(room[axis]));
            sheet(flow, plate, [EDGE_MM, EDGE_MM + 8.0], from, window);
            check(flow, [EDGE_MM, page_height - 22.0 - CHECK_MM]);
        }
    }
}

/// Sheets that a length takes.
fn sheets(length: f32, room: f32) -> usize {
    if length <= room {
        return 1;
    }
    (((length - OVERLAP_MM) / (room - OVERLAP_MM)).ceil() as usize).clamp(1, MOST_SHEETS)
}

/// The part of a plate that begins at `from` (mm from its upper left corner), with its upper left corner at `place` on the page, mm.
fn sheet(flow: &mut Flow, plate: &Plate, place: [f32; 2], from: [f32; 2], window: [f32; 2]) {
    let height = plate.size_mm[1] as f32;
    let corner = place.map(|length| length * MM);
    let at = |[x, y]: [f64; 2]| [x as f32 - from[0], height - y as f32 - from[1]];
    flow.page.inside(corner, MM, |content| {
        content.rect(-0.1, -0.1, window[0] + 0.2, window[1] + 0.2).clip_nonzero().end_path();
        stroke(content, INK, 0.2);
        content.rect(-from[0], -from[1], plate.size_mm[0] as f32, height).stroke();
        stroke(content, COPPER, 0.25);
        content.set_dash_pattern([1.6, 0.8], 0.0);
        for (number, corner) in plate.board_edge.iter().enumerate() {
            let [x, y] = at(*corner);
            if number == 0 {
                content.move_to(x, y)
            } else {
                content.line_to(x, y)
            };
        }
        content.close_path().stroke().set_dash_pattern([], 0.0);
        for hole in &plate.holes {
            let ([x, y], radius) = (at(hole.at), hole.drill_mm as f32 / 2.0);
            let arm = radius * 1.5;
            content.save_state().transform([1.0, 0.0, 0.0, 1.0, x, y]);
            stroke(content, look(hole.what), 0.1);
            circle(content, radius);
            content.stroke();
            content.move_to(-arm, 0.0).line_to(arm, 0.0).move_to(0.0, -arm).line_to(0.0, arm).stroke();
            content.restore_state();
        }
    });
    for (label, [x, y], what) in svg::labels(plate) {
        let [x, y] = at([x, y]);
        if (0.0..window[0] - 4.0).contains(&x) && (2.0..window[1]).contains(&y) {
            // Letters 1.3 mm high, as where the labels were given their places.
            let line = Line::of(label, Face::Regular, 1.3 * MM);
            flow.page.text(&mut flow.fonts, &line, [corner[0] + x * MM, corner[1] + y * MM], look(what));
        }
    }
}

fn look(what: Use) -> Colour {
    match what {
        Use::Pin | Use::Tooling => INK,
        Use::Stop | Use::Post | Use::Pillar => SOFT,
    }
}

fn stroke(content: &mut Content, [r, g, b]: Colour, width: f32) {
    content.set_stroke_rgb(r, g, b).set_line_width(width);
}

/// A square and a bar of stated size, by which a print is measured. Their lines lie with their middles on the stated lengths.
fn check(flow: &mut Flow, place: [f32; 2]) {
    let corner = place.map(|length| length * MM);
    flow.page.inside(corner, MM, |content| {
        stroke(content, RULE, 0.1);
        content.move_to(0.0, -1.5).line_to(190.0, -1.5).stroke();
        stroke(content, INK, 0.15);
        content.rect(2.0, 2.0, SQUARE_MM, SQUARE_MM).stroke();
        let left = SQUARE_MM + 12.0;
        content.move_to(left, 14.0).line_to(left + BAR_MM, 14.0).stroke();
        for tick in 0..=10 {
            let (x, long) = (left + tick as f32 * 10.0, if tick % 5 == 0 { 4.0 } else { 2.5 });
            content.move_to(x, 14.0 - long).line_to(x, 14.0).stroke();
        }
    });
    let mut say = |text: &str, [x, y]: [f32; 2], size: f32, colour: Colour| {
        let line = Line::of(text, Face::Regular, size);
        flow.page.text(&mut flow.fonts, &line, [corner[0] + x * MM, corner[1] + y * MM], colour);
    };
    let left = SQUARE_MM + 12.0;
    say("50.0 mm by 50.0 mm", [12.0, 28.0], BODY, SOFT);
    for (tick, text) in [(0.0, "0"), (50.0, "50"), (100.0, "100 mm")] {
        say(text, [left + tick - 1.0, 18.5], SMALL, SOFT);
    }
    for (line, text) in [
        "Print at 100 %: no fitting to the page, no shrinking.",
        "Measure square and bar. More than 0.2 mm off: correct the scale of the print and print again.",
        "Stick the drawing on the side that faces the board, and punch every cross before drilling.",
    ]
    .into_iter()
    .enumerate()
    {
        say(text, [left, 28.0 + 5.0 * line as f32], SMALL + 0.4, INK);
    }
}
