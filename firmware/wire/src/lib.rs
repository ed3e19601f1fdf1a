//! What host and controller say to each other: one source of truth for both ends.
//!
//! Read in this order: [`shot`] (the smallest thing the controller runs), [`codes`] (what its codes are and how they
//! decode), [`contact`] (when a pin touches), [`message`] (the whole protocol on one screen), [`frame`] (how a message becomes bytes), and
//! [`hardware`] (the constants of the reference bench that both ends must agree on).
//!
//! The format is postcard inside a CRC-32 inside COBS. It is not self-describing: enums only ever grow at
//! the end, and [`PROTOCOL`] counts every change that an older peer would misread.
#![no_std]
// What comes in by the line picks no element by a number that may be out of range.
#![warn(clippy::indexing_slicing)]

pub mod codes;
pub mod contact;
pub mod frame;
pub mod hardware;
pub mod message;
pub mod shot;

pub use codes::{Codes, Malformed, decode as decode_codes};
pub use frame::{FrameError, FrameReader, decode, encode};
pub use message::{FromBench, Packet, ToBench};
pub use shot::{Contacts, Gain, Input, Method, Rate, Ratio, Settle, Shot, Source, Stop, Watch};

/// Version of everything in this crate that an older peer would misread.
pub const PROTOCOL: u16 = 4;

/// Longest frame on the line in bytes: COBS overhead and the closing zero included. Both ends drop longer ones.
pub const MAX_FRAME: usize = 256;
