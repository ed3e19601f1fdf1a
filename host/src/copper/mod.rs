//! Copper of any shape: the resistance between two places of a conductor given as polygons, tracks, arcs and discs on
//! one or several layers that barrels join.
//!
//! Each layer is a sheet with a resistance per square, and the potential in it obeys Laplace's equation. Where the current
//! enters and leaves, and at the rim of every barrel, the copper is held at one potential:
//!
//! * A [`Terminal`] is one potential over its whole area. For "the whole pad" give the pad's shape, on every layer where
//!   the pad has copper; for "a pin touches a spot" give a disc of the spot's diameter.
//! * A [`Barrel`] is a resistor between two layers and one potential over its [`rim`](Barrel::rim) on both. For "the current
//!   spreads from the hole's wall" give the disc of the drill; for "the whole land is one potential" the disc of the land.
//!
//! Areas of one potential that touch on a layer are one. Lengths are millimetres; the direction of the axes is the caller's.
//!
//! [`resistance`] solves twice: for the potential, which bounds the resistance from below, and for the flow, which
//! bounds it from above. The result is the middle, the stated error half the distance, so the true value for
//! the shapes as given lies inside it.

mod cholesky;
mod contour;
mod element;
mod energy;
mod flow;
mod held;
pub mod ipc2152;
pub mod ipc2221;
mod mesh;
mod neck;
mod network;
mod pieces;
mod potential;
mod sheet;
mod solve;
#[cfg(test)]
mod tests;
mod weld;

use crate::quantity::{Amps, Ohms};

/// A conductor: layers of copper and the barrels between them.
#[derive(Clone, PartialEq, Debug, Default)]
pub struct Conductor {
    /// The layers that have copper; barrels and terminals name them by their place in this list.
    pub layers: Vec<Layer>,
    /// What joins the layers.
    pub barrels: Vec<Barrel>,
}

/// The copper of one layer.
#[derive(Clone, PartialEq, Debug)]
pub struct Layer {
    /// All copper, in any order; overlaps count once, and gaps up to [`GAP_MM`] are closed.
    pub shapes: Vec<Shape>,
    /// What is taken out of all of it, such as holes without plating.
    pub cuts: Vec<Shape>,
    /// Resistance of a square, resistivity by thickness.
    pub sheet: Ohms,
    /// Thickness, µm: what the temperature rise of a neck depends on beside its width.
    pub copper_um: f64,
    /// Whether air cools it, for IPC-2221.
    pub outer: bool,
}

/// A piece of copper seen from above, mm.
#[derive(Clone, PartialEq, Debug)]
pub enum Shape {
    /// An area within a closed outline, less its holes. No point needs to be repeated at the end. An outline may touch itself
    /// (as one that runs into a hole along a slit and out again does) but must not cross itself.
    Polygon {
        /// The outline, in either direction.
        outer: Vec<[f64; 2]>,
        /// Holes in it, in either direction.
        holes: Vec<Vec<[f64; 2]>>,
    },
    /// A line of one width with round ends and round corners.
    Track {
        /// Its corners, ends included; one alone is a disc.
        points: Vec<[f64; 2]>,
        /// Its width.
        width_mm: f64,
    },
    /// A part of a circle drawn with one width and round ends.
    Arc {
        /// Where it begins.
        start: [f64; 2],
        /// Any point on it between the ends.
        mid: [f64; 2],
        /// Where it ends; where it begins, for a whole circle with `mid` opposite.
        end: [f64; 2],
        /// Its width.
        width_mm: f64,
    },
    /// A round area.
    Disc {
        /// Its centre.
        at: [f64; 2],
        /// Its diameter.
        diameter_mm: f64,
    },
}

/// The plated wall of a hole between two layers. One that passes several layers is several of these, one after the other
/// with the same rim.
#[derive(Clone, PartialEq, Debug)]
pub struct Barrel {
    /// What is one potential on both layers: the hole's area, or its land's.
    pub rim: Shape,
    /// The two layers it joins.
    pub layers: (usize, usize),
    /// From one to the other.
    pub resistance: Ohms,
}

