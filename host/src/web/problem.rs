//! Errors as problem details (RFC 9457): `type` is `about:blank`, so that `title` is the status's own phrase, `detail` says
//! what is wrong with this request and what would be right.

use axum::{
    http::{HeaderValue, StatusCode, header},
    response::{IntoResponse, Response},
};
use serde::Serialize;
use utoipa::ToSchema;

use crate::{
    daemon::{desk::Refused, judging::JudgingRefused},
    records::{self, text::TextError},
};

/// The media type of problem details.
pub const MEDIA_TYPE: &str = "application/problem+json";

/// Why a request was not carried out.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, ToSchema)]
pub struct Problem {
    /// What kind of problem; `about:blank` says that it is the status's own.
    #[serde(rename = "type")]
    pub kind: &'static str,
    /// The status's phrase.
    pub title: &'static str,
    /// The status.
    pub status: u16,
    /// What is wrong, and what would be right.
    pub detail: String,
    /// Names that look like the one asked for.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub near: Vec<String>,
    /// What looks like a slip; repeat the request with `yes` if it is meant.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub doubts: Vec<String>,
}

impl Problem {
    /// A problem of this status.
    pub fn new(status: StatusCode, detail: impl Into<String>) -> Self {
        Self {
            kind: "about:blank",
            title: status.canonical_reason().unwrap_or("Error"),
            status: status.as_u16(),
            detail: detail.into(),
            near: Vec::new(),
            doubts: Vec::new(),
        }
    }

    /// The request makes no sense.
    pub fn bad_request(detail: impl Into<String>) -> Self {
        Self::new(StatusCode::BAD_REQUEST, detail)
    }

    /// There is no such thing.
    pub fn not_found(detail: impl Into<String>) -> Self {
        Self::new(StatusCode::NOT_FOUND, detail)
    }

    /// The request looks like a slip.
    pub fn doubtful(doubts: Vec<String>) -> Self {
        let detail = format!("{}; nothing was done: repeat with `yes` if that is meant", doubts.join("; "));
        Self { doubts, ..Self::new(StatusCode::CONFLICT, detail) }
    }
}

impl IntoResponse for Problem {
    fn into_response(self) -> Response {
        let status = StatusCode::from_u16(self.status).unwrap_or(StatusCode::INTERNAL_SERVER_ERROR);
        if status.is_server_error() {
            tracing::error!(status = self.status, detail = self.detail, "request failed");
        }
        let body = serde_json::to_string(&self).unwrap_or_default();
        let kind = HeaderValue::from_static(MEDIA_TYPE);
        (status, [(header::CONTENT_TYPE, kind)], body).into_response()
    }
}

impl From<TextError> for Problem {
    fn from(error: TextError) -> Self {
        Self::bad_request(error.to_string())
    }
}

impl From<records::Error> for Problem {
    fn from(error: records::Error) -> Self {
        let status = match &error {
            records::Error::UnknownUnit { .. }
            | records::Error::UnknownLot { .. }
            | records::Error::UnknownSweep { .. }
            | records::Error::UnknownPhoto { .. } => StatusCode::NOT_FOUND,
            records::Error::NotOfUnit { .. } => StatusCode::NOT_FOUND,
            records::Error::AlreadyVoid { .. }
            | records::Error::Currencies(_)
            | records::Error::NotForSale { .. }
            | records::Error::SoldAlready { .. }
            | records::Error::NotSold { .. }
            | records::Error::NotTaken { .. }
            | records::Error::OwnSpare { .. } => StatusCode::CONFLICT,
            records::Error::Text(_)
            | records::Error::Picture(_)
            | records::Error::NoSuchPlace { .. }
            | records::Error::NoSuchCheck { .. }
            | records::Error::NoBoard { .. }
            | records::Error::LongWork { .. }
            | records::Error::LotSize { .. } => StatusCode::BAD_REQUEST,
            // The store is locked, full, damaged: for whoever keeps it, not for whoever asks.
            _ => StatusCode::SERVICE_UNAVAILABLE,
        };
        let near = match &error {
            records::Error::UnknownUnit { near, .. } | records::Error::UnknownLot { near, .. } => {
                near.clone()
            }
            _ => Vec::new(),
        };
        Self { near, ..Self::new(status, error.to_string()) }
    }
}

impl From<JudgingRefused> for Problem {
    fn from(refused: JudgingRefused) -> Self {
        let status = match refused {
            JudgingRefused::NoJob(_) => StatusCode::NOT_FOUND,
            JudgingRefused::Busy(_) => StatusCode::CONFLICT,
            JudgingRefused::Thread(_) => StatusCode::SERVICE_UNAVAILABLE,
        };
        Self::new(status, refused.to_string())
    }
}

impl From<Refused> for Problem {
    fn from(refused: Refused) -> Self {
        let status = match refused {
            Refused::NoJob(_) => StatusCode::NOT_FOUND,
            Refused::Over(_) | Refused::NothingAsked(_) => StatusCode::CONFLICT,
            Refused::Full | Refused::Stopping => StatusCode::SERVICE_UNAVAILABLE,
        };
        Self::new(status, refused.to_string())
    }
}
