//! `jobs`: what the bench is asked to do.

use axum::{
    extract::State,
    http::{HeaderValue, StatusCode, header},
    response::{IntoResponse, Response},
};
use serde::Deserialize;
use utoipa::ToSchema;
use utoipa_axum::{router::OpenApiRouter, routes};

use crate::{
    daemon::{
        JobId, JobPicture,
        job::{Before, Wanted},
    },
    plan::Sampling,
    records::{now_us, text},
    web::{
        app::App,
        extract::{Json, Path},
        problem::Problem,
    },
};

pub fn router() -> OpenApiRouter<App> {
    OpenApiRouter::new().routes(routes!(list, ask)).routes(routes!(one, cancel)).routes(routes!(confirm))
}

/// A sweep that is asked for.
#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
struct Asked {
    /// Serial number of the unit.
    serial: String,
    /// Lot it came in.
    lot: Option<String>,
    /// Name of the fixture.
    fixture: String,
    /// Spend every reading's whole budget.
    #[serde(default)]
    full: bool,
    /// Go on although the records speak of a slip.
    #[serde(default)]
    yes: bool,
}

/// Every job the daemon still knows: the one at the bench, those that wait, then those that are over, the latest first.
#[utoipa::path(get, path = "/jobs", tag = "bench", responses((status = 200, body = Vec<JobPicture>)))]
async fn list(State(app): State<App>) -> axum::Json<Vec<JobPicture>> {
    axum::Json(app.desk.jobs())
}

/// Asks for a sweep. It begins when the lid is closed over the unit, or when that is confirmed.
#[utoipa::path(
    post,
    path = "/jobs",
    tag = "bench",
    request_body = Asked,
    responses(
        (status = 202, description = "Taken; `Location` is the job", body = JobPicture),
        (status = 400, description = "A serial number or lot that cannot be kept", body = Problem),
        (status = 404, description = "No such fixture", body = Problem),
        (status = 409, description = "It looks like a slip: see `doubts`", body = Problem),
        (status = 503, description = "The queue is full, or the records cannot be read", body = Problem)
    )
)]
async fn ask(State(app): State<App>, Json(asked): Json<Asked>) -> Result<Response, Problem> {
    let serial = text::serial(&asked.serial)?;
    let lot = asked.lot.as_deref().filter(|lot| !lot.is_empty()).map(text::lot).transpose()?;
    let known = app.fixtures.get(&asked.fixture).ok_or_else(|| no_fixture(&app, &asked.fixture))?;
    if !asked.yes {
        let doubts = app.store.doubts(&serial, lot.as_deref(), &known.laid.fixture.board).await;
        if !doubts.is_empty() {
            return Err(Problem::doubtful(doubts));
        }
    }
    let sampling = if asked.full { Sampling::Full } else { Sampling::Quick };
    let before = app.store.unit(&serial).await.ok().as_ref().and_then(Before::of);
    let wanted = Wanted { serial, lot, fixture: asked.fixture, sampling, before };
    let job = app.desk.submit(wanted, now_us())?;
    let place = HeaderValue::try_from(format!("/api/v1/jobs/{}", job.id))
        .map_err(|error| Problem::new(StatusCode::INTERNAL_SERVER_ERROR, error.to_string()))?;
    Ok((StatusCode::ACCEPTED, [(header::LOCATION, place)], axum::Json(job)).into_response())
}

/// One job.
#[utoipa::path(
    get,
    path = "/jobs/{id}",
    tag = "bench",
    params(("id" = JobId, Path, description = "Its number")),
    responses((status = 200, body = JobPicture), (status = 404, body = Problem))
)]
async fn one(State(app): State<App>, Path(id): Path<JobId>) -> Result<axum::Json<JobPicture>, Problem> {
    Ok(axum::Json(app.desk.job(id)?))
}

/// Cancels a job. One at the bench is over as soon as every relay is open; nothing of it is recorded.
#[utoipa::path(
    delete,
    path = "/jobs/{id}",
    tag = "bench",
    params(("id" = JobId, Path, description = "Its number")),
    responses(
        (status = 200, description = "Cancelled, or about to be", body = JobPicture),
        (status = 404, body = Problem),
        (status = 409, description = "It is over", body = Problem)
    )
)]
async fn cancel(State(app): State<App>, Path(id): Path<JobId>) -> Result<axum::Json<JobPicture>, Problem> {
    Ok(axum::Json(app.desk.cancel(id)?))
}

/// Says that what the job asks for is done, where the bench cannot see it by itself.
#[utoipa::path(
    post,
    path = "/jobs/{id}/confirm",
    tag = "bench",
    params(("id" = JobId, Path, description = "Its number")),
    responses(
        (status = 200, body = JobPicture),
        (status = 404, body = Problem),
        (status = 409, description = "It is over, or asks for nothing", body = Problem)
    )
)]
async fn confirm(State(app): State<App>, Path(id): Path<JobId>) -> Result<axum::Json<JobPicture>, Problem> {
    Ok(axum::Json(app.desk.confirm(id)?))
}

/// No fixture of this name, with those there are.
pub fn no_fixture(app: &App, name: &str) -> Problem {
    let near: Vec<String> = app.fixtures.all().iter().map(|known| known.laid.fixture.name.clone()).collect();
    let detail = format!("there is no fixture {name:?}; there are: {}", near.join(", "));
    Problem { near, ..Problem::not_found(detail) }
}
