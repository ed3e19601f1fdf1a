//! The line to a controller: messages in, messages out. Who is at the other end, the modelled bench or a
//! microcontroller, does not matter to anything above.

pub mod attended;
pub mod client;
pub mod discover;
pub mod serial;

use std::time::Duration;

use copperwalk_wire::{FromBench, Packet, ToBench};

use crate::board::StateId;

/// A line to a controller.
pub trait Link {
    /// What is at the other end, for records and reports: `virtual bench, seed 7`, or a port.
    fn name(&self) -> String;

    /// Sends one message under the next sequence number and returns that number.
    fn send(&mut self, message: ToBench) -> Result<u16, LinkError>;

    /// The next message, waiting for it at most so long (in the bench's own time).
    fn receive(&mut self, patience: Duration) -> Result<Packet<FromBench>, LinkError>;
}

/// Why nothing more can be said or heard.
#[derive(Debug, thiserror::Error)]
pub enum LinkError {
    /// Nothing came in time.
    #[error("the controller did not answer within {0:?}")]
    Silent(Duration),
    /// The line itself is gone: cable, port, or a controller that restarted.
    #[error("the line to the controller broke: {0}")]
    Broken(String),
    /// Nobody says that the unit is in the state asked for.
    #[error("nobody answered \"{0}\"; a bench needs a person who does it and presses Enter")]
    Unattended(String),
    /// A message does not fit a frame.
    #[error("a message does not fit a frame: {0:?}")]
    Frame(copperwalk_wire::FrameError),
}

/// A bench with an operator beside it, or one that moves the unit's switches by itself.
pub trait Bench: Link {
    /// Puts the unit into a state and returns when it is there.
    fn place(&mut self, state: StateId, prompt: &str) -> Result<(), LinkError>;
}
