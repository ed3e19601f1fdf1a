#![no_std]
//! The controller: everything the microcontroller decides, and no chip of its own in sight.
//!
//! Bytes from the host go in, bytes for the host come out, and in between relays move and conversions run
//! over embedded-hal traits. Nothing here allocates, blocks on the host, or reads a clock: the caller says
//! what time it is. The RP2040 binary and the modelled bench on a PC run exactly this code.

pub mod controller;
pub mod time;

pub use controller::{Controller, Layout, Parts};
pub use time::Instant;
