//! Style sheets and scripts: built into the program, kept by browsers until they change.

use std::sync::LazyLock;

use axum::{
    extract::Path,
    http::{HeaderMap, StatusCode, header},
    response::{IntoResponse, Response},
};

use crate::{hash, report::html, web::problem::Problem};

const SCRIPT: &str = "text/javascript; charset=utf-8";

/// Name, media type, content.
const ASSETS: [(&str, &str, &str); 13] = [
    ("report.css", "text/css; charset=utf-8", html::STYLE),
    ("page.css", "text/css; charset=utf-8", include_str!("page.css")),
    ("icon.svg", "image/svg+xml", include_str!("icon.svg")),
    ("bench.js", SCRIPT, include_str!("bench.js")),
    ("editor.css", "text/css; charset=utf-8", include_str!("editor/editor.css")),
    ("editor.js", SCRIPT, include_str!("editor/editor.js")),
    ("editor-api.js", SCRIPT, include_str!("editor/api.js")),
    ("editor-forms.js", SCRIPT, include_str!("editor/forms.js")),
    ("editor-model.js", SCRIPT, include_str!("editor/model.js")),
    ("editor-photo.js", SCRIPT, include_str!("editor/photo.js")),
    ("editor-snap.js", SCRIPT, include_str!("editor/snap.js")),
    ("editor-tools.js", SCRIPT, include_str!("editor/tools.js")),
    ("editor-view.js", SCRIPT, include_str!("editor/view.js")),
];

/// By which a browser tells a changed one: the hash of its content.
static MARKS: LazyLock<[String; 13]> =
    LazyLock::new(|| ASSETS.map(|(_, _, content)| format!("\"{}\"", hash::of(content))));

/// One of them.
pub async fn asset(Path(name): Path<String>, headers: HeaderMap) -> Response {
    let found = ASSETS.iter().zip(&*MARKS).find(|((known, ..), _)| *known == name);
    let Some(((_, kind, content), mark)) = found else {
        return Problem::not_found("there is no such file").into_response();
    };
    let known = headers.get(header::IF_NONE_MATCH).is_some_and(|known| known.as_bytes() == mark.as_bytes());
    // A browser asks each time whether it has changed: after an update of the program nobody sees an old script.
    let common = [(header::ETAG, mark.as_str()), (header::CACHE_CONTROL, "no-cache")];
    match known {
        true => (StatusCode::NOT_MODIFIED, common).into_response(),
        false => (common, [(header::CONTENT_TYPE, *kind)], *content).into_response(),
    }
}
