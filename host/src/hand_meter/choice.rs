//! Which meter was named on the command line.

use std::str::FromStr;

use super::{MeterError, Scpi, Tips, scpi::Reading, tips};
use crate::{
    instrument::{Line, Place},
    link::Transport,
    quantity::Ohms,
};

/// A SCPI meter on its lowest ranges is right to so much of the reading, and to so many ohms (common practice for meters of five and a half
/// digits).
const SCPI_WITHIN: (f64, Ohms) = (2e-3, Ohms(5e-3));
/// The top range of a meter that is reached by a program is this or more (common practice).
const SCPI_TOP: Ohms = Ohms(10e6);

/// Which meter.
#[derive(Clone, PartialEq, Eq, Debug, Default)]
pub enum Choice {
    /// A person types what it shows.
    #[default]
    Typed,
    /// One that speaks SCPI.
    At(Place),
    /// The bench's own, by way of two tips on channels of its matrix.
    Bench,
}

/// A text that names no meter.
#[derive(Clone, PartialEq, Eq, Debug, thiserror::Error)]
#[error(
    "{0:?} names no meter: write typed, tcp:HOST, tcp:HOST:PORT, serial:DEVICE, serial:DEVICE@BAUD, usbtmc:DEVICE or bench"
)]
pub struct NoMeter(String);

impl FromStr for Choice {
    type Err = NoMeter;

    fn from_str(text: &str) -> Result<Self, NoMeter> {
        let wrong = || NoMeter(text.into());
        let (kind, place) = text.split_once(':').unwrap_or((text, ""));
        match (kind, place) {
            ("typed", "") => Ok(Self::Typed),
            ("bench", "") if text == "bench" => Ok(Self::Bench),
            (kind, place) => Place::named(kind, place).map(Self::At).ok_or_else(wrong),
        }
    }
}

/// A meter that was reached.
pub enum Reached {
    /// One that speaks SCPI.
    Scpi(Scpi<Box<dyn Line>>),
    /// The bench's own.
    Bench(Box<Tips<Box<dyn Transport>>>),
}

impl Reached {
    /// What it calls itself.
    pub fn name(&self) -> &str {
        match self {
            Self::Scpi(meter) => meter.name(),
            Self::Bench(tips) => tips.name(),
        }
    }

    /// Does it read with four wires?
    pub fn four_wire(&self) -> bool {
        match self {
            Self::Scpi(meter) => meter.four_wire(),
            Self::Bench(_) => true,
        }
    }

    /// Half width of what it reads, 95 %: a share of it, and so many ohms.
    pub fn within(&self) -> (f64, Ohms) {
        match self {
            Self::Scpi(_) => SCPI_WITHIN,
            Self::Bench(_) => tips::WITHIN,
        }
    }

    /// What an overload is more than.
    pub fn top(&self) -> Ohms {
        match self {
            Self::Scpi(_) => SCPI_TOP,
            Self::Bench(_) => tips::OVER_RANGE,
        }
    }

    /// Reads once.
    ///
    /// # Errors
    /// See [`MeterError`].
    pub fn read(&mut self) -> Result<Reading, MeterError> {
        match self {
            Self::Scpi(meter) => meter.read(),
            Self::Bench(tips) => tips.read(),
        }
    }
}

impl Choice {
    /// Reaches a meter of its own; `None` where a person types what it shows. `kelvin`: with four wires.
    ///
    /// # Errors
    /// See [`MeterError`].
    pub fn reach(&self, kelvin: bool) -> Result<Option<Reached>, MeterError> {
        match self {
            Self::Typed => Ok(None),
            Self::Bench => Err(MeterError::NoBench),
            Self::At(place) => Ok(Some(Reached::Scpi(Scpi::open(place.open()?, &place.name(), kelvin)?))),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_meter_is_named_in_one_way_and_nothing_else_is_one() {
        let tcp = |host: &str, port| Choice::At(Place::Tcp { host: host.into(), port });
        let serial = |device: &str, baud| Choice::At(Place::Serial { device: device.into(), baud });
        for (text, choice) in [
            ("typed", Choice::Typed),
            ("tcp:meter", tcp("meter", 5025)),
            ("tcp:192.0.2.7:5555", tcp("192.0.2.7", 5555)),
            ("tcp:2001:db8::7", tcp("2001:db8::7", 5025)),
            ("tcp:[2001:db8::7]:5555", tcp("2001:db8::7", 5555)),
            ("serial:/dev/ttyUSB0", serial("/dev/ttyUSB0", 9600)),
            ("serial:COM3@115200", serial("COM3", 115_200)),
            ("usbtmc:/dev/usbtmc0", Choice::At(Place::UsbTmc("/dev/usbtmc0".into()))),
            ("bench", Choice::Bench),
        ] {
            assert_eq!(text.parse(), Ok(choice), "{text}");
        }
        for text in ["", "meter", "tcp", "tcp:", "tcp::5025", "tcp:a:b", "tcp:[::1", "serial:x@y", "typed:x"]
        {
            assert!(text.parse::<Choice>().is_err(), "{text}");
        }
    }
}
