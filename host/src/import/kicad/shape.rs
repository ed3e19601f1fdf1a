//! Graphics as regions: lines, arcs, circles, rectangles, polygons and curves, on the board and inside custom pads.

use super::values::{bad, head, length_of, outline, pen, place, place_of};
use crate::import::edge::Stroke;
use crate::import::region::{At, Region, arc, around, bezier, turned};
use crate::import::sexpr::{Expr, SyntaxError};
use crate::plane::apart;

/// The middle line of a graphic; `None` for what is none, such as text.
///
/// # Errors
/// A place is missing.
pub fn stroke(graphic: Expr<'_>) -> Result<Option<Stroke>, SyntaxError> {
    let kind = head(graphic);
    let kind = kind.strip_prefix("gr_").or(kind.strip_prefix("fp_")).unwrap_or(&kind);
    let open = |points| Some(Stroke { points, closed: false });
    Ok(match kind {
        "line" => open(vec![place_of(graphic, "start")?, place_of(graphic, "end")?]),
        "arc" => open(arc_points(graphic)?),
        "curve" => {
            let points = outline(graphic.find("pts").ok_or_else(|| bad(graphic, "a curve has no `pts`"))?)?;
            match points.as_slice() {
                &[a, b, c, d] => open(bezier([a, b, c, d])),
                _ => return Err(bad(graphic, "a curve has four points")),
            }
        }
        "circle" => {
            let centre = place_of(graphic, "center")?;
            let radius = apart(centre, place_of(graphic, "end")?);
            let mut points = around(centre, radius, 0.0, std::f64::consts::TAU);
            points.pop();
            Some(Stroke { points, closed: true })
        }
        "rect" => {
            let ([ax, ay], [bx, by]) = (place_of(graphic, "start")?, place_of(graphic, "end")?);
            Some(Stroke { points: vec![[ax, ay], [bx, ay], [bx, by], [ax, by]], closed: true })
        }
        "poly" => {
            let list = graphic.find("pts").ok_or_else(|| bad(graphic, "a polygon has no `pts`"))?;
            Some(Stroke { points: outline(list)?, closed: true })
        }
        _ => None,
    })
}

/// An arc by start, middle and end; up to version 5 by centre, start and the angle it turns clockwise as seen.
fn arc_points(graphic: Expr<'_>) -> Result<Vec<At>, SyntaxError> {
    let (start, end) = (place_of(graphic, "start")?, place_of(graphic, "end")?);
    if let Some(mid) = graphic.find("mid") {
        return Ok(arc(start, place(mid)?, end));
    }
    let degrees = graphic.find("angle").and_then(|angle| angle.numbers().next());
    let degrees = degrees.ok_or_else(|| bad(graphic, "an arc has neither `mid` nor `angle`"))?;
    let ([cx, cy], [sx, sy]) = (start, end);
    let from = (sy - cy).atan2(sx - cx);
    Ok(around(start, apart(start, end), from, -degrees.clamp(-360.0, 360.0).to_radians()))
}

/// A graphic as copper: filled where the file fills it, else its line.
///
/// # Errors
/// A place or a width is missing.
pub fn copper(graphic: Expr<'_>) -> Result<Vec<Region>, SyntaxError> {
    let Some(Stroke { points, closed }) = stroke(graphic)? else { return Ok(Vec::new()) };
    let width = pen(graphic)?.unwrap_or(0.0);
    if !closed {
        return Ok(vec![Region::line(points, width)]);
    }
    let fill = graphic.text_of("fill");
    let polygon = head(graphic).ends_with("poly");
    let hollow = fill.as_deref().map_or(!polygon && width > 0.0, |fill| matches!(fill, "no" | "none"));
    if hollow {
        let first = points.first().copied();
        return Ok(vec![Region::line(points.into_iter().chain(first).collect(), width)]);
    }
    Ok(vec![Region::polygon(points, width)])
}

