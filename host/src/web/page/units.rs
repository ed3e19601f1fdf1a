//! The pages of units and of single sweeps: the reports, with what a person can add to them.

use axum::{
    Form,
    extract::State,
    http::{StatusCode, header},
    response::{Html, IntoResponse, Redirect, Response},
};
use maud::{Markup, html};
use serde::Deserialize;

use super::{
    link::{self, LINKS},
    paged::{self, Wanted},
    sheet,
};
use crate::{
    board::{self, Board},
    records::{SweepId, summary::UnitHistory, text},
    report::{figures, html as report, words},
    web::{
        app::App,
        extract::{Path, Query},
        problem::Problem,
    },
};

/// The list of units.
pub async fn list(State(app): State<App>, Query(wanted): Query<Wanted>) -> Result<Html<String>, Problem> {
    let units = wanted.selection()?.units(&app).await?;
    let shown = paged::cut(&units, wanted.page);
    let body = html! {
        main id="content" {
            h1 { "Units" }
            form class="filter" method="get" {
                label { span { "Serial number has" } input name="text" value=[wanted.text()] spellcheck="false"; }
                label { span { "Lot" } input name="lot" value=[wanted.lot()] spellcheck="false"; }
                label {
                    span { "Verdict" }
                    select name="verdict" {
                        option value="" { "any" }
                        @for verdict in paged::VERDICTS {
                            option value=(words::verdict(verdict)) selected[wanted.is(verdict)] { (words::verdict(verdict)) }
                        }
                    }
                }
                button type="submit" { "Show" }
            }
            p class="small" { (units.len()) " units" }
            div class="scroller" role="region" aria-label="Units" tabindex="0" {
                table {
                    thead {
                        tr {
                            @for heading in ["Serial number", "Lot", "Status", "Board", "Verdict", "Most likely", "Sweeps", "Repairs", "Last sweep"] {
                                th scope="col" { (heading) }
                            }
                        }
                    }
                    tbody {
                        @for line in shown {
                            @let unit = &line.unit;
                            tr {
                                th scope="row" { a href=(link::unit(&unit.serial)) { (unit.serial) } }
                                td { @if let Some(lot) = &line.lot { a href=(link::lot(lot)) { (lot) } } }
                                td { (words::status(unit.status)) }
                                @let swept = unit.swept.as_ref();
                                td { @if let Some(swept) = swept { (swept.board) ", " (swept.revision) } }
                                td { @if let Some(now) = unit.now() { (report::verdict(now)) } }
                                td {
                                    @if let Some(fault) = swept.and_then(|swept| swept.fault.as_ref()) {
                                        (fault.place) ": " (words::class(fault.class))
                                    }
                                }
                                td class="count" { (swept.map_or(0, |swept| swept.sweeps)) }
                                td class="count" { (unit.repairs) }
                                td { @if let Some(swept) = swept { (figures::time(swept.last_us)) } }
                            }
                        }
                    }
                }
            }
            (paged::ways(wanted.page, units.len(), &|page| wanted.address(page)))
        }
    };
    Ok(sheet::page("/units", "Units", None, &body))
}

/// One unit.
pub async fn unit(State(app): State<App>, Path(serial): Path<String>) -> Result<Html<String>, Problem> {
    let serial = text::serial(&serial)?;
    let history = app.store.unit(&serial).await?;
    // Without it the page has no list of places; the store says what is wrong when one is written down.
    let board = app.store.board_of(&history).await.ok().flatten();
    let body = html! {
        main id="content" {
            (report::unit_body(&history, &LINKS))
            (adding(&history, board.as_ref()))
        }
    };
    Ok(sheet::page("/units", &serial, None, &body))
}

