//! The page of the bench's health: the controller, and what the last sweeps say of it.

use axum::{extract::State, response::Html};
use maud::html;

use super::{link, sheet};
use crate::{
    records::now_us,
    report::{figures, html as report},
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
                }
                @if let Some(trouble) = &bench.trouble { p class="complaint" { (trouble) } }
            }
            (report::health_body(&health, &|sweep| Some(link::sweep(sweep))))
        }
    };
    Ok(sheet::page("/health", "Bench health", None, &body))
}