/// Copper of a pad around its own middle, before it is turned and moved to its place.
///
/// # Errors
/// The shape is unknown or lacks something.
pub fn pad(pad: Expr<'_>, shape: &str, [width, height]: [f64; 2]) -> Result<Vec<Region>, SyntaxError> {
    let (w, h) = (width / 2.0, height / 2.0);
    let ratio = |name| -> Result<f64, SyntaxError> { Ok(length_of(pad, name)?.unwrap_or(0.0).min(0.5)) };
    let rounded = || -> Result<Region, SyntaxError> {
        let radius = ratio("roundrect_rratio")? * width.min(height);
        let corners = chamfered(pad, [w - radius, h - radius], ratio("chamfer_ratio")? * width.min(height));
        Ok(Region::polygon(corners, 2.0 * radius))
    };
    let rect = || Region::polygon(vec![[-w, -h], [w, -h], [w, h], [-w, h]], 0.0);
    Ok(match shape {
        "circle" => vec![Region::disc([0.0; 2], width)],
        "oval" if width >= height => vec![Region::line(vec![[h - w, 0.0], [w - h, 0.0]], height)],
        "oval" => vec![Region::line(vec![[0.0, w - h], [0.0, h - w]], width)],
        "rect" => vec![rect()],
        // A radius of half the smaller side leaves a line, not a polygon.
        "roundrect" if ratio("roundrect_rratio")? >= 0.5 => return self::pad(pad, "oval", [width, height]),
        "roundrect" => vec![rounded()?],
        "trapezoid" => {
            let delta = pad.find("rect_delta").map(|delta| delta.numbers().collect::<Vec<_>>());
            let delta = delta.unwrap_or_default();
            // Width first; what it means by each is that of the program's own outlines (from memory).
            let (dx, dy) = (delta.first().unwrap_or(&0.0) / 2.0, delta.get(1).unwrap_or(&0.0) / 2.0);
            let corners = vec![[-w - dy, -h - dx], [w + dy, -h + dx], [w - dy, h - dx], [-w + dy, h + dx]];
            vec![Region::polygon(corners, 0.0)]
        }
        "custom" => {
            let anchor = pad.find("options").and_then(|options| options.text_of("anchor"));
            let anchor = match anchor.as_deref() {
                Some("rect") => rect(),
                _ => Region::disc([0.0; 2], width.min(height)),
            };
            let mut copper = vec![anchor];
            for graphic in pad.find("primitives").into_iter().flat_map(Expr::values) {
                copper.extend(self::copper(graphic)?);
            }
            copper
        }
        other => {
            return Err(bad(pad, format!("a pad of shape `{}` is not known", crate::quantity::clip(other))));
        }
    })
}

/// A rectangle with the corners cut off that the pad names.
fn chamfered(pad: Expr<'_>, [w, h]: [f64; 2], cut: f64) -> Vec<At> {
    let cuts = pad.find("chamfer");
    let is_cut = |name: &str| cut > 0.0 && cuts.is_some_and(|cuts| cuts.has_word(name));
    let corners = [
        ("bottom_left", [-w, -h], [[0.0, cut], [cut, 0.0]]),
        ("bottom_right", [w, -h], [[-cut, 0.0], [0.0, cut]]),
        ("top_right", [w, h], [[0.0, -cut], [-cut, 0.0]]),
        ("top_left", [-w, h], [[cut, 0.0], [0.0, -cut]]),
    ];
    let corner = |(name, at, offsets): (&str, At, [At; 2])| match is_cut(name) {
        true => offsets.map(|[dx, dy]| [at[0] + dx, at[1] + dy]).to_vec(),
        false => vec![at],
    };
    corners.into_iter().flat_map(corner).collect()
}

/// Copper around its own middle, turned and moved to its place.
pub fn placed(copper: Vec<Region>, offset: At, degrees: f64, at: At) -> Vec<Region> {
    let [ox, oy] = turned(offset, degrees);
    let to = [at[0] + ox, at[1] + oy];
    copper.into_iter().map(|region| region.turned(degrees).moved(to)).collect()
}
