//! Quantities as people write them: a number with its unit, read and written.
//!
//! A bare number in a file is a guess waiting to be wrong by a thousand, so [`parse`] wants a unit and says which
//! ones belong. The way back, [`engineering`] and [`with_uncertainty`], is used by everything that shows a value,
//! so that a resistance looks the same on a terminal, on a page and in a message.

use std::fmt;

/// What a number stands for, and the unit it is kept in.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Unit {
    /// Resistance, kept in ohm.
    Ohm,
    /// Length, kept in millimetre.
    Millimetre,
    /// Small length, kept in micrometre.
    Micrometre,
    /// Current, kept in ampere.
    Ampere,
    /// Voltage, kept in volt.
    Volt,
    /// Capacitance, kept in farad.
    Farad,
    /// Relative, kept as a fraction: 1 % is 0.01.
    Fraction,
}

/// A spelling of a unit: what it measures, and its size in the dimension's coherent unit as `factor · 10^power`.
struct Spelling(&'static str, Dimension, f64, i32);

#[derive(Clone, Copy, PartialEq, Eq)]
enum Dimension {
    Resistance,
    Length,
    Current,
    Voltage,
    Capacitance,
    Relative,
}

/// Every accepted spelling, once the signs are written as letters: µ as `u`, Ω as `ohm`.
#[rustfmt::skip]
const SPELLINGS: &[Spelling] = {
    use Dimension::{Capacitance, Current, Length, Relative, Resistance, Voltage};
    &[
        Spelling("uohm", Resistance, 1.0, -6), Spelling("mohm", Resistance, 1.0, -3),
        Spelling("ohm",  Resistance, 1.0,  0), Spelling("kohm", Resistance, 1.0,  3),
        Spelling("Mohm", Resistance, 1.0,  6),
        Spelling("um",   Length,     1.0, -6), Spelling("mm",   Length,     1.0, -3),
        Spelling("cm",   Length,     1.0, -2), Spelling("m",    Length,     1.0,  0),
        Spelling("mil",  Length,    25.4, -6),
        Spelling("uA",   Current,    1.0, -6), Spelling("mA",   Current,    1.0, -3),
        Spelling("A",    Current,    1.0,  0),
        Spelling("uV",   Voltage,    1.0, -6), Spelling("mV",   Voltage,    1.0, -3),
        Spelling("V",    Voltage,    1.0,  0),
        Spelling("pF",   Capacitance, 1.0, -12), Spelling("nF", Capacitance, 1.0, -9),
        Spelling("uF",   Capacitance, 1.0,  -6), Spelling("mF", Capacitance, 1.0, -3),
        Spelling("F",    Capacitance, 1.0,   0),
        Spelling("%",    Relative,   1.0, -2), Spelling("ppm",  Relative,   1.0, -6),
    ]
};

impl Unit {
    /// The dimension, and the power of ten of the unit a value is kept in.
    fn kept(self) -> (Dimension, i32) {
        match self {
            Self::Ohm => (Dimension::Resistance, 0),
            Self::Millimetre => (Dimension::Length, -3),
            Self::Micrometre => (Dimension::Length, -6),
            Self::Ampere => (Dimension::Current, 0),
            Self::Volt => (Dimension::Voltage, 0),
            Self::Farad => (Dimension::Capacitance, 0),
            Self::Fraction => (Dimension::Relative, 0),
        }
    }

    /// How such a quantity is written, for help texts.
    pub fn example(self) -> &'static str {
        match self {
            Self::Ohm => r#""25 mohm", "25 mΩ", "1.5 ohm" or "100 kohm""#,
            Self::Millimetre => r#""1.2 mm", "300 um" or "12 mil""#,
            Self::Micrometre => r#""35 um", "35 µm" or "0.035 mm""#,
            Self::Ampere => r#""120 mA" or "1.5 A""#,
            Self::Volt => r#""150 mV" or "3.2 V""#,
            Self::Farad => r#""100 uF" or "100 µF""#,
            Self::Fraction => r#""0.1 %" or "500 ppm""#,
        }
    }

    /// A kept value as people write it, for messages: `1.6 mm`, `25 mΩ`.
    pub fn show(self, value: f64) -> String {
        match self {
            Self::Ohm => engineering(value),
            Self::Millimetre => format!("{value} mm"),
            Self::Micrometre => format!("{value} µm"),
            Self::Ampere => si(value, 3, "A"),
            Self::Volt => si(value, 3, "V"),
            Self::Farad => si(value, 3, "F"),
            Self::Fraction => format!("{} %", value * 100.0),
        }
    }
}

