//! Which meter was named on the command line.

use std::{path::PathBuf, str::FromStr};

use super::{Line, MeterError, Scpi, serial::SerialLine, tcp::TcpLine, usbtmc::UsbTmcLine};

/// The port that SCPI instruments listen at (registered with IANA as `scpi-raw`).
pub const SCPI_PORT: u16 = 5025;
/// What serial meters are usually set to, baud (common practice).
pub const BAUD: u32 = 9600;

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
}

/// A text that names no meter.
#[derive(Clone, PartialEq, Eq, Debug, thiserror::Error)]
#[error(
    "{0:?} names no meter: write typed, tcp:HOST, tcp:HOST:PORT, serial:DEVICE, serial:DEVICE@BAUD or usbtmc:DEVICE"
)]
pub struct NoMeter(String);

impl FromStr for Choice {
    type Err = NoMeter;

    fn from_str(text: &str) -> Result<Self, NoMeter> {
        let wrong = || NoMeter(text.into());
        let (kind, place) = text.split_once(':').unwrap_or((text, ""));
        match (kind, place) {
            ("typed", "") => Ok(Self::Typed),
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
pub type Reached = Scpi<Box<dyn Line>>;

impl Choice {
    /// Reaches the meter; `None` where a person types what it shows. `kelvin`: with four wires.
    ///
    /// # Errors
    /// See [`MeterError`].
    pub fn reach(&self, kelvin: bool) -> Result<Option<Reached>, MeterError> {
        let (line, name): (Box<dyn Line>, String) = match self {
            Self::Typed => return Ok(None),
            Self::Tcp { host, port } => (Box::new(TcpLine::open(host, *port)?), format!("{host}:{port}")),
            Self::Serial { device, baud } => (Box::new(SerialLine::open(device, *baud)?), device.clone()),
            Self::UsbTmc(path) => (Box::new(UsbTmcLine::open(path)?), path.display().to_string()),
        };
        Scpi::open(line, &name, kelvin).map(Some)
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
        ] {
            assert_eq!(text.parse(), Ok(choice), "{text}");
        }
        for text in ["", "meter", "tcp", "tcp:", "tcp::5025", "tcp:a:b", "tcp:[::1", "serial:x@y", "typed:x"]
        {
            assert!(text.parse::<Choice>().is_err(), "{text}");
        }
    }
}
