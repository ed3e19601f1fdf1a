//! What it does to a reading where exactly the sense pins stand on their pads.
//!
//! A pin beside the middle of its pad, along the path, reads a little of the copper there with one neighbour instead of the
//! other: nothing is lost, but one segment reads less and the next one more.

use super::{Board, PointId, SegmentId, SegmentKind, expected::RHO_COPPER};
use crate::quantity::Ohms;

/// Pads of parts and of vias are about this wide, mm (common practice).
const PAD_MM: f64 = 1.2;

/// Half width of what the two pins of a segment may take or give, when they stand at most so far off, mm.
pub fn half_width(board: &Board, id: SegmentId, off_mm: impl Fn(PointId) -> f64) -> Ohms {
    let segment = board.segment(id);
    let [from, to] = [segment.from, segment.to].map(|end| beside(board, end, off_mm(end)));
    from.hypot(to)
}

/// Resistance of the copper between the middle of a point's pad and a pin so far off, mm.
pub fn beside(board: &Board, point: PointId, off_mm: f64) -> Ohms {
    let meeting = board.segments.iter().filter(|segment| [segment.from, segment.to].contains(&point));
    let narrowest = meeting
        .filter_map(|segment| match segment.kind {
            SegmentKind::Trace { width_mm, .. } => Some(width_mm),
            _ => None,
        })
        .fold(PAD_MM, f64::min);
    // Ω·mm²/m over µm is milliohm: a square of the copper.
    let square = RHO_COPPER / board.copper_um;
    Ohms(square * off_mm / narrowest)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A square of 35 µm copper has 0.4926 mΩ (1/58 over 35): 0.3 mm of a trace 1 mm wide 0.148 mΩ.
    #[test]
    fn three_tenths_of_a_millimetre_beside_a_trace_are_a_seventh_of_a_milliohm() {
        let path = concat!(env!("CARGO_MANIFEST_DIR"), "/../fixtures/tide-gauge-head/board.toml");
        let board = crate::board::read(path.as_ref()).unwrap();
        let feed = board.segment_named("fuse feed").unwrap();
        let Ohms(ohms) = half_width(&board, feed, |_| 0.3);
        assert!((ohms - 2.0_f64.sqrt() * 0.1478e-3).abs() < 1e-6, "{ohms}");
    }
}
