//! The pages of lots.

use axum::{extract::State, response::Html};
use maud::html;

use super::{
    link::{self, LINKS},
    sheet,
};
use crate::{
    records::text,
    report::{figures, html as report},
    web::{app::App, extract::Path, problem::Problem},
};

/// The list of lots, the latest first.
pub async fn list(State(app): State<App>) -> Result<Html<String>, Problem> {
    let lots = app.store.lots().await?;
    let body = html! {
        main id="content" {
            h1 { "Lots" }
            @if lots.is_empty() { p { "No unit belongs to a lot yet. Name one on the bench page." } }
            div class="scroller" role="region" aria-label="Lots" tabindex="0" {
                table {
                    thead {
                        tr {
                            @for heading in ["Lot", "Units", "Pass", "Fail", "Unproven", "Void", "Yield now", "Last sweep"] {
                                th scope="col" { (heading) }
                            }
                        }
                    }
                    tbody {
                        @for line in lots.iter().rev() {
                            @let now = line.now;
                            tr {
                                th scope="row" { a href=(link::lot(&line.lot)) { (line.lot) } }
                                td class="count" { (now.total()) }
                                @for count in [now.pass, now.fail, now.unproven, now.void] { td class="count" { (count) } }
                                td class="count" { (figures::share(now.passed())) }
                                td { @if let Some(last_us) = line.last_us { (figures::time(last_us)) } }
                            }
                        }
                    }
                }
            }
        }
    };
    Ok(sheet::page("/lots", "Lots", None, &body))
}

/// One lot.
pub async fn lot(State(app): State<App>, Path(name): Path<String>) -> Result<Html<String>, Problem> {
    let name = text::lot(&name)?;
    let summary = app.store.lot(&name).await?;
    let body = html! {
        main id="content" {
            (report::lot_body(&summary, &LINKS))
            p { a href={ "/api/v1" (link::lot(&name)) "/table.csv" } download { "Every unit as CSV" } }
        }
    };
    Ok(sheet::page("/lots", &name, None, &body))
}
