//! The page of a bench's health: what to clean or change next, and every course as a control chart.

use maud::{Markup, html};

use super::chart::Chart;
use super::page::{body, facts, head, page, part, scroller};
use crate::finding::bench::LOUD;
use crate::quantity::{Ohms, si};
use crate::records::SweepId;
use crate::report::health::{
    BASE, ContactCourse, Health, HumCourse, Limits, RATED, StandardCourse, ToDo, Unreadable,
};
use crate::report::{figures, unreadable, words};

/// Where a sweep is shown; `None` on a page that stands alone.
pub type ToSweep<'a> = &'a dyn Fn(SweepId) -> Option<String>;

/// The page. `made_us` is when it was made, µs since 1970-01-01 UTC.
pub fn health(health: &Health, made_us: i64) -> String {
    let head = html! {
        header {
            (head("bench health", "Bench health", &html! {}))
            (facts(&[("Made", Some(html! { (figures::time(made_us)) }))]))
        }
    };
    page("bench health", "Bench health", &body(&html! { (head) (health_body(health, &|_| None)) }))
}

/// The same without the sheet: what stands in a page with more on it.
pub fn health_body(health: &Health, to_sweep: ToSweep<'_>) -> Markup {
    html! {
        (part("Do next", &todo(&health.todo, to_sweep)))
        (part("Looked at", &looked_at(health)))
        (part("Check standards", &standards(&health.standards)))
        (part("Contacts", &contacts(&health.contacts)))
        (part("Hum in the sense loop", &hum(&health.hum)))
        (part("Relays", &wear(health)))
        (part("Segments against the end-to-end reading", &stretches(health)))
        (part("Sweeps that were void", &void(health, to_sweep)))
    }
}

/// A sweep by its number.
fn sweep(id: SweepId, to_sweep: ToSweep<'_>) -> Markup {
    html! {
        @match to_sweep(id) {
            Some(address) => { a href=(address) { "sweep " (id) } }
            None => { "sweep " (id) }
        }
    }
}

fn todo(todo: &[ToDo], to_sweep: ToSweep<'_>) -> Markup {
    html! {
        @if todo.is_empty() { p { "Nothing to clean or to change: no rule is broken now." } }
        @else {
            ol {
                @for one in todo {
                    li {
                        b { (one.what) } ": " (words::sentence(&one.why))
                        @if let Some(since) = one.since { " Since " (figures::time(since.started_us)) ", " (sweep(since.sweep, to_sweep)) "." }
                    }
                }
            }
        }
    }
}

fn looked_at(health: &Health) -> Markup {
    html! {
        (facts(&[
            ("Sweeps", Some(html! { (health.sweeps) })),
            ("Relays closed in them", Some(html! { (health.closures) })),
        ]))
        (left_out(&health.left_out))
    }
}

/// Sweeps that cannot be read; nothing if there is none.
pub fn left_out(all: &[Unreadable]) -> Markup {
    html! {
        @if let Some(words) = unreadable::in_words(all) {
            p class="complaint" { (words) }
            ul { @for one in all { li { "sweep " (one.sweep) ": " (one.why) } } }
        }
    }
}

/// How a course stands, in words.
fn standing(limits: Option<&Limits>, readings: usize) -> Markup {
    html! {
        @match limits.map(|limits| (limits, limits.standing())) {
            None => { "No limits yet: " (readings) " of " (BASE) " readings, or all of them alike." }
            Some((_, Some(broken))) => {
                b { "Broken: " (broken.rule.in_words()) }
                ", since " (figures::time(broken.since.started_us)) " (sweep " (broken.since.sweep) ")."
            }
            Some((limits, None)) => {
                "In order."
                @if let Some(past) = limits.broken.first() {
                    " Last broken: " (past.rule.in_words()) ", " (figures::time(past.last.started_us)) " (sweep " (past.last.sweep) ")."
                }
            }
        }
    }
}

/// The same for a cell of a table.
fn in_short(limits: Option<&Limits>) -> Markup {
    html! {
        @match limits.map(Limits::standing) {
            None => { "no limits yet" }
            Some(Some(broken)) => { b { "broken since sweep " (broken.since.sweep) } }
            Some(None) => { "in order" }
        }
    }
}

fn standards(courses: &[StandardCourse]) -> Markup {
    let percent = |share: f64| format!("{:+.3} %", share * 100.0);
    html! {
        @if courses.is_empty() { p { "No check standard has been read yet." } }
        @for (number, course) in courses.iter().enumerate() {
            @let readings: Vec<(f64, f64)> = course.readings.iter().map(|reading| (reading.off, reading.u95)).collect();
            h3 { (course.name) " of " (course.fixture) }
            (Chart {
                id: format!("standard-{number}"),
                title: format!("Deviation of {} from {}", course.name, figures::stated(course.stated)),
                readings: &readings,
                limits: course.limits.as_ref(),
                allowed: Some([-course.tolerance, course.tolerance]),
                say: &percent,
            }.framed())
            p class="small" { (standing(course.limits.as_ref(), readings.len())) }
        }
        @if !courses.is_empty() {
            p class="small" {
                "Each dot is a reading with its expanded uncertainty (95 %), the band the standard's tolerance, the line the moving average. Limits come of the \
                 first " (BASE) " readings, left of the upright line. A square lies beyond an action limit. Readings that wander \
                 ask for clean pins, then for a look at the meter."
            }
        }
    }
}

