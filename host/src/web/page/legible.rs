//! A refusal as a page: who follows a link is no program that reads JSON.

use axum::{
    body::to_bytes,
    http::{HeaderValue, header},
    response::{IntoResponse, Response},
};
use maud::html;
use serde_json::Value;

use super::sheet;
use crate::web::problem::MEDIA_TYPE;

/// Longest refusal, bytes; they are a sentence or two.
const LONGEST: usize = 64 * 1024;

/// Puts a problem on a sheet; anything else is left as it is.
pub async fn legible(answer: Response) -> Response {
    if answer.headers().get(header::CONTENT_TYPE).map(HeaderValue::as_bytes) != Some(MEDIA_TYPE.as_bytes()) {
        return answer;
    }
    let status = answer.status();
    let body = to_bytes(answer.into_body(), LONGEST).await.unwrap_or_default();
    let problem: Value = serde_json::from_slice(&body).unwrap_or_default();
    let detail = problem.get("detail").and_then(Value::as_str).unwrap_or("It cannot be said what.");
    let sheet = sheet::page(
        "",
        status.canonical_reason().unwrap_or("Not done"),
        None,
        &html! {
            main id="content" class="narrow" {
                h1 { (status.canonical_reason().unwrap_or("Not done")) }
                p class="complaint" role="alert" { (detail) }
                p { a href="/" { "To the bench" } }
            }
        },
    );
    (status, sheet).into_response()
}
