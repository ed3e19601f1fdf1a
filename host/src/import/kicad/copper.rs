//! Tracks, arcs, vias, zones and graphics on copper layers.

use super::Reader;
use super::shape;
use super::values::{bad, head, length_of, need, outline, pen, place_of};
use crate::import::layout::{Fill, LayerId, Track, Via};
use crate::import::region::{Region, arc};
use crate::import::sexpr::{Expr, SyntaxError};

/// Fills of this version on are areas; those before are drawn with a pen of the zone's least width, unless the zone says otherwise.
const FILLS_ARE_AREAS: u32 = 20_220_225;

/// A straight track, or an arc.
///
/// # Errors
/// A place, its width or its layer is missing.
pub fn track(reader: &mut Reader<'_>, item: Expr<'_>) -> Result<(), SyntaxError> {
    let (start, end) = (place_of(item, "start")?, place_of(item, "end")?);
    let width = pen(item)?.filter(|width| *width > 0.0);
    let width = width.ok_or_else(|| bad(item, format!("`{}` has no `width`", head(item))))?;
    let points = match item.is("arc") {
        true => arc(start, place_of(item, "mid")?, end),
        false => vec![start, end],
    };
    let layer = layer(reader, item)?;
    match reader.net_of(item)? {
        Some(net) => reader.layout.tracks.push(Track { net, layer, copper: Region::line(points, width) }),
        None => reader.netless += 1,
    }
    Ok(())
}

fn layer(reader: &Reader<'_>, item: Expr<'_>) -> Result<LayerId, SyntaxError> {
    let named = need(item, "layer")?;
    let name = named.values().next().and_then(Expr::word).unwrap_or_default();
    reader.layers.id(&name).ok_or_else(|| {
        bad(
            named,
            format!("`{}` lies on `{}`, which is no copper layer", head(item), crate::quantity::clip(&name)),
        )
    })
}

/// A via: through, blind, buried or micro.
///
/// # Errors
/// Its place or size is missing, or its layers are not two.
pub fn via(reader: &mut Reader<'_>, item: Expr<'_>) -> Result<(), SyntaxError> {
    let at = place_of(item, "at")?;
    let land_mm = length_of(item, "size")?.ok_or_else(|| bad(item, "a via has no `size`"))?;
    let micro = item.has_word("micro");
    let drill_mm = match length_of(item, "drill")? {
        Some(drill) => drill,
        None => reader.usual_drill(micro).unwrap_or(land_mm / 2.0),
    };
    let layers = match item.find("layers") {
        Some(list) => reader.layers.ids(list),
        None => vec![0, reader.layers.copper.len() - 1],
    };
    let (Some(&first), Some(&last)) = (layers.first(), layers.last()) else {
        return Err(bad(item, "a via names no copper layer"));
    };
    if first == last || drill_mm <= 0.0 {
        return Err(bad(item, "a via joins two copper layers through a hole"));
    }
    // A through via goes through, whichever two layers it names.
    let through = !micro && !item.has_word("blind") && !item.has_word("buried");
    let layers = if through { [0, reader.layers.copper.len() - 1] } else { [first, last] };
    match reader.net_of(item)? {
        Some(net) => {
            let land_mm = land_mm.max(drill_mm);
            reader.layout.vias.push(Via { net, at, land_mm, drill_mm, layers });
        }
        None => reader.netless += 1,
    }
    Ok(())
}

/// A zone: its fills, by layer.
///
/// # Errors
/// A polygon cannot be read.
pub fn zone(reader: &mut Reader<'_>, item: Expr<'_>) -> Result<(), SyntaxError> {
    // A rule area keeps copper out.
    if item.find("keepout").is_some() {
        return Ok(());
    }
    let layers: Vec<_> = match (item.find("layers"), item.find("layer")) {
        (Some(list), _) | (None, Some(list)) => reader.layers.ids(list),
        _ => Vec::new(),
    };
    let Some(net) = reader.net_of(item)? else {
        reader.netless += usize::from(!layers.is_empty());
        return Ok(());
    };
    let areas = item.find("filled_areas_thickness").is_some_and(|kind| kind.has_word("no"));
    let stroked = !areas && reader.version < FILLS_ARE_AREAS;
    let pen = if stroked { length_of(item, "min_thickness")?.unwrap_or(0.0) } else { 0.0 };
    let mut filled = Vec::new();
    for polygon in item.items().filter(|item| item.is("filled_polygon")) {
        let own = polygon.text_of("layer").and_then(|name| reader.layers.id(&name));
        let Some(layer) = own.or_else(|| layers.first().copied()) else { continue };
        let points = outline(need(polygon, "pts")?)?;
        if points.len() > 2 {
            filled.push(layer);
            reader.layout.fills.push(Fill { net, layer, copper: Region::polygon(points, pen) });
        }
    }
    // Before version 6 a hatched fill may be stored as strokes.
    for strokes in item.items().filter(|item| item.is("fill_segments")) {
        let Some(&layer) = layers.first() else { continue };
        for pts in strokes.items().filter(|item| item.is("pts")) {
            filled.push(layer);
            let copper = Region::line(outline(pts)?, length_of(item, "min_thickness")?.unwrap_or(0.0));
            reader.layout.fills.push(Fill { net, layer, copper });
        }
    }
    let missing = layers.iter().filter(|layer| !filled.contains(layer));
    reader.layout.unfilled.extend(missing.map(|&layer| (net, layer)));
    Ok(())
}

/// A graphic or a text on the board: on copper it belongs to a net only if it says so (since version 8).
///
/// # Errors
/// It cannot be read.
pub fn graphic(reader: &mut Reader<'_>, item: Expr<'_>) -> Result<(), SyntaxError> {
    let Some(layer) = item.text_of("layer") else { return Ok(()) };
    if layer == reader.layers.edge {
        reader.edge.extend(shape::stroke(item)?);
        return Ok(());
    }
    let Some(layer) = reader.layers.id(&layer) else { return Ok(()) };
    match reader.net_of(item)? {
        Some(net) => {
            let copper = shape::copper(item)?;
            reader.layout.fills.extend(copper.into_iter().map(|copper| Fill { net, layer, copper }));
        }
        None => reader.netless += 1,
    }
    Ok(())
}
