//! `labels.pdf`: sheets of labels for units.
#![allow(unused_qualifications)] // the code that utoipa writes for `params` names its types in full

use std::num::NonZeroU16;

use axum::{extract::State, response::Response};
use serde::Deserialize;
use utoipa::IntoParams;
use utoipa_axum::{router::OpenApiRouter, routes};

use super::file;
use crate::{
    records::text,
    report::{
        label::{Code, Sheet, labels},
        pdf::Paper,
    },
    web::{app::App, extract::Query, problem::Problem},
};

pub fn router() -> OpenApiRouter<App> {
    OpenApiRouter::new().routes(routes!(sheets))
}

/// How the labels are laid out, and for whom they are.
#[derive(Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
struct Layout {
    /// Every unit of this lot, besides those that are named.
    lot: Option<String>,
    /// Labels from top to bottom of a sheet.
    #[serde(default = "eight")]
    #[param(minimum = 1, maximum = 65535, default = 8)]
    rows: u16,
    /// Labels from left to right.
    #[serde(default = "three")]
    #[param(minimum = 1, maximum = 65535, default = 3)]
    columns: u16,
    /// Blank edge of the sheet, mm.
    #[serde(default = "ten")]
    #[param(minimum = 0, default = 10)]
    margin_mm: f32,
    /// How the serial number is coded.
    #[serde(default)]
    #[param(inline)]
    code: Code,
    /// The paper.
    #[serde(default)]
    #[param(inline)]
    paper: Paper,
}

fn eight() -> u16 {
    8
}

fn three() -> u16 {
    3
}

fn ten() -> f32 {
    10.0
}

/// Labels with serial numbers as codes. Units that are named need not be in the records yet.
#[utoipa::path(
    get,
    path = "/labels.pdf",
    tag = "records",
    params(("serial" = Option<Vec<String>>, Query, description = "A serial number; any number of them"), Layout),
    responses(
        (status = 200, content_type = "application/pdf", body = Vec<u8>),
        (status = 400, body = Problem),
        (status = 404, description = "No such lot", body = Problem),
        (status = 503, body = Problem)
    )
)]
async fn sheets(
    State(app): State<App>,
    Query(pairs): Query<Vec<(String, String)>>,
    Query(layout): Query<Layout>,
) -> Result<Response, Problem> {
    let named = pairs.iter().filter(|(key, _)| key == "serial");
    let mut serials = named.map(|(_, serial)| text::serial(serial)).collect::<Result<Vec<_>, _>>()?;
    if let Some(lot) = layout.lot.as_deref().filter(|lot| !lot.is_empty()) {
        let units = app.catalogue.lot(&text::lot(lot)?).await?.units;
        serials.extend(units.into_iter().map(|unit| unit.serial));
    }
    let [rows, columns] = [layout.rows, layout.columns].map(NonZeroU16::new);
    let (Some(rows), Some(columns)) = (rows, columns) else {
        return Err(Problem::bad_request("a sheet has at least one row and one column of labels"));
    };
    let sheet = Sheet { paper: layout.paper, rows, columns, margin_mm: layout.margin_mm };
    file::pdf(move || labels(&serials, &sheet, layout.code)).await
}
