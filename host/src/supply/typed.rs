//! A supply that a person sets by hand, and whose readings are typed.

use std::{thread, time::Duration};

use super::{Bounds, Hand, Reading, Request, Supply, SupplyError, same_voltage};
use crate::quantity::{self, Amps, Unit, Volts, si};

/// A supply set by hand.
#[derive(Debug, Default)]
pub struct Typed {
    /// What it showed when it was set, until that is asked for.
    shown: Option<Reading>,
}

impl Supply for Typed {
    fn name(&self) -> &str {
        "a supply set by hand"
    }

    fn reads_itself(&self) -> bool {
        false
    }

    fn bound(&mut self, bounds: &Bounds, hand: &mut dyn Hand) -> Result<(), SupplyError> {
        Ok(hand.done(&Request::Bound(*bounds))?)
    }

    fn on(&mut self, hand: &mut dyn Hand) -> Result<(), SupplyError> {
        Ok(hand.done(&Request::On)?)
    }

    fn set(&mut self, voltage: Volts, hand: &mut dyn Hand) -> Result<(), SupplyError> {
        let shown = hand.shows(&Request::Set(voltage))?;
        // What it shows below that is for the board to answer for: the limit acts.
        if shown.voltage > voltage && !same_voltage(voltage, shown.voltage) {
            return Err(SupplyError::DoesNotObey {
                supply: self.name().into(),
                what: "the voltage",
                asked: si(voltage.0, 4, "V"),
                answered: si(shown.voltage.0, 4, "V"),
            });
        }
        self.shown = Some(shown);
        Ok(())
    }

    fn read(&mut self, hand: &mut dyn Hand) -> Result<Reading, SupplyError> {
        match self.shown.take() {
            Some(shown) => Ok(shown),
            None => Ok(hand.shows(&Request::Show)?),
        }
    }

    fn off(&mut self, hand: &mut dyn Hand) -> Result<(), SupplyError> {
        Ok(hand.done(&Request::Off)?)
    }

    fn rest(&mut self, time: Duration) {
        thread::sleep(time);
    }
}

/// A typed reading: voltage and current with their units, in either order, such as `3.00 V 5.2 mA`; `off`: it has switched itself off.
///
/// # Errors
/// What is wrong, and what would be right.
pub fn parse(text: &str) -> Result<Reading, String> {
    const HELP: &str = "write voltage and current as the supply shows them, such as 3.00 V 5.2 mA; off, if it has switched itself off";
    let text = text.trim();
    if text == "off" {
        return Ok(Reading {
            voltage: Volts::ZERO,
            current: Amps::ZERO,
            tripped: Some(super::Trip::Unknown),
        });
    }
    let (mut voltage, mut current) = (None, None);
    for part in parts(text) {
        if let Ok(volts) = quantity::parse(&part, Unit::Volt) {
            voltage = Some(Volts(volts));
        } else if let Ok(amps) = quantity::parse(&part, Unit::Ampere) {
            current = Some(Amps(amps));
        } else {
            return Err(format!("{part:?} is neither: {HELP}"));
        }
    }
    match (voltage, current) {
        (Some(voltage), Some(current)) => Ok(Reading { voltage, current, tripped: None }),
        _ => Err(HELP.into()),
    }
}

/// Numbers, each with the unit that follows it.
fn parts(text: &str) -> Vec<String> {
    let mut parts: Vec<String> = Vec::new();
    for word in text.split([' ', ',', ';']).filter(|word| !word.is_empty()) {
        match parts.last_mut() {
            Some(last)
                if !word.starts_with(|first: char| first.is_ascii_digit() || "+-.".contains(first)) =>
            {
                last.push(' ');
                last.push_str(word);
            }
            _ => parts.push(word.to_owned()),
        }
    }
    parts
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_reading_is_a_voltage_and_a_current_in_either_order() {
        let reads = |volts, amps| Ok(Reading { voltage: Volts(volts), current: Amps(amps), tripped: None });
        for text in ["3.00 V 5.2 mA", "5.2mA, 3.00V", " 3 V; 5.2 mA ", "3000 mV 0.0052 A"] {
            assert_eq!(parse(text), reads(3.0, 5.2e-3), "{text}");
        }
        for text in ["", "3.00 V", "5.2 mA", "3.00 5.2", "3 V 5 ohm", "a lot", "3,00 V 5,2 mA"] {
            assert!(parse(text).is_err(), "{text}");
        }
        assert!(parse("off").unwrap().tripped.is_some());
    }
}
