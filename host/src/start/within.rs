//! How far an instrument's reading may be off, as its manual states it: a share of the reading and a fixed part.

use std::{fmt, str::FromStr};

use crate::quantity::{self, Amps, Unit, Volts, si};

/// Expanded uncertainty of a reading, 95 %, as a share of it and so many volts or amperes.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Within {
    share: f64,
    floor: f64,
    unit: Unit,
}

/// More than this share is no meter any more.
const MOST_SHARE: f64 = 0.2;

/// A text that states no accuracy.
#[derive(Clone, PartialEq, Eq, Debug, thiserror::Error)]
#[error(
    "{text:?} states no accuracy: write a share and a fixed part as the manual has them, such as \"0.5 % + 2 m{letter}\""
)]
pub struct NoAccuracy {
    text: String,
    letter: &'static str,
}

impl Within {
    /// Of a supply whose manual nobody has looked into, for its current: what programmable ones state for themselves is a fifth to a half of it
    /// (common practice).
    pub const SUPPLY: Self = Self { share: 5e-3, floor: 1e-3, unit: Unit::Ampere };
    /// Of a hand-held meter, for a voltage: the cheapest of them state this (common practice).
    pub const METER: Self = Self { share: 1e-2, floor: 1e-2, unit: Unit::Volt };

    /// Reads what a manual states for a voltage.
    ///
    /// # Errors
    /// A text that is none.
    pub fn volts(text: &str) -> Result<Self, NoAccuracy> {
        Self::read(text, Unit::Volt)
    }

    /// Reads what a manual states for a current.
    ///
    /// # Errors
    /// Likewise.
    pub fn amps(text: &str) -> Result<Self, NoAccuracy> {
        Self::read(text, Unit::Ampere)
    }

    fn read(text: &str, unit: Unit) -> Result<Self, NoAccuracy> {
        let letter = if unit == Unit::Volt { "V" } else { "A" };
        let wrong = || NoAccuracy { text: quantity::clip(text), letter };
        let (mut share, mut floor) = (None, None);
        for part in text.split('+').map(str::trim) {
            let number = |unit| quantity::parse(part, unit).ok().filter(|number| *number >= 0.0);
            match (number(Unit::Fraction), number(unit)) {
                (Some(of), None) if share.is_none() && of <= MOST_SHARE => share = Some(of),
                (None, Some(fixed)) if floor.is_none() => floor = Some(fixed),
                _ => return Err(wrong()),
            }
        }
        let within = Self { share: share.unwrap_or(0.0), floor: floor.unwrap_or(0.0), unit };
        // A reading that cannot be off does not exist.
        if within.share + within.floor > 0.0 { Ok(within) } else { Err(wrong()) }
    }

    /// What a voltage may be off by.
    pub fn of_volts(self, reading: Volts) -> Volts {
        Volts(self.share * reading.0.abs() + self.floor)
    }

    /// What a current may be off by.
    pub fn of_amps(self, reading: Amps) -> Amps {
        Amps(self.share * reading.0.abs() + self.floor)
    }
}

impl fmt::Display for Within {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let letter = if self.unit == Unit::Volt { "V" } else { "A" };
        write!(f, "{} % + {}", 100.0 * self.share, si(self.floor, 2, letter))
    }
}

/// One of a supply, by its current.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct OfSupply(pub Within);

impl FromStr for OfSupply {
    type Err = NoAccuracy;

    fn from_str(text: &str) -> Result<Self, NoAccuracy> {
        Within::amps(text).map(Self)
    }
}

/// One of a meter, by its voltage.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct OfMeter(pub Within);

impl FromStr for OfMeter {
    type Err = NoAccuracy;

    fn from_str(text: &str) -> Result<Self, NoAccuracy> {
        Within::volts(text).map(Self)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_accuracy_is_a_share_and_a_fixed_part() {
        for (text, of_three_volts) in
            [("0.5 % + 2 mV", 0.017), ("2 mV + 0.5%", 0.017), ("1 %", 0.03), ("5 mV", 0.005)]
        {
            let within = Within::volts(text).unwrap();
            assert!((within.of_volts(Volts(3.0)).0 - of_three_volts).abs() < 1e-12, "{text}");
            assert!((within.of_volts(Volts(-3.0)).0 - of_three_volts).abs() < 1e-12, "{text}");
        }
        for text in ["", "0.5", "0.5 % + 2 mA", "1 % + 2 %", "90 %", "-1 %", "0 %", "1 % + 2 mV + 3 mV"] {
            assert!(Within::volts(text).is_err(), "{text}");
        }
        assert_eq!(Within::SUPPLY.to_string(), "0.5 % + 1.0 mA");
        assert_eq!(Within::amps("0.5 % + 1 mA"), Ok(Within::SUPPLY));
    }
}
