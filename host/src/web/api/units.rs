//! `units`: what is known of each, and what people write down about it.
#![allow(unused_qualifications)] // the code that utoipa writes for `params` names its types in full

use std::convert::Infallible;

use axum::{extract::State, http::StatusCode, response::Response};
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};
use utoipa_axum::{router::OpenApiRouter, routes};

use super::{
    file::{self, OnPaper},
    listed::{Listed, Paging},
};
use crate::{
    records::{
        SweepId,
        status::{Said, Status},
        summary::{UnitHistory, UnitLine},
        text,
    },
    report::{csv, pdf},
    verdict::Verdict,
    web::{
        app::App,
        extract::{Json, Path, Query},
        problem::Problem,
        selection::{Order, Selection},
    },
};

pub fn router() -> OpenApiRouter<App> {
    OpenApiRouter::new()
        .routes(routes!(list, receive))
        .routes(routes!(list_table))
        .routes(routes!(one))
        .routes(routes!(table))
        .routes(routes!(certificate))
        .routes(routes!(status))
        .routes(routes!(tick))
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
    /// That stand here in the work.
    status: Option<Status>,
    /// Whose serial number has this in it; capitals do not matter.
    text: Option<String>,
    /// In this order.
    #[serde(default)]
    #[param(inline)]
    sort: Order,
}

impl From<Wanted> for Selection {
    fn from(wanted: Wanted) -> Self {
        let Wanted { lot, verdict, status, text, sort } = wanted;
        Self { lot, verdict, status, text, order: sort }
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
    Ok(axum::Json(paging.cut(Selection::from(wanted).units(&app).await?)?))
}

/// The same as a table, a row each.
#[utoipa::path(
    get,
    path = "/units.csv",
    tag = "records",
    params(Wanted),
    responses((status = 200, content_type = "text/csv", body = String), (status = 400, body = Problem), (status = 503, body = Problem))
)]
async fn list_table(State(app): State<App>, Query(wanted): Query<Wanted>) -> Result<Response, Problem> {
    Ok(file::table(csv::units_in_pieces(Selection::from(wanted).units(&app).await?)))
}

/// Units that came in.
#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
struct Arrived {
    /// Their serial numbers.
    serials: Vec<String>,
    /// The lot that they come with.
    lot: Option<String>,
    /// What looks like a slip is meant.
    #[serde(default)]
    yes: bool,
}

/// What was written down of units that came in.
#[derive(Serialize, ToSchema)]
struct Taken {
    /// How many were written down.
    received: usize,
    /// How many were received before, and are left as they are.
    again: usize,
}

/// Writes down that units came in.
#[utoipa::path(
    post,
    path = "/units",
    tag = "records",
    request_body = Arrived,
    responses(
        (status = 201, description = "Written down", body = Taken),
        (status = 400, body = Problem),
        (status = 409, description = "It looks like a slip: see `doubts`", body = Problem),
        (status = 503, body = Problem)
    )
)]
async fn receive(
    State(app): State<App>,
    Json(arrived): Json<Arrived>,
) -> Result<(StatusCode, axum::Json<Taken>), Problem> {
    let coming = app.receive(&arrived.serials, arrived.lot.as_deref(), arrived.yes).await?;
    Ok((StatusCode::CREATED, axum::Json(Taken { received: coming.new.len(), again: coming.again })))
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
    file::short_table(|out| csv::unit(&history, out))
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

/// Where a unit stands in the work.
#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
struct NewStatus {
    /// Where it stands from now on; a later sweep or repair counts instead.
    status: Said,
}

/// Writes down where a unit stands in the work.
#[utoipa::path(
    post,
    path = "/units/{serial}/status",
    tag = "records",
    params(("serial" = String, Path, description = "Serial number")),
    request_body = NewStatus,
    responses(
        (status = 201, description = "Written down"),
        (status = 400, body = Problem),
        (status = 404, body = Problem),
        (status = 503, body = Problem)
    )
)]
async fn status(
    State(app): State<App>,
    Path(serial): Path<String>,
    Json(new): Json<NewStatus>,
) -> Result<StatusCode, Problem> {
    app.status(&serial, new.status).await?;
    Ok(StatusCode::CREATED)
}

/// An answer to a check of the unit's board.
#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
struct NewTick {
    /// The check, as the board file names it.
    check: String,
    /// Is it so?
    done: bool,
    /// Anything else worth keeping.
    #[serde(default)]
    note: String,
}

/// Writes the answer to a check down.
#[utoipa::path(
    post,
    path = "/units/{serial}/checks",
    tag = "records",
    params(("serial" = String, Path, description = "Serial number")),
    request_body = NewTick,
    responses(
        (status = 201, description = "Written down"),
        (status = 400, body = Problem),
        (status = 404, body = Problem),
        (status = 503, body = Problem)
    )
)]
async fn tick(
    State(app): State<App>,
    Path(serial): Path<String>,
    Json(new): Json<NewTick>,
) -> Result<StatusCode, Problem> {
    app.tick(&serial, &new.check, new.done, &new.note).await?;
    Ok(StatusCode::CREATED)
}

/// The certificate of a unit, to print and to hand on.
#[utoipa::path(
    get,
    path = "/units/{serial}/certificate.pdf",
    tag = "records",
    params(("serial" = String, Path, description = "Serial number"), OnPaper),
    responses((status = 200, content_type = "application/pdf", body = Vec<u8>), (status = 400, body = Problem), (status = 404, body = Problem))
)]
async fn certificate(
    State(app): State<App>,
    Path(serial): Path<String>,
    Query(on): Query<OnPaper>,
) -> Result<Response, Problem> {
    let history = app.store.unit(&text::serial(&serial)?).await?;
    file::pdf(move || Ok::<_, Infallible>(pdf::certificate(&history, on.paper))).await
}
