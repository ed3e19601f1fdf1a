//! `[[keep_out]]`: where nothing may touch or stand on a side of the board.

use super::polygon;
use crate::board::{Face, KeepOut};
use crate::document::{Item, Told};
use crate::quantity::Unit;

/// Height of the tallest part that is believed, mm.
const TALLEST_MM: f64 = 200.0;
/// Least area of a keep-out, mm²: less is smaller than the tip of a pin.
const LEAST_MM2: f64 = 0.01;

/// Reads one keep-out.
///
/// # Errors
/// Anything is wrong with it.
pub(super) fn read(item: &Item<'_>) -> Result<KeepOut, Told> {
    let table = item.table("a [[keep_out]]", "write it as [[keep_out]]")?;
    table.only(&["side", "polygon", "height", "why"]);
    let side = table
        .must("side", r#"side = "front" or "back""#)
        .and_then(|item| item.choice(&[("front", Face::Front), ("back", Face::Back)]));
    let polygon = table
        .must("polygon", "polygon = [[10, 5], [18, 5], [18, 12], [10, 12]]")
        .and_then(|item| polygon::read(&item, "the keep-out", LEAST_MM2));
    let height =
        table.item("height").map(|item| item.quantity(Unit::Millimetre, 0.0, TALLEST_MM)).transpose();
    let why = table.item("why").map_or(Ok(String::new()), |item| item.text().map(str::to_owned));
    Ok(KeepOut { side: side?, polygon: polygon?, height_mm: height?, why: why? })
}
