//! How a segment's resistance follows its temperature, and how well that is known, by kind.

use super::{SegmentKind, expected::ALPHA_COPPER};
use crate::quantity::Celsius;
use crate::statistics::rectangle;

/// Temperature coefficient at 20 °C, 1/K: anywhere within `half` of `middle`.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Coefficient {
    /// Middle.
    pub middle: f64,
    /// Half the width.
    pub half: f64,
}

/// Copper (IEC 60028).
pub const COPPER: Coefficient = Coefficient { middle: ALPHA_COPPER, half: 0.0 };

impl Coefficient {
    /// What a resistance at this temperature is at 20 °C, over itself.
    pub fn to_20c(self, at: Celsius) -> f64 {
        1.0 / (1.0 + self.middle * (at.0 - 20.0))
    }

    /// Half width, relative, of a value referred from this temperature to 20 °C, the temperature known to so many kelvin.
    pub fn unsure(self, at: Celsius, half_kelvin: f64) -> f64 {
        rectangle::of_sum(self.middle * half_kelvin, self.half * (at.0 - 20.0))
    }
}

/// The coefficient of a kind.
pub fn coefficient(kind: &SegmentKind) -> Coefficient {
    let (middle, half) = match kind {
        // Windings are of copper.
        SegmentKind::Trace { .. }
        | SegmentKind::Pour { .. }
        | SegmentKind::Via { .. }
        | SegmentKind::Wire { .. }
        | SegmentKind::Inductor => return COPPER,
        // Printed silver, 3.8·10⁻³/K, with glass in it (common practice).
        SegmentKind::Ferrite => (3.5e-3, 0.6e-3),
        // Elements of silver and copper, 3.9·10⁻³/K, of tin, 4.5·10⁻³/K, and of alloys, which have less (common practice).
        SegmentKind::Fuse { .. } => (2.75e-3, 1.75e-3),
        // Makers' curves of polymer fuses rise slowly below 60 °C and may fall first (common practice).
        SegmentKind::Resettable { .. } => (1.5e-3, 3.5e-3),
        // Sense resistors of 100 ppm/K or better.
        SegmentKind::Shunt { .. } => (0.0, 0.1e-3),
        // Brass, bronze and beryllium copper, 0.5 to 2·10⁻³/K, solder up to 4.3·10⁻³/K.
        SegmentKind::Switch | SegmentKind::Connector | SegmentKind::Joint => (2.15e-3, 2.15e-3),
        // Not read as a resistance: its voltage is stated at the temperature it had.
        SegmentKind::Diode { .. } | SegmentKind::Transistor { .. } => (0.0, 0.0),
    };
    Coefficient { middle, half }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn copper_is_sure_of_its_coefficient_and_unsure_of_its_temperature() {
        let copper = coefficient(&SegmentKind::Inductor);
        // 0.393 % a kelvin, whatever the temperature.
        assert!((copper.unsure(Celsius(20.0), 1.0) - 0.003_93).abs() < 1e-9);
        assert_eq!(copper.unsure(Celsius(20.0), 1.0), copper.unsure(Celsius(35.0), 1.0));
        let fuse = coefficient(&SegmentKind::Fuse { rating: None });
        assert!(fuse.unsure(Celsius(35.0), 1.0) > 4.0 * fuse.unsure(Celsius(25.0), 1.0) / 2.0);
    }
}
