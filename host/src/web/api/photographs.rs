//! `photographs`: clicks on a photo of a board are refined, the photo is placed by them and drawn anew from straight above. Nothing is kept.

use axum::{
    extract::DefaultBodyLimit,
    http::header,
    response::{IntoResponse, Response},
};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use utoipa_axum::{router::OpenApiRouter, routes};

use super::drafts::blocking;
use crate::{
    photograph::{self, Aim, Homography, Length, MOST_WINDOW_PX, Mark, Model, Pair, Seen, What, Window},
    plane::apart,
    web::{
        app::App,
        extract::Json,
        problem::Problem,
        upload::{LONGEST_UPLOAD, Parts},
    },
};

/// Quality of the JPEG that is given back, out of 100. It is encoded once more when it is kept.
const QUALITY: u8 = 90;

/// Longest form with a part of a photo, bytes: [`MOST_WINDOW_PX`] square, even as a PNG that does not shrink, and what stands around it.
const LONGEST_PART: usize = 1 << 20;

pub fn router() -> OpenApiRouter<App> {
    let long = DefaultBodyLimit::max(LONGEST_UPLOAD);
    let short = DefaultBodyLimit::max(LONGEST_PART);
    let parts = OpenApiRouter::new().routes(routes!(snap)).layer(short);
    let photos = OpenApiRouter::new().routes(routes!(flatten)).layer(long);
    photos.merge(parts).routes(routes!(place)).routes(routes!(align))
}

/// Marks of one photo.
#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
struct Marked {
    /// The face it shows.
    seen: Seen,
    /// Clicks whose places are known.
    #[serde(default)]
    marks: Vec<Mark>,
    /// Clicks whose distances are known.
    #[serde(default)]
    lengths: Vec<Length>,
}

/// Where a photo lies on the board.
#[derive(Serialize, ToSchema)]
struct Placed {
    /// From pixels to millimetres: a matrix, row by row.
    to_mm: [[f64; 3]; 3],
    /// What was solved for.
    model: Model,
    /// How far each mark, then each length, is from what it should be, mm.
    residuals_mm: Vec<f64>,
    /// Root mean square of these, mm.
    rms_mm: f64,
    /// Equations beyond those needed; with none, the residuals are zero whatever was clicked.
    spare: usize,
    /// How far a point moves when every click is off by one pixel, mm.
    per_pixel_mm: f64,
    /// What would have to be marked for more to be solved.
    missing: Option<&'static str>,
}

/// Finds where a photo lies on the board.
#[utoipa::path(
    post,
    path = "/photographs/place",
    tag = "boards",
    request_body = Marked,
    responses((status = 200, body = Placed), (status = 400, description = "The marks do not tell", body = Problem))
)]
async fn place(Json(marked): Json<Marked>) -> Result<axum::Json<Placed>, Problem> {
    let fit = photograph::fit(&marked.marks, &marked.lengths, marked.seen);
    let fit = fit.map_err(|error| Problem::bad_request(error.to_string()))?;
    Ok(axum::Json(Placed {
        to_mm: fit.homography.rows(),
        model: fit.model,
        rms_mm: fit.rms_mm(),
        spare: fit.spare,
        per_pixel_mm: fit.per_pixel_mm,
        missing: fit.missing,
        residuals_mm: fit.residuals_mm,
    }))
}

/// Through holes as both photos place them.
#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
struct Holes {
    /// They.
    pairs: Vec<Pair>,
}

/// How the back lies on the front.
#[derive(Serialize, ToSchema)]
struct Aligned {
    /// From the back's millimetres to the front's: a matrix, row by row.
    map: [[f64; 3]; 3],
    /// Had the back been measured as it is seen?
    mirrored: bool,
    /// How far apart the sides put each hole, mm.
    residuals_mm: Vec<f64>,
}

/// Lays the back onto the front by through holes.
#[utoipa::path(
    post,
    path = "/photographs/align",
    tag = "boards",
    request_body = Holes,
    responses((status = 200, body = Aligned), (status = 400, description = "The holes do not tell", body = Problem))
)]
async fn align(Json(holes): Json<Holes>) -> Result<axum::Json<Aligned>, Problem> {
    let aligned = photograph::align(&holes.pairs).map_err(|error| Problem::bad_request(error.to_string()))?;
    Ok(axum::Json(Aligned {
        map: aligned.map.rows(),
        mirrored: aligned.mirrored,
        residuals_mm: aligned.residuals_mm,
    }))
}

/// A click on a part of a photo.
#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
struct Click {
    /// Where, pixels from the part's upper left corner.
    px: [f64; 2],
    /// What it is meant for.
    aim: Aim,
    /// How far it may be moved, pixels.
    reach_px: f64,
}

