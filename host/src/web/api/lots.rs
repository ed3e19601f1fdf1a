//! `lots`: how each stands.

use axum::{
    body::Body,
    extract::State,
    http::header,
    response::{IntoResponse, Response},
};
use futures_util::stream;
use utoipa_axum::{router::OpenApiRouter, routes};

use super::listed::{Listed, Paging};
use crate::{
    records::{
        summary::{LotLine, LotSummary},
        text,
    },
    report::csv,
    web::{
        app::App,
        extract::{Path, Query},
        problem::Problem,
    },
};

pub fn router() -> OpenApiRouter<App> {
    OpenApiRouter::new().routes(routes!(list)).routes(routes!(one)).routes(routes!(table))
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
    Ok(axum::Json(paging.cut(app.store.lots().await?)?))
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
    Ok(axum::Json(app.store.lot(&text::lot(&lot)?).await?))
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
    let summary = app.store.lot(&text::lot(&lot)?).await?;
    let pieces = stream::iter(csv::lot_in_pieces(summary));
    Ok(([(header::CONTENT_TYPE, "text/csv; charset=utf-8")], Body::from_stream(pieces)).into_response())
}
