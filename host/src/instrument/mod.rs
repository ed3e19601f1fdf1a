//! Instruments that are asked in lines of text: how a line to one is opened, and what every one that speaks SCPI understands.
//!
//! Read [`Line`] first, then the lines there are ([`tcp`], [`serial`], [`usbtmc`]), [`place`] (which of them was named) and [`talk`] (questions,
//! answers and the error queue). What a meter or a supply is told stands in [`hand_meter`](crate::hand_meter) and [`supply`](crate::supply).

mod apart;
pub mod place;
pub mod serial;
pub mod talk;
pub mod tcp;
pub mod usbtmc;

use std::{io, thread, time::Duration};

pub use place::Place;
pub use talk::{Talk, Trouble};

/// No line to an instrument.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct CannotReach {
    /// Where it was looked for.
    pub place: String,
    /// Why not, by the system.
    pub why: String,
}

/// What can happen on a line.
#[derive(Clone, PartialEq, Eq, Debug)]
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

/// A line to an instrument: lines of text, either way.
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

    /// Lets so much time pass at the instrument. A modelled one moves its own clock instead of keeping anybody waiting.
    fn rest(&mut self, time: Duration) {
        thread::sleep(time);
    }
}

impl<L: Line + ?Sized> Line for Box<L> {
    fn send(&mut self, text: &str) -> Result<(), LineError> {
        (**self).send(text)
    }

    fn receive(&mut self, within: Duration) -> Result<String, LineError> {
        (**self).receive(within)
    }

    fn rest(&mut self, time: Duration) {
        (**self).rest(time);
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
