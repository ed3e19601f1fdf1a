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
    let [from, to] = ends?;
    let terminal = |at, diameter_mm| Terminal::on(0, Shape::Disc { at, diameter_mm });
    let (from, to) = (terminal(from, from_pad?), terminal(to, to_pad?));
    let shape = Shape::Polygon { outer: corners.clone(), holes: holes.clone() };
    // One ohm a square: what is found are squares. Neither thickness nor layer moves a neck of a single layer.
    let sheet =
        Layer { shapes: vec![shape], cuts: Vec::new(), sheet: Ohms(1.0), copper_um: 35.0, outer: true };
    let conductor = Conductor { layers: vec![sheet], barrels: Vec::new() };
    let solved = copper::resistance(&conductor, &from, &to, &WANTED)
        .map_err(|error| outline.refuse(format!("{}: {error}", table.title), remedy(&error)))?;
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
    let holes =
        item.list("write the holes as lists of corners, such as [[[4, 3], [6, 3], [6, 5], [4, 5]]]")?;
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
    use crate::board::{self, Board, SegmentKind};
    use crate::problem::Problems;
    use crate::quantity::Ohms;

    const BOARD: &str = include_str!("../../../../fixtures/trail-counter/board.toml");

    /// The trail counter, its ground trace from (15.2, 14.5) to (34, 12) a pour with these keys.
    fn text(keys: &str) -> String {
        let (before, trace) = BOARD.split_once("name = \"ground trace\"").unwrap();
        let (_, after) = trace.split_once("width = \"1.5 mm\"\n").unwrap();
        format!(
            "{before}name = \"ground pour\"\nkind = \"pour\"\nfrom = \"shunt.out\"\nto = \"mcu.gnd\"\n{keys}\n{after}"
        )
    }

    fn read(keys: &str) -> Result<Board, Problems> {
        board::parse("board.toml", &text(keys))
    }

    fn expected(board: &Board) -> board::Expected {
        board.segment(board.segment_named("ground pour").unwrap()).expected
    }

    const WIDE: &str = "outline = [[14, 10], [36, 10], [36, 16], [14, 16]]";
    const NECK: &str = "outline = [[14, 10], [24, 10], [24, 12.9], [25, 12.9], [25, 10], [36, 10], [36, 16], \
                        [25, 16], [25, 13.1], [24, 13.1], [24, 16], [14, 16]]";

    #[test]
    fn a_pour_reads_what_its_shape_gives() {
        let square = 0.4926e-3;
        let wide = expected(&read(WIDE).unwrap());
        // Three squares of length, and the spreading into two pads.
        assert!(wide.typical > Ohms(3.0 * square) && wide.typical < Ohms(5.0 * square), "{wide:?}");
        assert!(wide.high > wide.typical / 0.72 && wide.high < wide.typical / 0.71, "{wide:?}");
        // A neck of five squares on top of it; holes and small pads add to it, too.
        let neck = expected(&read(NECK).unwrap()).typical - wide.typical;
        assert!(neck > Ohms(5.0 * square) && neck < Ohms(8.0 * square), "{neck:?}");
        let holed =
            expected(&read(&format!("{WIDE}\nholes = [[[20, 11], [30, 11], [30, 15], [20, 15]]]")).unwrap());
        assert!(holed.typical > wide.typical * 1.5);
        let spots = expected(&read(&format!("{WIDE}\nfrom_pad = \"0.3 mm\"\nto_pad = \"0.3 mm\"")).unwrap());
        // Each pad is two halvings smaller: ln 4/2π square each, or 0.22.
        let more = (spots.typical - wide.typical) / Ohms(square);
        assert!((more - 2.0 * 0.2206).abs() < 0.05, "{more}");
    }

    #[test]
    fn a_typical_alone_is_enough() {
        let board = read("typical = \"2 mohm\"").unwrap();
        let pour = board.segment(board.segment_named("ground pour").unwrap());
        assert_eq!(pour.expected.typical, Ohms(2e-3));
        assert!((pour.expected.high / Ohms(2e-3) - 1.0 / 0.72).abs() < 1e-9);
        assert!(matches!(pour.kind, SegmentKind::Pour { shape: None, .. }) && pour.kind.is_copper());
    }

    #[test]
    fn what_is_no_pour_is_told_of_at_its_place() {
        for (keys, message) in [
            ("", "segment `ground pour` lacks `outline`"),
            (
                "typical = \"2 mohm\"\nto_pad = \"1 mm\"",
                "`to_pad` of segment `ground pour` belongs to an outline",
            ),
            ("outline = [[14, 10], [36, 10]]", "an outline of 2 corners"),
            (
                "outline = [[14, 10], [36, 16], [36, 10], [14, 16]]",
                "the outline crosses itself at (25.000, 13.000) mm",
            ),
            ("outline = [[14, 13], [30, 13], [30, 16], [14, 16]]", "the end `to` touches no copper"),
            (
                "outline = [[14, 10], [36, 10], [36, 16], [14, 16]]\nholes = [[[20, 9], [21, 9], [21, 17], [20, 17]]]",
                "no copper joins the ends",
            ),
            (
                "outline = [[14, 10], [36, 10], [36, 16], [14, 16]]\nfrom_pad = \"40 mm\"",
                "both ends touch each other",
            ),
            ("length = \"3 mm\"\ntypical = \"2 mohm\"", "has no key `length`"),
        ] {
            let problems = read(keys).unwrap_err();
            assert!(problems.0.iter().any(|problem| problem.message.contains(message)), "{keys}: {problems}");
        }
    }

    #[test]
    fn a_neck_too_narrow_for_the_load_is_a_warning() {
        let loaded = text(NECK)
            .replace("load = \"60 mA\"\nmax_drop = \"300 mV\"", "load = \"2 A\"\nmax_drop = \"10 V\"");
        let (_, warnings) =
            board::examine(crate::document::Sheet::new("board.toml", &loaded)).usable().unwrap();
        let warning = warnings.0.iter().find(|warning| warning.message.contains("ground pour"));
        let message = &warning.unwrap().message;
        assert!(message.contains("where it is 0.2") && message.contains("mm wide at [24."), "{message}");
    }
}
