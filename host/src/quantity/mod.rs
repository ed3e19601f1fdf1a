//! Quantities: types for what has a dimension, and the way people write them, a number with its unit.
//!
//! [`units`] holds the types. Every public field and function of this crate that means a resistance, a voltage, a
//! current, a capacitance, a time in seconds or a temperature has one of them. Lengths (mm, µm), pixels, temperature
//! differences (kelvin) and numbers without a dimension are `f64`, with the unit in the name.
//!
//! A bare number in a file is a guess waiting to be wrong by a thousand, so [`parse`] wants a unit and says
//! which ones belong. The way back, [`engineering`] and [`with_uncertainty`], is used by everything that
//! shows a value, so that a resistance looks the same on a terminal, on a page and in a message.
//!
//! [`money`] is apart from them: its amounts are exact decimals, and its units are never converted.

pub mod money;
mod read;
mod show;
pub mod units;

pub use money::Money;
pub use read::{QuantityError, Unit, parse};
pub use show::{Rounded, clip, engineering, si, with_uncertainty};
pub use units::{Amps, Celsius, Farads, Henries, Ohms, Seconds, Volts};

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn quantities_are_read_exactly() {
        for (text, unit, value) in [
            ("25 mohm", Unit::Ohm, 0.025),
            ("25 mΩ", Unit::Ohm, 0.025),
            ("25 m\u{2126}", Unit::Ohm, 0.025),
            ("25 µohm", Unit::Ohm, 25e-6),
            ("2 kohm", Unit::Ohm, 2000.0),
            ("1.5ohm", Unit::Ohm, 1.5),
            ("1e-3 ohm", Unit::Ohm, 0.001),
            ("1.2 mm", Unit::Millimetre, 1.2),
            ("12 mil", Unit::Millimetre, 0.3048),
            ("35 um", Unit::Micrometre, 35.0),
            ("35 µm", Unit::Micrometre, 35.0),
            ("35 \u{03BC}m", Unit::Micrometre, 35.0),
            ("0.035 mm", Unit::Micrometre, 35.0),
            ("120 mA", Unit::Ampere, 0.12),
            ("150 mV", Unit::Volt, 0.15),
            ("100 uF", Unit::Farad, 100e-6),
            ("0.5 K", Unit::Kelvin, 0.5),
            ("500 mK", Unit::Kelvin, 0.5),
            ("0.1 %", Unit::Fraction, 0.001),
            ("  7 V ", Unit::Volt, 7.0),
        ] {
            assert_eq!(parse(text, unit), Ok(value), "{text}");
        }
    }

    #[test]
    fn what_is_not_a_quantity_is_told_what_it_lacks() {
        for (text, unit, fragment) in [
            ("25", Unit::Ohm, "has no unit; this is a resistance"),
            ("25 mm", Unit::Ohm, "is a length; a resistance belongs here"),
            ("5 V", Unit::Ampere, "is a voltage; a current belongs here"),
            ("five ohm", Unit::Ohm, "does not begin with a number"),
            ("NaN ohm", Unit::Ohm, "does not begin with a number"),
            ("inf ohm", Unit::Ohm, "does not begin with a number"),
            ("1e999 ohm", Unit::Ohm, "not a finite number"),
            ("1e99999999999 ohm", Unit::Ohm, "not a finite number"),
            ("1e2147483647 kohm", Unit::Ohm, "not a finite number"),
            ("1,2 mm", Unit::Millimetre, "the decimal point is wanted"),
            ("1.2.3 mm", Unit::Millimetre, "does not begin with a number"),
            ("25 mOhm", Unit::Ohm, "`mOhm` is not a unit known here"),
            ("", Unit::Ohm, "does not begin with a number"),
            ("-", Unit::Ohm, "does not begin with a number"),
        ] {
            let error = parse(text, unit).unwrap_err();
            assert!(error.what.contains(fragment), "{text}: {}", error.what);
            assert!(error.help.starts_with("write \""));
        }
    }

    #[test]
    fn resistances_are_shown_with_three_digits() {
        for (ohms, text) in [
            (1.571e-3, "1.57 mΩ"),
            (330.0, "330 Ω"),
            (5000.0, "5.00 kΩ"),
            (0.0, "0 Ω"),
            (0.9996, "1.00 Ω"),
            (0.09996, "100 mΩ"),
            (-0.0213, "-21.3 mΩ"),
            (12.6e-6, "12.6 µΩ"),
            (2.2e6, "2.20 MΩ"),
            (f64::INFINITY, "– Ω"),
        ] {
            assert_eq!(engineering(Ohms(ohms)), text);
        }
    }

    #[test]
    fn a_value_is_rounded_to_its_uncertainty() {
        for (ohms, u, text) in [
            (1.5713e-3, 12.4e-6, "1.571 ± 0.012 mΩ"),
            (0.0, 12.4e-6, "0 ± 12 µΩ"),
            (330.4, 1.23, "330.4 ± 1.2 Ω"),
            (123_456.0, 2_340.0, "123.5 ± 2.3 kΩ"),
            (987.0, 234.0, "990 ± 230 Ω"),
            (0.0199, 0.000_099_6, "19.90 ± 0.10 mΩ"),
            (1.0, 0.0, "1.00 ± – Ω"),
        ] {
            assert_eq!(with_uncertainty(Ohms(ohms), Ohms(u)).to_string(), text);
        }
    }

    proptest! {
        #[test]
        fn no_text_makes_it_panic(text in "\\PC{0,40}") {
            for unit in [Unit::Ohm, Unit::Micrometre, Unit::Fraction] {
                let _ = parse(&text, unit);
            }
        }

        #[test]
        fn what_is_shown_reads_back(ohms in 1e-6f64..1e8) {
            let back = parse(&engineering(Ohms(ohms)), Unit::Ohm).unwrap();
            prop_assert!((back / ohms - 1.0).abs() < 0.006);
        }

        #[test]
        fn no_number_makes_showing_panic(ohms: f64, u: f64) {
            let _ = (engineering(Ohms(ohms)), with_uncertainty(Ohms(ohms), Ohms(u)).to_string());
        }
    }
}
