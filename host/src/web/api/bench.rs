//! `bench`: how the bench stands, and hands at the virtual one.

use axum::extract::State;
use serde::Deserialize;
use utoipa::ToSchema;
use utoipa_axum::{router::OpenApiRouter, routes};

use crate::{
    daemon::desk::{BenchPicture, HandsPicture},
    report::health::Health,
    web::{app::App, extract::Json, problem::Problem},
};

pub fn router() -> OpenApiRouter<App> {
    OpenApiRouter::new().routes(routes!(bench)).routes(routes!(health)).routes(routes!(hands))
}

/// How the bench stands.
#[utoipa::path(get, path = "/bench", tag = "bench", responses((status = 200, body = BenchPicture)))]
async fn bench(State(app): State<App>) -> axum::Json<BenchPicture> {
    axum::Json(app.desk.bench())
}

/// How the bench has measured of late: over the last 100 sweeps, and what to clean or change next.
#[utoipa::path(get, path = "/bench/health", tag = "bench", responses((status = 200, body = Health), (status = 503, body = Problem)))]
async fn health(State(app): State<App>) -> Result<axum::Json<Health>, Problem> {
    Ok(axum::Json(app.health().await?))
}

/// What hands do at the virtual bench.
#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
struct Moved {
    /// Open or close the lid.
    lid_open: Option<bool>,
    /// Put the unit into this state.
    state: Option<String>,
}

/// Moves the lid of the virtual bench, or a switch of the unit on it.
#[utoipa::path(
    put,
    path = "/bench/hands",
    tag = "bench",
    request_body = Moved,
    responses(
        (status = 200, body = HandsPicture),
        (status = 404, description = "No unit lies there, or it has no such state", body = Problem),
        (status = 409, description = "A real bench has hands of its own", body = Problem)
    )
)]
async fn hands(
    State(app): State<App>,
    Json(moved): Json<Moved>,
) -> Result<axum::Json<HandsPicture>, Problem> {
    let hands = app.hands.as_ref().ok_or_else(|| {
        Problem::new(axum::http::StatusCode::CONFLICT, "only the virtual bench is moved from here")
    })?;
    if let Some(state) = &moved.state
        && !hands.put(state)
    {
        let known = hands.now().states;
        let detail = match known.is_empty() {
            true => "no unit lies on the virtual bench".to_owned(),
            false => format!("the unit has no state {state:?}; it has {}", known.join(", ")),
        };
        return Err(Problem { near: known, ..Problem::not_found(detail) });
    }
    if let Some(open) = moved.lid_open {
        hands.lid(open);
    }
    Ok(axum::Json(hands.now()))
}
