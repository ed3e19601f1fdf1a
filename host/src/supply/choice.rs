//! Which supply was named on the command line.

use std::str::FromStr;

use super::{Scpi, Supply, SupplyError, Typed};
use crate::instrument::Place;

/// Which supply.
#[derive(Clone, PartialEq, Eq, Debug)]
pub enum Choice {
    /// A person sets it by hand.
    Typed,
    /// One that speaks SCPI.
    At(Place),
}

/// A text that names no supply.
#[derive(Clone, PartialEq, Eq, Debug, thiserror::Error)]
#[error(
    "{0:?} names no supply: write scpi:HOST, scpi:HOST:PORT, serial:DEVICE, serial:DEVICE@BAUD, usbtmc:DEVICE or typed"
)]
pub struct NoSupply(String);

impl FromStr for Choice {
    type Err = NoSupply;

    fn from_str(text: &str) -> Result<Self, NoSupply> {
        let wrong = || NoSupply(text.into());
        if text == "typed" {
            return Ok(Self::Typed);
        }
        let (kind, place) = text.split_once(':').ok_or_else(wrong)?;
        // A meter at a network address is called tcp; so may a supply be.
        let kind = if kind == "scpi" { "tcp" } else { kind };
        Place::named(kind, place).map(Self::At).ok_or_else(wrong)
    }
}

impl Choice {
    /// Reaches it, with its output off; of several outputs the one with this number.
    ///
    /// # Errors
    /// See [`SupplyError`].
    pub fn reach(&self, output: Option<u8>) -> Result<Box<dyn Supply>, SupplyError> {
        match (self, output) {
            (Self::Typed, None) => Ok(Box::new(Typed::default())),
            (Self::Typed, Some(output)) => Err(SupplyError::ByHand { output }),
            (Self::At(place), output) => Ok(Box::new(Scpi::open(place.open()?, &place.name(), output)?)),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_supply_is_named_in_one_way_and_nothing_else_is_one() {
        let tcp = |host: &str, port| Choice::At(Place::Tcp { host: host.into(), port });
        for (text, choice) in [
            ("typed", Choice::Typed),
            ("scpi:supply", tcp("supply", 5025)),
            ("scpi:192.0.2.7:5555", tcp("192.0.2.7", 5555)),
            ("tcp:[2001:db8::7]:5555", tcp("2001:db8::7", 5555)),
            ("serial:COM3@115200", Choice::At(Place::Serial { device: "COM3".into(), baud: 115_200 })),
            ("usbtmc:/dev/usbtmc0", Choice::At(Place::UsbTmc("/dev/usbtmc0".into()))),
        ] {
            assert_eq!(text.parse(), Ok(choice), "{text}");
        }
        for text in ["", "supply", "scpi", "scpi:", "scpi::5025", "typed:x", "bench", "serial:x@y"] {
            assert!(text.parse::<Choice>().is_err(), "{text}");
        }
    }
}
