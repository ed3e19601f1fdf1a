//! Answers that are files: tables and printed sheets.

use std::fmt;

use axum::{
    body::Body,
    http::{HeaderName, StatusCode, header},
    response::{IntoResponse, Response},
};
use futures_util::stream;
use serde::Deserialize;
use utoipa::IntoParams;

use crate::{report::pdf::Paper, web::problem::Problem};

/// On which paper.
#[derive(Clone, Copy, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
pub struct OnPaper {
    /// The paper.
    #[serde(default)]
    #[param(inline)]
    pub paper: Paper,
}

const CSV: [(HeaderName, &str); 1] = [(header::CONTENT_TYPE, "text/csv; charset=utf-8")];

/// A table that is made while it is sent.
pub fn table<E: Into<axum::BoxError> + 'static>(
    pieces: impl Iterator<Item = Result<Vec<u8>, E>> + Send + 'static,
) -> Response {
    (CSV, Body::from_stream(stream::iter(pieces))).into_response()
}

/// A table that is written in one go.
///
/// # Errors
/// What could not be written.
pub fn short_table(write: impl FnOnce(&mut Vec<u8>) -> csv::Result<()>) -> Result<Response, Problem> {
    let mut out = Vec::new();
    write(&mut out).map_err(internal)?;
    Ok((CSV, out).into_response())
}

/// A printed sheet, made on a thread that nothing else waits for: a long one takes a second.
///
/// # Errors
/// What cannot be printed.
pub async fn pdf<E: fmt::Display + Send + 'static>(
    make: impl FnOnce() -> Result<Vec<u8>, E> + Send + 'static,
) -> Result<Response, Problem> {
    let made = tokio::task::spawn_blocking(make).await.map_err(internal)?;
    let made = made.map_err(|error| Problem::bad_request(error.to_string()))?;
    Ok(([(header::CONTENT_TYPE, "application/pdf")], made).into_response())
}

/// Something that does not depend on the request went wrong.
pub fn internal(error: impl fmt::Display) -> Problem {
    Problem::new(StatusCode::INTERNAL_SERVER_ERROR, error.to_string())
}
