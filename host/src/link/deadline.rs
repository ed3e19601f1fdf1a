//! How long each exchange may take, on the line's own clock. A deadline stands from the exchange's start: nothing that comes
//! meanwhile moves it.

use std::time::Duration;

use copperwalk_wire::{
    Method, Rate, Shot,
    hardware::wait::{IDAC_START_US, OPERATE_US, QUIET_US, RELEASE_US, REVERSE_US, SETTLE_US},
};

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

/// For one shot, from the end of the one before it.
pub fn shot(shot: &Shot) -> Duration {
    FACTOR * longest(shot) + SHOT_MARGIN
}

/// For a whole run: every shot's budget spent, every relay moved.
pub fn run(plan: &[Shot]) -> Duration {
    FACTOR * plan.iter().map(longest).sum::<Duration>() + RUN_MARGIN
}

/// The longest a shot can take the controller, its whole budget spent and relays moved before it.
fn longest(shot: &Shot) -> Duration {
    /// Contact checks and the residual check convert at this rate.
    const QUICK_US: u64 = Rate::Sps1000.micros() as u64;
    /// The longest the controller waits after a change of the excitation.
    const CHANGE_US: u64 = (SETTLE_US + REVERSE_US + IDAC_START_US) as u64;
    let moves_us = u64::from(QUIET_US + RELEASE_US + OPERATE_US);
    let sampling_us = match shot.method {
        Method::Residual => CHANGE_US + 4 * QUICK_US,
        Method::Bleed { millis } => u64::from(millis) * 1_000,
        Method::Look { rate, count, .. } => CHANGE_US + u64::from(count) * u64::from(rate.micros()),
        Method::Ratio(ratio) => {
            // Both force contacts, and every half-cycle, turn the current round; the contact check comes before it.
            let changes = 3 + 3 * u64::from(ratio.triples_max);
            let conversions = 2 + 6 * u64::from(ratio.triples_max);
            2 * QUICK_US
                + changes * (CHANGE_US + u64::from(ratio.wait_us))
                + conversions * u64::from(ratio.rate.micros())
        }
        Method::Settle(settle) => {
            let pairs = u64::from(settle.window) * u64::from(settle.windows_max);
            2 * CHANGE_US + 2 * QUICK_US + (4 + 2 * pairs) * u64::from(settle.rate.micros())
        }
    };
    Duration::from_micros(moves_us + sampling_us)
}
