//! What healthy units of a board really have, over the whole band that their makers allow: nothing here knows limits.
//!
//! Copper from its geometry and the tolerances of making boards; parts and contacts around the value their maker calls
//! typical, which is the board file's where it states one.

use std::f64::consts::PI;

use crate::random::Rng;
use crate::{
    board::{Board, Layer, Segment, SegmentKind},
    quantity::{Henries, Ohms},
};

/// Temperature coefficient of copper at 20 °C, 1/K (IEC 60028).
pub const ALPHA_COPPER: f64 = 3.93e-3;

/// Resistivity of foil and plating, Ω·mm: that of annealed copper (IEC 60028: 1/58 Ω·mm²/m) to a few per cent more, since
/// deposited copper is less pure (common practice).
const COPPER_OHM_MM: [f64; 2] = [1.7241e-5, 1.79e-5];
/// Width of a trace over the drawn one: 20 % either way is accepted (IPC-6012 class 2, from memory).
const WIDTH: [f64; 2] = [0.8, 1.2];
/// Thickness of its copper over the stated one: foil may be a tenth thin, plating adds (IPC-4562 and IPC-6012, from memory).
const THICKNESS: [f64; 2] = [0.9, 1.2];
/// The same of an inner layer: processing leaves 24.9 µm of 34.3 µm (IPC-6012, from memory), and nothing is added.
const INNER_THICKNESS: [f64; 2] = [0.73, 1.1];
/// Plating of a barrel over the stated one: 20 µm on average pass where 25 µm are drawn (IPC-6012 class 2, from memory).
const PLATING: [f64; 2] = [0.8, 1.4];
/// A drill wanders by so much in diameter, mm (common practice).
const DRILL_MM: f64 = 0.025;
/// Laminate thickness: a tenth either way (common practice).
const LAMINATE: [f64; 2] = [0.9, 1.1];
/// A wire may be a hundredth thin and is rarely shorter than drawn (common practice).
const WIRE: [f64; 2] = [0.98, 1.09];

/// A healthy segment's resistance at 20 °C.
pub fn resistance(board: &Board, segment: &Segment, rng: &mut Rng) -> Ohms {
    let mut within = |[low, high]: [f64; 2]| rng.between(low, high);
    let typical = segment.expected.typical;
    let thickness = |layer| match layer {
        Layer::Outer => THICKNESS,
        Layer::Inner => INNER_THICKNESS,
    };
    match segment.kind {
        SegmentKind::Trace { length_mm, width_mm, layer } => {
            let area = width_mm * within(WIDTH) * board.copper_um * 1e-3 * within(thickness(layer));
            Ohms(within(COPPER_OHM_MM) * length_mm / area)
        }
        // Where it is narrow, and there it has its resistance, a pour is a trace.
        SegmentKind::Pour { ref shape, layer } => {
            let (width, thickness) = (within(WIDTH), within(thickness(layer)));
            let drawn = match shape {
                Some(pour) => Ohms(within(COPPER_OHM_MM) * pour.squares / (board.copper_um * 1e-3)),
                None => typical,
            };
            drawn / (width * thickness)
        }
        SegmentKind::Via { count, drill_mm, plating_um } => {
            let barrels = (0..count).map(|_| {
                let outer = drill_mm / 2.0 + within([-DRILL_MM, DRILL_MM]) / 2.0;
                let inner = (outer - plating_um * 1e-3 * within(PLATING)).max(0.0);
                let area = PI * (outer * outer - inner * inner);
                area / (within(COPPER_OHM_MM) * board.thickness_mm * within(LAMINATE))
            });
            Ohms(1.0 / barrels.sum::<f64>())
        }
        SegmentKind::Wire { .. } => typical * within(WIRE),
        // Sense resistors of 1 %, soldered.
        SegmentKind::Shunt { resistance } => resistance * within([0.99, 1.01]),
        // Chip fuses of one rating: a quarter either way (common practice).
        SegmentKind::Fuse { .. } => typical * within([0.75, 1.25]),
        // Between least as delivered and most after a trip, makers state a factor of four to ten.
        SegmentKind::Resettable { .. } => typical * rng.decades(0.5, 2.0),
        SegmentKind::Ferrite | SegmentKind::Inductor => typical * within([0.6, 1.4]),
        // Contacts and joints scatter over a factor of several (common practice).
        SegmentKind::Switch | SegmentKind::Connector | SegmentKind::Joint => typical * rng.decades(0.4, 2.0),
        // Legs and bond wires; the junction itself is no resistance.
        SegmentKind::Diode { .. } | SegmentKind::Transistor { .. } => Ohms(rng.between(20e-3, 60e-3)),
    }
}