impl fmt::Display for Dimension {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Resistance => "resistance",
            Self::Length => "length",
            Self::Current => "current",
            Self::Voltage => "voltage",
            Self::Capacitance => "capacitance",
            Self::Relative => "ratio",
        })
    }
}

/// Why a text is not the quantity that was wanted.
#[derive(Clone, PartialEq, Eq, Debug, thiserror::Error)]
#[error("{what}")]
pub struct QuantityError {
    /// What is wrong.
    pub what: String,
    /// What would be right.
    pub help: String,
}

/// Reads a quantity and gives it in the unit it is kept in. The decimal digits are shifted, not multiplied, so
/// `"35 um"` is exactly 35 µm and `"1.2 mm"` exactly the double nearest to 1.2.
///
/// # Errors
/// No number, a number that is not finite, no unit, an unknown unit, or a unit of another dimension.
pub fn parse(text: &str, unit: Unit) -> Result<f64, QuantityError> {
    let (dimension, kept_power) = unit.kept();
    let wrong = |what: String| QuantityError { what, help: format!("write {}", unit.example()) };
    let text = text.trim();
    let (number, spelling) = text.split_at(number_length(text));
    let written = spelling.trim();
    let spelling = in_letters(written);
    if number.parse::<f64>().is_err() {
        return Err(wrong(format!("`{}` does not begin with a number", clip(text))));
    }
    if written.starts_with(',') {
        return Err(wrong(format!("`{}` has a comma; the decimal point is wanted", clip(text))));
    }
    if written.is_empty() {
        return Err(wrong(format!("`{}` has no unit; this is a {dimension}", clip(text))));
    }
    let Some(Spelling(_, found, factor, power)) = SPELLINGS.iter().find(|s| s.0 == spelling) else {
        return Err(wrong(format!("`{}` is not a unit known here", clip(written))));
    };
    if *found != dimension {
        return Err(wrong(format!("`{}` is a {found}; a {dimension} belongs here", clip(text))));
    }
    let (mantissa, exponent) = number.split_once(['e', 'E']).unwrap_or((number, "0"));
    let shifted = exponent
        .parse::<i32>()
        .ok()
        .and_then(|e| e.checked_add(power - kept_power))
        .and_then(|e| format!("{mantissa}e{e}").parse::<f64>().ok())
        .map(|value| value * factor)
        .filter(|value| value.is_finite());
    shifted.ok_or_else(|| wrong(format!("`{}` is not a finite number", clip(text))))
}

/// Length in bytes of the number a text begins with: digits, point, signs, and an exponent if digits follow it.
fn number_length(text: &str) -> usize {
    let bytes = text.as_bytes();
    let is_number = |i: usize| match bytes[i] {
        b'0'..=b'9' | b'.' | b'+' | b'-' => true,
        b'e' | b'E' => bytes.get(i + 1).is_some_and(|b| matches!(b, b'0'..=b'9' | b'+' | b'-')),
        _ => false,
    };
    (0..bytes.len()).find(|&i| !is_number(i)).unwrap_or(bytes.len())
}

/// A unit without its signs; µ and Ω have two code points each that look alike.
fn in_letters(unit: &str) -> String {
    unit.replace(['\u{00B5}', '\u{03BC}'], "u").replace(['\u{03A9}', '\u{2126}'], "ohm")
}

/// The beginning of a text, for messages: a name of 10,000 characters helps nobody, and a control character may
/// move the cursor of the terminal it is shown on.
pub fn clip(text: &str) -> String {
    const LONGEST: usize = 60;
    let shown: String =
        text.chars().take(LONGEST).map(|c| if c.is_control() { '\u{FFFD}' } else { c }).collect();
    if text.chars().nth(LONGEST).is_some() { shown + "…" } else { shown }
}

/// A resistance for people, three significant digits: `1.57 mΩ`, `330 Ω`, `5.00 kΩ`.
pub fn engineering(ohms: f64) -> String {
    si(ohms, 3, "Ω")
}

