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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::start::PieceRow;
    use crate::verdict::Verdict;

    fn sheet() -> StartSheet {
        let step = |set: f64, amps: f64| StepRow {
            set_volts: Volts(set),
            volts: Volts(set - 0.002),
            amps: Amps(amps),
            peak_amps: Amps(2.0 * amps),
        };
        StartSheet {
            serial: "A-7".into(),
            board: "tide gauge head".into(),
            revision: "B".into(),
            state: "on".into(),
            supply: "ACME S1, serial number 7".into(),
            golden: false,
            volts: Volts(2.6),
            limit_amps: Amps(0.12),
            over_voltage_volts: Volts(3.36),
            over_current_amps: Amps(0.15),
            steps: vec![step(2.0, 4.1e-3), step(2.6, 5.2e-3)],
            inrush_amps: Some(Amps(10.4e-3)),
            max_inrush_amps: None,
            steady_amps: Some(Amps(5.2e-3)),
            u95_amps: Some(Amps(1.03e-3)),
            min_amps: Some(Amps(2e-3)),
            max_amps: Some(Amps(9e-3)),
            window: Some("board file".into()),
            rails: vec![RailRow {
                name: "input".into(),
                at: "reg.in".into(),
                volts: Some(Volts(2.3)),
                u95_volts: Some(Volts(0.013)),
                min_volts: Volts(2.4),
                max_volts: Volts(3.2),
                verdict: Verdict::Fail,
            }],
            checks: vec![CheckRow { name: "display lights".into(), answer: None }],
            conducts: vec![PieceRow { segment: "guard".into(), rail: "input".into() }],
            alarm: None,
            verdict: Verdict::Fail,
            reasons: vec!["rail \"input\" reads 2.30 V at reg.in, outside 2.40 V to 3.20 V".into()],
        }
    }

    #[test]
    fn steps_and_rails_stand_in_columns_and_the_verdict_comes_last() {
        let text = start(&sheet(), true, Screen::PLAIN);
        let lines: Vec<&str> = text.lines().collect();
        assert!(lines[0].starts_with("A-7 · tide gauge head · first power"), "{text}");
        for line in [
            "   set  voltage  current  highest",
            "2.60 V   2.60 V  5.20 mA  10.4 mA",
            "at rest     5.20 mA ± 1.03 mA; 2.00 mA to 9.00 mA by board file",
            "conducts    guard, by rail input",
            "record      kept in the history of A-7",
            "✗ FAIL",
        ] {
            assert!(lines.contains(&line), "{line:?} is missing:\n{text}");
        }
        assert!(text.contains("2.30 V ± 13.0 mV"), "{text}");
        let end = "✗ FAIL\nrail \"input\" reads 2.30 V at reg.in, outside 2.40 V to 3.20 V.\n";
        assert!(text.ends_with(end), "{text}");
        assert!(text.lines().all(|line| line.chars().count() <= 80), "{text}");
    }
}
