//! A bench's health, on a terminal.

use super::layout::{Cell, Column, paragraph, table};
use super::{Screen, heading, title};
use crate::quantity::{Ohms, si};
use crate::report::health::{BASE, Health, Limits};
use crate::report::{figures, unreadable, words};
use crate::verdict::Verdict;

/// Readings that a course is drawn with.
const DRAWN: usize = 24;

/// Every course in a line each, and what to do last, where the eye is when the output has run through.
pub fn health(health: &Health, screen: Screen) -> String {
    let mut out = String::new();
    let sweeps = words::counted(health.sweeps, "sweep", "sweeps");
    title(&mut out, &format!("bench health over the last {sweeps}"), screen);
    if let Some(words) = unreadable::in_words(&health.left_out) {
        paragraph(&mut out, "", &words, screen.width);
        for one in &health.left_out {
            paragraph(&mut out, "  • ", &format!("sweep {}: {}", one.sweep, one.why), screen.width);
        }
    }
    standards(&mut out, health, screen);
    contacts(&mut out, health, screen);
    hum(&mut out, health, screen);
    wear(&mut out, health, screen);
    stretches(&mut out, health, screen);
    void(&mut out, health, screen);
    todo(&mut out, health, screen);
    out
}

/// The last readings as a row of bars between the action limits; `!` for one beyond.
fn drawn(values: &[f64], limits: Option<&Limits>) -> String {
    const BARS: [char; 8] = ['▁', '▂', '▃', '▄', '▅', '▆', '▇', '█'];
    let Some(limits) = limits else { return String::new() };
    let [low, high] = limits.action;
    let bar = |value: &f64| {
        let share = (value - low) / (high - low);
        match (0.0..=1.0).contains(&share) {
            true => BARS.get((share * BARS.len() as f64) as usize).copied().unwrap_or('█'),
            false => '!',
        }
    };
    values.iter().skip(values.len().saturating_sub(DRAWN)).map(bar).collect()
}

fn standing(limits: Option<&Limits>, readings: usize) -> Cell {
    match limits.map(Limits::standing) {
        None => format!("{readings} of {BASE} readings").into(),
        Some(None) => Cell::tinted(Verdict::Pass, "in order".into()),
        Some(Some(broken)) => Cell::tinted(
            Verdict::Fail,
            format!("{} since sweep {}", broken.rule.in_words(), broken.since.sweep),
        ),
    }
}

fn standards(out: &mut String, health: &Health, screen: Screen) {
    const COLUMNS: [Column; 6] = [
        Column::name("standard"),
        Column::figure("stated"),
        Column::figure("latest"),
        Column::figure("action limits"),
        Column::word("course"),
        Column::name("now"),
    ];
    heading(out, "Check standards", screen);
    if health.standards.is_empty() {
        out.push_str("none has been read yet\n");
        return;
    }
    let percent = |share: f64| format!("{:+.3}\u{a0}%", share * 100.0);
    let rows: Vec<[Cell; 6]> = health
        .standards
        .iter()
        .map(|course| {
            let values: Vec<f64> = course.readings.iter().map(|reading| reading.off).collect();
            let limits = course.limits.as_ref();
            [
                format!("{}, {}", course.name, course.fixture).into(),
                figures::stated(course.stated).into(),
                values.last().map(|value| percent(*value)).unwrap_or_default().into(),
                limits.map(|limits| limits.action.map(percent).join(" to ")).unwrap_or_default().into(),
                drawn(&values, limits).into(),
                standing(limits, values.len()),
            ]
        })
        .collect();
    table(out, screen, &COLUMNS, &rows);
}

fn contacts(out: &mut String, health: &Health, screen: Screen) {
    const COLUMNS: [Column; 7] = [
        Column::name("force pin"),
        Column::word("bus"),
        Column::figure("latest"),
        Column::figure("worst"),
        Column::figure("action limit"),
        Column::word("course"),
        Column::name("now"),
    ];
    heading(out, "Contacts: pin, relay and reversal switch", screen);
    if health.contacts.is_empty() {
        out.push_str("none has been read yet\n");
        return;
    }
    let rows: Vec<[Cell; 7]> = health
        .contacts
        .iter()
        .map(|course| {
            let values: Vec<f64> = course.readings.iter().map(|reading| reading.resistance.0).collect();
            let limits = course.limits.as_ref();
            [
                format!("{}, {}", course.point, course.fixture).into(),
                course.bus().into(),
                figures::roughly(course.latest).into(),
                figures::roughly(course.worst).into(),
                limits.map(|limits| figures::roughly(Ohms(limits.action[1]))).unwrap_or_default().into(),
                drawn(&values, limits).into(),
                standing(limits, values.len()),
            ]
        })
        .collect();
    table(out, screen, &COLUMNS, &rows);
}

