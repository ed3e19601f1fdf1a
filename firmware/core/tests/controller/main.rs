//! The controller as the host and the bench see it: bytes and microseconds in, bytes and pin changes out.

// Everything here is a test; the lints know only functions marked so.
#![allow(clippy::expect_used, clippy::panic, clippy::unwrap_used)]

mod any;
mod codes;
mod fake;
mod requests;
mod runs;
mod safety;
mod shots;
mod timing;
