//! What is written down about trade: sales and returns, work and spares of a unit, what a lot cost. How a lot stands is its own resource's.

use axum::{extract::State, http::StatusCode};
use utoipa_axum::{router::OpenApiRouter, routes};

use crate::web::{
    app::App,
    dealing::{NewCosts, NewReturn, NewSale, NewSpare, NewWork},
    extract::{Json, Path},
    problem::Problem,
};

pub fn router() -> OpenApiRouter<App> {
    OpenApiRouter::new()
        .routes(routes!(sale))
        .routes(routes!(returned))
        .routes(routes!(work))
        .routes(routes!(spare))
        .routes(routes!(costs))
}

/// Writes down that a unit was sold.
#[utoipa::path(
    post,
    path = "/units/{serial}/sales",
    tag = "records",
    params(("serial" = String, Path, description = "Serial number")),
    request_body = NewSale,
    responses(
        (status = 201, description = "Written down; the unit is sold"),
        (status = 400, body = Problem),
        (status = 404, body = Problem),
        (status = 409, description = "It is scrapped, sold already, or was sold in another currency", body = Problem),
        (status = 503, body = Problem)
    )
)]
async fn sale(
    State(app): State<App>,
    Path(serial): Path<String>,
    Json(sale): Json<NewSale>,
) -> Result<StatusCode, Problem> {
    app.deal(&serial, &sale.try_into()?).await?;
    Ok(StatusCode::CREATED)
}

/// Writes down that a buyer gave a unit back.
#[utoipa::path(
    post,
    path = "/units/{serial}/returns",
    tag = "records",
    params(("serial" = String, Path, description = "Serial number")),
    request_body = NewReturn,
    responses(
        (status = 201, description = "Written down; the unit is received"),
        (status = 400, body = Problem),
        (status = 404, body = Problem),
        (status = 409, description = "It is not sold, or was sold in another currency", body = Problem),
        (status = 503, body = Problem)
    )
)]
async fn returned(
    State(app): State<App>,
    Path(serial): Path<String>,
    Json(back): Json<NewReturn>,
) -> Result<StatusCode, Problem> {
    app.deal(&serial, &back.try_into()?).await?;
    Ok(StatusCode::CREATED)
}

/// Writes down minutes and parts that went into a unit.
#[utoipa::path(
    post,
    path = "/units/{serial}/work",
    tag = "records",
    params(("serial" = String, Path, description = "Serial number")),
    request_body = NewWork,
    responses(
        (status = 201, description = "Written down"),
        (status = 400, body = Problem),
        (status = 404, body = Problem),
        (status = 409, description = "The lot's amounts are in another currency", body = Problem),
        (status = 503, body = Problem)
    )
)]
async fn work(
    State(app): State<App>,
    Path(serial): Path<String>,
    Json(work): Json<NewWork>,
) -> Result<StatusCode, Problem> {
    app.deal(&serial, &work.try_into()?).await?;
    Ok(StatusCode::CREATED)
}

/// Writes down that a part was taken off a unit, or put back.
#[utoipa::path(
    post,
    path = "/units/{serial}/spares",
    tag = "records",
    params(("serial" = String, Path, description = "Serial number")),
    request_body = NewSpare,
    responses(
        (status = 201, description = "Written down"),
        (status = 400, body = Problem),
        (status = 404, description = "No such unit, or none that the part is for", body = Problem),
        (status = 409, description = "It is for the unit itself, or was not taken", body = Problem),
        (status = 503, body = Problem)
    )
)]
async fn spare(
    State(app): State<App>,
    Path(serial): Path<String>,
    Json(spare): Json<NewSpare>,
) -> Result<StatusCode, Problem> {
    app.deal(&serial, &spare.try_into()?).await?;
    Ok(StatusCode::CREATED)
}

/// Writes down what a lot cost, how many units it has, and what they may bring: all that is said, or nothing.
#[utoipa::path(
    post,
    path = "/lots/{lot}/costs",
    tag = "records",
    params(("lot" = String, Path, description = "Name of the lot")),
    request_body = NewCosts,
    responses(
        (status = 201, description = "Written down"),
        (status = 400, body = Problem),
        (status = 404, body = Problem),
        (status = 409, description = "The amounts are in two currencies", body = Problem),
        (status = 503, body = Problem)
    )
)]
async fn costs(
    State(app): State<App>,
    Path(lot): Path<String>,
    Json(costs): Json<NewCosts>,
) -> Result<StatusCode, Problem> {
    app.say_of_lot(&lot, &costs.said()?).await?;
    Ok(StatusCode::CREATED)
}
