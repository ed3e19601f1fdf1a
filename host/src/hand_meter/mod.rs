//! Meters that a person's two tips hang on: any that speaks SCPI over a network, a serial port or USB, and the bench's own.
//!
//! Read [`scpi`] first (what is said), then the lines it is said over ([`tcp`], [`serial`], [`usbtmc`]), [`tips`] (the bench's own meter), [`stable`] (when a reading
//! stands, so that nobody needs a third hand for a key) and [`choice`] (which of them was named).

pub mod choice;
pub mod scpi;
pub mod serial;
pub mod stable;
pub mod tcp;
pub mod tips;
pub mod usbtmc;

use std::{io, time::Duration};

pub use choice::{Choice, Reached};
pub use scpi::Scpi;
pub use stable::Stable;
pub use tips::{Channels, Tips};

use crate::quantity::clip;

/// Why a meter gives no reading.
#[derive(Debug, thiserror::Error)]
pub enum MeterError {
    /// No line to it.
    #[error(
        "the meter at {meter} cannot be reached: {why}; see that it is switched on, joined, and that the name is right"
    )]
    CannotReach {
        /// Where it was looked for.
        meter: String,
        /// Why not, by the system.
        why: String,
    },
    /// Nothing came.
    #[error(
        "the meter {meter} did not answer {asked} within {seconds:.0} s: see that its remote interface is switched on, speaks SCPI, and that \
         no other program holds it"
    )]
    Silent {
        /// The meter.
        meter: String,
        /// What it was asked.
        asked: &'static str,
        /// How long was waited.
        seconds: f64,
    },
    /// The line was cut.
    #[error("the line to the meter {meter} was cut ({why}): join it again, then go on with --resume")]
    Cut {
        /// The meter.
        meter: String,
        /// By the system.
        why: String,
    },
    /// Something else than was asked for.
    #[error(
        "the meter {meter} answered {asked} with {answered:?}, which is no {wanted}: set it to SCPI and to resistance, and see that nothing else \
         speaks with it"
    )]
    Nonsense {
        /// The meter.
        meter: String,
        /// What it was asked.
        asked: &'static str,
        /// The beginning of what came.
        answered: String,
        /// What should have come.
        wanted: &'static str,
    },
    /// It says that something is wrong.
    #[error(
        "the meter {meter} reports the error {error}: look at its display, switch it off and on, and go on with --resume"
    )]
    Reports {
        /// The meter.
        meter: String,
        /// In its words.
        error: String,
    },
    /// The bench's own meter cannot go on.
    #[error("the bench {meter} gives no reading: {why}; see its lid and its cable, then go on with --resume")]
    Bench {
        /// The bench.
        meter: String,
        /// Why not.
        why: String,
    },
    /// The bench saw voltage between its tips.
    #[error(
        "the bench {meter} sees voltage between the tips: take the battery out, let capacitors discharge, then go on with --resume"
    )]
    Live {
        /// The bench.
        meter: String,
    },
    /// Channels that a bench does not have.
    #[error(
        "the bench {meter} has {force} force and {sense} sense channels, counted from 0: name others with --tips"
    )]
    NoChannels {
        /// The bench.
        meter: String,
        /// Force channels.
        force: u16,
        /// Sense channels.
        sense: u16,
    },
    /// The bench's meter without its line or its channels.
    #[error(
        "--meter bench needs the bench's --port and, with --tips, the channels that the two tips hang on"
    )]
    NoBench,
    /// It cannot read with four wires.
    #[error(
        "the meter {meter} refuses to read with four wires ({error}): leave --kelvin out, or take a meter with four sockets"
    )]
    NoFourWire {
        /// The meter.
        meter: String,
        /// In its words.
        error: String,
    },
}

/// What can happen on a line.
#[derive(Debug)]
pub enum LineError {
    /// Nothing came in time.
    Silent,
    /// It is gone.
    Cut(String),
}

impl From<io::Error> for LineError {
    fn from(error: io::Error) -> Self {
        match error.kind() {
            io::ErrorKind::WouldBlock | io::ErrorKind::TimedOut => Self::Silent,
            _ => Self::Cut(error.to_string()),
        }
    }
}

/// A line to a meter: lines of text, either way.
pub trait Line {
    /// Sends a line; its end is added.
    ///
    /// # Errors
    /// A line that is gone.
    fn send(&mut self, text: &str) -> Result<(), LineError>;

    /// The next line, without its end.
    ///
    /// # Errors
    /// Nothing in this time; a line that is gone.
    fn receive(&mut self, within: Duration) -> Result<String, LineError>;
}

impl<L: Line + ?Sized> Line for Box<L> {
    fn send(&mut self, text: &str) -> Result<(), LineError> {
        (**self).send(text)
    }

    fn receive(&mut self, within: Duration) -> Result<String, LineError> {
        (**self).receive(within)
    }
}

/// The longest answer that is looked at, byte: an identity has four fields, a reading one number.
const LONGEST: usize = 1024;

/// Takes the first line out of what came so far, if it is whole.
fn first_line(buffer: &mut Vec<u8>) -> Option<String> {
    let end =
        buffer.iter().position(|byte| *byte == b'\n').or((buffer.len() >= LONGEST).then_some(LONGEST))?;
    let rest = buffer.split_off((end + 1).min(buffer.len()));
    let line = std::mem::replace(buffer, rest);
    Some(String::from_utf8_lossy(&line).trim().to_owned())
}

/// What a meter said, as it may stand in a message.
fn shown(text: &str) -> String {
    clip(text)
}
