//! What a resistance may be: at 20 °C from a reading or from limits, and at another temperature by its kind.

use crate::board::SegmentKind;
use crate::board::thermal::{self, COPPER, Coefficient};
use crate::quantity::{Amps, Celsius, Ohms};

/// What a resistance may be.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Range {
    /// At least; never below zero.
    pub low: Ohms,
    /// At most.
    pub high: Ohms,
    /// What shares of the drop are worked out from: the reading, or the most that limits allow.
    pub stands: Ohms,
    /// Middle of its distribution.
    pub middle: Ohms,
    /// Standard deviation of its distribution.
    pub sigma: Ohms,
}

impl Range {
    /// A reading with its expanded uncertainty, 95 %: a normal distribution of half that (GUM, JCGM 100, 6.2).
    pub fn reading(value: Ohms, u95: Ohms) -> Self {
        let value = value.max(Ohms::ZERO);
        Self {
            low: (value - u95).max(Ohms::ZERO),
            high: value + u95,
            stands: value,
            middle: value,
            sigma: u95 / 2.0,
        }
    }

    /// Anywhere between two bounds, of which the upper is what limits allow: a rectangle (GUM, 4.3.7).
    pub fn between(least: Ohms, most: Ohms) -> Self {
        // Limits that a file states may lie below what copper is expected to have at least.
        let least = least.max(Ohms::ZERO).min(most);
        Self {
            low: least,
            high: most,
            stands: most,
            middle: (least + most) / 2.0,
            sigma: (most - least) / (2.0 * 3f64.sqrt()),
        }
    }

    /// The same at a temperature.
    pub(super) fn at(self, follows: Follows, temperature: Celsius) -> Self {
        let kelvin = temperature.0 - 20.0;
        match follows {
            Follows::Resistance(Coefficient { middle, half }) => {
                let (factor, half) = (1.0 + middle * kelvin, half * kelvin.abs());
                Self {
                    low: self.low * (factor - half).max(0.0),
                    high: self.high * (factor + half),
                    stands: self.stands * factor,
                    middle: self.middle * factor,
                    sigma: (self.sigma * factor).hypot(self.middle * (half / 3f64.sqrt())),
                }
            }
            Follows::Forward(load) => {
                let Coefficient { middle, half } = FORWARD_VOLTS_PER_KELVIN;
                let ohms = |per_kelvin: f64| Ohms(per_kelvin * kelvin / load.0);
                let (one, other) = (ohms(middle - half), ohms(middle + half));
                Self {
                    low: (self.low + one.min(other)).max(Ohms::ZERO),
                    high: (self.high + one.max(other)).max(Ohms::ZERO),
                    stands: (self.stands + ohms(middle)).max(Ohms::ZERO),
                    middle: (self.middle + ohms(middle)).max(Ohms::ZERO),
                    sigma: self.sigma.hypot(ohms(half).abs() / 3f64.sqrt()),
                }
            }
        }
    }
}

/// Forward voltage of a diode over temperature, V/K: silicon loses 2 mV to a kelvin, Schottky diodes near their full current one or less
/// (common practice).
const FORWARD_VOLTS_PER_KELVIN: Coefficient = Coefficient { middle: -1.5e-3, half: 0.7e-3 };

/// How a piece follows temperature.
#[derive(Clone, Copy, PartialEq, Debug)]
pub(super) enum Follows {
    /// As a resistance.
    Resistance(Coefficient),
    /// As a diode whose forward voltage is written as a resistance at this current.
    Forward(Amps),
}

impl Follows {
    /// A segment of this kind under this load.
    pub fn of(kind: &SegmentKind, load: Amps) -> Self {
        match kind {
            SegmentKind::Diode { .. } => Self::Forward(load),
            // A channel of silicon at full drive: 0.3 to 0.6 %/K (common practice). Unpowered it has none that could be read.
            SegmentKind::Transistor { .. } => Self::Resistance(Coefficient { middle: 4.5e-3, half: 1.5e-3 }),
            kind => Self::Resistance(thermal::coefficient(kind)),
        }
    }

    /// A wire of copper.
    pub const WIRE: Self = Self::Resistance(COPPER);
}

#[cfg(test)]
mod tests {
    use super::*;

    /// IEC 60028: copper of 1 Ω at 20 °C has 1.0786 Ω at 40 °C and 0.9214 Ω at 0 °C.
    #[test]
    fn copper_follows_its_coefficient() {
        let copper = Range::reading(Ohms(1.0), Ohms(0.1));
        let warm = copper.at(Follows::WIRE, Celsius(40.0));
        assert!((warm.stands.0 - 1.0786).abs() < 1e-9);
        assert!((warm.high.0 - 1.1 * 1.0786).abs() < 1e-9 && (warm.sigma.0 - 0.05 * 1.0786).abs() < 1e-9);
        assert!((copper.at(Follows::WIRE, Celsius(0.0)).middle.0 - 0.9214).abs() < 1e-9);
        assert_eq!(copper.at(Follows::WIRE, Celsius(20.0)), copper);
    }

    /// A fuse of unknown alloy: 1·10⁻³ to 4.5·10⁻³/K. At 40 °C it has 1.02 to 1.09 of what it has at 20 °C.
    #[test]
    fn an_unsure_coefficient_widens_both_ways() {
        let fuse = Follows::of(&SegmentKind::Fuse { rating: None }, Amps(1.0));
        let warm = Range::between(Ohms(1.0), Ohms(2.0)).at(fuse, Celsius(40.0));
        assert!((warm.low.0 - 1.02).abs() < 1e-9 && (warm.high.0 - 2.0 * 1.09).abs() < 1e-9);
        let cold = Range::between(Ohms(1.0), Ohms(2.0)).at(fuse, Celsius(0.0));
        assert!((cold.low.0 - 0.91).abs() < 1e-9 && (cold.high.0 - 2.0 * 0.98).abs() < 1e-9);
        // Rectangle of ±0.5 about 1.5, and one of ±35·10⁻³ relative.
        let sigma = (0.5f64 * 1.055 / 3f64.sqrt()).hypot(1.5 * 0.035 / 3f64.sqrt());
        assert!((warm.sigma.0 - sigma).abs() < 1e-9);
    }

    /// 0.45 V at 100 mA: 16 to 44 mV more at 0 °C.
    #[test]
    fn a_diode_costs_most_in_the_cold() {
        let kind = SegmentKind::Diode { max_forward: crate::quantity::Volts(0.45), max_reverse: Amps(1e-4) };
        let diode = Range::between(Ohms(0.0), Ohms(4.5));
        let cold = diode.at(Follows::of(&kind, Amps(0.1)), Celsius(0.0));
        assert!((cold.high.0 * 0.1 - 0.494).abs() < 1e-9, "{cold:?}");
        assert!((cold.low.0 * 0.1 - 0.016).abs() < 1e-9, "{cold:?}");
        assert!(diode.at(Follows::of(&kind, Amps(0.1)), Celsius(60.0)).low == Ohms::ZERO);
    }

    #[test]
    fn a_range_never_reaches_below_zero() {
        let range = Range::reading(Ohms(1e-3), Ohms(2e-3));
        assert_eq!((range.low, range.high), (Ohms::ZERO, Ohms(3e-3)));
        assert_eq!(Range::reading(Ohms(-1e-6), Ohms(1e-5)).stands, Ohms::ZERO);
        let upside_down = Range::between(Ohms(3.0), Ohms(2.0));
        assert_eq!((upside_down.low, upside_down.high), (Ohms(2.0), Ohms(2.0)));
    }
}
