//! How long each exchange may take, on the line's own clock. A deadline stands from the exchange's start: nothing that comes
//! meanwhile moves it.

use std::time::Duration;

use copperwalk_core::timing::{Before, run_us};
use copperwalk_wire::Shot;

/// For an answer. A controller takes milliseconds; a busy computer may take a second to get round to reading it.
pub const ANSWER: Duration = Duration::from_secs(3);
/// For the controller's word that all is open, after `Stop`: it takes a millisecond.
pub const STOP: Duration = Duration::from_secs(1);

/// A run and a shot may take twice what they can need: the controller itself gives a conversion twice its time.
const FACTOR: u32 = 2;
/// And so much more for a shot: a busy computer may read late.
const SHOT_MARGIN: Duration = Duration::from_secs(5);
/// And so much more for a run.
const RUN_MARGIN: Duration = Duration::from_secs(10);
/// One shot of a plan on its way to the controller. Its frame takes 0.1 ms over full-speed USB; this is ten times as long.
const CARRY: Duration = Duration::from_millis(1);

/// For taking a plan of so many shots, and starting it.
pub fn start(shots: u16) -> Duration {
    ANSWER + CARRY * u32::from(shots)
}

/// For one shot, from the end of the one before it, which left the bench as `before` says.
pub fn shot(before: &mut Before, shot: &Shot) -> Duration {
    FACTOR * Duration::from_micros(before.shot(shot).most_us) + SHOT_MARGIN
}

/// For a whole run: every shot's budget spent.
pub fn run(plan: &[Shot]) -> Duration {
    FACTOR * Duration::from_micros(run_us(plan).most_us) + RUN_MARGIN
}
