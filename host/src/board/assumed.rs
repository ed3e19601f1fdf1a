//! What a board file may leave out because nobody who only has the board in hand can know it. Each has a usual value, which is
//! marked as assumed wherever it is shown, and a range in which boards are found; limits that follow from it are wider by that.

use serde::{Deserialize, Serialize};

use super::{Expected, Layer, SegmentKind, Supply};
use crate::quantity::{Amps, Ohms, Volts, si};

/// Thickness of a board, mm (common practice; 0.8 to 2.0 mm are found).
pub const THICKNESS_MM: f64 = 1.6;
/// Finished copper, µm: one ounce to the square foot (common practice; 25 to 70 µm are found on outer layers).
pub const COPPER_UM: f64 = 35.0;
/// Plating of a barrel, µm, on average by IPC-6012 class 2 (from memory; 12 to 40 µm are found).
pub const PLATING_UM: f64 = 20.0;
/// Current of a handheld at work, A (common practice; from some milliamperes to an ampere).
pub const LOAD: Amps = Amps(0.1);
/// Of the lowest supply voltage a path may cost this share (common practice: 3 to 5 %).
const DROP_SHARE: f64 = 0.05;

/// The thinnest finished copper that is found outside and inside, µm (common practice).
const THIN_OUTER_UM: f64 = 25.0;
const THIN_INNER_UM: f64 = 15.0;
/// The thickest, µm.
const THICK_UM: f64 = 70.0;
/// The thinnest and the thickest plating, µm (common practice).
const PLATING_FOUND_UM: [f64; 2] = [12.0, 40.0];
/// The thinnest and the thickest board, mm (common practice).
const THICKNESS_FOUND_MM: [f64; 2] = [0.8, 2.0];

/// Something that a board file does not say.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Assumed {
    /// How thick the board is.
    Thickness,
    /// How thick its copper is.
    Copper,
    /// How thick a via's barrel is plated.
    Plating,
    /// What current the loads draw.
    Load,
    /// What voltage the path may cost.
    MaxDrop,
}

/// What a path may cost of a supply whose file does not say, at least: the board's segments may take more.
pub fn max_drop(voltage: [Volts; 2]) -> Volts {
    voltage[0] * DROP_SHARE
}

/// What a healthy segment may read where its copper is assumed: the upper end moves to the thinnest that is found.
pub fn widened(expected: Expected, kind: &SegmentKind, assumed: &[Assumed]) -> Expected {
    let factor = assumed.iter().map(|&what| highest(what, kind)).product::<f64>();
    Expected { high: expected.high * factor, ..expected }
}

/// How much more a segment may have than by the assumed value.
fn highest(what: Assumed, kind: &SegmentKind) -> f64 {
    match (what, kind) {
        (Assumed::Copper, SegmentKind::Trace { layer, .. } | SegmentKind::Pour { layer, .. }) => {
            match layer {
                Layer::Outer => COPPER_UM / THIN_OUTER_UM,
                Layer::Inner => COPPER_UM / THIN_INNER_UM,
            }
        }
        (Assumed::Plating, SegmentKind::Via { .. }) => PLATING_UM / PLATING_FOUND_UM[0],
        (Assumed::Thickness, SegmentKind::Via { .. }) => THICKNESS_FOUND_MM[1] / THICKNESS_MM,
        _ => 1.0,
    }
}

/// How much less it may have.
fn lowest(what: Assumed, kind: &SegmentKind) -> f64 {
    match (what, kind) {
        (Assumed::Copper, SegmentKind::Trace { .. } | SegmentKind::Pour { .. }) => COPPER_UM / THICK_UM,
        (Assumed::Plating, SegmentKind::Via { .. }) => PLATING_UM / PLATING_FOUND_UM[1],
        (Assumed::Thickness, SegmentKind::Via { .. }) => THICKNESS_FOUND_MM[0] / THICKNESS_MM,
        _ => 1.0,
    }
}

/// The least that a healthy segment can have, where it is `least` by the assumed values.
pub fn lessened(least: Ohms, kind: &SegmentKind, assumed: &[Assumed]) -> Ohms {
    least * assumed.iter().map(|&what| lowest(what, kind)).product::<f64>()
}

/// What was assumed, for people: `copper 35 µm (25 to 70 µm are found)`.
pub fn in_words(assumed: Assumed, supply: &Supply) -> String {
    match assumed {
        Assumed::Thickness => {
            let [thin, thick] = THICKNESS_FOUND_MM;
            format!("thickness {THICKNESS_MM} mm ({thin:.1} to {thick:.1} mm are found)")
        }
        Assumed::Copper => format!("copper {COPPER_UM} µm ({THIN_OUTER_UM} to {THICK_UM} µm are found)"),
        Assumed::Plating => {
            let [thin, thick] = PLATING_FOUND_UM;
            format!("plating of vias {PLATING_UM} µm ({thin} to {thick} µm are found)")
        }
        Assumed::Load => format!("load {}", si(LOAD.0, 3, "A")),
        Assumed::MaxDrop => {
            let drop = si(supply.max_drop.0, 3, "V");
            format!(
                "max_drop {drop} ({:.0} % of the lowest supply voltage, or what stated limits and twice the healthy segments take)",
                100.0 * DROP_SHARE
            )
        }
    }
}

