//! When each conversion was, by the controller's own clock, and whether any time went by without one.

use copperwalk_wire::hardware::wait::{IDAC_START_US, SETTLE_US};

use crate::{meter::conversion_us, plan::aim::WATCH_RATE};

/// Source on until the first conversion, µs.
const START_US: u64 = (IDAC_START_US + SETTLE_US) as u64;
/// A shot whose conversions follow each other slower than those of the quickest by this share has waited for room on the line: that of
/// several thousand is steady to a thousandth.
const STALLED: f64 = 0.01;

/// Counts conversions over shots of which each begins where the one before it ended.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Clock {
    /// Device time at which watching began, µs.
    began_us: u64,
    /// The same of the shot under way.
    shot_us: u64,
    /// From one conversion to the next: nominal, until a shot is over. The converter's oscillator may be off by 2 % (SBAS501).
    period_us: f64,
    quickest_us: f64,
    unwatched_us: u64,
}

impl Clock {
    /// Watching begins at this device time.
    pub fn new(device_us: u32) -> Self {
        let (began_us, period_us) = (u64::from(device_us), f64::from(conversion_us(WATCH_RATE)));
        Self { began_us, shot_us: began_us, period_us, quickest_us: f64::INFINITY, unwatched_us: 0 }
    }

    /// When the conversion of this number of the shot under way began, µs of watching.
    pub fn at_us(&self, number: usize) -> u64 {
        self.shot_us - self.began_us + START_US + (self.period_us * number as f64) as u64
    }

    /// A shot is over: device time at its end, and how many conversions it had.
    pub fn shot_over(&mut self, to_us: u32, codes: usize) {
        let to_us = u64::from(to_us).max(self.shot_us);
        if codes > 0 {
            self.period_us = (to_us - self.shot_us).saturating_sub(START_US) as f64 / codes as f64;
            self.quickest_us = self.quickest_us.min(self.period_us);
            let longer_us = self.period_us - self.quickest_us;
            if longer_us > STALLED * self.quickest_us {
                self.unwatched_us += (longer_us * codes as f64) as u64;
                self.period_us = self.quickest_us;
            }
        }
        self.shot_us = to_us;
    }

    /// From one conversion to the next, µs.
    pub fn period_us(&self) -> f64 {
        self.period_us
    }

    /// Time without a conversion, µs.
    pub fn unwatched_us(&self) -> u64 {
        self.unwatched_us
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn conversions_are_dated_by_the_shots_and_a_stall_is_seen() {
        let mut clock = Clock::new(50_000);
        assert_eq!(clock.at_us(0), 300);
        assert_eq!(clock.at_us(10), 300 + 10_860);
        clock.shot_over(50_300 + 1_000_000, 1_000);
        assert_eq!((clock.at_us(0), clock.at_us(10)), (1_000_600, 1_010_600));
        clock.shot_over(50_300 + 2_000_300, 1_000);
        assert_eq!(clock.unwatched_us(), 0);
        // A fifth of a second without a conversion.
        clock.shot_over(50_300 + 3_200_600, 1_000);
        assert!((199_000..=200_000).contains(&clock.unwatched_us()), "{}", clock.unwatched_us());
        assert_eq!(clock.period_us(), 1_000.0);
    }
}
