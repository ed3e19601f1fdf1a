//! A controller on a serial port with a person beside it, who puts the unit into its states when asked.

use std::{
    io::{self, BufRead, Write},
    time::Duration,
};

use copperwalk_wire::{FromBench, Packet, ToBench, message::Identity};

use super::{
    Bench, Link, LinkError,
    client::{ClientError, greet},
    discover::serial_text,
    serial::SerialLink,
};
use crate::board::StateId;

/// A serial line and whoever stands at the bench.
#[derive(Debug)]
pub struct AttendedBench {
    line: SerialLink,
    identity: Identity,
}

impl AttendedBench {
    /// Opens the port and greets the controller. Anything running there stops.
    ///
    /// # Errors
    /// If the port cannot be opened, nobody answers, or not in our version.
    pub fn open(port: &str) -> Result<Self, ClientError> {
        let mut line = SerialLink::open(port)?;
        let identity = greet(&mut line)?;
        Ok(Self { line, identity })
    }

    /// Who answered.
    pub fn identity(&self) -> &Identity {
        &self.identity
    }
}

impl Link for AttendedBench {
    fn name(&self) -> String {
        format!("{}, controller {}", self.line.name(), serial_text(self.identity.serial))
    }

    fn send(&mut self, message: ToBench) -> Result<u16, LinkError> {
        self.line.send(message)
    }

    fn receive(&mut self, patience: Duration) -> Result<Packet<FromBench>, LinkError> {
        self.line.receive(patience)
    }
}

impl Bench for AttendedBench {
    /// Asks on standard error and waits for a line on standard input. Nothing runs meanwhile, so nothing hurries.
    fn place(&mut self, _state: StateId, prompt: &str) -> Result<(), LinkError> {
        // A board without states has nothing to be put into.
        if prompt.is_empty() {
            return Ok(());
        }
        // If nobody can read the question, nobody will answer it, and that is noticed below.
        let _ = writeln!(io::stderr(), "{prompt}, close the lid, then press Enter");
        match io::stdin().lock().read_line(&mut String::new()) {
            Ok(count) if count > 0 => Ok(()),
            _ => Err(LinkError::Unattended(prompt.into())),
        }
    }
}
