//! `lots`: how each stands.
#![allow(unused_qualifications)] // the code that utoipa writes for `params` names its types in full

use std::convert::Infallible;

use axum::{extract::State, http::StatusCode, response::Response};
use utoipa_axum::{router::OpenApiRouter, routes};

use super::{
    file::{self, OnPaper},
    listed::{Listed, Paging},
};
use crate::{
    records::{
        summary::{LotLine, LotSummary},
        text,
    },
    report::{csv, pdf, spread::Spreads},
    trade::Assessment,
    web::{
        app::App,
        extract::{Path, Query},
        problem::Problem,
        selection::Selection,
        trade::Asked,
    },
};

pub fn router() -> OpenApiRouter<App> {
    OpenApiRouter::new()
        .routes(routes!(list))
        .routes(routes!(list_table))
        .routes(routes!(one))
        .routes(routes!(table))
        .routes(routes!(sheet))
        .routes(routes!(readings))
        .routes(routes!(trade))
        .routes(routes!(trade_table))
        .routes(routes!(packing))
}

/// The lots in the records, in the order they were begun.
#[utoipa::path(
    get,
    path = "/lots",
    tag = "records",
    params(Paging),
    responses((status = 200, body = Listed<LotLine>), (status = 400, body = Problem), (status = 503, body = Problem))
)]
async fn list(
    State(app): State<App>,
    Query(paging): Query<Paging>,
) -> Result<axum::Json<Listed<LotLine>>, Problem> {
    Ok(axum::Json(paging.cut(app.catalogue.lots().await?)?))
}

/// The same as a table, a row each.
#[utoipa::path(get, path = "/lots.csv", tag = "records", responses((status = 200, content_type = "text/csv", body = String), (status = 503, body = Problem)))]
async fn list_table(State(app): State<App>) -> Result<Response, Problem> {
    let lots = app.catalogue.lots().await?;
    file::short_table(|out| csv::lots(&lots, out))
}

/// One lot: counts, where its units failed, and every unit.
#[utoipa::path(
    get,
    path = "/lots/{lot}",
    tag = "records",
    params(("lot" = String, Path, description = "Name of the lot")),
    responses((status = 200, body = LotSummary), (status = 404, body = Problem), (status = 503, body = Problem))
)]
async fn one(State(app): State<App>, Path(lot): Path<String>) -> Result<axum::Json<LotSummary>, Problem> {
    Ok(axum::Json(app.catalogue.lot(&text::lot(&lot)?).await?))
}

/// Its units as a table, a row each.
#[utoipa::path(
    get,
    path = "/lots/{lot}/table.csv",
    tag = "records",
    params(("lot" = String, Path, description = "Name of the lot")),
    responses((status = 200, content_type = "text/csv", body = String), (status = 404, body = Problem))
)]
async fn table(State(app): State<App>, Path(lot): Path<String>) -> Result<Response, Problem> {
    let lot = app.catalogue.lot(&text::lot(&lot)?).await?.lot;
    let units = Selection { lot: Some(lot), ..Selection::default() }.units(&app).await?;
    Ok(file::table(csv::units_in_pieces(units)))
}

/// The report of the lot, to print and to hand on.
#[utoipa::path(
    get,
    path = "/lots/{lot}/report.pdf",
    tag = "records",
    params(("lot" = String, Path, description = "Name of the lot"), OnPaper),
    responses((status = 200, content_type = "application/pdf", body = Vec<u8>), (status = 400, body = Problem), (status = 404, body = Problem))
)]
async fn sheet(
    State(app): State<App>,
    Path(lot): Path<String>,
    Query(on): Query<OnPaper>,
) -> Result<Response, Problem> {
    let summary = app.catalogue.lot(&text::lot(&lot)?).await?;
    file::pdf(move || Ok::<_, Infallible>(pdf::lot(&summary, on.paper))).await
}

/// How the readings of each segment spread over those 100 of its units that were swept last.
#[utoipa::path(
    get,
    path = "/lots/{lot}/readings",
    tag = "records",
    params(("lot" = String, Path, description = "Name of the lot")),
    responses((status = 200, body = Spreads), (status = 404, body = Problem), (status = 503, body = Problem))
)]
async fn readings(State(app): State<App>, Path(lot): Path<String>) -> Result<axum::Json<Spreads>, Problem> {
    Ok(axum::Json(app.spreads(&lot).await?))
}

/// What it cost and earned, what to repair next, what another such lot is worth, and whether to stop.
#[utoipa::path(
    get,
    path = "/lots/{lot}/trade",
    tag = "records",
    params(("lot" = String, Path, description = "Name of the lot"), Asked),
    responses((status = 200, body = Assessment), (status = 400, body = Problem), (status = 404, body = Problem), (status = 409, body = Problem))
)]
async fn trade(
    State(app): State<App>,
    Path(lot): Path<String>,
    Query(asked): Query<Asked>,
) -> Result<axum::Json<Assessment>, Problem> {
    Ok(axum::Json(assessed(&app, &lot, &asked).await?))
}

/// The same as a table, a row for each unit.
#[utoipa::path(
    get,
    path = "/lots/{lot}/trade.csv",
    tag = "records",
    params(("lot" = String, Path, description = "Name of the lot"), Asked),
    responses((status = 200, content_type = "text/csv", body = String), (status = 400, body = Problem), (status = 404, body = Problem), (status = 409, body = Problem))
)]
async fn trade_table(
    State(app): State<App>,
    Path(lot): Path<String>,
    Query(asked): Query<Asked>,
) -> Result<Response, Problem> {
    let found = assessed(&app, &lot, &asked).await?;
    file::short_table(|out| csv::trade(&lot, &found, out))
}

/// The packing list of the spares that were taken off its units.
#[utoipa::path(
    get,
    path = "/lots/{lot}/packing.pdf",
    tag = "records",
    params(("lot" = String, Path, description = "Name of the lot"), OnPaper),
    responses((status = 200, content_type = "application/pdf", body = Vec<u8>), (status = 400, body = Problem), (status = 404, body = Problem))
)]
async fn packing(
    State(app): State<App>,
    Path(lot): Path<String>,
    Query(on): Query<OnPaper>,
) -> Result<Response, Problem> {
    let book = app.store.book(&text::lot(&lot)?).await?;
    file::pdf(move || Ok::<_, Infallible>(pdf::packing(&book, on.paper))).await
}

/// Amounts in two currencies are a conflict of what was written down.
async fn assessed(app: &App, lot: &str, asked: &Asked) -> Result<Assessment, Problem> {
    let found = asked.assess(app, &text::lot(lot)?).await?;
    found.map_err(|error| Problem::new(StatusCode::CONFLICT, error.to_string()))
}
