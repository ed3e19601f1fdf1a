//! The page of the bench's health: its check standards over time, and what was wrong with the bench of late.

use std::collections::BTreeMap;

use axum::{extract::State, response::Html};
use maud::{Markup, html};

use super::{link, sheet};
use crate::{
    records::{Of, Stored, now_us},
    report::figures,
    verdict::Verdict,
    web::{app::App, problem::Problem},
};

/// Sweeps looked back on.
const LOOKED_AT: usize = 200;

/// One reading of a check standard.
struct Reading {
    /// Deviation from the stated value, relative.
    off: f64,
    /// Expanded uncertainty, 95 %, relative.
    u95: f64,
    within: bool,
}

/// The readings of one check standard, in order.
struct Course {
    stated: String,
    /// Relative.
    tolerance: f64,
    readings: Vec<Reading>,
}

/// The page.
pub async fn health(State(app): State<App>) -> Result<Html<String>, Problem> {
    let mut numbers = app.store.numbers(Of::All).await?;
    let latest = numbers.split_off(numbers.len().saturating_sub(LOOKED_AT));
    let sweeps: Vec<Stored> = app.store.read(&latest).await?.into_iter().flatten().collect();
    let courses = courses(&sweeps);
    let void: Vec<&Stored> =
        sweeps.iter().rev().filter(|sweep| sweep.judgement.verdict == Verdict::Void).collect();
    let bench = app.desk.bench();
    let body = html! {
        main id="content" {
            h1 { "Bench health" }
            section {
                h2 { "Controller" }
                dl class="facts" {
                    div { dt { "Line" } dd { @if bench.line.is_empty() { "none" } @else { (bench.line) } } }
                    @if let Some(controller) = &bench.controller {
                        div { dt { "Serial number" } dd { (controller.serial) } }
                        div { dt { "Firmware" } dd { (controller.firmware) } }
                    }
                    div { dt { "Now" } dd { (figures::time(now_us())) } }
                }
                @if let Some(trouble) = &bench.trouble { p class="complaint" { (trouble) } }
            }
            section {
                h2 { "Check standards" }
                @if courses.is_empty() { p { "No check standard has been read yet." } }
                @for ((fixture, name), course) in &courses {
                    h3 { (name) " of " (fixture) }
                    (chart(course))
                }
                p class="small" {
                    "The last " (sweeps.len()) " sweeps. Each dot is a reading with its expanded uncertainty (95 %); the \
                     band is the standard's tolerance. Readings that wander towards an edge ask for clean pins, then for \
                     a look at the meter."
                }
            }
            section {
                h2 { "Sweeps that were void" }
                @if void.is_empty() { p { "None of them." } }
                ul {
                    @for sweep in &void {
                        li {
                            a href=(link::sweep(sweep.id)) { "Sweep " (sweep.id) } ", "
                            (figures::time(sweep.measurement.started_us)) ": "
                            @for fault in &sweep.judgement.bench_faults { (fault.part) ": " (fault.what) ". " }
                        }
                    }
                }
            }
        }
    };
    Ok(sheet::page("/health", "Bench health", None, &body))
}

fn courses(sweeps: &[Stored]) -> BTreeMap<(String, String), Course> {
    let mut courses = BTreeMap::new();
    for sweep in sweeps {
        for row in &sweep.judgement.standards {
            let key = (sweep.measurement.basis.fixture.clone(), row.name.clone());
            let course = courses.entry(key).or_insert_with(|| Course {
                stated: figures::stated(row.stated),
                tolerance: row.tolerance,
                readings: Vec::new(),
            });
            if let (Some(read), Some(u95)) = (row.resistance, row.u95) {
                let (off, u95) = (read / row.stated - 1.0, u95 / row.stated);
                course.readings.push(Reading { off, u95, within: row.verdict == Verdict::Pass });
            }
        }
    }
    courses
}

/// Size of a chart, in units of its drawing, and the room for its lettering.
const SIZE: [f64; 2] = [720.0, 180.0];
const LEFT: f64 = 64.0;

/// Deviations in order, with the tolerance as a band.
fn chart(course: &Course) -> Markup {
    let most = course.readings.iter().map(|reading| reading.off.abs() + reading.u95);
    let span = most.fold(course.tolerance, f64::max) * 1.15;
    let y = |off: f64| SIZE[1] / 2.0 * (1.0 - off / span);
    let step = (SIZE[0] - LEFT - 16.0) / (course.readings.len().max(2) - 1) as f64;
    let percent = |share: f64| format!("{:+.3} %", share * 100.0);
    html! {
        svg class="chart" viewBox={ "0 0 " (SIZE[0]) " " (SIZE[1]) } role="img"
            aria-label={ "Deviation from " (course.stated) " over " (course.readings.len()) " sweeps" } {
            rect class="allowed" x=(LEFT) width=(SIZE[0] - LEFT) y=(y(course.tolerance))
                height=(y(-course.tolerance) - y(course.tolerance)) {}
            path class="axis" d={ "M" (LEFT) " " (y(0.0)) "H" (SIZE[0]) } {}
            @for (at, words) in [(course.tolerance, percent(course.tolerance)), (0.0, course.stated.clone()), (-course.tolerance, percent(-course.tolerance))] {
                text class="mark" x=(LEFT - 6.0) y=(y(at) + 4.0) text-anchor="end" { (words) }
            }
            @for (number, reading) in course.readings.iter().enumerate() {
                @let x = LEFT + 8.0 + step * number as f64;
                g class=(if reading.within { "pass" } else { "fail" }) {
                    path class="whisker" d={ "M" (x) " " (y(reading.off - reading.u95)) "V" (y(reading.off + reading.u95)) } {}
                    circle class="point" cx=(x) cy=(y(reading.off)) r="3.5" {}
                }
            }
        }
    }
}
