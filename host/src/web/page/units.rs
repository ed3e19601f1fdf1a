//! The pages of units and of single sweeps: the reports, with what a person can add to them.

use axum::{
    extract::State,
    http::{StatusCode, header},
    response::{Html, IntoResponse, Redirect, Response},
};
use maud::{Markup, html};
use serde::Deserialize;

use super::{
    backdrop,
    link::{self, LINKS},
    paged::Wanted,
    roster, sheet, trade,
};
use crate::{
    board::{self, Board},
    records::{SweepId, status::Said, summary::UnitHistory, text},
    report::{
        figures, html as report,
        remedies::{self as told, Sheet},
        words,
    },
    web::{
        app::App,
        extract::{Form, Path, Query},
        problem::Problem,
        upload::Upload,
    },
};

/// The list of units.
pub async fn list(State(app): State<App>, Query(wanted): Query<Wanted>) -> Result<Html<String>, Problem> {
    let units = wanted.selection(None)?.units(&app).await?;
    let body = html! {
        main id="content" {
            h1 { "Units" }
            (roster::filter(&wanted, true))
            (roster::roster(&units, &wanted, "/units", true))
            p class="ways-out" { a href="/api/v1/units.csv" download { "Every unit as CSV" } }
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
    let here = link::unit(&serial);
    let body = html! {
        main id="content" {
            (report::unit_body(&history, &LINKS))
            @if history.is_to_be_repaired() {
                p class="ways-out" { a href={ (here) "/remedies" } { "What to do about it" } }
            }
            @if history.sweeps().count() > 1 { (which_two(&history)) }
            (photos(&history))
            @if let Some(board) = board.as_ref().filter(|board| !board.checks.is_empty()) { (checks(&history, board)) }
            (adding(&history, board.as_ref()))
            (trade::of_unit(&history))
            p class="ways-out" {
                a href={ "/api/v1" (here) "/certificate.pdf" } { "Certificate as PDF, A4" } " "
                a href={ "/api/v1" (here) "/certificate.pdf?paper=letter" } { "letter" } " "
                a href={ "/api/v1/labels.pdf?serial=" (link::encoded(&serial)) } { "Label as PDF" } " "
                a href={ "/api/v1" (here) "/table.csv" } download { "All readings as CSV" }
            }
        }
    };
    Ok(sheet::page("/units", &serial, None, &body))
}

/// What can be done about a unit, each with a button that writes down that it was done.
pub async fn remedies(State(app): State<App>, Path(serial): Path<String>) -> Result<Html<String>, Problem> {
    let serial = text::serial(&serial)?;
    let proposed = app.proposed(&serial).await?;
    let sheet = Sheet::of(&proposed);
    let body = html! {
        main id="content" {
            (report::remedies_body(&sheet, &proposed.board, &report::Links { photos: &|board| backdrop::of(&app, board), ..LINKS }))
            section class="adding" {
                h2 { "Write down" }
                div class="forms" {
                    form method="post" action={ (link::unit(&serial)) "/remedies" } {
                        h3 { "A proposal that was carried out" }
                        label {
                            span { "Which" }
                            select name="remedy" {
                                @for proposal in &proposed.remedies.proposals {
                                    option value={ (proposal.number) " " (proposal.method.word()) " " (proposal.place) } {
                                        (proposal.number) ". " (proposal.place) ": " (told::method(proposal.method))
                                    }
                                }
                            }
                        }
                        label { span { "More about it" } textarea name="text" rows="2" {} }
                        button type="submit" { "Write the repair down" }
                        p class="small" { "Then sweep the unit again: only that proves the repair." }
                    }
                }
            }
        }
    };
    Ok(sheet::page("/units", &serial, None, &body))
}

/// A proposal that was carried out, as the form sends it: number, method and place, so that a list which has changed meanwhile shows.
#[derive(Deserialize)]
pub struct Carried {
    remedy: String,
    #[serde(default)]
    text: String,
}

/// Writes down a proposal that was carried out.
pub async fn take(
    State(app): State<App>,
    Path(serial): Path<String>,
    Form(sent): Form<Carried>,
) -> Result<Redirect, Problem> {
    let parts = sent.remedy.split_once(' ').and_then(|(number, rest)| {
        let (method, place) = rest.split_once(' ')?;
        Some((number.parse().ok()?, method, place))
    });
    let unread = || Problem::bad_request("`remedy` is a number, a method and a place");
    let (number, method, place) = parts.ok_or_else(unread)?;
    let serial = app.take(&serial, number, method, place, sent.text.trim()).await?;
    Ok(Redirect::to(&link::unit(&serial)))
}

/// Two sweeps to be put side by side.
fn which_two(history: &UnitHistory) -> Markup {
    let options = |chosen: Option<SweepId>| {
        html! {
            @for sweep in history.sweeps() {
                option value=(sweep.id) selected[Some(sweep.id) == chosen] { (sweep.id) ", " (figures::time(sweep.started_us)) }
            }
        }
    };
    html! {
        form class="filter" method="get" action={ (link::unit(&history.serial)) "/compare" } {
            label { span { "Sweep" } select name="first" { (options(history.sweeps().next().map(|sweep| sweep.id))) } }
            label { span { "beside sweep" } select name="second" { (options(history.sweeps().next_back().map(|sweep| sweep.id))) } }
            button type="submit" { "Side by side" }
        }
    }
}

fn photos(history: &UnitHistory) -> Markup {
    html! {
        section class="photos" {
            h2 { "Photos" }
            @if history.photos().next().is_none() { p { "None yet." } }
            div class="pictures" {
                @for photo in history.photos() {
                    @let place = format!("/api/v1/photos/{}", photo.id);
                    figure {
                        a href=(place) {
                            img src=(place) alt={ "Photo " (words::photo(photo)) } width=(photo.width_px) height=(photo.height_px) loading="lazy";
                        }
                        figcaption { (figures::day(photo.at_us)) @if !photo.caption.is_empty() { ": " (photo.caption) } }
                    }
                }
            }
            div class="adding" {
                div class="forms" {
                    form method="post" action={ (link::unit(&history.serial)) "/photos" } enctype="multipart/form-data" {
                        h3 { "Add a photo" }
                        label { span { "JPEG or PNG, from a file or the camera" } input type="file" name="photo" accept="image/jpeg,image/png" capture="environment" required; }
                        label { span { "What it shows" } input name="caption" maxlength="200"; }
                        button type="submit" { "Add the photo" }
                    }
                }
            }
        }
    }
}

/// The checks of the board, each with its latest answer and a form for another.
fn checks(history: &UnitHistory, board: &Board) -> Markup {
    html! {
        section {
            h2 { "Checks" }
            div class="checks" {
                @for check in &board.checks {
                    @let tick = history.checklist.iter().find(|tick| tick.check == check.name);
                    form method="post" action={ (link::unit(&history.serial)) "/checks" } {
                        input type="hidden" name="check" value=(check.name);
                        span { (check.name) }
                        b { (tick.map_or("not answered", |tick| words::answer(tick.done))) }
                        label { span { "Note" } input name="note" aria-label={ "Note on " (check.name) }; }
                        button type="submit" name="done" value="yes" { "Yes" }
                        button type="submit" name="done" value="no" { "No" }
                    }
                }
            }
        }
    }
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
                @if board.is_some() {
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
                }
                form method="post" action={ (here) "/notes" } {
                    h3 { "A note" }
                    label { span { "Note" } textarea name="text" rows="4" required {} }
                    button type="submit" { "Write the note down" }
                }
                form method="post" action={ (here) "/status" } {
                    h3 { "Where it stands" }
                    label {
                        span { "Status" }
                        select name="status" {
                            @for said in Said::ALL {
                                @let status = said.into();
                                option value=(words::status(status)) selected[status == history.status] { (words::status(status)) }
                            }
                        }
                    }
                    button type="submit" { "Set the status" }
                    p class="small" { "A later sweep or repair counts instead." }
                }
                @if history.sweeps().any(|sweep| sweep.voided.is_none()) {
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
        }
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

/// A status, as the form sends it.
#[derive(Deserialize)]
pub struct NewStatus {
    status: String,
}

/// Writes down where a unit stands in the work.
pub async fn status(
    State(app): State<App>,
    Path(serial): Path<String>,
    Form(sent): Form<NewStatus>,
) -> Result<Redirect, Problem> {
    let serial = app.status(&serial, roster::said(&sent.status)?).await?;
    Ok(Redirect::to(&link::unit(&serial)))
}

/// The answer to a check, as the form sends it.
#[derive(Deserialize)]
pub struct Tick {
    check: String,
    done: String,
    #[serde(default)]
    note: String,
}

/// Writes the answer to a check down.
pub async fn tick(
    State(app): State<App>,
    Path(serial): Path<String>,
    Form(sent): Form<Tick>,
) -> Result<Redirect, Problem> {
    let serial = app.tick(&serial, &sent.check, sent.done == "yes", sent.note.trim()).await?;
    Ok(Redirect::to(&link::unit(&serial)))
}

/// Keeps a photo.
pub async fn photo(
    State(app): State<App>,
    Path(serial): Path<String>,
    upload: Upload,
) -> Result<Redirect, Problem> {
    let (serial, _) = app.photo(&serial, &upload.caption, upload.photo).await?;
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
            (report::sweep_body(&sweep, &board, &report::Links { photos: &|board| backdrop::of(&app, board), ..LINKS }))
            p { a href={ "/api/v1/sweeps/" (id) "/table.csv" } download { "All readings as CSV" } }
        }
    };
    let page = sheet::page("/units", &format!("{}, sweep {id}", sweep.measurement.serial), None, &body);
    // A sweep never changes; a later judgement of it may be added.
    Ok(([(header::CACHE_CONTROL, "no-cache")], page).into_response())
}
