//! Contact disturbance: what a segment does while somebody taps, bends or wiggles it (the word is that of IEC 60512-2-5, test 2e).
//!
//! Pure functions over the codes of a segment that is watched dry, pair A and pair B in turn. Read in this order: [`levels`] (what the
//! undisturbed contact reads, learned from the first second), [`rates`] (thresholds from a stated rate of false alarms), then the
//! three tests: [`dropout`] (interruptions, and where the loop opened), [`blocks`] (steps, and excess noise), [`observer`], which puts
//! them together, [`clock`] (when each conversion was), and [`watched`] (what is shown and kept).

pub mod blocks;
pub mod clock;
pub mod dropout;
pub mod levels;
pub mod observer;
pub mod rates;
pub mod watched;

pub use clock::Clock;
pub use observer::Observer;
pub use watched::{Disturbance, Noise, Place, Step, Watched};

use crate::{measure::voltage, plan::aim::WATCH_GAINS, quantity::Volts};

/// A segment that moved by less than this share of its limit is steady enough: as in a sweep.
pub use crate::finding::segment::MOTION_SHARE;

/// Two conversions one after the other.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Pair {
    /// When the first began, µs of watching.
    pub at_us: u64,
    /// Voltage over the segment, positive while the current runs from its end nearer force+.
    pub sense: Volts,
    /// Voltage over Rm.
    pub drop: Volts,
}

impl Pair {
    /// From its two codes. `swapped`: sense+ stands at the segment's end nearer force-.
    pub fn new(at_us: u64, [sense, drop]: [i32; 2], swapped: bool) -> Self {
        let [gain_a, gain_b] = WATCH_GAINS;
        let sense = voltage(sense, gain_a);
        Self { at_us, sense: if swapped { -sense } else { sense }, drop: voltage(drop, gain_b) }
    }
}
