//! Which meter was named on the command line.

use std::{path::PathBuf, str::FromStr};

use super::{
    Line, MeterError, Scpi, Tips, scpi::Reading, serial::SerialLine, tcp::TcpLine, tips, usbtmc::UsbTmcLine,
};
use crate::{link::Transport, quantity::Ohms};

/// The port that SCPI instruments listen at (registered with IANA as `scpi-raw`).
pub const SCPI_PORT: u16 = 5025;
/// What serial meters are usually set to, baud (common practice).
pub const BAUD: u32 = 9600;

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
    /// At a network address.
    Tcp {
        /// Name or number of the host.
        host: String,
        /// Port.
        port: u16,
    },
    /// At a serial port.
    Serial {
        /// The port.
        device: String,
        /// Baud.
        baud: u32,
    },
    /// At a device file of the USB test and measurement class.
    UsbTmc(PathBuf),
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
            (_, "") => Err(wrong()),
            ("tcp", place) => {
                // An address of IPv6 has colons of its own and stands in brackets where a port follows.
                let (host, port) = match (place.strip_prefix('['), place.matches(':').count()) {
                    (Some(rest), _) => {
                        let (host, port) = rest.split_once(']').ok_or_else(wrong)?;
                        (host, port.strip_prefix(':'))
                    }
                    (None, 1) => {
                        place.split_once(':').map(|(host, port)| (host, Some(port))).ok_or_else(wrong)?
                    }
                    (None, _) => (place, None),
                };
                let port = match port {
                    Some(port) => port.parse().map_err(|_| wrong())?,
                    None => SCPI_PORT,
                };
                if host.is_empty() { Err(wrong()) } else { Ok(Self::Tcp { host: host.into(), port }) }
            }
            ("serial", place) => match place.rsplit_once('@') {
                Some((device, baud)) => {
                    Ok(Self::Serial { device: device.into(), baud: baud.parse().map_err(|_| wrong())? })
                }
                None => Ok(Self::Serial { device: place.into(), baud: BAUD }),
            },
            ("usbtmc", place) => Ok(Self::UsbTmc(place.into())),
            _ => Err(wrong()),
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
        let (line, name): (Box<dyn Line>, String) = match self {
            Self::Typed => return Ok(None),
            Self::Bench => return Err(MeterError::NoBench),
            Self::Tcp { host, port } => (Box::new(TcpLine::open(host, *port)?), format!("{host}:{port}")),
            Self::Serial { device, baud } => (Box::new(SerialLine::open(device, *baud)?), device.clone()),
            Self::UsbTmc(path) => (Box::new(UsbTmcLine::open(path)?), path.display().to_string()),
        };
        Ok(Some(Reached::Scpi(Scpi::open(line, &name, kelvin)?)))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_meter_is_named_in_one_way_and_nothing_else_is_one() {
        let tcp = |host: &str, port| Choice::Tcp { host: host.into(), port };
        for (text, choice) in [
            ("typed", Choice::Typed),
            ("tcp:meter", tcp("meter", 5025)),
            ("tcp:192.0.2.7:5555", tcp("192.0.2.7", 5555)),
            ("tcp:2001:db8::7", tcp("2001:db8::7", 5025)),
            ("tcp:[2001:db8::7]:5555", tcp("2001:db8::7", 5555)),
            ("serial:/dev/ttyUSB0", Choice::Serial { device: "/dev/ttyUSB0".into(), baud: 9600 }),
            ("serial:COM3@115200", Choice::Serial { device: "COM3".into(), baud: 115_200 }),
            ("usbtmc:/dev/usbtmc0", Choice::UsbTmc("/dev/usbtmc0".into())),
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
