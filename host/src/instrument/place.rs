//! Where an instrument is: at a network address, a serial port, a device file.

use std::path::PathBuf;

use super::{CannotReach, Line, apart::Apart, serial::SerialLine, tcp::TcpLine, usbtmc::UsbTmcLine};

/// The port that SCPI instruments listen at (registered with IANA as `scpi-raw`).
pub const SCPI_PORT: u16 = 5025;
/// What serial instruments are usually set to, baud (common practice).
pub const BAUD: u32 = 9600;

/// Where.
#[derive(Clone, PartialEq, Eq, Debug)]
pub enum Place {
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

impl Place {
    /// The place that a kind (`tcp`, `serial`, `usbtmc`) and what follows its colon name; `None`: it names none.
    pub fn named(kind: &str, place: &str) -> Option<Self> {
        match (kind, place) {
            (_, "") => None,
            ("tcp", place) => {
                // An address of IPv6 has colons of its own and stands in brackets where a port follows.
                let (host, port) = match (place.strip_prefix('['), place.matches(':').count()) {
                    (Some(rest), _) => {
                        let (host, port) = rest.split_once(']')?;
                        (host, port.strip_prefix(':'))
                    }
                    (None, 1) => place.split_once(':').map(|(host, port)| (host, Some(port)))?,
                    (None, _) => (place, None),
                };
                let port = port.map_or(Some(SCPI_PORT), |port| port.parse().ok())?;
                (!host.is_empty()).then(|| Self::Tcp { host: host.into(), port })
            }
            ("serial", place) => match place.rsplit_once('@') {
                Some((device, baud)) => {
                    Some(Self::Serial { device: device.into(), baud: baud.parse().ok()? })
                }
                None => Some(Self::Serial { device: place.into(), baud: BAUD }),
            },
            ("usbtmc", place) => Some(Self::UsbTmc(place.into())),
            _ => None,
        }
    }

    /// What it is called until it has said its name.
    pub fn name(&self) -> String {
        match self {
            Self::Tcp { host, port } => format!("{host}:{port}"),
            Self::Serial { device, .. } => device.clone(),
            Self::UsbTmc(path) => path.display().to_string(),
        }
    }

    /// Opens the line.
    ///
    /// # Errors
    /// Nothing there, or not allowed.
    pub fn open(&self) -> Result<Box<dyn Line>, CannotReach> {
        Ok(match self {
            Self::Tcp { host, port } => Box::new(TcpLine::open(host, *port)?),
            Self::Serial { device, baud } => Box::new(SerialLine::open(device, *baud)?),
            Self::UsbTmc(path) => Box::new(Apart::new(UsbTmcLine::open(path)?)),
        })
    }
}
