//! The packing list of the spares that were taken off the units of a lot.

use super::flow::{BODY, Flow, SMALL};
use super::font::Face;
use super::page::{INK, SOFT};
use super::paper::Paper;
use super::table::{Cell, Column, Row};
use crate::report::figures;
use crate::trade::Book;

/// The packing list, as a PDF: a row for each part, with a box to tick when it goes into the bag.
pub fn packing(book: &Book, paper: Paper) -> Vec<u8> {
    const COLUMNS: [Column; 5] = [
        Column::words("Packed"),
        Column::words("Part"),
        Column::words("Taken off unit"),
        Column::words("For unit"),
        Column::figure("On"),
    ];
    let mut flow = Flow::new(paper, "packing list of spares", &book.lot);
    let rows: Vec<Row> = book
        .units
        .iter()
        .flat_map(|unit| unit.spares.iter().map(move |spare| (unit, spare)))
        .map(|(unit, spare)| Row {
            cells: vec![
                "[   ]".into(),
                Cell::Name(spare.part.clone()),
                unit.serial.as_str().into(),
                spare.unit.as_deref().unwrap_or_default().into(),
                figures::day(spare.at_us).replace(' ', "\u{a0}").into(),
            ],
            marked: false,
        })
        .collect();
    let donors = book.units.iter().filter(|unit| !unit.spares.is_empty()).count();
    flow.facts(&[("Parts", Some(rows.len().to_string())), ("Taken off units", Some(donors.to_string()))]);
    if rows.is_empty() {
        flow.paragraph("No part was taken off a unit of this lot.", Face::Regular, BODY, INK);
        return flow.finish();
    }
    flow.heading("Parts", 5.0 * BODY);
    flow.table(&COLUMNS, &rows);
    flow.y += 4.0;
    let said = "Used parts, taken off units that failed elsewhere. They were not measured by themselves: what was measured is the path \
                that they stood in, and stands in the record of the unit they come from.";
    flow.paragraph(said, Face::Regular, SMALL, SOFT);
    flow.finish()
}
