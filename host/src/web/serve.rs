//! The listener, and its end.

use std::{io, time::Duration};

use axum::{
    Router,
    extract::{DefaultBodyLimit, Request},
    http::StatusCode,
    middleware::{self, Next},
    response::{IntoResponse, Response},
    routing::get,
};
use tokio::{net::TcpListener, sync::watch};
use tower_http::trace::TraceLayer;

use super::{App, api, guard, lines::Lines, page, problem::Problem};

/// Longest body of a request that carries no photo, bytes: a note of 10,000 characters in any script, as JSON.
const LONGEST_BODY: usize = 256 * 1024;
/// So long may an answer take, an upload included: longer than anything waits for a locked store.
const ANSWER: Duration = Duration::from_secs(120);
/// At the end, answers under way get so long.
const FAREWELL: Duration = Duration::from_millis(500);

/// Everything the daemon answers.
pub fn router(app: App) -> Router {
    let guarded = middleware::from_fn_with_state(app.guard.clone(), guard::guard);
    Router::new()
        .nest("/api/v1", api::router())
        .merge(page::router())
        .route("/healthz", get(healthz))
        .fallback(nothing_here)
        .method_not_allowed_fallback(not_that_way)
        .layer(DefaultBodyLimit::max(LONGEST_BODY))
        .layer(middleware::from_fn(in_time))
        .layer(guarded)
        .layer(TraceLayer::new_for_http())
        .with_state(app)
}

/// Answers until `closing` turns true, and a moment longer.
///
/// # Errors
/// The listener broke.
pub async fn serve(listener: TcpListener, app: App, mut closing: watch::Receiver<bool>) -> io::Result<()> {
    let mut ended = closing.clone();
    // Made once: a router as such is made ready anew for every line, with all its routes.
    let routes = router(app).into_make_service();
    let serving = axum::serve(Lines::of(listener), routes).with_graceful_shutdown(async move {
        let _ = closing.wait_for(|closing| *closing).await;
    });
    tokio::select! {
        served = serving => served,
        () = async {
            let _ = ended.wait_for(|closing| *closing).await;
            tokio::time::sleep(FAREWELL).await;
        } => Ok(()),
    }
}

/// Nobody waits for ever: what answers nothing in time is told to do so. News that are streamed have their answer at once.
async fn in_time(request: Request, next: Next) -> Response {
    let answer = tokio::time::timeout(ANSWER, next.run(request)).await;
    answer.unwrap_or_else(|_| {
        let detail =
            format!("no answer within {} s; the records may lie on a disk that hangs", ANSWER.as_secs());
        Problem::new(StatusCode::SERVICE_UNAVAILABLE, detail).into_response()
    })
}

/// The daemon is alive.
async fn healthz() -> &'static str {
    "ok\n"
}

async fn nothing_here() -> impl IntoResponse {
    Problem::not_found(
        "there is nothing here; the pages begin at /, the API is described at /api/v1/openapi.json",
    )
}

async fn not_that_way() -> impl IntoResponse {
    Problem::new(StatusCode::METHOD_NOT_ALLOWED, "this resource has no such method; see /api/v1/openapi.json")
}
