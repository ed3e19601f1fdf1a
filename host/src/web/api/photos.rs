//! `photos`: pictures of units.

use axum::{
    extract::{DefaultBodyLimit, State},
    http::{HeaderValue, StatusCode, header},
    response::{IntoResponse, Response},
};
use serde::Serialize;
use utoipa::ToSchema;
use utoipa_axum::{router::OpenApiRouter, routes};

use super::file::internal;
use crate::{
    records::PhotoId,
    web::{
        app::App,
        extract::Path,
        problem::Problem,
        upload::{LONGEST_UPLOAD, Upload},
    },
};

pub fn router() -> OpenApiRouter<App> {
    let long = DefaultBodyLimit::max(LONGEST_UPLOAD);
    OpenApiRouter::new().routes(routes!(add)).layer(long).routes(routes!(picture))
}

/// A photo, as a form sends it.
#[derive(ToSchema)]
#[allow(dead_code, reason = "only described: `Upload` reads it")]
struct NewPhoto {
    /// The photo: a JPEG or a PNG file.
    #[schema(value_type = String, format = Binary, content_media_type = "application/octet-stream")]
    photo: Vec<u8>,
    /// What it shows.
    caption: Option<String>,
}

/// A photo that is kept.
#[derive(Serialize, ToSchema)]
struct Kept {
    /// Its number.
    photo: PhotoId,
}

/// Keeps a photo of a unit. It is decoded and encoded anew: nothing of the file but its picture is kept.
#[utoipa::path(
    post,
    path = "/units/{serial}/photos",
    tag = "records",
    params(("serial" = String, Path, description = "Serial number")),
    request_body(content = NewPhoto, content_type = "multipart/form-data"),
    responses(
        (status = 201, description = "Kept; `Location` is the picture", body = Kept),
        (status = 400, description = "No photo, or too large a one", body = Problem),
        (status = 404, body = Problem),
        (status = 503, body = Problem)
    )
)]
async fn add(
    State(app): State<App>,
    Path(serial): Path<String>,
    upload: Upload,
) -> Result<Response, Problem> {
    let (_, photo) = app.photo(&serial, &upload.caption, upload.photo).await?;
    let place = HeaderValue::try_from(format!("/api/v1/photos/{photo}")).map_err(internal)?;
    Ok((StatusCode::CREATED, [(header::LOCATION, place)], axum::Json(Kept { photo })).into_response())
}

/// The picture of a photo.
#[utoipa::path(
    get,
    path = "/photos/{id}",
    tag = "records",
    params(("id" = i64, Path, description = "Its number")),
    responses((status = 200, content_type = "image/jpeg", body = Vec<u8>), (status = 404, body = Problem), (status = 503, body = Problem))
)]
async fn picture(State(app): State<App>, Path(id): Path<i64>) -> Result<Response, Problem> {
    let picture = app.store.picture(PhotoId(id)).await?;
    // A photo never changes, and its number is never used twice.
    let headers = [
        (header::CONTENT_TYPE, "image/jpeg"),
        (header::CACHE_CONTROL, "private, max-age=31536000, immutable"),
    ];
    Ok((headers, picture).into_response())
}
