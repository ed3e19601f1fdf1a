//! The pages. HTML is made here, from the same answers that the API gives; a small script follows the news. Everything comes
//! from the program itself: no page asks anything of another computer.

mod asset;
mod backdrop;
mod bench;
mod boards;
mod compare;
mod editor;
mod health;
mod legible;
mod link;
mod lots;
mod paged;
mod roster;
mod sheet;
mod sign_in;
mod spread;
mod trade;
mod units;

use axum::{
    Router,
    extract::DefaultBodyLimit,
    middleware,
    routing::{get, post},
};

use super::{
    app::App,
    dealing::{NewReturn, NewSale, NewSpare, NewWork},
    upload::LONGEST_UPLOAD,
};

/// The pages and what they are made of.
pub fn router() -> Router<App> {
    Router::new()
        .route("/", get(bench::bench))
        .route("/parts/board", get(bench::board))
        .route("/units", get(units::list).post(roster::status))
        .route("/units/{serial}", get(units::unit))
        .route("/units/{serial}/repairs", post(units::repair))
        .route("/units/{serial}/remedies", get(units::remedies).post(units::take))
        .route("/units/{serial}/notes", post(units::note))
        .route("/units/{serial}/voids", post(units::void))
        .route("/units/{serial}/status", post(units::status))
        .route("/units/{serial}/checks", post(units::tick))
        .route("/units/{serial}/work", post(trade::deal::<NewWork>))
        .route("/units/{serial}/sales", post(trade::deal::<NewSale>))
        .route("/units/{serial}/returns", post(trade::deal::<NewReturn>))
        .route("/units/{serial}/spares", post(trade::deal::<NewSpare>))
        .route("/units/{serial}/photos", post(units::photo).layer(DefaultBodyLimit::max(LONGEST_UPLOAD)))
        .route("/units/{serial}/compare", get(compare::compare))
        .route("/sweeps/{id}", get(units::sweep))
        .route("/lots", get(lots::list).post(lots::receive))
        .route("/lots/{lot}", get(lots::lot))
        .route("/lots/{lot}/costs", post(trade::costs))
        .route("/lots/{lot}/readings", get(lots::readings))
        .route("/boards", get(boards::list))
        .route("/boards/{fixture}", get(boards::board))
        .route("/editor", get(editor::new))
        .route("/editor/{key}", get(editor::edit))
        .route("/health", get(health::health))
        .route("/sign-in", get(sign_in::form).post(sign_in::sign_in))
        .route("/static/{name}", get(asset::asset))
        .layer(middleware::map_response(legible::legible))
}
