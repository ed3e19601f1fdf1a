//! What a request carries, with refusals as problem details.

use axum::{
    extract::{FromRequest, FromRequestParts, Request},
    http::request::Parts,
};
use serde::de::DeserializeOwned;

use super::problem::Problem;

/// A JSON body.
#[derive(Clone, Copy, Debug)]
pub struct Json<T>(pub T);

/// What stands in the path.
#[derive(Clone, Copy, Debug)]
pub struct Path<T>(pub T);

/// What stands behind the question mark.
#[derive(Clone, Copy, Debug)]
pub struct Query<T>(pub T);

/// What a form sends.
#[derive(Clone, Copy, Debug)]
pub struct Form<T>(pub T);

impl<T: DeserializeOwned, S: Send + Sync> FromRequest<S> for Form<T> {
    type Rejection = Problem;

    async fn from_request(request: Request, state: &S) -> Result<Self, Problem> {
        let read = axum::Form::from_request(request, state).await;
        read.map(|axum::Form(value)| Self(value)).map_err(|refusal| {
            // For a person: the field and what is wrong with it, without how that was found.
            let text = refusal.body_text();
            let detail = text.strip_prefix("Failed to deserialize form body: ").unwrap_or(&text);
            Problem::new(refusal.status(), detail)
        })
    }
}

impl<T: DeserializeOwned, S: Send + Sync> FromRequest<S> for Json<T> {
    type Rejection = Problem;

    async fn from_request(request: Request, state: &S) -> Result<Self, Problem> {
        let read = axum::Json::from_request(request, state).await;
        read.map(|axum::Json(value)| Self(value))
            .map_err(|refusal| Problem::new(refusal.status(), refusal.body_text()))
    }
}

impl<T: DeserializeOwned + Send, S: Send + Sync> FromRequestParts<S> for Path<T> {
    type Rejection = Problem;

    async fn from_request_parts(parts: &mut Parts, state: &S) -> Result<Self, Problem> {
        let read = axum::extract::Path::from_request_parts(parts, state).await;
        read.map(|axum::extract::Path(value)| Self(value))
            .map_err(|refusal| Problem::new(refusal.status(), refusal.body_text()))
    }
}

impl<T: DeserializeOwned, S: Send + Sync> FromRequestParts<S> for Query<T> {
    type Rejection = Problem;

    async fn from_request_parts(parts: &mut Parts, state: &S) -> Result<Self, Problem> {
        let read = axum::extract::Query::from_request_parts(parts, state).await;
        read.map(|axum::extract::Query(value)| Self(value))
            .map_err(|refusal| Problem::new(refusal.status(), refusal.body_text()))
    }
}