/// Drawn copper wire is pure, Ω·mm: from IEC 60028's value to what tinning and small gauges add (common practice).
const WIRE_OHM_MM: [f64; 2] = [1.7241e-5, 1.77e-5];
/// Diameter of a wire over that of its gauge: makers hold about a hundredth (ASTM B3, from memory).
const WIRE_DIAMETER: [f64; 2] = [0.99, 1.01];
/// Length that somebody cuts and solders, over the one asked for (common practice).
const WIRE_CUT: [f64; 2] = [0.96, 1.06];
/// A sound joint of a wire on a pad, ohm (common practice).
const WIRE_JOINT: [f64; 2] = [0.1e-3, 0.8e-3];

/// Resistance at 20 °C of a wire of this gauge and length that somebody soldered on, with both its joints.
pub fn fitted_wire(awg: u32, length_mm: f64, rng: &mut Rng) -> Ohms {
    let mut within = |[low, high]: [f64; 2]| rng.between(low, high);
    // 36 AWG is 0.127 mm, and 39 gauges lie between a diameter and its 92nd part (ASTM B258).
    let nominal = 0.127 * libm::pow(92.0, (36.0 - f64::from(awg)) / 39.0);
    let diameter = nominal * within(WIRE_DIAMETER);
    let copper = within(WIRE_OHM_MM) * length_mm * within(WIRE_CUT) / (PI / 4.0 * diameter * diameter);
    Ohms(copper + within(WIRE_JOINT) + within(WIRE_JOINT))
}

/// Bare wire that is kept for strands, mm: gauges of 32 AWG, 30 AWG and so on (ASTM B258, from memory).
const STRANDS_MM: [f64; 8] = [0.160, 0.202, 0.255, 0.321, 0.405, 0.511, 0.644, 0.812];
/// A strand has to slip through, so the thickest with this share of the hole is taken (common practice).
const SLIPS: f64 = 0.8;
/// It stands out so far in all, mm (common practice).
const STANDS_OUT_MM: [f64; 2] = [0.6, 1.6];

/// A via group of which every barrel is dead and has a strand of wire through it, soldered on both sides; `None` for what is no via, or
/// where no strand slips through.
pub fn rebuilt_via(board: &Board, segment: &Segment, rng: &mut Rng) -> Option<Ohms> {
    let SegmentKind::Via { count, drill_mm, plating_um } = segment.kind else { return None };
    let room = SLIPS * (drill_mm - 2e-3 * plating_um);
    let strand = STRANDS_MM.into_iter().rev().find(|diameter| *diameter <= room)?;
    let mut within = |[low, high]: [f64; 2]| rng.between(low, high);
    let strands = (0..count).map(|_| {
        let diameter = strand * within(WIRE_DIAMETER);
        let length_mm = board.thickness_mm * within(LAMINATE) + within(STANDS_OUT_MM);
        let copper = within(WIRE_OHM_MM) * length_mm / (PI / 4.0 * diameter * diameter);
        1.0 / (copper + within(WIRE_JOINT) + within(WIRE_JOINT))
    });
    Some(Ohms(1.0 / strands.sum::<f64>()))
}