/// A part of a photo around a click, as a form sends it.
#[derive(ToSchema)]
#[allow(dead_code, reason = "only described: `Parts` reads it")]
struct SnapForm {
    /// The click.
    #[schema(inline)]
    click: Click,
    /// The part: a PNG or a JPEG file, at most 401 pixels wide and high.
    #[schema(value_type = String, format = Binary, content_media_type = "application/octet-stream")]
    part: Vec<u8>,
}

/// A click that was refined.
#[derive(Serialize, ToSchema)]
struct Refined {
    /// Where it belongs, pixels from the part's upper left corner.
    px: [f64; 2],
    /// What lies there.
    what: What,
    /// How far the click was moved, pixels.
    moved_px: f64,
}

/// What a click was refined to.
#[derive(Serialize, ToSchema)]
struct Snapped {
    /// None where nothing clear lies within reach: the click stays.
    #[serde(skip_serializing_if = "Option::is_none")]
    found: Option<Refined>,
}

/// Refines a click to the middle of the hole, via or pad, or to the corner, that it was meant for.
#[utoipa::path(
    post,
    path = "/photographs/snap",
    tag = "boards",
    request_body(content = SnapForm, content_type = "multipart/form-data"),
    responses(
        (status = 200, body = Snapped),
        (status = 400, description = "No part of a photo, or too large a one", body = Problem)
    )
)]
async fn snap(mut parts: Parts) -> Result<axum::Json<Snapped>, Problem> {
    let refuse = |error: String| Problem::bad_request(error);
    let click = parts.take("click").ok_or_else(|| refuse("the form has no field `click`".into()))?;
    let click: Click =
        serde_json::from_slice(&click).map_err(|error| refuse(format!("the field `click`: {error}")))?;
    let file =
        parts.take("part").ok_or_else(|| refuse("the form has no field `part` with a file in it".into()))?;
    let found = blocking(move || {
        let part = photograph::oriented(&file).map_err(|error| refuse(error.to_string()))?;
        if part.width().max(part.height()) > MOST_WINDOW_PX {
            let size = format!("{} x {} pixels", part.width(), part.height());
            return Err(refuse(format!(
                "the part of the photo has {size}: send at most {MOST_WINDOW_PX} each way"
            )));
        }
        Ok(photograph::snap(&part, click.px, click.aim, click.reach_px))
    });
    let refined = |found: photograph::Snap| Refined {
        px: found.px,
        what: found.what,
        moved_px: apart(found.px, click.px),
    };
    Ok(axum::Json(Snapped { found: found.await?.map(refined) }))
}

/// How a photo is drawn anew.
#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
struct How {
    /// The face it shows.
    seen: Seen,
    /// From pixels to millimetres: a matrix, row by row.
    to_mm: [[f64; 3]; 3],
    /// The part of the board that is drawn.
    window: Window,
    /// Pixels for a millimetre, at most.
    px_per_mm: f64,
}

/// A photo to be drawn anew, as a form sends it.
#[derive(ToSchema)]
#[allow(dead_code, reason = "only described: `Parts` reads it")]
struct FlattenForm {
    /// How.
    #[schema(inline)]
    how: How,
    /// The photo: a JPEG or a PNG file.
    #[schema(value_type = String, format = Binary, content_media_type = "application/octet-stream")]
    photo: Vec<u8>,
}

/// Draws a photo anew as seen from straight above.
#[utoipa::path(
    post,
    path = "/photographs/flatten",
    tag = "boards",
    request_body(content = FlattenForm, content_type = "multipart/form-data"),
    responses(
        (status = 200, content_type = "image/jpeg", body = Vec<u8>),
        (status = 400, description = "No photo, or one that does not show that part", body = Problem)
    )
)]
async fn flatten(mut parts: Parts) -> Result<Response, Problem> {
    let refuse = |error: String| Problem::bad_request(error);
    let how = parts.take("how").ok_or_else(|| refuse("the form has no field `how`".into()))?;
    let how: How =
        serde_json::from_slice(&how).map_err(|error| refuse(format!("the field `how`: {error}")))?;
    let file = parts
        .take("photo")
        .ok_or_else(|| refuse("the form has no field `photo` with a file in it".into()))?;
    let to_mm =
        Homography::new(how.to_mm).ok_or_else(|| refuse("`to_mm` places no photo: it is singular".into()))?;
    let jpeg = blocking(move || {
        let photo = photograph::oriented(&file).map_err(|error| refuse(error.to_string()))?;
        let flat = photograph::flatten(&photo, &to_mm, how.window, how.seen, how.px_per_mm);
        let flat = flat.map_err(|error| refuse(error.to_string()))?;
        photograph::jpeg(&flat.into(), QUALITY).map_err(|error| refuse(error.to_string()))
    });
    Ok(([(header::CONTENT_TYPE, "image/jpeg")], jpeg.await?).into_response())
}
