//! The page of the bench's health: check standards over time, contacts, series closure, and what was wrong of late.

use axum::{extract::State, response::Html};
use maud::{Markup, html};

use super::{
    link,
    sheet::{self, Head, heads},
};
use crate::{
    records::now_us,
    report::{
        figures,
        health::{Health, StandardCourse},
    },
    web::{app::App, problem::Problem},
};

/// The page.
pub async fn health(State(app): State<App>) -> Result<Html<String>, Problem> {
    let health = app.health().await?;
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
                    div { dt { "Sweeps looked at" } dd { (health.sweeps) } }
                    div { dt { "Relays closed in them" } dd { (health.closures) } }
                }
                @if let Some(trouble) = &bench.trouble { p class="complaint" { (trouble) } }
            }
            section {
                h2 { "Check standards" }
                @if health.standards.is_empty() { p { "No check standard has been read yet." } }
                @for course in &health.standards {
                    h3 { (course.name) " of " (course.fixture) }
                    (chart(course))
                }
                p class="small" {
                    "Each dot is a reading with its expanded uncertainty (95 %); the band is the standard's tolerance. \
                     Readings that wander towards an edge ask for clean pins, then for a look at the meter."
                }
            }
            section { h2 { "Contacts" } (contacts(&health)) }
            section { h2 { "Segments against the end-to-end reading" } (stretches(&health)) }
            section {
                h2 { "Sweeps that were void" }
                @if health.void.is_empty() { p { "None of them." } }
                ul {
                    @for sweep in &health.void {
                        li {
                            a href=(link::sweep(sweep.sweep)) { "Sweep " (sweep.sweep) } ", "
                            (figures::time(sweep.started_us)) ": " (sweep.because.join(". "))
                        }
                    }
                }
            }
        }
    };
    Ok(sheet::page("/health", "Bench health", None, &body))
}

fn contacts(health: &Health) -> Markup {
    html! {
        @if health.contacts.is_empty() { p { "No contact has been read yet." } } @else {
            div class="scroller" role="region" aria-label="Contacts" tabindex="0" {
                table {
                    thead {
                        tr {
                            (heads(&[Head::Text("Fixture"), Head::Text("Force pin at"), Head::Text("Bus"), Head::Figure("Latest"), Head::Figure("Worst"), Head::Figure("Readings")]))
                        }
                    }
                    tbody {
                        @for contact in &health.contacts {
                            tr {
                                td { (contact.fixture) }
                                th scope="row" { (contact.point) }
                                td { @if contact.plus { "+" } @else { "−" } }
                                td class="count" { (figures::roughly(contact.latest)) }
                                td class="count" { (figures::roughly(contact.worst)) }
                                td class="count" { (contact.readings) }
                            }
                        }
                    }
                }
            }
            p class="small" {
                "Pin, relay and reversal switch in series, read over the last 10 sweeps wherever a path was read end to \
                 end. A pin that reads more than its neighbours asks for cleaning."
            }
        }
    }
}

fn stretches(health: &Health) -> Markup {
    html! {
        @if health.stretches.is_empty() { p { "No path has been read end to end yet." } } @else {
            div class="scroller" role="region" aria-label="Segments against the end-to-end reading" tabindex="0" {
                table {
                    thead {
                        tr {
                            (heads(&[Head::Text("Fixture"), Head::Text("From"), Head::Text("To"), Head::Figure("Readings"), Head::Figure("Agreed"), Head::Figure("Largest difference")]))
                        }
                    }
                    tbody {
                        @for stretch in &health.stretches {
                            tr {
                                td { (stretch.fixture) }
                                th scope="row" { (stretch.from) }
                                td { (stretch.to) }
                                td class="count" { (stretch.readings) }
                                td class="count" { (stretch.agreed) }
                                td class="count" { (format!("{:.2}", stretch.worst)) " × uncertainty" }
                            }
                        }
                    }
                }
            }
        }
    }
}

/// Size of a chart, in units of its drawing, and the room for its lettering.
const SIZE: [f64; 2] = [720.0, 180.0];
const LEFT: f64 = 64.0;

/// Deviations in order, with the tolerance as a band.
fn chart(course: &StandardCourse) -> Markup {
    let most = course.readings.iter().map(|reading| reading.off.abs() + reading.u95);
    let span = most.fold(course.tolerance, f64::max) * 1.15;
    let y = |off: f64| SIZE[1] / 2.0 * (1.0 - off / span);
    let step = (SIZE[0] - LEFT - 16.0) / (course.readings.len().max(2) - 1) as f64;
    let percent = |share: f64| format!("{:+.3} %", share * 100.0);
    let stated = figures::stated(course.stated);
    html! {
        svg class="chart" viewBox={ "0 0 " (SIZE[0]) " " (SIZE[1]) } role="img"
            aria-label={ "Deviation from " (stated) " over " (course.readings.len()) " sweeps" } {
            rect class="allowed" x=(LEFT) width=(SIZE[0] - LEFT) y=(y(course.tolerance))
                height=(y(-course.tolerance) - y(course.tolerance)) {}
            path class="axis" d={ "M" (LEFT) " " (y(0.0)) "H" (SIZE[0]) } {}
            @for (at, words) in [(course.tolerance, percent(course.tolerance)), (0.0, stated.clone()), (-course.tolerance, percent(-course.tolerance))] {
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
