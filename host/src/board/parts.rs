//! Typical and limiting resistance of healthy parts and contacts at 20 °C.
//!
//! Figures from makers' sheets where one was read; "common practice" where not. They are starting points for
//! limits: two makers' 1 A fuses differ by nearly two, so a part that matters gets its own `typical` or
//! `max`.

use super::Expected;
use crate::quantity::{Amps, Henries, Ohms, Volts};

const fn usual(typical_ohms: f64, high_ohms: f64) -> Expected {
    Expected { typical: Ohms(typical_ohms), high: Ohms(high_ohms) }
}

/// Ferrite bead on a supply line. Makers' maxima: 60 Ω 400 mA bead 0.10 Ω, 10 Ω 500 mA bead 0.05 Ω (BMB0603A
/// sheet). Signal beads go up to 0.7 Ω (BLM15 sheet): give those a `typical`.
pub const FERRITE: Expected = usual(0.06, 0.10);

/// Small power inductor. Common practice: a tenth of an ohm or two; give yours a `typical`.
pub const INDUCTOR: Expected = usual(0.15, 0.25);

/// Inductance of a ferrite bead far below its resonance. Common practice: 60 Ω to 600 Ω at 100 MHz are 0.1 to 1 µH.
pub const FERRITE_INDUCTANCE: Henries = Henries(0.5e-6);

/// Inductance of a small power inductor in a supply line. Common practice: 2.2 to 22 µH; state yours.
pub const INDUCTOR_INDUCTANCE: Henries = Henries(10e-6);

/// Inductance of a millimetre of straight wire. Common practice: one nanohenry.
pub const WIRE_INDUCTANCE_PER_MM: Henries = Henries(1e-9);

/// P- or N-channel MOSFET against a reversed battery, switched on. Common practice: 20 to 80 mΩ.
pub const TRANSISTOR: Expected = usual(0.03, 0.08);

/// A diode may let so much through backwards where nothing is stated, and so may a transistor. Common practice: Schottky diodes of an
/// ampere leak some ten microamperes at a volt and at room temperature.
pub const MAX_REVERSE: Amps = Amps(100e-6);

/// A healthy diode has so much of the forward voltage that its board file allows it; no unit. Common practice: limits keep a quarter
/// above the usual.
const DIODE_TYPICAL: f64 = 0.75;

/// What a diode costs the supply at full load, as a resistance: its limit in volts over the load.
pub fn diode(max_forward: Volts, load: Amps) -> Expected {
    let high = max_forward / load;
    Expected { typical: high * DIODE_TYPICAL, high }
}

/// Slide switch: 70 mΩ at most when new, 130 mΩ at most after its life (SSSS8 sheet); good ones read 50 to 70
/// mΩ.
pub const SWITCH: Expected = usual(0.06, 0.13);

/// Mated crimp or spring contact pair. Common practice: 10 to 20 mΩ new, up to 40 mΩ after wear.
pub const CONNECTOR: Expected = usual(0.015, 0.040);

/// Solder joint. Common practice: well under a milliohm; 2 mΩ with a thin fillet.
pub const JOINT: Expected = usual(0.0005, 0.002);

/// Sense resistor of 1 % whose pads and solder add a little.
pub const fn shunt(resistance: Ohms) -> Expected {
    usual(resistance.0, resistance.0 * 1.05)
}

/// Cold resistance of 0603 fast chip fuses by rating: (A, Ω typical), 0603FA series. Another maker's 1608FF
/// series reads 0.14 Ω at 1 A and 0.042 Ω at 2 A, so the lower side is wide open.
const FUSES: [(f64, f64); 12] = [
    (0.25, 3.25),
    (0.375, 1.8),
    (0.5, 1.07),
    (0.75, 0.47),
    (1.0, 0.25),
    (1.5, 0.15),
    (2.0, 0.078),
    (2.5, 0.049),
    (3.0, 0.035),
    (4.0, 0.018),
    (5.0, 0.014),
    (6.0, 0.011),
];

/// Spread of a fuse's cold resistance above its typical value: ±25 % is common practice, plus its solder.
const FUSE_HIGH: f64 = 1.3;

/// A fuse that states no rating is taken for this one.
const FUSE_ASSUMED: Amps = Amps(1.0);

/// A fuse by its rating.
pub fn fuse(rating: Option<Amps>) -> Expected {
    let typical = between(&FUSES, rating.unwrap_or(FUSE_ASSUMED).0);
    usual(typical, typical * FUSE_HIGH)
}

/// Resettable fuses by hold current: least resistance as delivered, Ω. 0805 sizes up to 0.35 A (FSMD-0805),
/// 0603 sizes above (0603 series, 0.50 and 0.60 A).
const RESETTABLE_LEAST: [(f64, f64); 5] = [(0.1, 0.70), (0.2, 0.40), (0.35, 0.25), (0.5, 0.10), (0.6, 0.08)];

/// The same parts: greatest resistance one hour after a trip or after reflow (R1max), Ω.
const RESETTABLE_MOST: [(f64, f64); 5] = [(0.1, 6.0), (0.2, 3.5), (0.35, 1.2), (0.5, 0.80), (0.6, 0.60)];

/// A resettable fuse that states no hold current is taken for this one.
const RESETTABLE_ASSUMED: Amps = Amps(0.5);

/// A resettable fuse by its hold current: typical is the geometric middle of the maker's two bounds.
pub fn resettable(hold: Option<Amps>) -> Expected {
    let hold = hold.unwrap_or(RESETTABLE_ASSUMED).0;
    let (least, most) = (between(&RESETTABLE_LEAST, hold), between(&RESETTABLE_MOST, hold));
    usual((least * most).sqrt(), most)
}

/// Interpolates between rows, both axes logarithmic, as these parts follow power laws; beyond the ends the
/// nearest stretch goes on.
fn between(rows: &[(f64, f64)], at: f64) -> f64 {
    let upper = rows.partition_point(|(x, _)| *x < at).clamp(1, rows.len() - 1);
    let ((x0, y0), (x1, y1)) = (rows[upper - 1], rows[upper]);
    y0 * ((at / x0).ln() / (x1 / x0).ln() * (y1 / y0).ln()).exp()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rows_come_back_exactly_and_between_them_lies_between() {
        for (rating, ohms) in FUSES {
            assert!((fuse(Some(Amps(rating))).typical / Ohms(ohms) - 1.0).abs() < 1e-12, "{rating} A");
        }
        let between_rows = fuse(Some(Amps(1.25))).typical.0;
        assert!(between_rows < 0.25 && between_rows > 0.15);
        assert!(fuse(Some(Amps(10.0))).typical < Ohms(0.011));
        assert_eq!(fuse(None), fuse(Some(Amps(1.0))));
    }

    #[test]
    fn a_resettable_fuse_lies_between_its_maker_s_bounds() {
        let part = resettable(Some(Amps(0.2)));
        assert!((part.high.0 - 3.5).abs() < 1e-12);
        assert!(part.typical > Ohms(0.40) && part.typical < Ohms(3.5));
    }
}
