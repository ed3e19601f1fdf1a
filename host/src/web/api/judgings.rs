//! `judgings`: stored measurements judged again.

use axum::{
    extract::State,
    http::{HeaderValue, StatusCode, header},
    response::{IntoResponse, Response},
};
use utoipa_axum::{router::OpenApiRouter, routes};

use super::file::internal;
use crate::{
    daemon::judging::{Asked, JudgingPicture},
    records::text,
    web::{
        app::App,
        extract::{Json, Path},
        problem::Problem,
    },
};

pub fn router() -> OpenApiRouter<App> {
    OpenApiRouter::new().routes(routes!(list, begin)).routes(routes!(one, cancel))
}

/// Those under way and those that are over, the latest first.
#[utoipa::path(get, path = "/judgings", tag = "records", responses((status = 200, body = Vec<JudgingPicture>)))]
async fn list(State(app): State<App>) -> axum::Json<Vec<JudgingPicture>> {
    axum::Json(app.judgings.all())
}

/// Judges stored measurements again, with this program and, if asked for, other limits.
#[utoipa::path(
    post,
    path = "/judgings",
    tag = "records",
    request_body = Asked,
    responses(
        (status = 202, description = "Begun; `Location` is the job", body = JudgingPicture),
        (status = 400, description = "A serial number or lot that cannot be", body = Problem),
        (status = 409, description = "Another one is under way", body = Problem),
        (status = 503, body = Problem)
    )
)]
async fn begin(State(app): State<App>, Json(mut asked): Json<Asked>) -> Result<Response, Problem> {
    if asked.serial.is_some() && asked.lot.is_some() {
        return Err(Problem::bad_request("name a unit or a lot, not both"));
    }
    asked.serial = asked.serial.as_deref().map(text::serial).transpose()?;
    asked.lot = asked.lot.as_deref().map(text::lot).transpose()?;
    let job = app.judgings.begin(asked)?;
    let place = HeaderValue::try_from(format!("/api/v1/judgings/{}", job.id)).map_err(internal)?;
    Ok((StatusCode::ACCEPTED, [(header::LOCATION, place)], axum::Json(job)).into_response())
}

/// One of them.
#[utoipa::path(
    get,
    path = "/judgings/{id}",
    tag = "records",
    params(("id" = u64, Path, description = "Its number")),
    responses((status = 200, body = JudgingPicture), (status = 404, body = Problem))
)]
async fn one(State(app): State<App>, Path(id): Path<u64>) -> Result<axum::Json<JudgingPicture>, Problem> {
    Ok(axum::Json(app.judgings.one(id)?))
}

/// Ends one early; judgements that were kept until then stay, each whole.
#[utoipa::path(
    delete,
    path = "/judgings/{id}",
    tag = "records",
    params(("id" = u64, Path, description = "Its number")),
    responses((status = 200, body = JudgingPicture), (status = 404, body = Problem))
)]
async fn cancel(State(app): State<App>, Path(id): Path<u64>) -> Result<axum::Json<JudgingPicture>, Problem> {
    Ok(axum::Json(app.judgings.cancel(id)?))
}