/// What can be written down about a unit.
fn adding(history: &UnitHistory, board: Option<&Board>) -> Markup {
    let here = link::unit(&history.serial);
    let now = history.judged().next_back();
    let suspect = now.and_then(|sweep| sweep.judgement.faults.first()).map(|fault| fault.place.as_str());
    html! {
        section class="adding" {
            h2 { "Write down" }
            div class="forms" {
                form method="post" action={ (here) "/repairs" } {
                    h3 { "A repair" }
                    label {
                        span { "Where" }
                        input name="place" list="places" required value=[suspect] spellcheck="false";
                    }
                    datalist id="places" {
                        @for segment in board.map_or(&[][..], |board| &board.segments) { option value=(segment.name) {} }
                    }
                    label { span { "What was done" } input name="action" required placeholder="rebuilt, replaced, cleaned"; }
                    label { span { "More about it" } textarea name="text" rows="2" {} }
                    button type="submit" { "Write the repair down" }
                    p class="small" { "Then sweep the unit again: only that proves the repair." }
                }
                form method="post" action={ (here) "/notes" } {
                    h3 { "A note" }
                    label { span { "Note" } textarea name="text" rows="4" required {} }
                    button type="submit" { "Write the note down" }
                }
                form method="post" action={ (here) "/voids" } {
                    h3 { "A sweep that says nothing about the unit" }
                    label {
                        span { "Sweep" }
                        select name="sweep" {
                            @for sweep in history.sweeps().rev().filter(|sweep| sweep.voided.is_none()) {
                                option value=(sweep.id) { (sweep.id) ", " (figures::time(sweep.started_us)) }
                            }
                        }
                    }
                    label { span { "Because" } input name="because" required; }
                    button type="submit" { "Declare it void" }
                    p class="small" { "It stays in the records, and counts no more." }
                }
            }
        }
        p { a href={ "/api/v1" (here) "/table.csv" } download { "All readings as CSV" } }
    }
}

/// A repair, as the form sends it.
#[derive(Deserialize)]
pub struct Repair {
    place: String,
    action: String,
    #[serde(default)]
    text: String,
}

/// Writes a repair down.
pub async fn repair(
    State(app): State<App>,
    Path(serial): Path<String>,
    Form(sent): Form<Repair>,
) -> Result<Redirect, Problem> {
    let serial = app.repair(&serial, &sent.place, &sent.action, sent.text.trim()).await?;
    Ok(Redirect::to(&link::unit(&serial)))
}

/// A note, as the form sends it.
#[derive(Deserialize)]
pub struct Note {
    text: String,
}

/// Writes a note down.
pub async fn note(
    State(app): State<App>,
    Path(serial): Path<String>,
    Form(sent): Form<Note>,
) -> Result<Redirect, Problem> {
    let serial = app.note(&serial, &sent.text).await?;
    Ok(Redirect::to(&link::unit(&serial)))
}

/// A correction, as the form sends it.
#[derive(Deserialize)]
pub struct Void {
    sweep: i64,
    because: String,
}

/// Declares a sweep void.
pub async fn void(
    State(app): State<App>,
    Path(serial): Path<String>,
    Form(sent): Form<Void>,
) -> Result<Redirect, Problem> {
    let serial = app.void(&serial, SweepId(sent.sweep), &sent.because).await?;
    Ok(Redirect::to(&link::unit(&serial)))
}

/// One sweep.
pub async fn sweep(State(app): State<App>, Path(id): Path<i64>) -> Result<Response, Problem> {
    let id = SweepId(id);
    let sweep = app.store.sweep(id).await?;
    let files = app.store.files(id).await?;
    let board = board::parse("board.toml", &files.board).map_err(|problems| {
        Problem::new(StatusCode::INTERNAL_SERVER_ERROR, format!("the board kept with sweep {id}: {problems}"))
    })?;
    let body = html! {
        main id="content" {
            (report::sweep_body(&sweep, &board, &LINKS))
            p { a href={ "/api/v1/sweeps/" (id) "/table.csv" } download { "All readings as CSV" } }
        }
    };
    let page = sheet::page("/units", &format!("{}, sweep {id}", sweep.measurement.serial), None, &body);
    // A sweep never changes; a later judgement of it may be added.
    Ok(([(header::CACHE_CONTROL, "no-cache")], page).into_response())
}