/// A value with an SI prefix and so many significant digits: `si(0.12, 3, "A")` is `120 mA`. What is not finite
/// is shown as `–`.
pub fn si(value: f64, digits: usize, symbol: &str) -> String {
    if !value.is_finite() {
        return format!("– {symbol}");
    }
    if value == 0.0 {
        return format!("0 {symbol}");
    }
    let decade = decade_after_rounding(value, digits);
    let prefix = Prefix::for_decade(decade);
    let places = (digits as i32 - 1 - (decade - prefix.power)).max(0) as usize;
    format!("{:.places$} {}{symbol}", prefix.scale(value), prefix.letter)
}

/// A value and its expanded uncertainty, rounded together: two significant digits of uncertainty (GUM 7.2.6),
/// the value to the same place, one prefix for both.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Rounded {
    /// The value's digits.
    pub value: String,
    /// The uncertainty's digits.
    pub uncertainty: String,
    /// Prefix and symbol.
    pub unit: String,
}

/// `with_uncertainty(1.5713e-3, 12.4e-6)` shows as `1.571 ± 0.012 mΩ`. Without a usable uncertainty the value
/// stands alone with three digits, and the uncertainty is `–`.
pub fn with_uncertainty(ohms: f64, u_ohms: f64) -> Rounded {
    const DIGITS: usize = 2;
    let usable = ohms.is_finite() && u_ohms.is_finite() && u_ohms > 0.0;
    if !usable {
        let text = engineering(ohms);
        let (value, unit) = text.split_once(' ').unwrap_or((&text, ""));
        return Rounded { value: value.into(), uncertainty: "–".into(), unit: unit.into() };
    }
    let last_place = decade_after_rounding(u_ohms, DIGITS) - (DIGITS as i32 - 1);
    let prefix = Prefix::for_decade(decade_after_rounding(ohms.abs().max(u_ohms), 3));
    let places = (prefix.power - last_place).max(0) as usize;
    // Where the last place stands left of the point, digits that mean nothing become zeros.
    let coarse = 10f64.powi((last_place - prefix.power).max(0));
    let show = |x: f64| {
        let rounded = (prefix.scale(x) / coarse).round() * coarse;
        let value = if coarse > 1.0 { rounded } else { prefix.scale(x) };
        format!("{value:.places$}")
    };
    Rounded { value: show(ohms), uncertainty: show(u_ohms), unit: format!("{}Ω", prefix.letter) }
}

impl fmt::Display for Rounded {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} ± {} {}", self.value, self.uncertainty, self.unit)
    }
}

/// The power of ten of the first digit once the value is rounded: 999.6 with three digits is 1.00e3.
fn decade_after_rounding(value: f64, digits: usize) -> i32 {
    let shown = format!("{:.*e}", digits.saturating_sub(1), value);
    shown.split_once('e').and_then(|(_, exponent)| exponent.parse().ok()).unwrap_or(0)
}

#[derive(Clone, Copy)]
struct Prefix {
    letter: &'static str,
    power: i32,
}

impl Prefix {
    const ALL: [Self; 8] = [
        Self { letter: "p", power: -12 },
        Self { letter: "n", power: -9 },
        Self { letter: "µ", power: -6 },
        Self { letter: "m", power: -3 },
        Self { letter: "", power: 0 },
        Self { letter: "k", power: 3 },
        Self { letter: "M", power: 6 },
        Self { letter: "G", power: 9 },
    ];

    fn for_decade(decade: i32) -> Self {
        let step = decade.div_euclid(3) + 4;
        Self::ALL[step.clamp(0, Self::ALL.len() as i32 - 1) as usize]
    }

    /// Dividing by a whole power of ten rounds once; multiplying by its inverse would round twice.
    fn scale(self, value: f64) -> f64 {
        match self.power {
            power if power < 0 => value * 10f64.powi(-power),
            power => value / 10f64.powi(power),
        }
    }
}

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
            assert_eq!(engineering(ohms), text);
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
            assert_eq!(with_uncertainty(ohms, u).to_string(), text);
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
            let back = parse(&engineering(ohms), Unit::Ohm).unwrap();
            prop_assert!((back / ohms - 1.0).abs() < 0.006);
        }

        #[test]
        fn no_number_makes_showing_panic(ohms: f64, u: f64) {
            let _ = (engineering(ohms), with_uncertainty(ohms, u).to_string());
        }
    }
}
