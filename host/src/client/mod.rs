//! A running daemon, as a command uses it: who has the controller is asked, instead of the controller.
//!
//! Read in this order: [`error`] (why there is no answer), `http` (one request, bounded in time and size), [`news`] (server-sent
//! events, read byte by byte), [`seen`] (what is read of the daemon's answers), [`found`] (the daemon that holds a port, and what it
//! is asked). Nothing here speaks to a person; `cli` does.

pub mod error;
pub mod found;
mod http;
pub mod news;
pub mod seen;

pub use error::ClientError;
pub use found::{Daemon, Listening};
