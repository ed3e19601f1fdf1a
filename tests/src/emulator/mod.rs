//! The controller's real firmware, built as for flashing, in an emulated RP2040 whose pins and buses end in the same
//! chip and network models as the virtual bench's.
//!
//! Read in this order: [`firmware`] (how the file comes about), [`process`] (the emulator as a child process),
//! [`mod@bench`] (the chips and the unit around it, and the trace of relays and current), [`cable`] (its USB port as a
//! serial device that any program can open).
#![allow(
    clippy::expect_used,
    clippy::panic,
    clippy::unwrap_used,
    reason = "test equipment: a failed expectation is the message"
)]

pub mod bench;
pub mod cable;
pub mod firmware;
pub mod pins;
pub mod process;
pub mod talk;
pub mod trace;
