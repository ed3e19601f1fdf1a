//! What current copper carries, and how warm it gets.

use std::f64::consts::PI;

use crate::board::{Board, Layer, Pour, Segment, SegmentKind};
use crate::copper::{ipc2152, ipc2221};
use crate::quantity::Amps;
use serde::Serialize;

/// A rise of this needs no thought, kelvin (common practice; also what `check` warns by).
pub const RISE_KELVIN: f64 = 10.0;

/// Current capacity of a piece of copper.
#[derive(Clone, Copy, PartialEq, Debug, Serialize)]
pub struct Capacity {
    /// Current for a rise of [`RISE_KELVIN`] by IPC-2221.
    #[serde(rename = "ipc2221_amps")]
    pub ipc2221: Amps,
    /// The same by the chart of IPC-2152, as a formula fits it.
    #[serde(rename = "ipc2152_amps")]
    pub ipc2152: Amps,
    /// Rise at the current it has, kelvin, by IPC-2221.
    pub rise_kelvin: f64,
    /// Does it get warmer than [`RISE_KELVIN`] by IPC-2221?
    pub exceeded: bool,
}

/// A cross-section of copper.
struct Section {
    width_mm: f64,
    copper_um: f64,
    outer: bool,
    /// So much of the segment's current flows through it.
    share: f64,
}

/// Capacity of a segment for the current it carries; `barrels` are those of a via that still conduct. Nothing for what is not copper on the
/// board.
pub fn of(board: &Board, segment: &Segment, current: Amps, barrels: Option<u32>) -> Option<Capacity> {
    let Section { width_mm, copper_um, outer, share } = section(board, segment, barrels)?;
    let whole = |current: Amps| current / share;
    let ipc2221 = whole(ipc2221::current(width_mm, copper_um, outer, RISE_KELVIN));
    Some(Capacity {
        ipc2221,
        ipc2152: whole(ipc2152::current(width_mm, copper_um, RISE_KELVIN)),
        rise_kelvin: ipc2221::rise_kelvin(width_mm, copper_um, outer, current * share),
        exceeded: current > ipc2221,
    })
}

fn section(board: &Board, segment: &Segment, barrels: Option<u32>) -> Option<Section> {
    let copper_um = board.copper_um;
    match &segment.kind {
        SegmentKind::Trace { width_mm, layer, .. } => {
            Some(Section { width_mm: *width_mm, copper_um, outer: *layer == Layer::Outer, share: 1.0 })
        }
        SegmentKind::Pour { shape: Some(Pour { neck: Some(neck), .. }), layer } => Some(Section {
            width_mm: neck.width_mm,
            copper_um,
            outer: *layer == Layer::Outer,
            share: neck.share,
        }),
        // The barrel unrolled: its middle circumference wide, as thick as its plating. It lies in laminate, so it is taken for an inner
        // conductor (common practice).
        SegmentKind::Via { count, drill_mm, plating_um } => {
            let barrels = barrels.unwrap_or(*count).max(1);
            Some(Section {
                width_mm: PI * (drill_mm - plating_um * 1e-3),
                copper_um: *plating_um,
                outer: false,
                share: 1.0 / f64::from(barrels),
            })
        }
        _ => None,
    }
}
