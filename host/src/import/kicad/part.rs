//! Footprints: a part's reference and value, its pads, and what it draws on copper or on the board's edge.
//!
//! A pad's place is relative to its footprint, turned with it; its angle is absolute. Footprints on the back are stored as they
//! lie, so nothing is mirrored here.

use super::Reader;
use super::shape;
use super::values::{angle, bad, place, place_of, plain_name};
use crate::import::layout::{Pad, Part, PartId};
use crate::import::region::{At, Region, turned};
use crate::import::sexpr::{Expr, SyntaxError};

/// Where a footprint stands.
#[derive(Clone, Copy)]
pub struct Frame {
    at: At,
    degrees: f64,
}

impl Frame {
    fn out(self, local: At) -> At {
        let ([x, y], [fx, fy]) = (turned(local, self.degrees), self.at);
        [x + fx, y + fy]
    }
}

/// Reads one footprint.
///
/// # Errors
/// Something in it cannot be understood.
pub fn read(reader: &mut Reader<'_>, footprint: Expr<'_>) -> Result<(), SyntaxError> {
    let (frame_at, degrees) = match footprint.find("at") {
        Some(at) => (place(at)?, angle(at)),
        None => ([0.0; 2], 0.0),
    };
    let frame = Frame { at: frame_at, degrees };
    let part = reader.layout.parts.len();
    let said = |old: &str, new: &str| said(footprint, old, new);
    reader
        .layout
        .parts
        .push(Part { reference: said("reference", "Reference"), value: said("value", "Value") });
    for item in footprint.items() {
        match item.head().as_deref() {
            Some("pad") => pad(reader, part, frame, item)?,
            Some(head) if head.starts_with("fp_") => drawn(reader, frame, item)?,
            // Zones of a footprint are written in the board's frame.
            Some("zone") => super::copper::zone(reader, item)?,
            _ => {}
        }
    }
    Ok(())
}

/// Reference or value: a property since version 8, a text before.
fn said(footprint: Expr<'_>, text: &str, property: &str) -> String {
    let found = footprint.items().find_map(|item| {
        let kind = match &*item.head()? {
            "property" => property,
            "fp_text" => text,
            _ => return None,
        };
        let mut words = item.values().filter_map(Expr::word);
        (words.next()? == kind).then(|| words.next()).flatten()
    });
    found.map(|word| plain_name(&word)).unwrap_or_default()
}

fn pad(reader: &mut Reader<'_>, part: PartId, frame: Frame, item: Expr<'_>) -> Result<(), SyntaxError> {
    let mut words = item.values().map_while(Expr::word);
    let (Some(number), Some(kind), Some(form)) = (words.next(), words.next(), words.next()) else {
        return Err(bad(item, "a pad begins with number, kind and shape"));
    };
    let at = item.find("at").ok_or_else(|| bad(item, "a pad has no `at`"))?;
    let (hole_at, degrees) = (frame.out(place(at)?), angle(at));
    let size = place_of(item, "size")?;
    let size = size.map(f64::abs);
    let layers = item.find("layers").map(|list| reader.layers.ids(list)).unwrap_or_default();
    // Openings in mask or paste are pads without copper; holes without plating have no copper either, unless a ring is drawn.
    if layers.is_empty() || kind == "np_thru_hole" || size.iter().any(|side| *side <= 0.0) {
        return Ok(());
    }
    let drill = item.find("drill");
    let offset = drill.and_then(|drill| drill.find("offset")).map(place).transpose()?.unwrap_or_default();
    let copper = shape::placed(shape::pad(item, &form, size)?, offset, degrees, hole_at);
    let hole = match drill {
        Some(drill) if kind == "thru_hole" => hole(drill, degrees, hole_at),
        _ => None,
    };
    let touched = match hole {
        Some(_) => hole_at,
        None => shape::placed(vec![Region::disc([0.0; 2], 0.0)], offset, degrees, hole_at)
            .first()
            .and_then(|disc| disc.points().first().copied())
            .unwrap_or(hole_at),
    };
    let net = reader.net_of(item)?;
    reader.layout.pads.push(Pad {
        part,
        number: plain_name(&number),
        net,
        at: touched,
        copper,
        layers,
        hole,
    });
    Ok(())
}

/// A round hole, or a slot.
fn hole(drill: Expr<'_>, degrees: f64, at: At) -> Option<Region> {
    let sizes: Vec<f64> = drill.values().filter_map(Expr::number).collect();
    let local = match (drill.has_word("oval"), sizes.as_slice()) {
        (_, []) => return None,
        (true, &[w, h, ..]) if w > h => Region::line(vec![[(h - w) / 2.0, 0.0], [(w - h) / 2.0, 0.0]], h),
        (true, &[w, h, ..]) if h > w => Region::line(vec![[0.0, (w - h) / 2.0], [0.0, (h - w) / 2.0]], w),
        (_, &[d, ..]) => Region::disc([0.0; 2], d),
    };
    (local.radius() > 0.0).then(|| local.turned(degrees).moved(at))
}

/// What a footprint draws: on the edge it is a part of the outline, on copper it is copper without a net.
fn drawn(reader: &mut Reader<'_>, frame: Frame, item: Expr<'_>) -> Result<(), SyntaxError> {
    let Some(layer) = item.text_of("layer") else { return Ok(()) };
    if layer == reader.layers.edge {
        if let Some(mut stroke) = shape::stroke(item)? {
            stroke.points.iter_mut().for_each(|at| *at = frame.out(*at));
            reader.edge.push(stroke);
        }
    } else if reader.layers.id(&layer).is_some() {
        reader.netless += 1;
    }
    Ok(())
}
