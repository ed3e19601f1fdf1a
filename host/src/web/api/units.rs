//! `units`: what is known of each, and what people write down about it.
#![allow(unused_qualifications)] // the code that utoipa writes for `params` names its types in full

use axum::{
    extract::State,
    http::{StatusCode, header},
    response::{IntoResponse, Response},
};
use serde::Deserialize;
use utoipa::{IntoParams, ToSchema};
use utoipa_axum::{router::OpenApiRouter, routes};

use super::listed::{Listed, Paging};
use crate::{
    records::{
        SweepId,
        summary::{UnitHistory, UnitLine},
        text,
    },
    report::csv,
    verdict::Verdict,
    web::{
        app::App,
        extract::{Json, Path, Query},
        problem::Problem,
        selection::Selection,
    },
};

pub fn router() -> OpenApiRouter<App> {
    OpenApiRouter::new()
        .routes(routes!(list))
        .routes(routes!(one))
        .routes(routes!(table))
        .routes(routes!(note))
        .routes(routes!(repair))
        .routes(routes!(void))
}

/// Which units.
#[derive(Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
struct Wanted {
    /// Of this lot.
    lot: Option<String>,
    /// Whose last sweep came to this.
    verdict: Option<Verdict>,
    /// Whose serial number has this in it; capitals do not matter.
    text: Option<String>,
    /// In which order; the default is that of their serial numbers.
    #[serde(default)]
    #[param(inline)]
    sort: Order,
}

/// The order of a list of units.
#[derive(Clone, Copy, PartialEq, Eq, Default, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
enum Order {
    /// By serial number.
    #[default]
    Serial,
    /// By last sweep, the latest first.
    Latest,
}

impl Wanted {
    fn selection(&self) -> Selection<'_> {
        Selection {
            lot: self.lot.as_deref(),
            verdict: self.verdict,
            text: self.text.as_deref(),
            latest_first: self.sort == Order::Latest,
        }
    }
}

/// The units in the records.
#[utoipa::path(
    get,
    path = "/units",
    tag = "records",
    params(Wanted, Paging),
    responses((status = 200, body = Listed<UnitLine>), (status = 400, body = Problem), (status = 503, body = Problem))
)]
async fn list(
    State(app): State<App>,
    Query(wanted): Query<Wanted>,
    Query(paging): Query<Paging>,
) -> Result<axum::Json<Listed<UnitLine>>, Problem> {
    Ok(axum::Json(paging.cut(wanted.selection().units(&app).await?)?))
}

/// One unit with its whole history.
#[utoipa::path(
    get,
    path = "/units/{serial}",
    tag = "records",
    params(("serial" = String, Path, description = "Serial number")),
    responses((status = 200, body = UnitHistory), (status = 404, body = Problem), (status = 503, body = Problem))
)]
async fn one(State(app): State<App>, Path(serial): Path<String>) -> Result<axum::Json<UnitHistory>, Problem> {
    Ok(axum::Json(app.store.unit(&text::serial(&serial)?).await?))
}

/// The history as a table.
#[utoipa::path(
    get,
    path = "/units/{serial}/table.csv",
    tag = "records",
    params(("serial" = String, Path, description = "Serial number")),
    responses((status = 200, content_type = "text/csv", body = String), (status = 404, body = Problem))
)]
async fn table(State(app): State<App>, Path(serial): Path<String>) -> Result<Response, Problem> {
    let history = app.store.unit(&text::serial(&serial)?).await?;
    let mut out = Vec::new();
    csv::unit(&history, &mut out)
        .map_err(|error| Problem::new(StatusCode::INTERNAL_SERVER_ERROR, error.to_string()))?;
    Ok(([(header::CONTENT_TYPE, "text/csv; charset=utf-8")], out).into_response())
}

/// A note.
#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
struct NewNote {
    /// What is to be kept: 1 to 10,000 characters.
    text: String,
}

/// Writes a note down.
#[utoipa::path(
    post,
    path = "/units/{serial}/notes",
    tag = "records",
    params(("serial" = String, Path, description = "Serial number")),
    request_body = NewNote,
    responses((status = 201, description = "Written down"), (status = 400, body = Problem), (status = 404, body = Problem))
)]
async fn note(
    State(app): State<App>,
    Path(serial): Path<String>,
    Json(note): Json<NewNote>,
) -> Result<StatusCode, Problem> {
    app.note(&serial, &note.text).await?;
    Ok(StatusCode::CREATED)
}

/// A repair.
#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
struct NewRepair {
    /// A segment, a point, or `point~point`.
    r#where: String,
    /// What was done, in a word or two.
    action: String,
    /// More about it.
    #[serde(default)]
    text: String,
}

/// Writes a repair down.
#[utoipa::path(
    post,
    path = "/units/{serial}/repairs",
    tag = "records",
    params(("serial" = String, Path, description = "Serial number")),
    request_body = NewRepair,
    responses(
        (status = 201, description = "Written down"),
        (status = 400, description = "The board has no such place, or the words cannot be kept", body = Problem),
        (status = 404, body = Problem)
    )
)]
async fn repair(
    State(app): State<App>,
    Path(serial): Path<String>,
    Json(repair): Json<NewRepair>,
) -> Result<StatusCode, Problem> {
    app.repair(&serial, &repair.r#where, &repair.action, &repair.text).await?;
    Ok(StatusCode::CREATED)
}

/// A sweep that says nothing about the unit.
#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
struct NewVoid {
    /// Its number.
    sweep: i64,
    /// Why.
    because: String,
}

/// Declares a sweep void. It stays in the records, and counts no more.
#[utoipa::path(
    post,
    path = "/units/{serial}/voids",
    tag = "records",
    params(("serial" = String, Path, description = "Serial number")),
    request_body = NewVoid,
    responses(
        (status = 201, description = "Written down"),
        (status = 400, body = Problem),
        (status = 404, description = "No such unit, or no such sweep of it", body = Problem),
        (status = 409, description = "It is void already", body = Problem)
    )
)]
async fn void(
    State(app): State<App>,
    Path(serial): Path<String>,
    Json(void): Json<NewVoid>,
) -> Result<StatusCode, Problem> {
    app.void(&serial, SweepId(void.sweep), &void.because).await?;
    Ok(StatusCode::CREATED)
}
