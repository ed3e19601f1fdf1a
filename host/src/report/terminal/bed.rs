//! A bed of pins on a terminal: every pin with its reason, the plates, and what the force pins uncover.

use super::layout::{Cell, Column, paragraph, table};
use super::{Screen, heading, title};
use crate::report::bed::{AfterABreak, BedSheet};
use crate::report::words::counted;

/// One bed.
pub fn bed(sheet: &BedSheet, screen: Screen) -> String {
    const COLUMNS: [Column; 9] = [
        Column::word("pin"),
        Column::name("point"),
        Column::word("side"),
        Column::figure("x"),
        Column::figure("y"),
        Column::word("family"),
        Column::figure("force"),
        Column::figure("sense"),
        Column::name("why"),
    ];
    let mut out = String::new();
    title(&mut out, &format!("{}, revision {} · {}", sheet.board, sheet.revision, sheet.fixture), screen);
    heading(&mut out, "Pins (mm, seen from the front)", screen);
    let channel = |channel: Option<u16>| channel.map_or(String::new(), |channel| channel.to_string());
    let rows: Vec<[Cell; 9]> = sheet
        .pins
        .iter()
        .map(|pin| {
            [
                (&pin.pin).into(),
                (&pin.point).into(),
                pin.side.into(),
                format!("{:.2}", pin.x_mm).into(),
                format!("{:.2}", pin.y_mm).into(),
                (&pin.family).into(),
                channel(pin.force).into(),
                channel(pin.sense).into(),
                (&pin.why).into(),
            ]
        })
        .collect();
    table(&mut out, screen, &COLUMNS, &rows);
    heading(&mut out, "Plates", screen);
    for face in &sheet.faces {
        let text = format!(
            "the {} is touched by {}, which press with {:.0} N",
            face.side,
            counted(face.pins, "pin", "pins"),
            face.newton
        );
        paragraph(&mut out, "  ", &text, screen.width);
    }
    if let Some(after) = &sheet.after_a_break {
        heading(&mut out, "After a break", screen);
        paragraph(&mut out, "  ", &told(after), screen.width);
    }
    if !sheet.notes.is_empty() {
        heading(&mut out, "To be looked at", screen);
        for note in &sheet.notes {
            paragraph(&mut out, "  • ", note, screen.width);
        }
    }
    out
}

fn told(after: &AfterABreak) -> String {
    let AfterABreak { before, after, bound, all, optimal, added } = after;
    let gain = match added {
        0 => format!("of {all:.1} other segments that could be read, {after:.2} are, on average"),
        _ => format!(
            "of {all:.1} other segments that could be read, {before:.2} are with the force pins that are needed, and {after:.2} with {}, on average",
            counted(*added, "more", "more")
        ),
    };
    let best = match optimal {
        true => "; no choice of as many force pins reads more".to_owned(),
        false => format!("; no choice of as many force pins reads more than {bound:.2}"),
    };
    format!("With one segment open, each as likely as its kind makes it: {gain}{best}.")
}
