//! `[board]`: what the board is called, its laminate and its outline.

use crate::board::assumed::{self, Assumed};
use crate::board::expected::Laminate;
use crate::board::outline;
use crate::document::{Item, Table, Told};
use crate::quantity::Unit;

/// Corners an outline may have.
const MOST_CORNERS: usize = 500;

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
        .and_then(|item| read_outline(&item));
    Heading {
        name: name.map(str::to_owned),
        revision: revision.map(str::to_owned),
        laminate: thickness.and_then(|thickness_mm| Ok(Laminate { thickness_mm, copper_um: copper? })),
        outline,
        assumed: assumed.collect(),
    }
}

/// A polygon that does not cross itself.
fn read_outline(item: &Item<'_>) -> Result<Vec<[f64; 2]>, Told> {
    let help = "write the corners in order, such as [[0, 0], [64, 0], [64, 40], [0, 40]]";
    let corners = item.list(help)?;
    if !(3..=MOST_CORNERS).contains(&corners.len()) {
        let message = format!("an outline of {} corners is no outline", corners.len());
        return Err(item.refuse(message, format!("from 3 to {MOST_CORNERS} corners belong here")));
    }
    let corners: Vec<_> = corners.iter().map(|corner| corner.place(help)).collect();
    let corners = corners.into_iter().collect::<Result<Vec<_>, _>>()?;
    if let Some((i, j)) = outline::crossing(&corners) {
        let message = format!("the outline crosses itself: the edges from corners {} and {}", i + 1, j + 1);
        return Err(item.refuse(message, "write the corners in order round the edge"));
    }
    if outline::area(&corners) < 1.0 {
        return Err(item.refuse("the outline encloses less than 1 mm²", "coordinates are millimetres"));
    }
    Ok(corners)
}