/// Inductance over the usual one: chokes of 20 % and of 30 % are common, beads and wires vary as much (common practice).
const INDUCTANCE: [f64; 2] = [0.7, 1.3];

/// A healthy segment's inductance.
pub fn inductance(segment: &Segment, rng: &mut Rng) -> Henries {
    segment.inductance * rng.between(INDUCTANCE[0], INDUCTANCE[1])
}

/// Pads of parts and vias are about this wide, mm (common practice).
const PAD_MM: f64 = 1.2;

/// Resistance of the copper between the middle of a pad and a pin that stands so far along a segment, mm.
pub fn beside(board: &Board, segment: &Segment, mm: f64) -> Ohms {
    let width_mm = match segment.kind {
        SegmentKind::Trace { width_mm, .. } => width_mm,
        _ => PAD_MM,
    };
    Ohms(COPPER_OHM_MM[0] * mm / (width_mm * board.copper_um * 1e-3))
}

/// How a usual part's resistance follows temperature, 1/K at 20 °C: in the middle of what such parts have.
pub fn usual_coefficient(kind: &SegmentKind) -> f64 {
    match kind {
        SegmentKind::Trace { .. }
        | SegmentKind::Pour { .. }
        | SegmentKind::Via { .. }
        | SegmentKind::Wire { .. }
        | SegmentKind::Inductor => ALPHA_COPPER,
        SegmentKind::Ferrite => 3.6e-3,
        SegmentKind::Fuse { .. } => 3.0e-3,
        SegmentKind::Resettable { .. } => 1.0e-3,
        SegmentKind::Shunt { .. } | SegmentKind::Diode { .. } | SegmentKind::Transistor { .. } => 0.0,
        SegmentKind::Switch | SegmentKind::Connector | SegmentKind::Joint => 2.0e-3,
    }
}

/// How a segment's resistance follows temperature, 1/K at 20 °C.
pub fn coefficient(kind: &SegmentKind, rng: &mut Rng) -> f64 {
    match kind {
        SegmentKind::Trace { .. }
        | SegmentKind::Pour { .. }
        | SegmentKind::Via { .. }
        | SegmentKind::Wire { .. }
        | SegmentKind::Inductor => ALPHA_COPPER,
        // Printed silver and copper windings.
        SegmentKind::Ferrite => rng.between(3.0e-3, 4.1e-3),
        // Fuse elements: tin, silver, copper and alloys of them.
        SegmentKind::Fuse { .. } => rng.between(1.0e-3, 4.5e-3),
        // Conducting polymer: little change far below its switching temperature, of either sign.
        SegmentKind::Resettable { .. } => rng.between(-2.0e-3, 5.0e-3),
        SegmentKind::Shunt { .. } => rng.between(-1.0e-4, 1.0e-4),
        SegmentKind::Diode { .. } | SegmentKind::Transistor { .. } => 0.0,
        // Springs of brass, bronze and beryllium copper; solder.
        SegmentKind::Switch | SegmentKind::Connector | SegmentKind::Joint => rng.between(0.0, 4.3e-3),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn copper_spreads_over_what_makers_of_boards_allow() {
        let path = concat!(env!("CARGO_MANIFEST_DIR"), "/../fixtures/tide-gauge-head/board.toml");
        let board = crate::board::read(path.as_ref()).unwrap();
        let mut rng = Rng::new(1);
        for segment in board.segments.iter().filter(|segment| segment.kind.is_copper()) {
            let drawn: Vec<f64> =
                (0..2000).map(|_| resistance(&board, segment, &mut rng) / segment.expected.typical).collect();
            let (low, high) = drawn.iter().fold((f64::MAX, 0.0_f64), |(l, h), &v| (l.min(v), h.max(v)));
            assert!(low > 0.6 && low < 0.85, "{}: {low}", segment.name);
            assert!(high > 1.15 && high < 1.45, "{}: {high}", segment.name);
        }
    }
}