fn contacts(courses: &[ContactCourse]) -> Markup {
    let ohms = |ohms: f64| figures::roughly(Ohms(ohms));
    let heads = ["Fixture", "Force pin at", "Bus", "Latest", "Worst", "Readings", "Course"];
    html! {
        @if courses.is_empty() { p { "No contact has been read yet." } } @else {
            (scroller("Contacts", &html! {
                table {
                    thead { tr { @for head in heads { th scope="col" { (head) } } } }
                    tbody {
                        @for contact in courses {
                            tr {
                                td { (contact.fixture) }
                                th scope="row" { (contact.point) }
                                td { (contact.bus()) }
                                td { (figures::roughly(contact.latest)) }
                                td { (figures::roughly(contact.worst)) }
                                td { (contact.readings.len()) }
                                td { (in_short(contact.limits.as_ref())) }
                            }
                        }
                    }
                }
            }))
            p class="small" {
                "Pin, relay and reversal switch in series, read wherever a path was read end to end. Where both relays of a pin read more \
                 than they did it is the pin, where one of them does its relay."
            }
            @for (number, contact) in courses.iter().enumerate().filter(|(_, contact)| contact.limits.is_some()) {
                @let readings: Vec<(f64, f64)> = contact.readings.iter().map(|reading| (reading.resistance.0, 0.0)).collect();
                @let title = format!("Force pin at {} of {}, {} relay", contact.point, contact.fixture, contact.bus());
                h3 { (title) }
                (Chart { id: format!("contact-{number}"), title, readings: &readings, limits: contact.limits.as_ref(), allowed: None, say: &ohms }.framed())
                p class="small" { (standing(contact.limits.as_ref(), readings.len())) }
            }
        }
    }
}

fn hum(courses: &[HumCourse]) -> Markup {
    let peak = |volts: f64| si(volts, 2, "V");
    html! {
        @if courses.is_empty() { p { "Nobody has listened for hum yet." } }
        @for (number, course) in courses.iter().enumerate() {
            @let readings: Vec<(f64, f64)> = course.readings.iter().map(|reading| (reading.peak.0, 0.0)).collect();
            h3 { (course.fixture) }
            (Chart {
                id: format!("hum-{number}"),
                title: format!("Peak of the hum at {}", course.fixture),
                readings: &readings,
                limits: course.limits.as_ref(),
                allowed: Some([0.0, LOUD.0]),
                say: &peak,
            }.framed())
            p class="small" { (standing(course.limits.as_ref(), readings.len())) }
        }
        @if !courses.is_empty() {
            p class="small" { "The band is what a sweep can clear by spacing its half-cycles over line periods." }
        }
    }
}

fn wear(health: &Health) -> Markup {
    html! {
        @if health.wear.is_empty() { p { "No relay has been closed yet." } } @else {
            (scroller("Relays", &html! {
                table {
                    thead { tr { @for head in ["Bench", "Sweeps", "Relays closed", "Busiest relay", "Its closures, about", "Of its life", "Sweeps left"] { th scope="col" { (head) } } } }
                    tbody {
                        @for bench in &health.wear {
                            tr {
                                th scope="row" { (bench.bench) }
                                td { (bench.sweeps) }
                                td { (bench.closures) }
                                @match &bench.busiest {
                                    Some(busiest) => {
                                        td { (busiest.relay) }
                                        td { (busiest.closures) }
                                        td { (figures::percent(busiest.used)) }
                                        td { (busiest.sweeps_left) }
                                    }
                                    None => { td {} td {} td {} td {} }
                                }
                            }
                        }
                    }
                }
            }))
            p class="small" {
                "Over all sweeps in the records. A reed relay that switches no current is good for about " (RATED / 1_000_000)
                " million closures."
            }
        }
    }
}

fn stretches(health: &Health) -> Markup {
    html! {
        @if health.stretches.is_empty() { p { "No path has been read end to end yet." } } @else {
            (scroller("Segments against the end-to-end reading", &html! {
                table {
                    thead { tr { @for head in ["Fixture", "From", "To", "Readings", "Agreed", "Largest difference"] { th scope="col" { (head) } } } }
                    tbody {
                        @for stretch in &health.stretches {
                            tr {
                                td { (stretch.fixture) }
                                th scope="row" { (stretch.from) }
                                td { (stretch.to) }
                                td { (stretch.readings) }
                                td { (stretch.agreed) }
                                td { (format!("{:.2}", stretch.worst)) " × uncertainty" }
                            }
                        }
                    }
                }
            }))
        }
    }
}

fn void(health: &Health, to_sweep: ToSweep<'_>) -> Markup {
    html! {
        @if health.void.is_empty() { p { "None of them." } } @else {
            ul {
                @for void in &health.void {
                    li { (sweep(void.sweep, to_sweep)) ", " (figures::time(void.started_us)) ": " (void.because.join(". ")) }
                }
            }
        }
    }
}
