//! `sweeps`: whole ones, and what else was made of their measurements.

use axum::{
    extract::State,
    http::{StatusCode, header},
    response::{IntoResponse, Response},
};
use utoipa_axum::{router::OpenApiRouter, routes};

use crate::{
    records::{SweepId, summary::PastJudgement},
    report::{csv, json},
    web::{app::App, extract::Path, problem::Problem},
};

pub fn router() -> OpenApiRouter<App> {
    OpenApiRouter::new().routes(routes!(one)).routes(routes!(table)).routes(routes!(judgements))
}

/// One sweep: the object that `copperwalk sweep --json` prints.
#[utoipa::path(
    get,
    path = "/sweeps/{id}",
    tag = "records",
    params(("id" = i64, Path, description = "Its number")),
    responses((status = 200, body = Object), (status = 404, body = Problem), (status = 503, body = Problem))
)]
async fn one(State(app): State<App>, Path(id): Path<i64>) -> Result<Response, Problem> {
    let sweep = app.store.sweep(SweepId(id)).await?;
    let text = json::sweep(&sweep).map_err(internal)?;
    Ok(([(header::CONTENT_TYPE, "application/json")], text).into_response())
}

/// Its readings as a table.
#[utoipa::path(
    get,
    path = "/sweeps/{id}/table.csv",
    tag = "records",
    params(("id" = i64, Path, description = "Its number")),
    responses((status = 200, content_type = "text/csv", body = String), (status = 404, body = Problem))
)]
async fn table(State(app): State<App>, Path(id): Path<i64>) -> Result<Response, Problem> {
    let sweep = app.store.sweep(SweepId(id)).await?;
    let mut out = Vec::new();
    csv::sweep(&sweep, &mut out).map_err(internal)?;
    Ok(([(header::CONTENT_TYPE, "text/csv; charset=utf-8")], out).into_response())
}

/// Every judgement made of its measurement, the first one first.
#[utoipa::path(
    get,
    path = "/sweeps/{id}/judgements",
    tag = "records",
    params(("id" = i64, Path, description = "Its number")),
    responses((status = 200, body = Vec<PastJudgement>), (status = 404, body = Problem), (status = 503, body = Problem))
)]
async fn judgements(
    State(app): State<App>,
    Path(id): Path<i64>,
) -> Result<axum::Json<Vec<PastJudgement>>, Problem> {
    Ok(axum::Json(app.store.judgements(SweepId(id)).await?))
}

fn internal(error: impl ToString) -> Problem {
    Problem::new(StatusCode::INTERNAL_SERVER_ERROR, error.to_string())
}
