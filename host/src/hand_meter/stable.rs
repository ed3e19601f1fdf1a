//! When a reading stands: the tips lie still, and nobody has a hand left for a key.
//!
//! A reading counts once it is a number that repeats itself, and only after the tips were lifted since the one before: else the
//! reading of the last points would be taken for that of the next.

use super::scpi::Reading;
use crate::quantity::Ohms;

/// Readings in a row that have to agree.
const AGREE: usize = 3;
/// They agree within so much of their mean …
const RELATIVE: f64 = 0.01;
/// … or within so much, whatever they are: tips held by hand scatter (common practice).
const FLOOR: Ohms = Ohms(0.03);

/// Watches the readings of one meter.
#[derive(Clone, Debug, Default)]
pub struct Stable {
    lifted: bool,
    latest: Vec<f64>,
}

impl Stable {
    /// The tips may lie on the last points still; they have to be lifted first.
    pub fn resting() -> Self {
        Self::default()
    }

    /// The tips are in the air, or nothing was read yet.
    pub fn lifted() -> Self {
        Self { lifted: true, latest: Vec::new() }
    }

    /// Takes one more reading; gives the value that stands, once.
    pub fn take(&mut self, reading: Reading) -> Option<Ohms> {
        let Reading::Reads(resistance) = reading else {
            *self = Self::lifted();
            return None;
        };
        if !self.lifted {
            return None;
        }
        self.latest.push(resistance.0);
        let from = self.latest.len().saturating_sub(AGREE);
        self.latest.drain(..from);
        let mean = self.latest.iter().sum::<f64>() / self.latest.len() as f64;
        let spread = self.latest.iter().map(|ohms| (ohms - mean).abs()).fold(0.0, f64::max);
        if self.latest.len() < AGREE || spread > (RELATIVE * mean.abs()).max(FLOOR.0) {
            return None;
        }
        *self = Self::resting();
        Some(Ohms(mean))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn values(readings: &[Option<f64>]) -> Vec<f64> {
        let mut stable = Stable::lifted();
        let read = |ohms: &Option<f64>| ohms.map_or(Reading::Overload, |ohms| Reading::Reads(Ohms(ohms)));
        readings.iter().filter_map(|ohms| stable.take(read(ohms))).map(|ohms| ohms.0).collect()
    }

    #[test]
    fn it_waits_until_the_tips_lie_still_and_takes_each_rest_once() {
        let held = [
            None,
            Some(40.0),
            Some(3.0),
            Some(1.00),
            Some(1.01),
            Some(1.00),
            Some(1.0),
            Some(1.0),
            Some(1.0),
        ];
        assert_eq!(values(&held).len(), 1);
        assert!((values(&held)[0] - 1.0033).abs() < 1e-3);
        let lifted = [&held[..], &[None, Some(2.0), Some(2.0), Some(2.0)]].concat();
        assert_eq!(values(&lifted).len(), 2);
    }

    #[test]
    fn three_hundredths_of_an_ohm_are_still_and_more_is_not() {
        assert_eq!(values(&[Some(1.00), Some(1.04), Some(1.02)]).len(), 1);
        assert!(values(&[Some(1.00), Some(1.10), Some(1.00), Some(1.10)]).is_empty());
        assert_eq!(values(&[Some(1e4), Some(1.005e4), Some(1e4)]).len(), 1, "a hundredth of ten kilohms");
    }
}
