//! What a run of the controller gives.

use copperwalk_wire::message::{RunEnd, ShotEnd};

/// What a run gave.
#[derive(Clone, PartialEq, Debug)]
pub struct RunReport {
    /// The shots that were run, in order.
    pub shots: Vec<RanShot>,
    /// Why it ended; never [`RunEnd::Stopped`], which is an error here.
    pub end: RunEnd,
    /// Relays closed.
    pub closures: u32,
    /// Device time, µs.
    pub device_us: u32,
}

/// What a run says as it goes on.
#[derive(Clone, Copy, PartialEq, Debug)]
pub enum Heard<'r> {
    /// The next codes of the shot under way.
    Codes {
        /// Which shot, from 0.
        shot: usize,
        /// Those that came since the last time.
        codes: &'r [i32],
    },
    /// A shot is over.
    Shot(&'r RanShot),
}

/// One shot that was run.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct RanShot {
    /// Raw codes.
    pub codes: Vec<i32>,
    /// Why its sampling stopped.
    pub why: ShotEnd,
    /// Device time at its start and end since the run began, µs.
    pub span_us: (u32, u32),
}
