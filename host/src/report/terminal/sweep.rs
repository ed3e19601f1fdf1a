//! One sweep on a terminal.

use super::layout::{Cell, Column, paragraph, table};
use super::{Screen, heading, title, verdict};
use crate::records::summary::SweepId;
use crate::report::{caution, figures, words};
use crate::sweep::{BenchFault, IsolationRow, SegmentRow, Sweep, UnitFault};
use crate::verdict::Verdict;

/// One sweep: verdict, segments, isolation, faults with what to do, notes, and what the bench did.
pub fn sweep(sweep: &Sweep, screen: Screen) -> String {
    let mut out = String::new();
    let basis = &sweep.measurement.basis;
    let lot = sweep.measurement.lot.as_ref().map(|lot| format!(" · lot {lot}")).unwrap_or_default();
    title(
        &mut out,
        &format!("{} · {}, revision {}{lot}", sweep.measurement.serial, basis.board, basis.revision),
        screen,
    );
    let word = verdict(sweep.judgement.verdict);
    let mut headline = String::new();
    paragraph(&mut headline, &format!("{word}  "), &words::headline(&sweep.into()), screen.width);
    out.push_str(&headline.replacen(&word, &screen.tint(sweep.judgement.verdict, &word), 1));

    if sweep.judgement.verdict == Verdict::Void {
        bench_faults(&mut out, &sweep.judgement.bench_faults, screen);
        heading(
            &mut out,
            "Readings: a help to find the bench fault; they prove nothing about the unit",
            screen,
        );
    } else {
        out.push('\n');
    }
    segments(&mut out, &sweep.judgement.segments, screen);
    isolation(&mut out, &sweep.judgement.isolation, screen);
    reasons(&mut out, sweep, screen);
    faults(&mut out, words::booked(&sweep.judgement), screen);
    notes(&mut out, &sweep.judgement.notes, screen);
    bench(&mut out, sweep, screen);
    out
}

/// Where a sweep is kept, to go below [`sweep`].
pub fn recorded(id: SweepId, screen: Screen) -> String {
    let mut out = String::new();
    paragraph(&mut out, "record    ", &format!("sweep {id}"), screen.width);
    out
}

fn bench_faults(out: &mut String, faults: &[BenchFault], screen: Screen) {
    heading(out, "What is wrong with the bench", screen);
    for fault in faults {
        paragraph(out, "  • ", &format!("{}: {}", fault.part, words::sentence(&fault.what)), screen.width);
    }
}

fn segments(out: &mut String, rows: &[SegmentRow], screen: Screen) {
    const COLUMNS: [Column; 6] = [
        Column::name("segment"),
        Column::name("state"),
        Column::figure("at 20 °C"),
        Column::figure("limit"),
        Column::word("verdict"),
        Column::name("class"),
    ];
    let derived = rows.iter().any(|row| row.limit_derived);
    let cells: Vec<_> = rows
        .iter()
        .map(|row| {
            let star = match (derived, row.limit_derived) {
                (false, _) => "",
                (true, false) => "\u{a0}", // keeps the figures above each other
                (true, true) => "*",
            };
            [
                (&row.name).into(),
                (&row.state).into(),
                figures::segment(row).into(),
                format!("{}{star}", figures::segment_limit(row)).into(),
                Cell::verdict(row.verdict),
                words::class(row.class).into(),
            ]
        })
        .collect();
    table(out, screen, &COLUMNS, &cells);
    if derived {
        paragraph(out, "* ", "not stated: this segment's share of the supply's drop budget", screen.width);
    }
}

fn isolation(out: &mut String, rows: &[IsolationRow], screen: Screen) {
    const COLUMNS: [Column; 6] = [
        Column::name("must not conduct"),
        Column::name("state"),
        Column::figure("reading"),
        Column::figure("limit"),
        Column::word("verdict"),
        Column::word("class"),
    ];
    if rows.is_empty() {
        return;
    }
    out.push('\n');
    let cells: Vec<_> = rows
        .iter()
        .map(|row| {
            let name = if row.is_switch { format!("{} (open)", row.name) } else { row.name.clone() };
            [
                name.into(),
                (&row.state).into(),
                figures::isolation(row).into(),
                figures::isolation_limit(row).into(),
                Cell::verdict(row.verdict),
                words::class(row.class).into(),
            ]
        })
        .collect();
    table(out, screen, &COLUMNS, &cells);
}

fn reasons(out: &mut String, sweep: &Sweep, screen: Screen) {
    let reasons = words::reasons(&sweep.judgement);
    if reasons.is_empty() {
        return;
    }
    heading(out, "Why not proven", screen);
    for reason in reasons {
        paragraph(out, "  ? ", &reason, screen.width);
    }
}

fn faults(out: &mut String, faults: &[UnitFault], screen: Screen) {
    if faults.is_empty() {
        return;
    }
    heading(out, "What to do, most probable first", screen);
    for (i, fault) in faults.iter().enumerate() {
        let finding = format!("{} ({})", words::finding(fault), words::probability(fault.probability));
        paragraph(out, &format!("{:>2}. ", i + 1), &finding, screen.width);
        let advice = &fault.advice;
        for (label, text) in
            [("cause  ", &advice.cause), ("repair ", &advice.repair), ("caution", &advice.caution)]
        {
            paragraph(out, &format!("    {label}  "), &words::sentence(text), screen.width);
        }
    }
    out.push('\n');
    paragraph(out, "", &caution::short(), screen.width);
}

fn notes(out: &mut String, notes: &[String], screen: Screen) {
    if notes.is_empty() {
        return;
    }
    heading(out, "Notes", screen);
    for note in notes {
        paragraph(out, "  • ", note, screen.width);
    }
}

fn bench(out: &mut String, sweep: &Sweep, screen: Screen) {
    out.push('\n');
    for row in &sweep.judgement.closures {
        paragraph(out, "series    ", &figures::closure(row), screen.width);
    }
    for row in &sweep.judgement.standards {
        let text = format!(
            "{}: {}, stated {} within {}, {}",
            row.name,
            figures::standard(row),
            figures::stated(row.stated),
            figures::percent(row.tolerance),
            verdict(row.verdict),
        );
        paragraph(out, "standard  ", &text, screen.width);
    }
    let air = sweep.judgement.air.map(|air| format!(", air {:.1} °C", air.0)).unwrap_or_default();
    let text = format!("{}{air}; {}", sweep.measurement.bench_name, figures::work(&sweep.measurement.work()));
    paragraph(out, "bench     ", &text, screen.width);
}
