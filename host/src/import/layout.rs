//! What a layout file holds, whatever its format: nets, copper on layers, pads of parts, vias. Each reader fills a [`Layout`].
//!
//! Places are mm with y up; the origin is the file's until [`Layout::settle`] moves it to the lower left corner of the board.

use super::region::{At, Bounds, Region};
use crate::quantity::Ohms;

/// Place in [`Layout::nets`].
pub type NetId = usize;
/// Place in [`Layout::layers`]: 0 is the front, the last is the back.
pub type LayerId = usize;
/// Place in [`Layout::parts`].
pub type PartId = usize;

/// A board as laid out.
#[derive(Clone, PartialEq, Debug, Default)]
pub struct Layout {
    /// Format and version, as a person calls it.
    pub format: String,
    /// What the board is called; empty where the file does not say.
    pub title: String,
    /// Its revision; empty where the file does not say.
    pub revision: String,
    /// The edge, if it could be made out.
    pub outline: Option<Vec<At>>,
    /// Copper layers from front to back; at least two, unless the format knows no copper.
    pub layers: Vec<CopperLayer>,
    /// Thickness of the board as the file states it, mm.
    pub thickness_mm: Option<f64>,
    /// Does the file state the stack-up? If not, depths and copper are assumed.
    pub stacked: bool,
    /// Names of nets.
    pub nets: Vec<String>,
    /// Parts.
    pub parts: Vec<Part>,
    /// Pads of parts, those without net included.
    pub pads: Vec<Pad>,
    /// Vias.
    pub vias: Vec<Via>,
    /// Lines of copper on nets.
    pub tracks: Vec<Track>,
    /// Areas of copper on nets: filled zones and polygons.
    pub fills: Vec<Fill>,
    /// Zones that are drawn but not filled.
    pub unfilled: Vec<(NetId, LayerId)>,
    /// What the reader left out or took for granted, in words.
    pub notes: Vec<String>,
    /// Does the file hold copper at all, or pads alone?
    pub has_copper: bool,
}

/// A copper layer.
#[derive(Clone, PartialEq, Debug)]
pub struct CopperLayer {
    /// Name as the file shows it.
    pub name: String,
    /// Copper thickness, µm.
    pub copper_um: f64,
    /// Depth of the middle of the copper below that of the front copper, mm.
    pub depth_mm: f64,
}

/// A part.
#[derive(Clone, PartialEq, Debug)]
pub struct Part {
    /// Reference, such as `F1`; may be empty.
    pub reference: String,
    /// Value, such as `1A`; may be empty.
    pub value: String,
}

/// A pad with copper.
#[derive(Clone, PartialEq, Debug)]
pub struct Pad {
    /// Of which part.
    pub part: PartId,
    /// Number; may be empty.
    pub number: String,
    /// Net, if it has one.
    pub net: Option<NetId>,
    /// Where a pin touches it, mm: the middle of the land, or of the hole.
    pub at: At,
    /// Its copper, the same on each of its layers.
    pub copper: Vec<Region>,
    /// Layers it has copper on.
    pub layers: Vec<LayerId>,
    /// Its hole, if it has a plated one.
    pub hole: Option<Region>,
}

/// A via.
#[derive(Clone, PartialEq, Debug)]
pub struct Via {
    /// Net.
    pub net: NetId,
    /// Where.
    pub at: At,
    /// Diameter of its land, mm.
    pub land_mm: f64,
    /// Diameter of the finished hole, mm.
    pub drill_mm: f64,
    /// First and last layer, in this order.
    pub layers: [LayerId; 2],
}

/// A line of copper: straight, or an arc as chords.
#[derive(Clone, PartialEq, Debug)]
pub struct Track {
    /// Net.
    pub net: NetId,
    /// Layer.
    pub layer: LayerId,
    /// Its middle line and half width.
    pub copper: Region,
}

impl Track {
    /// Width, mm.
    pub fn width_mm(&self) -> f64 {
        2.0 * self.copper.radius()
    }
}

/// An area of copper.
#[derive(Clone, PartialEq, Debug)]
pub struct Fill {
    /// Net.
    pub net: NetId,
    /// Layer.
    pub layer: LayerId,
    /// The area.
    pub copper: Region,
}

