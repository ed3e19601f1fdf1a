//! What a supply path costs, on a terminal: every part with its share, then what is left at each load, the verdict last.

use super::layout::{Cell, Column, MEASURE, paragraph, table};
use super::{Screen, heading, title};
use crate::report::{drop as said, words};
use crate::verdict::Verdict;
use crate::voltage_drop::{DropSheet, LoadDrop, Part};

/// One board, or one unit of it.
pub fn drop(sheet: &DropSheet, screen: Screen) -> String {
    let mut out = String::new();
    let head = format!("{}, revision {} · {}", sheet.board, sheet.revision, said::stands_on(sheet));
    title(&mut out, &head, screen);
    paragraph(&mut out, "", &said::conditions(sheet), screen.width);
    for load in &sheet.loads {
        one(&mut out, load, screen);
    }
    if !sheet.notes.is_empty() {
        heading(&mut out, "Notes", screen);
        for note in &sheet.notes {
            paragraph(&mut out, "  • ", note, screen.width);
        }
    }
    closing(&mut out, sheet, screen);
    out
}

fn one(out: &mut String, load: &LoadDrop, screen: Screen) {
    const COLUMNS: [Column; 8] = [
        Column::figure(""),
        Column::name("part"),
        Column::figure("has"),
        Column::figure("costs"),
        Column::figure("share"),
        Column::figure("heat"),
        Column::figure("carries"),
        Column::name(""),
    ];
    let at = format!("{:.0}\u{a0}°C", load.worst_at.0);
    heading(
        out,
        &format!("{} in state \"{}\", back from {}; worst at {at}", load.load, load.state, load.back),
        screen,
    );
    // An origin that all segments share stands in the title.
    let limits_only = said::limits_only(load);
    let row = |part: &Part| {
        let number = part.number.map(|number| number.to_string()).unwrap_or_default();
        [
            Cell::from(number),
            said::name(part).into(),
            said::resistance(part).into(),
            said::lost(part.drop).into(),
            said::share(part.share).into(),
            said::heat(part.heat_watts).into(),
            match part.capacity.is_some_and(|capacity| capacity.exceeded) {
                true => Cell::tinted(Verdict::Fail, said::carries(part)),
                false => said::carries(part).into(),
            },
            if limits_only { "" } else { said::origin(part) }.into(),
        ]
    };
    let rows: Vec<_> = load.parts.iter().map(row).collect();
    table(out, screen, &COLUMNS, &rows);
    out.push('\n');
    let pass = super::verdict(load.verdict);
    for (label, text) in [
        ("lost      ", said::lost(load.drop)),
        (
            "left      ",
            format!(
                "{} at least, {} at most, at full load",
                said::at_load(load.lowest),
                said::at_load(load.highest)
            ),
        ),
        (
            "combined  ",
            format!("{} at the lowest supply, if the errors are independent", said::combined(load)),
        ),
        ("margin    ", format!("{}, {pass}", said::lost(load.margin))),
    ] {
        paragraph(out, label, &text, screen.width);
    }
    for line in said::advice(load) {
        paragraph(out, "          ", &line, screen.width);
    }
}

/// The verdict in capitals below a rule, and what it comes to.
fn closing(out: &mut String, sheet: &DropSheet, screen: Screen) {
    let word = format!("{} {}", words::mark(sheet.verdict), words::verdict(sheet.verdict).to_uppercase());
    out.push('\n');
    out.push_str(&"━".repeat(screen.width.min(MEASURE)));
    out.push('\n');
    let whose = sheet.unit.as_ref().map_or(sheet.board.as_str(), |unit| unit.serial.as_str());
    let mut line = String::new();
    title(&mut line, &format!("{word}  {whose} · {}", said::needed(sheet)), screen);
    out.push_str(&line.replacen(&word, &screen.bold_tint(sheet.verdict, &word), 1));
    paragraph(out, "", &said::headline(sheet), screen.width);
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::board;
    use crate::limits::LimitSet;
    use crate::voltage_drop::{Conditions, by_limits};
    use unicode_width::UnicodeWidthStr;

    fn sheet(text: &str) -> DropSheet {
        let board = board::parse("board.toml", text).unwrap();
        by_limits(&board, &LimitSet::of_board(&board), Conditions::default())
    }

    #[test]
    fn what_is_said_fits_the_screen_and_ends_with_the_verdict() {
        for text in [
            include_str!("../../../../fixtures/tide-gauge-head/board.toml"),
            include_str!("../../../../fixtures/greenhouse-valve-driver/board.toml"),
            include_str!("../../../../fixtures/trail-counter/board.toml"),
        ] {
            let sheet = sheet(text);
            for width in [60, 80, 120] {
                let text = drop(&sheet, Screen { width, colour: false });
                for line in text.lines() {
                    assert!(line.width() <= width && line.trim_end() == line, "{line:?}");
                }
                let word = words::verdict(sheet.verdict).to_uppercase();
                assert!(
                    text.contains(&format!("━\n{} {word}  {}", words::mark(sheet.verdict), sheet.board)),
                    "{text}"
                );
            }
            for load in &sheet.loads {
                let shares: f64 = load.parts.iter().map(|part| part.share).sum();
                assert!((shares - 1.0).abs() < 1e-9, "{shares}");
            }
        }
    }
}