fn hum(out: &mut String, health: &Health, screen: Screen) {
    const COLUMNS: [Column; 5] = [
        Column::name("hum at"),
        Column::figure("latest"),
        Column::figure("action limit"),
        Column::word("course"),
        Column::name("now"),
    ];
    if health.hum.is_empty() {
        return;
    }
    heading(out, "Hum in the sense loop", screen);
    let peak = |volts: f64| si(volts, 2, "V");
    let rows: Vec<[Cell; 5]> = health
        .hum
        .iter()
        .map(|course| {
            let values: Vec<f64> = course.readings.iter().map(|reading| reading.peak.0).collect();
            let limits = course.limits.as_ref();
            [
                (&course.fixture).into(),
                values.last().map(|value| peak(*value)).unwrap_or_default().into(),
                limits.map(|limits| peak(limits.action[1])).unwrap_or_default().into(),
                drawn(&values, limits).into(),
                standing(limits, values.len()),
            ]
        })
        .collect();
    table(out, screen, &COLUMNS, &rows);
}

fn wear(out: &mut String, health: &Health, screen: Screen) {
    const COLUMNS: [Column; 6] = [
        Column::name("bench"),
        Column::figure("sweeps"),
        Column::figure("closures"),
        Column::name("busiest relay"),
        Column::figure("of its life"),
        Column::figure("sweeps left"),
    ];
    heading(out, "Relays", screen);
    let rows: Vec<[Cell; 6]> = health
        .wear
        .iter()
        .map(|bench| {
            let busiest = bench.busiest.as_ref();
            [
                (&bench.bench).into(),
                bench.sweeps.to_string().into(),
                bench.closures.to_string().into(),
                busiest.map(|busiest| busiest.relay.clone()).unwrap_or_default().into(),
                busiest.map(|busiest| figures::percent(busiest.used)).unwrap_or_default().into(),
                busiest.map(|busiest| busiest.sweeps_left.to_string()).unwrap_or_default().into(),
            ]
        })
        .collect();
    table(out, screen, &COLUMNS, &rows);
}

fn stretches(out: &mut String, health: &Health, screen: Screen) {
    let worst = health.stretches.iter().max_by(|a, b| a.worst.total_cmp(&b.worst));
    let Some(worst) = worst else { return };
    let (readings, agreed) =
        health.stretches.iter().fold((0, 0), |sum, one| (sum.0 + one.readings, sum.1 + one.agreed));
    heading(out, "Segments against the end-to-end reading", screen);
    let text = format!(
        "{agreed} of {readings} agreed; the largest difference is {:.2} × its uncertainty, {} to {} of {}",
        worst.worst, worst.from, worst.to, worst.fixture
    );
    paragraph(out, "", &text, screen.width);
}

fn void(out: &mut String, health: &Health, screen: Screen) {
    if health.void.is_empty() {
        return;
    }
    heading(out, "Void sweeps", screen);
    for void in &health.void {
        let text =
            format!("sweep {}, {}: {}", void.sweep, figures::day(void.started_us), void.because.join(". "));
        paragraph(out, "  • ", &text, screen.width);
    }
}

fn todo(out: &mut String, health: &Health, screen: Screen) {
    heading(out, "Do next", screen);
    if health.todo.is_empty() {
        out.push_str("nothing to clean or to change: no rule is broken now\n");
    }
    for (number, one) in (1..).zip(&health.todo) {
        let since = one
            .since
            .map(|since| format!(" (since {}, sweep {})", figures::day(since.started_us), since.sweep));
        let text = format!("{}: {}{}", one.what, one.why, since.unwrap_or_default());
        paragraph(out, &format!("{number:>3}  "), &text, screen.width);
    }
}