/// Copper plated on the wall of a hole where the file does not say, µm. IPC-6012 wants 20 µm on average in class 2 and 25 µm in
/// class 3 (from memory); makers quote 20 to 25 µm.
pub const PLATING_UM: f64 = 25.0;
/// Copper of a layer where the file does not say, µm: an ounce on a square foot (common practice).
pub const COPPER_UM: f64 = 35.0;
/// Thickness of a board where the file does not say, mm (common practice).
pub const THICKNESS_MM: f64 = 1.6;

impl CopperLayer {
    /// So many layers, spread evenly through a board whose stack-up the file does not state.
    pub fn evenly(count: usize) -> Vec<Self> {
        let step = THICKNESS_MM / count.saturating_sub(1).max(1) as f64;
        let layer = |id: usize| Self {
            name: format!("layer {}", id + 1),
            copper_um: COPPER_UM,
            depth_mm: step * id as f64,
        };
        (0..count).map(layer).collect()
    }
}

impl Layout {
    /// A pad as people call it: `J1.2`.
    pub fn pad_name(&self, pad: &Pad) -> String {
        let reference = self.part(pad.part).map_or("", |part| part.reference.as_str());
        match (reference.is_empty(), pad.number.is_empty()) {
            (true, _) => format!("pad {}", pad.number).trim().to_owned(),
            (_, true) => format!("{reference} pad"),
            _ => format!("{reference}.{}", pad.number),
        }
    }

    /// A part.
    pub fn part(&self, id: PartId) -> Option<&Part> {
        self.parts.get(id)
    }

    /// A net's name.
    pub fn net_name(&self, id: NetId) -> &str {
        self.nets.get(id).map_or("", String::as_str)
    }

    /// Last layer.
    pub fn back(&self) -> LayerId {
        self.layers.len().saturating_sub(1)
    }

    /// Length of a barrel between two layers, mm, from middle to middle of the copper.
    pub fn between_mm(&self, one: LayerId, other: LayerId) -> f64 {
        let depth = |id: LayerId| self.layers.get(id).map_or(0.0, |layer| layer.depth_mm);
        (depth(one) - depth(other)).abs()
    }

    /// Resistance of the barrel of a finished hole between two layers. The plating lies outside the finished hole.
    pub fn barrel(&self, drill_mm: f64, one: LayerId, other: LayerId) -> Ohms {
        let drilled_mm = drill_mm + 2e-3 * PLATING_UM;
        crate::board::expected::barrel_resistance(drilled_mm, PLATING_UM, self.between_mm(one, other))
    }

    /// Moves the origin to the lower left corner of the outline, or of all copper and pads where there is none.
    pub fn settle(&mut self) {
        let all = || {
            let pads = self.pads.iter().flat_map(|pad| {
                pad.copper.iter().flat_map(|copper| copper.bounds().corners()).chain([pad.at])
            });
            let lands = self.vias.iter().map(|via| via.at);
            let lines = self.tracks.iter().flat_map(|track| track.copper.bounds().corners());
            let areas = self.fills.iter().flat_map(|fill| fill.copper.bounds().corners());
            pads.chain(lands).chain(lines).chain(areas).collect::<Vec<_>>()
        };
        let corners = match &self.outline {
            Some(outline) => Bounds::of(outline).corners(),
            None => Bounds::of(&all()).corners(),
        };
        let [[x, y], _] = corners;
        if !x.is_finite() || !y.is_finite() {
            return;
        }
        let by = [-x, -y];
        let shift = |at: &mut At| {
            let [px, py] = *at;
            *at = [px - x, py - y];
        };
        self.outline.iter_mut().flatten().for_each(shift);
        for pad in &mut self.pads {
            shift(&mut pad.at);
            pad.copper.iter_mut().chain(&mut pad.hole).for_each(|copper| *copper = copper.moved(by));
        }
        self.vias.iter_mut().for_each(|via| shift(&mut via.at));
        self.tracks.iter_mut().for_each(|track| track.copper = track.copper.moved(by));
        self.fills.iter_mut().for_each(|fill| fill.copper = fill.copper.moved(by));
    }
}
