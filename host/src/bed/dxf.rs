//! Plates as DXF of release 12 in ASCII, which every program for drawing and milling reads: group codes after Autodesk's DXF Reference.
//! Lengths are millimetres, at 1:1; what a hole is for stands in its layer.

use std::fmt::Write as _;

use super::plate::{Plate, Use};

/// Layers with their colour numbers, which only tell them apart on a screen.
const LAYERS: [(&str, u8); 8] = [
    ("PLATE", 7),
    ("BOARD", 3),
    ("PINS", 1),
    ("TOOLING", 5),
    ("STOPS", 4),
    ("POSTS", 6),
    ("PILLARS", 7),
    ("TEXT", 8),
];
/// Height of the text beside a hole, mm.
const TEXT_MM: f64 = 0.9;

fn layer(what: Use) -> &'static str {
    match what {
        Use::Pin => "PINS",
        Use::Tooling => "TOOLING",
        Use::Stop => "STOPS",
        Use::Post => "POSTS",
        Use::Pillar => "PILLARS",
    }
}

/// A drawing: pairs of a group code and a value, each on a line of its own.
struct Groups(String);

impl Groups {
    fn pair(&mut self, code: u16, value: impl std::fmt::Display) -> &mut Self {
        let _ = writeln!(self.0, "{code}\n{value}");
        self
    }

    fn place(&mut self, code: u16, [x, y]: [f64; 2]) -> &mut Self {
        self.pair(code, format!("{x:.4}")).pair(code + 10, format!("{y:.4}")).pair(code + 20, "0.0")
    }

    fn closed(&mut self, layer: &str, corners: &[[f64; 2]]) {
        self.pair(0, "POLYLINE").pair(8, layer).pair(66, 1).place(10, [0.0, 0.0]).pair(70, 1);
        for corner in corners {
            self.pair(0, "VERTEX").pair(8, layer).place(10, *corner);
        }
        self.pair(0, "SEQEND").pair(8, layer);
    }
}

/// One plate.
pub fn of(plate: &Plate) -> String {
    let mut dxf = Groups(String::new());
    let [width, height] = plate.size_mm;
    dxf.pair(999, format!("{} plate, millimetres; {}", plate.level.word(), plate.view()));
    dxf.pair(0, "SECTION").pair(2, "HEADER").pair(9, "$ACADVER").pair(1, "AC1009");
    dxf.pair(9, "$EXTMIN").place(10, [0.0, 0.0]).pair(9, "$EXTMAX").place(10, [width, height]);
    dxf.pair(0, "ENDSEC").pair(0, "SECTION").pair(2, "TABLES");
    dxf.pair(0, "TABLE").pair(2, "LTYPE").pair(70, 1);
    dxf.pair(0, "LTYPE")
        .pair(2, "CONTINUOUS")
        .pair(70, 0)
        .pair(3, "Solid line")
        .pair(72, 65)
        .pair(73, 0)
        .pair(40, "0.0");
    dxf.pair(0, "ENDTAB").pair(0, "TABLE").pair(2, "LAYER").pair(70, LAYERS.len());
    for (name, colour) in LAYERS {
        dxf.pair(0, "LAYER").pair(2, name).pair(70, 0).pair(62, colour).pair(6, "CONTINUOUS");
    }
    dxf.pair(0, "ENDTAB").pair(0, "ENDSEC").pair(0, "SECTION").pair(2, "ENTITIES");
    dxf.closed("PLATE", &[[0.0, 0.0], [width, 0.0], [width, height], [0.0, height]]);
    dxf.closed("BOARD", &plate.board_edge);
    for hole in &plate.holes {
        let radius = hole.drill_mm / 2.0;
        dxf.pair(0, "CIRCLE").pair(8, layer(hole.what)).place(10, hole.at).pair(40, format!("{radius:.4}"));
        let beside = [hole.at[0] + radius + 0.2, hole.at[1] - TEXT_MM / 2.0];
        dxf.pair(0, "TEXT").pair(8, "TEXT").place(10, beside).pair(40, TEXT_MM).pair(1, &hole.label);
    }
    dxf.pair(0, "ENDSEC").pair(0, "EOF");
    dxf.0
}
