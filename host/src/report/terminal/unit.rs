//! One unit on a terminal: what happened to it, and how it read before and after.

use super::layout::{Cell, Column, paragraph, table};
use super::{Screen, heading, title};
use crate::records::summary::{Event, UnitHistory};
use crate::report::{figures, trade, words};
use crate::verdict::Class;

/// One unit: its history, then each segment as it came in and as it is now.
pub fn unit(unit: &UnitHistory, screen: Screen) -> String {
    let mut out = String::new();
    let lot = unit.lot.as_ref().map(|lot| format!(" · lot {lot}")).unwrap_or_default();
    let status = words::status(unit.status);
    title(&mut out, &format!("{}{lot} · {status}", unit.serial), screen);
    paragraph(&mut out, "", &words::life(unit), screen.width);
    out.push('\n');
    events(&mut out, unit, screen);
    promises(&mut out, unit, screen);
    checklist(&mut out, unit, screen);
    segments(&mut out, unit, screen);
    isolation(&mut out, unit, screen);
    out
}

/// What repairs promised, and what came of it.
fn promises(out: &mut String, unit: &UnitHistory, screen: Screen) {
    if let Some(burn_in) = unit.burn_in() {
        out.push('\n');
        let lead = format!("{}  ", super::verdict(burn_in.verdict));
        paragraph(out, &lead, &words::sentence(&words::burn_in(&burn_in)), screen.width);
    }
    let promises = unit.promises();
    if promises.is_empty() {
        return;
    }
    heading(out, "Predicted and read", screen);
    for promise in &promises {
        paragraph(out, "  ", &words::sentence(&words::promise(promise)), screen.width);
    }
}

fn events(out: &mut String, unit: &UnitHistory, screen: Screen) {
    for event in &unit.events {
        match event {
            Event::Sweep(past) => {
                let what = match past.judgement.bench_faults.first() {
                    Some(fault) => format!("The bench was at fault: {}.", fault.part),
                    None => words::told(unit, past),
                };
                let what = format!("Sweep {}: {what}", past.id);
                let word = super::verdict(past.judgement.verdict);
                let mut lines = String::new();
                let lead = format!("{}  {word:<10}  ", figures::day(past.started_us));
                paragraph(&mut lines, &lead, &what, screen.width);
                out.push_str(&lines.replacen(&word, &screen.tint(past.judgement.verdict, &word), 1));
            }
            Event::Note(note) => {
                paragraph(
                    out,
                    &format!("{}  note        ", figures::day(note.at_us)),
                    &note.text,
                    screen.width,
                );
            }
            Event::Void(void) => {
                let lead = format!("{}  correction  ", figures::day(void.at_us));
                paragraph(out, &lead, &words::correction(void), screen.width);
            }
            Event::Repair(repair) => {
                let text = words::repair(repair);
                paragraph(out, &format!("{}  repair      ", figures::day(repair.at_us)), &text, screen.width);
            }
            Event::Status(said) => {
                let lead = format!("{}  status      ", figures::day(said.at_us));
                paragraph(out, &lead, &words::said(said), screen.width);
            }
            Event::Photo(photo) => {
                let lead = format!("{}  photo       ", figures::day(photo.at_us));
                paragraph(out, &lead, &words::photo(photo), screen.width);
            }
            Event::Watch(watch) => {
                let word = super::verdict(watch.verdict);
                let mut lines = String::new();
                let lead = format!("{}  {word:<10}  ", figures::day(watch.at_us));
                paragraph(&mut lines, &lead, &words::watch_entry(watch), screen.width);
                out.push_str(&lines.replacen(&word, &screen.tint(watch.verdict, &word), 1));
            }
            Event::Trade(entry) => {
                let lead = format!("{}  trade       ", figures::day(entry.at_us));
                paragraph(out, &lead, &trade::dealing(&entry.dealing), screen.width);
            }
            Event::Started(start) => {
                let word = super::verdict(start.verdict);
                let mut lines = String::new();
                let lead = format!("{}  {word:<10}  ", figures::day(start.at_us));
                paragraph(&mut lines, &lead, &words::start_entry(start), screen.width);
                out.push_str(&lines.replacen(&word, &screen.tint(start.verdict, &word), 1));
            }
            // Shown in the checklist, the latest answer of each.
            Event::Tick(_) => {}
        }
    }
}

fn checklist(out: &mut String, unit: &UnitHistory, screen: Screen) {
    const COLUMNS: [Column; 4] =
        [Column::name("check"), Column::word("answer"), Column::word("on"), Column::name("note")];
    let rows: Vec<_> = unit
        .checklist
        .iter()
        .map(|tick| {
            [
                (&tick.check).into(),
                words::answer(tick.done).into(),
                figures::day(tick.at_us).into(),
                (&tick.note).into(),
            ]
        })
        .collect();
    if !rows.is_empty() {
        heading(out, "Checklist, the latest answer to each check", screen);
        table(out, screen, &COLUMNS, &rows);
    }
}

fn segments(out: &mut String, unit: &UnitHistory, screen: Screen) {
    const COLUMNS: [Column; 5] = [
        Column::name("segment"),
        Column::name("state"),
        Column::figure("first"),
        Column::figure("latest"),
        Column::word("verdict now"),
    ];
    let rows: Vec<_> = unit
        .segment_trends()
        .iter()
        .filter_map(|trend| Some((trend.before()?, trend.after()?)))
        .map(|(before, after)| {
            [
                (&after.name).into(),
                (&after.state).into(),
                figures::segment(before).into(),
                figures::segment(after).into(),
                match after.class {
                    Class::Bypassed => words::class(after.class).into(),
                    _ => Cell::verdict(after.verdict),
                },
            ]
        })
        .collect();
    if !rows.is_empty() {
        heading(out, "First and latest reading, segments at 20 °C", screen);
        table(out, screen, &COLUMNS, &rows);
    }
}

fn isolation(out: &mut String, unit: &UnitHistory, screen: Screen) {
    const COLUMNS: [Column; 5] = [
        Column::name("must not conduct"),
        Column::name("state"),
        Column::figure("first"),
        Column::figure("latest"),
        Column::word("verdict now"),
    ];
    let rows: Vec<_> = unit
        .isolation_trends()
        .iter()
        .filter_map(|trend| Some((trend.before()?, trend.after()?)))
        .map(|(before, after)| {
            [
                (&after.name).into(),
                (&after.state).into(),
                figures::isolation(before).into(),
                figures::isolation(after).into(),
                Cell::verdict(after.verdict),
            ]
        })
        .collect();
    if !rows.is_empty() {
        out.push('\n');
        table(out, screen, &COLUMNS, &rows);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::sample;

    #[test]
    fn a_unit_shows_what_was_done_and_what_it_changed() {
        let text = unit(&sample::history(), Screen::PLAIN);
        let switch = text.lines().find(|line| line.contains("331.00 ± 0.79 Ω")).unwrap();
        assert!(switch.ends_with("61.80 ± 0.15 mΩ  ✓ pass"), "{switch}");
        assert!(text.contains("The bench was at fault: pin fuse.out"), "{text}");
        assert!(text.contains("repair      power switch: clean; worked it twenty times"), "{text}");
        assert!(text.contains("failed when it came in and passes now"), "{text}");
    }
}
