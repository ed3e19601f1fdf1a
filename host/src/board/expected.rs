//! What a healthy segment reads at 20 °C: copper from its geometry, parts from [`super::parts`].
//!
//! `docs/expected-resistance.md` explains the figures to the people who use them.

use std::f64::consts::PI;

use super::parts;
use super::{Expected, Layer, Pour, Segment, SegmentKind};
use crate::copper::ipc2221;
use crate::quantity::{Amps, Henries, Ohms};

/// Resistivity of annealed copper at 20 °C, Ω·mm²/m: 1/58 by IEC 60028 (1925).
pub const RHO_COPPER: f64 = 1.0 / 58.0;

/// Temperature coefficient of annealed copper at 20 °C, 1/K (IEC 60028, constant mass).
pub const ALPHA_COPPER: f64 = 0.003_93;

/// Lengths are kept in mm, the resistivity counts metres.
const METRES_PER_MM: f64 = 1e-3;

/// A healthy trace may be etched a fifth narrow (the usual acceptance, IPC-6012 class 2, from memory), and its foil may be a
/// tenth thin on top of it (IPC-4562, from memory): 1/(0.8 · 0.9).
const TRACE_HIGH: f64 = 1.0 / (0.8 * 0.9);

/// Of an inner layer nothing is plated, and processing takes from the foil: 24.9 µm are left of 34.3 µm (IPC-6012, least
/// thickness of internal layers, from memory), and a fifth narrow on top of it.
const INNER_TRACE_HIGH: f64 = 1.0 / (0.8 * 24.9 / 34.3);

/// A healthy barrel may be thin at its knees: 20 µm on average passes where 25 µm was drawn (IPC-6012 class
/// 2, from memory), and drills wander in diameter.
const VIA_HIGH: f64 = 1.35;

/// A healthy wire may be 1 % thin and a tenth longer than drawn (common practice).
const WIRE_HIGH: f64 = 1.1;

/// A trace may come out a fifth wider than drawn, and 30 % thicker where plating was added to the foil (common
/// practice: outer foil of 18 µm ends at 40 to 60 µm, and boards state the least).
const TRACE_LOW: f64 = 1.0 / (1.2 * 1.3);

/// An inner trace gets no plating; its foil may be a tenth thick (IPC-4562, from memory).
const INNER_TRACE_LOW: f64 = 1.0 / (1.2 * 1.1);

/// A barrel may be plated twice as thick as the least that is drawn (common practice).
const VIA_LOW: f64 = 0.5;

/// A wire may be a tenth shorter than drawn (common practice).
const WIRE_LOW: f64 = 0.9;

/// Below its value a shunt may lie by its tolerance and that of its kind at most: 5 % as above it.
const SHUNT_LOW: f64 = 0.95;

/// The board a segment lies on, as far as copper's resistance depends on it.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Laminate {
    /// Laminate thickness, mm.
    pub thickness_mm: f64,
    /// Copper thickness, µm.
    pub copper_um: f64,
}

/// What a healthy segment reads; `typical` overrides the middle, and the upper end moves in proportion.
pub fn expected(kind: &SegmentKind, laminate: Laminate, typical: Option<Ohms>) -> Expected {
    let usual = match *kind {
        SegmentKind::Trace { length_mm, width_mm, layer } => {
            let high = match layer {
                Layer::Outer => TRACE_HIGH,
                Layer::Inner => INNER_TRACE_HIGH,
            };
            copper(trace_resistance(length_mm, width_mm, laminate.copper_um), high)
        }
        SegmentKind::Pour { ref shape, layer } => {
            let high = match layer {
                Layer::Outer => TRACE_HIGH,
                Layer::Inner => INNER_TRACE_HIGH,
            };
            match shape {
                Some(pour) => {
                    copper(pour_resistance(pour, laminate.copper_um), high * (1.0 + relative_error(pour)))
                }
                None => copper(typical.unwrap_or_default(), high),
            }
        }
        SegmentKind::Via { count, drill_mm, plating_um } => copper(
            barrel_resistance(drill_mm, plating_um, laminate.thickness_mm) / f64::from(count),
            VIA_HIGH,
        ),
        SegmentKind::Wire { length_mm, awg } => copper(wire_resistance(length_mm, awg), WIRE_HIGH),
        SegmentKind::Fuse { rating } => parts::fuse(rating),
        SegmentKind::Resettable { hold } => parts::resettable(hold),
        SegmentKind::Shunt { resistance } => parts::shunt(resistance),
        SegmentKind::Ferrite => parts::FERRITE,
        SegmentKind::Inductor => parts::INDUCTOR,
        SegmentKind::Switch => parts::SWITCH,
        SegmentKind::Connector => parts::CONNECTOR,
        SegmentKind::Joint => parts::JOINT,
        SegmentKind::Transistor { .. } => parts::TRANSISTOR,
        // What it costs depends on the load, which is the supply's.
        SegmentKind::Diode { .. } => return Expected { typical: Ohms::ZERO, high: Ohms::ZERO },
    };
    match typical {
        Some(typical) => Expected { typical, high: Ohms(typical.0 * usual.high.0 / usual.typical.0) },
        None => usual,
    }
}

