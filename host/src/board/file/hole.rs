//! `[[hole]]`: a hole with nothing in it, which a wire may be led through to the other side.

use std::ops::Range;

use super::Placed;
use crate::board::{Hole, outline};
use crate::document::{Item, Told};
use crate::quantity::Unit;

/// Nothing smaller is drilled, nothing larger is a hole in a board that fits on a bed, mm.
const DIAMETER_MM: Range<f64> = 0.1..50.0;

/// A `[[hole]]`: its name, and the hole.
pub(in crate::board) type HoleDraft = (Placed<String>, Hole);

/// Reads one hole; `edge` is the outline, if it could be read.
///
/// # Errors
/// Anything is wrong with it.
pub(super) fn read(item: &Item<'_>, edge: Option<&[[f64; 2]]>) -> Result<HoleDraft, Told> {
    let table = item.table("a [[hole]]", "write it as [[hole]]")?;
    table.only(&["name", "at", "diameter"]);
    let name = table.must("name", r#"name = "slot by the switch""#).and_then(|item| {
        let value = item.name()?.to_owned();
        Ok(Placed { value, span: item.span })
    });
    let at = table.must("at", "at = [x, y] in mm").and_then(|item| {
        let at = item.place("write [x, y] in mm, such as [6.0, 31.0]")?;
        match edge {
            Some(edge) if !outline::contains(edge, at) => Err(item.refuse(
                "the hole lies outside the outline",
                "coordinates are millimetres, seen from the front, in the frame the outline is drawn in",
            )),
            _ => Ok(at),
        }
    });
    let diameter = table
        .must("diameter", r#"diameter = "1.5 mm""#)
        .and_then(|item| item.quantity(Unit::Millimetre, DIAMETER_MM.start, DIAMETER_MM.end));
    let name = name?;
    let hole = Hole { name: name.value.clone(), at: at?, diameter_mm: diameter? };
    Ok((name, hole))
}
