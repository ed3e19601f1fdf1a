//! `sweeps`: whole ones, and what else was made of their measurements.
#![allow(unused_qualifications)] // the code that utoipa writes for `params` names its types in full

use axum::{
    extract::State,
    http::header,
    response::{IntoResponse, Response},
};
use serde::Deserialize;
use utoipa::IntoParams;
use utoipa_axum::{router::OpenApiRouter, routes};

use super::{
    file::{self, internal},
    listed::{Listed, Paging},
};
use crate::{
    records::{
        Of, SweepId,
        summary::{PastJudgement, SweepLine},
        text,
    },
    report::{csv, json},
    web::{
        app::App,
        extract::{Path, Query},
        problem::Problem,
    },
};

pub fn router() -> OpenApiRouter<App> {
    OpenApiRouter::new()
        .routes(routes!(list))
        .routes(routes!(one))
        .routes(routes!(table))
        .routes(routes!(judgements))
}

/// Which sweeps.
#[derive(Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
struct Wanted {
    /// Of this unit.
    serial: Option<String>,
    /// Of the units of this lot; ignored beside a unit.
    lot: Option<String>,
}

/// Sweeps at a glance, the latest first. Whether one was declared void since, its unit tells.
#[utoipa::path(
    get,
    path = "/sweeps",
    tag = "records",
    params(Wanted, Paging),
    responses(
        (status = 200, body = Listed<SweepLine>),
        (status = 400, body = Problem),
        (status = 404, description = "No such unit or lot", body = Problem),
        (status = 503, body = Problem)
    )
)]
async fn list(
    State(app): State<App>,
    Query(wanted): Query<Wanted>,
    Query(paging): Query<Paging>,
) -> Result<axum::Json<Listed<SweepLine>>, Problem> {
    let serial = wanted.serial.as_deref().map(text::serial).transpose()?;
    let lot = wanted.lot.as_deref().map(text::lot).transpose()?;
    let of = match (&serial, &lot) {
        (Some(serial), _) => Of::Unit(serial),
        (None, Some(lot)) => Of::Lot(lot),
        (None, None) => Of::All,
    };
    let mut numbers = app.catalogue.numbers(of).await?;
    numbers.reverse();
    let Listed { total, page, per_page, items } = paging.cut(numbers)?;
    let items = app.store.sweep_lines(&items).await?;
    Ok(axum::Json(Listed { total, page, per_page, items }))
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
    file::short_table(|out| csv::sweep(&sweep, out))
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