/// One sentence about everything that was assumed; nothing where the file says it all.
pub fn note(assumed: &[Assumed], supply: &Supply) -> Option<String> {
    let each: Vec<String> = assumed.iter().map(|&what| in_words(what, supply)).collect();
    (!each.is_empty()).then(|| {
        format!(
            "assumed, since the board file does not say it: {}; limits that follow from it are as uncertain: measure and state it, or learn \
             limits from good units",
            each.join(", ")
        )
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::board::{self, Board};
    use crate::limits::LimitSet;

    const STATED: &str = include_str!("../../../fixtures/trail-counter/board.toml");

    /// The trail counter's board without some of its lines.
    fn without(lines: &[&str]) -> Board {
        let text: String =
            STATED.lines().filter(|line| !lines.contains(line)).map(|line| format!("{line}\n")).collect();
        board::parse("board.toml", &text).unwrap()
    }

    #[test]
    fn what_is_left_out_is_the_usual_marked_and_the_upper_ends_are_wider_by_it() {
        let stated = board::parse("board.toml", STATED).unwrap();
        assert_eq!(stated.assumed, []);
        assert_eq!(note(&stated.assumed, &stated.supply), None);
        let board = without(&[
            "thickness = \"1.0 mm\"",
            "copper = \"35 um\"",
            "plating = \"20 um\"",
            "load = \"60 mA\"",
            "max_drop = \"300 mV\"",
        ]);
        let all = [Assumed::Thickness, Assumed::Copper, Assumed::Plating, Assumed::Load, Assumed::MaxDrop];
        assert_eq!(board.assumed, all);
        assert_eq!((board.thickness_mm, board.copper_um), (1.6, 35.0));
        // The stated limits take 2.5 Ω: more than 5 % of 3 V leave at 100 mA.
        assert_eq!(board.supply.load, Amps(0.1));
        assert!((0.25..0.35).contains(&board.supply.max_drop.0), "{:?}", board.supply.max_drop);
        assert!(
            LimitSet::of_board(&board).iter().zip(&board.segments).all(|(l, s)| l.max > s.expected.typical)
        );
        let high = |board: &Board, name: &str| {
            let expected = board.segment(board.segment_named(name).unwrap()).expected;
            expected.high / expected.typical
        };
        // 35 µm drawn, 25 µm found; 20 µm drawn, 12 µm found, 1.6 mm drawn, 2.0 mm found.
        assert!((high(&board, "key trace") / high(&stated, "key trace") - 1.4).abs() < 1e-9);
        let via = (20.0 / 12.0) * (2.0 / 1.6);
        assert!((high(&board, "single via") / high(&stated, "single via") - via).abs() < 1e-9);
        assert_eq!(high(&board, "wake key"), high(&stated, "wake key"), "a contact is no copper");
        let note = note(&board.assumed, &board.supply).unwrap();
        for words in [
            "thickness 1.6 mm (0.8 to 2.0 mm are found), copper 35 µm (25 to 70 µm are found), plating of vias 20 µm",
            "load 100 mA, max_drop 2",
        ] {
            assert!(note.contains(words), "{note}");
        }
    }

    #[test]
    fn a_stated_typical_stands_on_nothing_assumed() {
        let text = STATED
            .replace("copper = \"35 um\"\n", "")
            .replace("name = \"plug trace\"\n", "name = \"plug trace\"\ntypical = \"4 mohm\"\n");
        let board = board::parse("board.toml", &text).unwrap();
        let stated = board::parse("board.toml", STATED).unwrap();
        let ratio = |board: &Board| {
            let expected = board.segment(board.segment_named("plug trace").unwrap()).expected;
            expected.high / expected.typical
        };
        assert!((ratio(&board) - ratio(&stated)).abs() < 1e-9);
    }

    #[test]
    fn golden_units_of_thick_copper_are_below_no_floor() {
        let kind = SegmentKind::Trace { length_mm: 10.0, width_mm: 1.0, layer: Layer::Outer };
        let floor = lessened(Ohms(4e-3), &kind, &[Assumed::Copper, Assumed::Load]);
        assert_eq!(floor, Ohms(2e-3), "70 µm instead of 35 µm");
        assert_eq!(lessened(Ohms(4e-3), &SegmentKind::Switch, &[Assumed::Copper]), Ohms(4e-3));
    }
}
