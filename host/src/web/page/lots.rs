//! The pages of lots.

use axum::{
    extract::State,
    response::{Html, Redirect},
};
use maud::{Markup, html};
use serde::Deserialize;

use super::{
    link::{self, LINKS},
    paged::Wanted,
    roster,
    sheet::{self, Head, heads},
    spread, trade,
};
use crate::{
    records::text,
    report::{figures, html as report},
    web::{
        app::App,
        extract::{Form, Path, Query},
        gather::MOST_UNITS,
        problem::Problem,
        trade::Asked,
    },
};

/// The list of lots, the latest first.
pub async fn list(State(app): State<App>) -> Result<Html<String>, Problem> {
    let lots = app.catalogue.lots().await?;
    let body = html! {
        main id="content" {
            h1 { "Lots" }
            @if lots.is_empty() { p { "No unit belongs to a lot yet. Receive some here, or name a lot on the bench page." } }
            div class="scroller" role="region" aria-label="Lots" tabindex="0" {
                table {
                    thead {
                        tr {
                            (heads(&[Head::Text("Lot"), Head::Figure("Units"), Head::Figure("Pass"), Head::Figure("Fail"), Head::Figure("Unproven"), Head::Figure("Void"), Head::Figure("Not swept"), Head::Figure("Yield now"), Head::Text("Last sweep")]))
                        }
                    }
                    tbody {
                        @for line in lots.iter().rev() {
                            @let now = line.now;
                            tr {
                                th scope="row" { a href=(link::lot(&line.lot)) { (line.lot) } }
                                td class="count" { (now.total()) }
                                @for count in [now.pass, now.fail, now.unproven, now.void, now.unswept] { td class="count" { (count) } }
                                td class="count" { (figures::share(now.passed())) }
                                td { @if let Some(last_us) = line.last_us { (figures::time(last_us)) } }
                            }
                        }
                    }
                }
            }
            p class="ways-out" { a href="/api/v1/lots.csv" download { "Every lot as CSV" } }
            section class="adding" {
                div class="forms" {
                    form method="post" action="/lots" {
                        h2 { "Receive units" }
                        label { span { "Lot" } input name="lot" required spellcheck="false"; }
                        label {
                            span { "Serial numbers, one on each line" }
                            textarea name="serials" rows="6" required spellcheck="false" {}
                        }
                        label class="inline" { input type="checkbox" name="yes" value="yes"; span { "What looks like a slip is meant" } }
                        button type="submit" { "Receive" }
                    }
                }
            }
        }
    };
    Ok(sheet::page("/lots", "Lots", None, &body))
}

/// Units that came in, as the form sends them.
#[derive(Deserialize)]
pub struct Arrived {
    lot: String,
    serials: String,
    yes: Option<String>,
}

/// Writes down that units came in.
pub async fn receive(State(app): State<App>, Form(sent): Form<Arrived>) -> Result<Redirect, Problem> {
    let listed = sent.serials.lines().map(str::trim).filter(|line| !line.is_empty());
    let serials: Vec<String> = listed.map(str::to_owned).collect();
    app.receive(&serials, Some(&sent.lot), sent.yes.is_some()).await?;
    Ok(Redirect::to(&link::lot(&text::lot(&sent.lot)?)))
}

/// One lot.
pub async fn lot(
    State(app): State<App>,
    Path(name): Path<String>,
    Query(wanted): Query<Wanted>,
    Query(asked): Query<Asked>,
) -> Result<Html<String>, Problem> {
    let name = text::lot(&name)?;
    let summary = app.catalogue.lot(&name).await?;
    let found = asked.assess(&app, &name).await?;
    let units = wanted.selection(Some(&name))?.units(&app).await?;
    let here = link::lot(&name);
    let body = html! {
        main id="content" {
            (report::lot_body(&summary, &found, &LINKS))
            (hour(&asked))
            p class="ways-out" {
                a href={ (here) "/readings" } { "Readings of each segment" } " "
                a href={ "/api/v1" (here) "/report.pdf" } { "Report as PDF, A4" } " "
                a href={ "/api/v1" (here) "/report.pdf?paper=letter" } { "letter" } " "
                a href={ "/api/v1" (here) "/table.csv" } download { "Every unit as CSV" } " "
                a href={ "/api/v1" (here) "/trade.csv" (query(&asked)) } download { "Trade as CSV" } " "
                a href={ "/api/v1" (here) "/packing.pdf" } { "Packing list of spares as PDF" } " "
                a href={ "/api/v1/labels.pdf?lot=" (link::encoded(&name)) } { "Labels as PDF" }
            }
            section {
                h2 { "Every unit" }
                (roster::filter(&wanted, false))
                (roster::roster(&units, &wanted, &here, false))
            }
            (trade::of_lot(&name))
        }
    };
    Ok(sheet::page("/lots", &name, None, &body))
}

/// What was asked, as the query of a link.
fn query(asked: &Asked) -> String {
    let parts = [("hour", &asked.hour), ("hours", &asked.hours)].into_iter().filter_map(|(name, text)| {
        let text = text.as_ref().filter(|text| !text.trim().is_empty())?;
        Some(format!("{name}={}", link::encoded(text)))
    });
    let parts: Vec<String> = parts.collect();
    if parts.is_empty() { String::new() } else { format!("?{}", parts.join("&")) }
}

/// Asks what an hour costs and how many there are.
fn hour(asked: &Asked) -> Markup {
    html! {
        form method="get" class="filter" {
            label { span { "An hour costs" } input name="hour" value=(asked.hour.as_deref().unwrap_or_default()) placeholder="20.00 EUR" spellcheck="false"; }
            label { span { "Hours for repairs" } input name="hours" value=(asked.hours.as_deref().unwrap_or_default()) inputmode="decimal"; }
            button type="submit" { "Work it out" }
        }
    }
}

/// How the readings of each segment spread over the units of a lot.
pub async fn readings(State(app): State<App>, Path(name): Path<String>) -> Result<Html<String>, Problem> {
    let name = text::lot(&name)?;
    let spreads = app.spreads(&name).await?;
    let body = html! {
        main id="content" {
            p { a href=(link::lot(&name)) { "Lot " (name) } }
            h1 { "Readings of each segment" }
            (report::left_out(&spreads.left_out))
            @if spreads.segments.is_empty() { p { "No unit of this lot has been swept yet." } }
            @else {
                p class="small" {
                    "The latest sweep of each of the (at most " (MOST_UNITS) ") units that were swept last. Each dot is a \
                     unit; the band is what the limits allow. Copper is referred to 20 °C."
                }
            }
            div class="spreads" { @for spread in &spreads.segments { (spread::strip(spread)) } }
        }
    };
    Ok(sheet::page("/lots", &format!("{name}, readings"), None, &body))
}
