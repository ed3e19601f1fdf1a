//! The pages. HTML is made here, from the same answers that the API gives; a small script follows the news. Everything comes
//! from the program itself: no page asks anything of another computer.

mod asset;
mod bench;
mod sheet;
mod sign_in;

use axum::{Router, routing::get};

use super::app::App;

/// The pages and what they are made of.
pub fn router() -> Router<App> {
    Router::new()
        .route("/", get(bench::bench))
        .route("/parts/board", get(bench::board))
        .route("/sign-in", get(sign_in::form).post(sign_in::sign_in))
        .route("/static/{name}", get(asset::asset))
}
