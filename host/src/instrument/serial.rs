//! An instrument at a serial port.

use std::time::Duration;

use super::{CannotReach, Line, LineError, first_line};
use crate::link::{serial::SerialLink, transport::Transport};

/// A line over a serial port.
#[derive(Debug)]
pub struct SerialLine {
    link: SerialLink,
    buffer: Vec<u8>,
}

impl SerialLine {
    /// Opens the port at a speed, baud.
    ///
    /// # Errors
    /// A port that is not there, not allowed or in use.
    pub fn open(device: &str, baud: u32) -> Result<Self, CannotReach> {
        let link = SerialLink::open_at(device, baud)
            .map_err(|error| CannotReach { place: device.into(), why: error.to_string() })?;
        Ok(Self { link, buffer: Vec::new() })
    }
}

impl Line for SerialLine {
    fn send(&mut self, text: &str) -> Result<(), LineError> {
        self.buffer.clear();
        let line = format!("{text}\n");
        self.link.send(line.as_bytes()).map_err(|gone| LineError::Cut(gone.0))
    }

    fn receive(&mut self, within: Duration) -> Result<String, LineError> {
        let deadline = self.link.now() + within;
        loop {
            if let Some(line) = first_line(&mut self.buffer) {
                return Ok(line);
            }
            if self.link.now() >= deadline {
                return Err(LineError::Silent);
            }
            let mut bytes = Vec::new();
            self.link.receive(deadline, &mut bytes).map_err(|gone| LineError::Cut(gone.0))?;
            self.buffer.append(&mut bytes);
        }
    }
}