/// Where the current enters or leaves: one potential over all its areas together.
#[derive(Clone, PartialEq, Debug, Default)]
pub struct Terminal {
    /// The areas by layer; what of them lies outside the copper touches nothing.
    pub areas: Vec<(usize, Shape)>,
}

impl Terminal {
    /// One area on one layer.
    pub fn on(layer: usize, area: Shape) -> Self {
        Self { areas: vec![(layer, area)] }
    }
}

/// How exactly, and at what cost.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Wanted {
    /// Half-width of the stated error over the resistance at which to stop.
    pub relative: f64,
    /// What is taken instead when all triangles are spent; less than `relative` counts as that.
    pub tolerable: f64,
    /// Most triangles to take.
    pub most_triangles: usize,
    /// The current for which the hottest neck's temperature rise is told.
    pub current: Amps,
}

impl Wanted {
    /// To half a per cent, and the neck for one ampere.
    pub const DEFAULT: Self =
        Self { relative: 0.005, tolerable: 0.0, most_triangles: 100_000, current: Amps(1.0) };
}

impl Default for Wanted {
    fn default() -> Self {
        Self::DEFAULT
    }
}

/// The resistance, and what is known about it.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Solved {
    /// From one terminal to the other.
    pub resistance: Ohms,
    /// Half-width of the interval that holds the true value for the shapes as given.
    pub error: Ohms,
    /// Where copper gets hottest; none where all of the current goes through barrels.
    pub neck: Option<Neck>,
    /// Triangles of the last mesh.
    pub triangles: usize,
}

/// A place where the current is crowded.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Neck {
    /// The layer.
    pub layer: usize,
    /// The middle of the line across which the current flows, mm.
    pub at: [f64; 2],
    /// Length of that line, along which the potential is the same, mm.
    pub width_mm: f64,
    /// The part of the whole current that crosses it, 0 to 1.
    pub share: f64,
    /// Rise of a straight trace of this width and current over its surroundings by IPC-2221, kelvin.
    pub rise_kelvin: f64,
}

/// Copper closer than this counts as joined, mm: above what rounding leaves of copper that was drawn to touch, below what any
/// board can be etched to.
pub const GAP_MM: f64 = 0.001;

pub use solve::resistance;

/// Either terminal.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum End {
    /// Where the current enters.
    From,
    /// Where it leaves.
    To,
}

impl std::fmt::Display for End {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(match self {
            Self::From => "from",
            Self::To => "to",
        })
    }
}

/// Why there is no resistance to tell.
#[derive(Clone, PartialEq, Debug, thiserror::Error)]
#[allow(missing_docs)] // the messages say it
pub enum CopperError {
    #[error("a coordinate of {value} mm is beyond {most} mm")]
    Coordinate { value: f64, most: f64 },
    #[error("copper of {width_mm} mm width at ({:.3}, {:.3}) mm is no copper", at[0], at[1])]
    Width { width_mm: f64, at: [f64; 2] },
    #[error("the outline crosses itself at ({:.3}, {:.3}) mm", at[0], at[1])]
    Crossed { at: [f64; 2] },
    #[error("there is no layer {layer}; there are {layers}, counted from 0")]
    NoLayer { layer: usize, layers: usize },
    #[error("a resistance of {ohms} Ω is none that copper has")]
    Resistance { ohms: f64 },
    #[error("the copper's outlines have {corners} corners; {most} at most can be solved")]
    Corners { corners: usize, most: usize },
    #[error("the end `{end}` touches no copper")]
    Outside { end: End },
    #[error("both ends touch each other")]
    Together,
    #[error("no copper joins the ends")]
    Apart,
    #[error("the copper of layer {layer} has edges too close to each other to tell apart")]
    Unmeshable { layer: usize },
    #[error("the copper has details too small beside its size")]
    Unsolvable,
    #[error("the copper's details need {triangles} triangles; {most} at most can be solved")]
    Triangles { triangles: usize, most: usize },
    #[error("with {triangles} triangles the resistance is known to ±{:.2} % only; the shapes have too many details", reached * 100.0)]
    TooFine { triangles: usize, reached: f64 },
}
