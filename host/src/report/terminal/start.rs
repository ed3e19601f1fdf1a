//! What came of a first power, on a terminal: the steps, what is drawn at rest, rails and checks, the verdict last.

use super::layout::{Cell, Column, paragraph, table};
use super::{Screen, title};
use crate::quantity::{Amps, Volts, si};
use crate::report::start::{CheckRow, RailRow, StartSheet, StepRow};
use crate::report::words;

/// A first power; `kept`: it stands in the records.
pub fn start(sheet: &StartSheet, kept: bool, screen: Screen) -> String {
    let mut out = String::new();
    let golden = if sheet.golden { " · golden unit" } else { "" };
    title(&mut out, &format!("{} · {} · first power{golden}", sheet.serial, sheet.board), screen);
    let mut row =
        |label: &str, text: String| paragraph(&mut out, &format!("{label:<12}"), &text, screen.width);
    row("supply", sheet.supply.clone());
    row(
        "bounds",
        format!(
            "at most {}; off above {} and {}; set and read back before the output went on",
            amps(sheet.limit_amps),
            volts(sheet.over_voltage_volts),
            amps(sheet.over_current_amps)
        ),
    );
    row("state", sheet.state.clone());
    out.push('\n');
    steps(&mut out, sheet, screen);
    let mut row =
        |label: &str, text: String| paragraph(&mut out, &format!("{label:<12}"), &text, screen.width);
    if let Some(peak) = sheet.inrush_amps {
        let most = sheet.max_inrush_amps.map(|most| format!(", {} are allowed", amps(most)));
        row("inrush", format!("{} at most among the readings{}", amps(peak), most.unwrap_or_default()));
    }
    if let Some(steady) = sheet.steady_amps {
        let off_by = sheet.u95_amps.map(|off_by| format!(" ± {}", amps(off_by))).unwrap_or_default();
        let window = match (sheet.min_amps, sheet.max_amps, &sheet.window) {
            (Some(least), Some(most), Some(origin)) => {
                format!("; {} to {} by {origin}", amps(least), amps(most))
            }
            _ => "; no window to hold it against".into(),
        };
        row("at rest", format!("{}{off_by}{window}", amps(steady)));
    }
    for piece in &sheet.conducts {
        row("conducts", format!("{}, by rail {}", piece.segment, piece.rail));
    }
    if let Some(alarm) = &sheet.alarm {
        row("alarm", alarm.clone());
    }
    rails(&mut out, sheet, screen);
    checks(&mut out, sheet, screen);
    if kept {
        paragraph(
            &mut out,
            &format!("{:<12}", "record"),
            &format!("kept in the history of {}", sheet.serial),
            screen.width,
        );
    }
    out.push('\n');
    let word = words::verdict(sheet.verdict).to_uppercase();
    let verdict = format!("{} {word}", words::mark(sheet.verdict));
    out.push_str(&screen.bold_tint(sheet.verdict, &verdict));
    out.push('\n');
    for reason in &sheet.reasons {
        paragraph(&mut out, "", &words::sentence(reason), screen.width);
    }
    out
}

fn steps(out: &mut String, sheet: &StartSheet, screen: Screen) {
    const COLUMNS: [Column; 4] = [
        Column::figure("set"),
        Column::figure("voltage"),
        Column::figure("current"),
        Column::figure("highest"),
    ];
    if sheet.steps.is_empty() {
        return;
    }
    let row = |step: &StepRow| {
        [volts(step.set_volts), volts(step.volts), amps(step.amps), amps(step.peak_amps)].map(Cell::from)
    };
    table(out, screen, &COLUMNS, &sheet.steps.iter().map(row).collect::<Vec<_>>());
    out.push('\n');
}

fn rails(out: &mut String, sheet: &StartSheet, screen: Screen) {
    const COLUMNS: [Column; 5] = [
        Column::name("rail"),
        Column::name("at"),
        Column::figure("reads"),
        Column::figure("window"),
        Column::word("verdict"),
    ];
    if sheet.rails.is_empty() {
        return;
    }
    let reads = |rail: &RailRow| match (rail.volts, rail.u95_volts) {
        (Some(reads), Some(off_by)) => format!("{} ± {}", volts(reads), volts(off_by)),
        _ => "–".into(),
    };
    let row = |rail: &RailRow| {
        [
            Cell::from(&rail.name),
            Cell::from(&rail.at),
            reads(rail).into(),
            format!("{} to {}", volts(rail.min_volts), volts(rail.max_volts)).into(),
            Cell::verdict(rail.verdict),
        ]
    };
    out.push('\n');
    table(out, screen, &COLUMNS, &sheet.rails.iter().map(row).collect::<Vec<_>>());
}

fn checks(out: &mut String, sheet: &StartSheet, screen: Screen) {
    const COLUMNS: [Column; 2] = [Column::name("check"), Column::word("answer")];
    if sheet.checks.is_empty() {
        return;
    }
    let row = |check: &CheckRow| [Cell::from(&check.name), check.answer.map_or("–", words::answer).into()];
    out.push('\n');
    table(out, screen, &COLUMNS, &sheet.checks.iter().map(row).collect::<Vec<_>>());
}

fn amps(current: Amps) -> String {
    si(current.0, 3, "A")
}

fn volts(voltage: Volts) -> String {
    si(voltage.0, 3, "V")
}
