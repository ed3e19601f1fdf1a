//! The line to a controller. Who is at the other end, the modelled bench or a microcontroller, does not matter to anything
//! above.
//!
//! Read in this order: [`transport`] (a line as bytes, and its clock), `line` (sequence numbers, frames, heartbeats),
//! [`session`] (greeting, questions, stopping), [`run`] (a plan loaded, started and collected), [`report`] (what that gives), `compare` (answers held against
//! the plan as they come), [`deadline`] (how long each exchange may take), [`error`] (what can go wrong, in words), [`cancel`]
//! (how a run is ended from outside). Then [`serial`] and [`discover`]: the transport that is a cable.

pub mod cancel;
mod compare;
pub mod deadline;
pub mod discover;
pub mod error;
mod line;
pub mod report;
pub mod run;
pub mod serial;
pub mod session;
pub mod transport;
pub mod words;

pub use cancel::CancelToken;
pub use error::{BrokenPromise, LinkError};
pub use report::{Heard, RanShot, RunReport};
pub use session::Session;
pub use transport::{Gone, Transport};

#[cfg(test)]
mod scripted;
