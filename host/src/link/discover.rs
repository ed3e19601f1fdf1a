//! Which controllers are plugged in, and how they stand.
//!
//! A controller is known by the numbers of its USB device; its serial number is that of its flash chip, on the bus as in its
//! answer to `Hello`. Asking one that another program works with is not possible (the port is taken) and not
//! wanted: a `Hello` stops what runs.

use std::{fs, path::Path};

use copperwalk_wire::message::{Identity, Status};
use tokio_serial::{SerialPortInfo, SerialPortType, UsbPortInfo, available_ports};

use super::{error::LinkError, serial::SerialLink, session::Session};

/// USB vendor and product of the firmware: a test number of pid.codes, shared by anything that is not sold.
/// So a device that bears it may be something else; only its `Hello` tells.
pub const USB_ID: (u16, u16) = (0x1209, 0x0001);

/// A controller, or what looked like one.
#[derive(Debug)]
pub struct Attached {
    /// The port, as `--port` takes it.
    pub port: String,
    /// The serial number on the bus.
    pub usb_serial: Option<String>,
    /// What it says of itself, or why it does not.
    pub answer: Result<(Identity, Status), LinkError>,
}

/// Ports with a device that bears our numbers; none of them is asked.
pub fn ports() -> Vec<String> {
    usb_ports().map(|(port, _)| port).collect()
}

/// Asks whoever is at a port.
pub fn at(port: String) -> Attached {
    Attached { answer: ask(&port), usb_serial: usb_serial(&port), port }
}

fn ask(port: &str) -> Result<(Identity, Status), LinkError> {
    let mut session = Session::open(SerialLink::open(port)?)?;
    let status = session.status()?;
    // Bytes of every kind have to come through before a sweep is trusted to the line.
    session.echo()?;
    Ok((*session.identity(), status))
}

/// The serial number of a controller as people see it: sixteen hexadecimal digits.
pub fn serial_text(serial: [u8; 8]) -> String {
    format!("{:016X}", u64::from_be_bytes(serial))
}

/// The serial number on the bus of the USB device behind a port, if it is one. The port may be given by an alias.
fn usb_serial(port: &str) -> Option<String> {
    let real = |name: &str| fs::canonicalize(name).unwrap_or_else(|_| name.into());
    usb_ports().find(|(name, _)| real(name) == real(port))?.1.serial_number
}

/// Ports of USB devices with our numbers, by name.
fn usb_ports() -> impl Iterator<Item = (String, UsbPortInfo)> {
    // Without this folder (a container) the listing would panic.
    let listable = !cfg!(target_os = "linux") || Path::new("/sys/class/tty").is_dir();
    let mut ports = if listable { available_ports().unwrap_or_default() } else { vec![] };
    ports.sort_by(|one, other| one.port_name.cmp(&other.port_name));
    ports.into_iter().filter_map(|SerialPortInfo { port_name, port_type }| match port_type {
        SerialPortType::UsbPort(usb) if (usb.vid, usb.pid) == USB_ID => Some((port_name, usb)),
        _ => None,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_serial_number_reads_as_on_the_bus() {
        assert_eq!(serial_text([0xE6, 0x60, 0xC0, 0xD1, 0xCE, 0x5E, 0xED, 0x01]), "E660C0D1CE5EED01");
    }

    #[test]
    fn a_port_that_is_not_there_is_told_with_the_remedy() {
        let error = ask("/dev/no-such-controller").unwrap_err().to_string();
        assert!(error.contains("/dev/no-such-controller: there is no such port"), "{error}");
        assert!(error.contains("copperwalk bench"), "{error}");
    }
}
