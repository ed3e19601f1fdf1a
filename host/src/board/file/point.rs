//! `[points]`: places a pin can touch.

use std::ops::Range;

use super::Placed;
use crate::board::{Point, PointKind, Side, outline};
use crate::document::{Item, Sheet, Told, check_name};
use crate::quantity::{Unit, clip};

/// Least width of the metal at a point that is believed, mm.
const PAD_MM: Range<f64> = 0.05..50.0;

/// An entry of `[points]`; the name is known even when the rest is not.
pub(in crate::board) struct PointDraft {
    pub name: Placed<String>,
    pub point: Result<Point, Told>,
}

/// Reads one point; `edge` is the outline, if it could be read.
pub(super) fn read(
    sheet: &Sheet,
    name: &str,
    span: Range<usize>,
    item: &Item<'_>,
    edge: Option<&[[f64; 2]]>,
) -> PointDraft {
    let read = || {
        let table = item.table(
            format!("point `{}`", clip(name)),
            r#"write { at = [6.0, 31.0], side = "back", kind = "terminal" }"#,
        )?;
        table.only(&["at", "side", "kind", "pad"]);
        let known_name = check_name(name)
            .map_err(|(what, help)| sheet.refuse(Some(span.clone()), format!("the point {what}"), help));
        let at = table.must("at", "at = [x, y] in mm").and_then(|item| {
            let at = item.place("write [x, y] in mm, such as [6.0, 31.0]")?;
            match edge {
                None => Ok(at),
                Some(edge) if outline::contains(edge, at) => Ok(at),
                Some(_) => Err(item.refuse(
                    format!("point `{}` lies outside the outline", clip(name)),
                    "coordinates are millimetres, seen from the front, in the frame the outline is drawn in",
                )),
            }
        });
        let side = table.must("side", r#"side = "front", "back" or "both""#).and_then(|item| {
            item.choice(&[("front", Side::Front), ("back", Side::Back), ("both", Side::Both)])
        });
        let kind = table.must("kind", r#"kind = "pad""#).and_then(|item| {
            item.choice(&[
                ("terminal", PointKind::Terminal),
                ("pad", PointKind::Pad),
                ("via", PointKind::Via),
                ("leg", PointKind::Leg),
                ("test", PointKind::Test),
            ])
        });
        let pad = table
            .item("pad")
            .map(|item| item.quantity(Unit::Millimetre, PAD_MM.start, PAD_MM.end))
            .transpose();
        Ok(Point { name: known_name?.to_owned(), at: at?, side: side?, kind: kind?, pad_mm: pad? })
    };
    let point = read();
    PointDraft { name: Placed { value: name.to_owned(), span }, point }
}
