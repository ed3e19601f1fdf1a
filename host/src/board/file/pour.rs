//! A pour: its shape, and the squares between its two ends, which are solved when the file is read.

use super::segment::layer;
use crate::board::{Pour, SegmentKind};
use crate::copper::{self, Conductor, CopperError, End, Layer, Shape, Terminal, Wanted};
use crate::document::{Item, Table, Told};
use crate::quantity::{Ohms, Unit};

/// Corners an outline or a hole may have.
const MOST_CORNERS: usize = 2000;
/// Holes a pour may have.
const MOST_HOLES: usize = 500;
/// Diameter of the area around an end that is held at one potential, mm, unless the file says otherwise: pads of parts and of
/// vias are about this wide (common practice).
const PAD_MM: f64 = 1.2;
/// Half a per cent is little beside what foil and etching leave open, and it is soon found.
const WANTED: Wanted = Wanted { most_triangles: 30_000, ..Wanted::DEFAULT };

/// Reads a pour, given where its ends are.
///
/// # Errors
/// It has neither an outline nor a `typical`, or its copper does not join its ends.
pub(super) fn read(table: &Table<'_>, ends: Result<[[f64; 2]; 2], Told>) -> Result<SegmentKind, Told> {
    let layer = layer(table);
    let pads = ["from_pad", "to_pad"]
        .map(|key| table.item(key).map_or(Ok(PAD_MM), |item| item.quantity(Unit::Millimetre, 0.05, 100.0)));
    let Some(outline) = table.item("outline") else {
        for key in ["holes", "from_pad", "to_pad"] {
            if let Some(item) = table.item(key) {
                let message = format!("`{key}` of {} belongs to an outline", table.title);
                return Err(item.refuse(message, "write the outline too, or leave it out"));
            }
        }
        // Whoever cannot draw it can still say what it reads.
        let example = r#"outline = [[0, 0], [12, 0], [12, 8], [0, 8]] in mm, or typical = "2 mohm" instead"#;
        if table.item("typical").is_none() {
            table.must("outline", example)?;
        }
        return Ok(SegmentKind::Pour { shape: None, layer: layer? });
    };
    let corners = ring(&outline, "an outline");
    let holes = table.item("holes").map_or(Ok(Vec::new()), |item| holes(&item));
    let (corners, holes, [from_pad, to_pad]) = (corners?, holes?, pads);
    let (ends, pads) = (ends?, [from_pad?, to_pad?]);
    let terminal = |i: usize| Terminal::on(0, Shape::Disc { at: ends[i], diameter_mm: pads[i] });
    let shape = Shape::Polygon { outer: corners.clone(), holes: holes.clone() };
    // One ohm a square: what is found are squares. Neither thickness nor layer moves a neck of a single layer.
    let sheet = Layer { shapes: vec![shape], cuts: Vec::new(), sheet: Ohms(1.0), copper_um: 35.0, outer: true };
    let conductor = Conductor { layers: vec![sheet], barrels: Vec::new() };
    let solved = copper::resistance(&conductor, &terminal(0), &terminal(1), &WANTED).map_err(|error| {
        outline.refuse(format!("{}: {error}", table.title), remedy(&error))
    })?;
    let shape = Pour {
        outline: corners,
        holes,
        squares: solved.resistance.0,
        error_squares: solved.error.0,
        neck: solved.neck,
    };
    Ok(SegmentKind::Pour { shape: Some(shape), layer: layer? })
}

fn remedy(error: &CopperError) -> &'static str {
    match error {
        CopperError::Crossed { .. } => "write the corners in order round the edge",
        CopperError::Outside { end: End::From } => {
            "the outline and the point `from` are in the same frame, mm, seen from the front; draw the copper up to the point"
        }
        CopperError::Outside { end: End::To } => {
            "the outline and the point `to` are in the same frame, mm, seen from the front; draw the copper up to the point"
        }
        CopperError::Together => "give `from_pad` and `to_pad` smaller diameters",
        CopperError::Apart => "holes must not cut the pour in two between its ends",
        _ => "draw it simpler, or leave the outline out and state `typical`",
    }
}

fn holes(item: &Item<'_>) -> Result<Vec<Vec<[f64; 2]>>, Told> {
    let holes = item.list("write the holes as lists of corners, such as [[[4, 3], [6, 3], [6, 5], [4, 5]]]")?;
    if holes.len() > MOST_HOLES {
        let message = format!("{} holes are more than a pour may have", holes.len());
        return Err(item.refuse(message, format!("at most {MOST_HOLES}")));
    }
    holes.iter().map(|hole| ring(hole, "a hole")).collect()
}

fn ring(item: &Item<'_>, what: &str) -> Result<Vec<[f64; 2]>, Told> {
    let help = "write the corners in order, such as [[0, 0], [12, 0], [12, 8], [0, 8]]";
    let corners = item.list(help)?;
    if !(3..=MOST_CORNERS).contains(&corners.len()) {
        let message = format!("{what} of {} corners is none that copper can have", corners.len());
        return Err(item.refuse(message, format!("from 3 to {MOST_CORNERS} corners belong here")));
    }
    corners.iter().map(|corner| corner.place(help)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::board::{self, Board};
    use crate::problem::Problems;

    /// The trail counter with its load trace as a pour.
    fn with(keys: &str) -> Result<Board, Problems> {
        const BOARD: &str = include_str!("../../../../fixtures/trail-counter/board.toml");
        let old = "kind = \"trace\"\nfrom = \"fuse.out\"\nto = \"vreg.in\"\nlength = \"14 mm\"\nwidth = \"1 mm\"\n";
        assert!(BOARD.contains(old));
        let new = format!("kind = \"pour\"\nfrom = \"fuse.out\"\nto = \"vreg.in\"\n{keys}\n");
        board::parse("board.toml", &BOARD.replace(old, &new))
    }
}
