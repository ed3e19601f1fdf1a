//! The resources under `/api/v1`. Each file is one kind of resource; the description (OpenAPI 3.1) is made from these
//! handlers, so that it cannot say anything else than they do.

mod bench;
mod boards;
mod drafts;
mod file;
mod jobs;
mod judgings;
mod labels;
mod listed;
mod lots;
mod photographs;
mod photos;
mod refusals;
mod sweeps;
mod trade;
mod units;

pub use jobs::no_fixture;

use axum::{Json, Router, extract::State, routing::get};
use utoipa::OpenApi;
use utoipa_axum::{router::OpenApiRouter, routes};

use super::{app::App, events};

#[derive(OpenApi)]
#[openapi(
    info(
        title = "Copperwalk",
        description = "Sweeps boards on a bed of pins and keeps what was measured. Values are in SI units, named in each \
                       field; times are microseconds since 1970-01-01 UTC. Errors are problem details (RFC 9457).",
        license(name = "MIT OR Apache-2.0", identifier = "MIT OR Apache-2.0")
    ),
    servers((url = "/api/v1")),
    tags(
        (name = "bench", description = "The bench, and the jobs on it"),
        (name = "records", description = "Units, lots, sweeps, and what people write down"),
        (name = "boards", description = "Fixtures and boards")
    )
)]
struct Described;

/// Every resource with its description.
fn resources() -> OpenApiRouter<App> {
    OpenApiRouter::with_openapi(Described::openapi())
        .routes(routes!(events::events))
        .merge(bench::router())
        .merge(jobs::router())
        .merge(boards::router())
        .merge(drafts::router())
        .merge(photographs::router())
        .merge(units::router())
        .merge(lots::router())
        .merge(trade::router())
        .merge(sweeps::router())
        .merge(photos::router())
        .merge(labels::router())
        .merge(judgings::router())
}

/// The API, with its description.
pub fn router() -> Router<App> {
    let (router, mut description) = resources().split_for_parts();
    refusals::describe(&mut description);
    router.route("/openapi.json", get(move |State(_): State<App>| async move { Json(description) }))
}
