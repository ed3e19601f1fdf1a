//! The line to the host: a USB serial port.
//!
//! The host's operating system says when somebody has the port open (DTR), and a pulled cable shows as a bus
//! without frames for 3 ms, which suspends it. Either end going away opens every relay at once; a host that
//! merely falls silent is caught by the heartbeat in the core.

use copperwalk_core::Instant;
use usb_device::device::UsbDeviceState;

use crate::board::{Controller, Usb};

/// Longest USB packet at full speed, bytes.
const PACKET: usize = 64;

/// The port, and whether somebody had it open when last looked at.
pub struct Line {
    usb: Usb,
    open: bool,
}

impl Line {
    /// The line before the host has said anything.
    pub const fn new(usb: Usb) -> Self {
        Self { usb, open: false }
    }

    /// Takes what the host sent while the controller has room for the answers; what it has no room for stays
    /// in the port, and the bus holds the host back. Says whether to come again at once.
    pub fn take(&mut self, controller: &mut Controller, now: Instant) -> bool {
        let Usb { device, port } = &mut self.usb;
        device.poll(&mut [port]);

        let open = device.state() == UsbDeviceState::Configured && port.dtr();
        if self.open && !open {
            controller.hang_up(now);
        }
        self.open = open;

        let mut packet = [0; PACKET];
        let Ok(length) = (if controller.can_receive() { port.read(&mut packet) } else { Ok(0) }) else {
            return false;
        };
        controller.receive(&packet[..length], now);
        length > 0
    }

    /// Gives the host as much as the port takes; with nothing to give, moves on what the port still holds.
    pub fn give(&mut self, controller: &mut Controller) {
        let port = &mut self.usb.port;
        if let Ok(taken) = port.write(controller.outgoing()) {
            controller.sent(taken);
        }
    }
}
