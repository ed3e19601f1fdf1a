//! One sweep on a terminal.

use super::layout::{Cell, Column, MEASURE, paragraph, table};
use super::steps::steps;
use super::{Screen, heading, title, verdict};
use crate::measurement::Manner;
use crate::records::summary::SweepId;
use crate::report::{caution, figures, words};
use crate::sweep::{BenchFault, IsolationRow, SegmentRow, Sweep, UnitFault};
use crate::verdict::{Class, Verdict};

/// One sweep: segments, isolation, what the bench did, notes, faults with what to do, and the verdict last. `id` is its
/// number in the records.
pub fn sweep(sweep: &Sweep, id: Option<SweepId>, screen: Screen) -> String {
    let mut out = String::new();
    let basis = &sweep.measurement.basis;
    let lot = sweep.measurement.lot.as_ref().map(|lot| format!(" · lot {lot}")).unwrap_or_default();
    title(
        &mut out,
        &format!("{} · {}, revision {}{lot}", sweep.measurement.serial, basis.board, basis.revision),
        screen,
    );
    readings(&mut out, sweep, screen);
    reasons(&mut out, sweep, screen);
    steps(&mut out, &sweep.judgement.steps, screen);
    bench(&mut out, sweep, id, screen);
    notes(&mut out, &sweep.judgement.notes, screen);
    faults(&mut out, words::booked(&sweep.judgement), screen);
    if sweep.judgement.verdict == Verdict::Void {
        let by_hand = sweep.measurement.manner == Manner::ByHand;
        let why = if by_hand { "Why it is void" } else { "What is wrong with the bench" };
        bench_faults(&mut out, why, &sweep.judgement.bench_faults, screen);
    }
    closing(&mut out, sweep, screen);
    out
}

/// The verdict in capitals between two rules, and what it comes to.
fn closing(out: &mut String, sweep: &Sweep, screen: Screen) {
    let verdict = sweep.judgement.verdict;
    let rule = "━".repeat(screen.width.min(MEASURE));
    let word = format!("{} {}", words::mark(verdict), words::verdict(verdict).to_uppercase());
    out.push('\n');
    out.push_str(&rule);
    out.push('\n');
    let mut line = String::new();
    title(&mut line, &format!("{word}  {}", sweep.measurement.serial), screen);
    out.push_str(&line.replacen(&word, &screen.bold_tint(verdict, &word), 1));
    paragraph(out, "", &words::headline(&sweep.into()), screen.width);
}

/// What was read. A void sweep proves nothing about the unit, and what it did not read is not worth a line.
fn readings(out: &mut String, sweep: &Sweep, screen: Screen) {
    let judgement = &sweep.judgement;
    let void = judgement.verdict == Verdict::Void;
    let shown = |verdict, class| !void || words::was_read(verdict, class);
    let segments: Vec<_> = judgement.segments.iter().filter(|row| shown(row.verdict, row.class)).collect();
    let isolation: Vec<_> = judgement.isolation.iter().filter(|row| shown(row.verdict, row.class)).collect();
    if segments.is_empty() && isolation.is_empty() {
        heading(out, "Nothing was read.", screen);
        return;
    }
    if void {
        heading(out, &format!("Readings: {}", words::void_readings(sweep.measurement.manner)), screen);
    } else {
        out.push('\n');
    }
    self::segments(out, &segments, screen);
    self::isolation(out, &isolation, screen);
}

fn bench_faults(out: &mut String, why: &str, faults: &[BenchFault], screen: Screen) {
    heading(out, why, screen);
    for fault in faults {
        paragraph(out, "  • ", &format!("{}: {}", fault.part, words::sentence(&fault.what)), screen.width);
    }
}

fn segments(out: &mut String, rows: &[&SegmentRow], screen: Screen) {
    const COLUMNS: [Column; 6] = [
        Column::name("segment"),
        Column::name("state"),
        Column::figure("at 20 °C"),
        Column::figure("limit"),
        Column::word("verdict"),
        Column::name("class"),
    ];
    if rows.is_empty() {
        return;
    }
    // A state that all share is said once.
    let shared = rows.iter().all(|row| row.state == rows[0].state).then(|| rows[0].state.as_str());
    if let Some(state) = shared {
        paragraph(out, "", &format!("Segments in state \"{state}\""), screen.width);
    }
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
                if shared.is_some() { "" } else { row.state.as_str() }.into(),
                figures::segment(row).into(),
                format!("{}{star}", figures::segment_limit(row)).into(),
                Cell::verdict(row.verdict),
                class(row.class).into(),
            ]
        })
        .collect();
    table(out, screen, &COLUMNS, &cells);
    if derived {
        paragraph(out, "* ", "not stated: this segment's share of the supply's drop budget", screen.width);
    }
}

/// The class, which says nothing beside a reading that is as it should be.
fn class(class: Class) -> &'static str {
    if class == Class::Ok { "" } else { words::class(class) }
}

fn isolation(out: &mut String, rows: &[&IsolationRow], screen: Screen) {
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
                class(row.class).into(),
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
        let finding = format!("{} ({})", words::finding(fault), words::certainty(fault));
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

fn bench(out: &mut String, sweep: &Sweep, id: Option<SweepId>, screen: Screen) {
    out.push('\n');
    for row in &sweep.judgement.closures {
        paragraph(out, "series    ", &figures::closure(row), screen.width);
    }
    for row in &sweep.judgement.thermometers {
        let counts = if row.counts { ", for values at 20 °C" } else { "" };
        let text = format!("thermometer {}: {}{counts}", row.name, figures::thermometer(row));
        paragraph(out, "bed       ", &text, screen.width);
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
    let bench_name = &sweep.measurement.bench_name;
    match sweep.measurement.manner {
        Manner::ByHand => paragraph(out, "by hand   ", &format!("meter: {bench_name}"), screen.width),
        Manner::Sweep | Manner::Hunt => {
            let text = format!("{bench_name}{air}; {}", figures::work(&sweep.measurement.work()));
            paragraph(out, "bench     ", &text, screen.width);
        }
    }
    paragraph(out, "meter     ", &words::stands_on(sweep), screen.width);
    if let Some(id) = id {
        paragraph(out, "record    ", &format!("sweep {id}"), screen.width);
    }
}
