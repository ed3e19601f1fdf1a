//! Reading a quantity: which units there are, and what is wrong with a text that is none.

use std::fmt;

use super::{Ohms, clip, engineering, si};

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
    /// Difference of temperatures, kept in kelvin.
    Kelvin,
    /// Inductance, kept in henry.
    Henry,
    /// Force, kept in newton.
    Newton,
    /// Relative, kept as a fraction: 1 % is 0.01.
    Fraction,
    /// Time, kept in second.
    Second,
}

/// A spelling of a unit: what it measures, and its size in the dimension's coherent unit as `factor ·
/// 10^power`.
struct Spelling(&'static str, Dimension, f64, i32);

#[derive(Clone, Copy, PartialEq, Eq)]
enum Dimension {
    Resistance,
    Length,
    Current,
    Voltage,
    Capacitance,
    Difference,
    Inductance,
    Force,
    Relative,
    Time,
}

/// Every accepted spelling, once the signs are written as letters: µ as `u`, Ω as `ohm`.
#[rustfmt::skip]
const SPELLINGS: &[Spelling] = {
    use Dimension::{
        Capacitance, Current, Difference, Force, Inductance, Length, Relative, Resistance, Time, Voltage,
    };
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
        Spelling("mK",   Difference, 1.0,  -3), Spelling("K",  Difference, 1.0,   0),
        Spelling("nH",   Inductance, 1.0,  -9), Spelling("uH",  Inductance, 1.0, -6),
        Spelling("mH",   Inductance, 1.0,  -3), Spelling("H",   Inductance, 1.0,  0),
        Spelling("mN",   Force,      1.0,  -3), Spelling("N",   Force,      1.0,  0),
        Spelling("%",    Relative,   1.0, -2), Spelling("ppm",  Relative,   1.0, -6),
        Spelling("ms",   Time,       1.0,  -3), Spelling("s",   Time,       1.0,  0),
        Spelling("min",  Time,      60.0,   0),
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
            Self::Kelvin => (Dimension::Difference, 0),
            Self::Henry => (Dimension::Inductance, 0),
            Self::Newton => (Dimension::Force, 0),
            Self::Fraction => (Dimension::Relative, 0),
            Self::Second => (Dimension::Time, 0),
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
            Self::Kelvin => r#""1 K" or "500 mK""#,
            Self::Henry => r#""22 uH", "22 µH" or "1 mH""#,
            Self::Newton => r#""1.5 N" or "800 mN""#,
            Self::Fraction => r#""0.1 %" or "500 ppm""#,
            Self::Second => r#""300 ms" or "2 s""#,
        }
    }

    /// A kept value as people write it, for messages: `1.6 mm`, `25 mΩ`.
    pub fn show(self, value: f64) -> String {
        match self {
            Self::Ohm => engineering(Ohms(value)),
            Self::Millimetre => format!("{value} mm"),
            Self::Micrometre => format!("{value} µm"),
            Self::Ampere => si(value, 3, "A"),
            Self::Volt => si(value, 3, "V"),
            Self::Farad => si(value, 3, "F"),
            Self::Kelvin => format!("{value} K"),
            Self::Henry => si(value, 3, "H"),
            Self::Newton => si(value, 3, "N"),
            Self::Fraction => format!("{} %", value * 100.0),
            Self::Second => si(value, 3, "s"),
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
            Self::Difference => "temperature difference",
            Self::Inductance => "inductance",
            Self::Force => "force",
            Self::Relative => "ratio",
            Self::Time => "time",
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

/// Reads a quantity and gives it in the unit it is kept in. The decimal digits are shifted, not multiplied,
/// so `"35 um"` is exactly 35 µm and `"1.2 mm"` exactly the double nearest to 1.2.
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

/// Length in bytes of the number a text begins with: digits, point, signs, and an exponent if digits follow
/// it.
fn number_length(text: &str) -> usize {
    let bytes = text.as_bytes();
    let is_number = |(i, byte): (usize, &u8)| match byte {
        b'0'..=b'9' | b'.' | b'+' | b'-' => true,
        b'e' | b'E' => bytes.get(i + 1).is_some_and(|b| matches!(b, b'0'..=b'9' | b'+' | b'-')),
        _ => false,
    };
    bytes.iter().enumerate().position(|at| !is_number(at)).unwrap_or(bytes.len())
}

/// A unit without its signs; µ and Ω have two code points each that look alike.
fn in_letters(unit: &str) -> String {
    unit.replace(['\u{00B5}', '\u{03BC}'], "u").replace(['\u{03A9}', '\u{2126}'], "ohm")
}