/// Inductance of a usual one of this kind; zero where the kind has none worth speaking of.
pub fn inductance(kind: &SegmentKind) -> Henries {
    match *kind {
        SegmentKind::Ferrite => parts::FERRITE_INDUCTANCE,
        SegmentKind::Inductor => parts::INDUCTOR_INDUCTANCE,
        SegmentKind::Wire { length_mm, .. } => length_mm * parts::WIRE_INDUCTANCE_PER_MM,
        _ => Henries::ZERO,
    }
}

/// The least that a healthy segment can have at 20 °C: copper at its thickest and widest. Zero for parts and contacts,
/// of which good ones differ too much for a bound.
pub fn least(segment: &Segment) -> Ohms {
    let share = match segment.kind {
        SegmentKind::Trace { layer: Layer::Outer, .. } => TRACE_LOW,
        SegmentKind::Trace { layer: Layer::Inner, .. } => INNER_TRACE_LOW,
        SegmentKind::Pour { ref shape, layer } => {
            let share = match layer {
                Layer::Outer => TRACE_LOW,
                Layer::Inner => INNER_TRACE_LOW,
            };
            share * (1.0 - shape.as_ref().map_or(0.0, relative_error))
        }
        SegmentKind::Via { .. } => VIA_LOW,
        SegmentKind::Wire { .. } => WIRE_LOW,
        SegmentKind::Shunt { .. } => SHUNT_LOW,
        _ => 0.0,
    };
    segment.expected.typical * share
}

fn copper(typical: Ohms, high: f64) -> Expected {
    Expected { typical, high: typical * high }
}

/// A flat strip of copper: ρ·L / (w·t).
pub fn trace_resistance(length_mm: f64, width_mm: f64, copper_um: f64) -> Ohms {
    Ohms(RHO_COPPER * METRES_PER_MM * length_mm / (width_mm * copper_um * 1e-3))
}

/// Copper of any shape: its squares, each ρ / t.
pub fn pour_resistance(pour: &Pour, copper_um: f64) -> Ohms {
    // Ω·mm²/m over µm is ohms a square.
    Ohms(pour.squares * RHO_COPPER / copper_um)
}

/// What a pour's squares are known to, relative.
fn relative_error(pour: &Pour) -> f64 {
    pour.error_squares / pour.squares
}

/// One plated barrel, the plating grown inwards from the drilled wall: ρ·L / (π·(ro² − ri²)).
pub fn barrel_resistance(drill_mm: f64, plating_um: f64, thickness_mm: f64) -> Ohms {
    let outer = drill_mm / 2.0;
    let inner = outer - plating_um * 1e-3;
    Ohms(RHO_COPPER * METRES_PER_MM * thickness_mm / (PI * (outer * outer - inner * inner)))
}

/// A round wire by its gauge number.
pub fn wire_resistance(length_mm: f64, awg: u32) -> Ohms {
    let diameter = awg_diameter_mm(awg);
    Ohms(RHO_COPPER * METRES_PER_MM * length_mm / (PI / 4.0 * diameter * diameter))
}

/// Diameter of a gauge, mm: 0.005 in × 92^((36 − n)/39) (ASTM B258).
pub fn awg_diameter_mm(awg: u32) -> f64 {
    0.127 * 92f64.powf((36.0 - f64::from(awg)) / 39.0)
}

/// Current a trace carries for a given rise of its temperature (IPC-2221).
pub fn ipc2221_current(width_mm: f64, copper_um: f64, layer: Layer, rise_kelvin: f64) -> Amps {
    ipc2221::current(width_mm, copper_um, layer == Layer::Outer, rise_kelvin)
}
