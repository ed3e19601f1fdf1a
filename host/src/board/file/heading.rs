//! `[board]`: what the board is called, its laminate and its outline.

use super::polygon;
use crate::board::assumed::{self, Assumed};
use crate::board::expected::Laminate;
use crate::document::{Table, Told};
use crate::quantity::Unit;

/// Least area of a board, mm².
const LEAST_MM2: f64 = 1.0;

/// `[board]`.
pub(in crate::board) struct Heading {
    pub name: Result<String, Told>,
    pub revision: Result<String, Told>,
    pub laminate: Result<Laminate, Told>,
    pub outline: Result<Vec<[f64; 2]>, Told>,
    pub assumed: Vec<Assumed>,
}

/// Reads `[board]`.
pub(super) fn read(table: &Table<'_>) -> Heading {
    table.only(&["name", "revision", "thickness", "copper", "outline"]);
    let name = table.must("name", r#"name = "…""#).and_then(|item| item.name());
    let revision = table.must("revision", r#"revision = "A""#).and_then(|item| item.name());
    let assumed = [("thickness", Assumed::Thickness), ("copper", Assumed::Copper)]
        .into_iter()
        .filter_map(|(key, what)| table.item(key).is_none().then_some(what));
    let thickness = table
        .item("thickness")
        .map_or(Ok(assumed::THICKNESS_MM), |item| item.quantity(Unit::Millimetre, 0.05, 10.0));
    let copper = table
        .item("copper")
        .map_or(Ok(assumed::COPPER_UM), |item| item.quantity(Unit::Micrometre, 5.0, 500.0));
    let outline = table
        .must("outline", "outline = [[0, 0], [64, 0], [64, 40], [0, 40]]")
        .and_then(|item| polygon::read(&item, "the outline", LEAST_MM2));
    Heading {
        name: name.map(str::to_owned),
        revision: revision.map(str::to_owned),
        laminate: thickness.and_then(|thickness_mm| Ok(Laminate { thickness_mm, copper_um: copper? })),
        outline,
        assumed: assumed.collect(),
    }
}
