#![no_std]
//! The controller: everything the microcontroller decides, and no chip of its own in sight.
//!
//! Bytes from the host go in, bytes for the host come out, and in between relays move and conversions run
//! over embedded-hal traits. Nothing here allocates, blocks on the host, or reads a clock: the caller says
//! what time it is. The RP2040 binary and the modelled bench on a PC run exactly this code.
//!
//! # Read in this order
//! The parts: [`matrix`] and [`ads1220`] (the two chips), [`front_end`] (source, clamps, reversal), [`mod@bench`]
//! (all of it, and the all-open state). What the controller knows: [`rules`] (what it refuses), [`sampler`]
//! (which conversion comes next in a shot) with [`residual`], [`delta`] and [`settle`] (what the codes mean to
//! it), [`drive`] (from one excitation to the next), and [`timing`] (how long it takes). What it does: `run` (one run of a plan), `session` (the line to the host), [`controller`] (requests).
//!
//! The pure parts are public so that the host decodes and checks with the very code the controller runs.

// What comes in by the line and from the chips picks no element by a number that may be out of range.
#![warn(clippy::indexing_slicing)]

pub mod ads1220;
pub mod bench;
pub mod controller;
pub mod delta;
pub mod drive;
pub mod front_end;
pub mod matrix;
pub mod residual;
pub mod rules;
mod run;
pub mod sampler;
mod session;
pub mod settle;
pub mod time;
pub mod timing;

pub use bench::Parts;
pub use controller::Controller;
pub use matrix::Layout;
pub use time::Instant;
