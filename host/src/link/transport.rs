//! A line to a controller, as bytes in and bytes out, with a clock of its own.
//!
//! A cable lives in real time; the modelled bench advances model time while somebody waits, and nothing sleeps.
//! Everything above asks the line what time it is and never the operating system, so it is the same code for both.

use std::time::Duration;

/// The line is lost for good; says why, in words.
#[derive(Clone, PartialEq, Eq, Debug, thiserror::Error)]
#[error("the line to the controller broke: {0}")]
pub struct Gone(pub String);

/// A line to a controller.
pub trait Transport {
    /// What is at the other end, for records and reports: `virtual bench, seed 7`, or a port.
    fn name(&self) -> String;

    /// Time on the line's own clock.
    fn now(&self) -> Duration;

    /// Puts one frame on the line and does not wait until it has arrived.
    ///
    /// # Errors
    /// [`Gone`] if the line is lost.
    fn send(&mut self, frame: &[u8]) -> Result<(), Gone>;

    /// Appends what has come to `bytes`, at most 64 KiB at a time. Returns as soon as something has come, at `deadline` on
    /// the line's clock, or earlier with nothing: after 50 ms of real time at the latest, so that whoever waits may
    /// think better of it.
    ///
    /// # Errors
    /// [`Gone`] if the line is lost and everything that came before has been handed over.
    fn receive(&mut self, deadline: Duration, bytes: &mut Vec<u8>) -> Result<(), Gone>;
}

impl<T: Transport + ?Sized> Transport for Box<T> {
    fn name(&self) -> String {
        (**self).name()
    }

    fn now(&self) -> Duration {
        (**self).now()
    }

    fn send(&mut self, frame: &[u8]) -> Result<(), Gone> {
        (**self).send(frame)
    }

    fn receive(&mut self, deadline: Duration, bytes: &mut Vec<u8>) -> Result<(), Gone> {
        (**self).receive(deadline, bytes)
    }
}
