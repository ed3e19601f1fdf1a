//! What a proof has found of one bench's meter, and what has become of it since.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::{Band, GAIN_PER_KELVIN, Meter, RM_PER_KELVIN, RM_PER_YEAR};
use crate::quantity::Celsius;

/// A figure and half the width of the band that it is known to lie in.
#[derive(Clone, Copy, PartialEq, Debug, Serialize, Deserialize, ToSchema)]
pub struct Found {
    /// Relative error.
    pub off: f64,
    /// Half width of the rectangle that holds 95 % of what it may be where the rectangle's own 95 % end.
    pub half: f64,
}

/// A normal distribution's 95 % half width, over the rectangle that has the same: 0.95.
const RECTANGLE: f64 = 1.0 / 0.95;
/// Between two readings of the converter's own thermometer, and between it and Rm beside it, kelvin (common practice for parts
/// on one board in still air).
const ALIKE_KELVIN: f64 = 1.0;
/// Days of a year.
const YEAR_DAYS: f64 = 365.25;

impl Found {
    /// A value that is known to an expanded uncertainty at 95 %.
    pub fn new(off: f64, u95: f64) -> Self {
        Self { off, half: u95 * RECTANGLE }
    }

    /// The same while something may have changed by so much.
    fn since(self, change: f64) -> Band {
        // A rectangle and a smaller one are taken as one that holds both: they add up.
        Band { middle: self.off, half: self.half + change }
    }
}

/// The parts of a meter that a proof has measured.
#[derive(Clone, Copy, PartialEq, Debug, Serialize, Deserialize, ToSchema)]
pub struct Proven {
    /// Rm against its nominal value; `None` without a standard that has a certificate.
    pub rm: Option<Found>,
    /// Each gain against gain 2, from gain 1 to 128.
    pub gains: [Found; 8],
    /// The converter's own thermometer at that time.
    #[serde(rename = "celsius")]
    pub at: Celsius,
    /// Days that it is to hold for.
    pub days: u16,
}

impl Proven {
    /// The meter at this temperature of its own thermometer, at the end of the proof's time. Without a temperature as far away as
    /// a room can be.
    pub fn meter(&self, now: Option<Celsius>) -> Meter {
        let kelvin = now.map_or(super::ROOM_KELVIN, |now| (now.0 - self.at.0).abs() + ALIKE_KELVIN);
        let published = Meter::PUBLISHED;
        let aged = RM_PER_YEAR * f64::from(self.days) / YEAR_DAYS;
        Meter {
            rm: self.rm.map_or(published.rm, |rm| rm.since(RM_PER_KELVIN * kelvin + aged)),
            gains: self.gains.map(|gain| gain.since(GAIN_PER_KELVIN * kelvin)),
            ..published
        }
    }
}

#[cfg(test)]
mod tests {
    use copperwalk_wire::Gain;

    use super::*;
    use crate::{measure::uncertainty::expanded, quantity::Ohms};

    const NOTHING: Found = Found { off: 0.0, half: 0.0 };

    fn proven(rm: Option<Found>) -> Proven {
        Proven { rm, gains: [NOTHING; 8], at: Celsius(23.0), days: 30 }
    }

    #[test]
    fn a_certificates_interval_comes_out_again() {
        let found = Found::new(2e-4, 1e-4);
        assert!((expanded(Ohms::ZERO, Ohms(found.half)).0 - 1e-4).abs() < 1e-12);
    }

    #[test]
    fn what_is_not_proven_stays_as_published() {
        let meter = proven(None).meter(Some(Celsius(23.0)));
        assert_eq!(meter.rm, Meter::PUBLISHED.rm);
        assert!(meter.gain_ratio(Gain::X128, Gain::X2).half < 1e-5);
        assert_eq!(meter.common_mode, Meter::PUBLISHED.common_mode);
    }

    /// 15 ppm/K and 0.02 % a year, by hand: 6 K of difference and of unlikeness, 30 of 365.25 days.
    #[test]
    fn it_widens_with_the_difference_of_temperature_and_with_time() {
        let meter = proven(Some(NOTHING)).meter(Some(Celsius(28.0)));
        assert!((meter.rm.half - (90e-6 + 16.427e-6)).abs() < 1e-9, "{}", meter.rm.half);
        let unknown = proven(Some(NOTHING)).meter(None);
        assert!(unknown.rm.half > meter.rm.half);
    }
}
