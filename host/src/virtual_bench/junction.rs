//! Semiconductor junctions: what kinds there are, and the current through one.
//!
//! I = IS · (e^(V / n·VT) − 1), with a resistor in series and a high one beside it. Their temperature is that of a room.

use super::network::Node;
use crate::quantity::{Amps, Ohms, Volts};
use crate::random::Rng;

/// Thermal voltage kT/q at 27 °C, volt (CODATA 2018 constants: 8.617 333·10⁻⁵ eV/K times 300.15 K).
const THERMAL_VOLTS: f64 = 0.025_864_9;
/// Every junction leaks so much beside itself: laminate and flux.
pub const BESIDE: Ohms = Ohms(1e9);
/// Above this exponent a junction is continued by its tangent, so that nothing overflows on the way to a solution.
const STEEPEST: f64 = 200.0;

/// Kinds of junctions.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Kind {
    /// Schottky rectifier of an ampere: 0.2 V at 1 mA, 0.3 V at 50 mA (sheets of such parts say at most 0.34 V at 0.1 A; from memory).
    Schottky,
    /// Silicon diode: 0.6 V at 1 mA.
    Silicon,
    /// Body diode of a MOSFET: 0.5 V at 1 mA.
    Body,
}

impl Kind {
    /// By its word in a fault.
    pub fn named(word: &str) -> Option<Self> {
        [("schottky", Self::Schottky), ("silicon", Self::Silicon), ("body diode", Self::Body)]
            .into_iter()
            .find_map(|(name, kind)| (name == word).then_some(kind))
    }

    /// Saturation current, ampere, and emission coefficient of a usual one.
    const fn usual(self) -> (f64, f64) {
        match self {
            Self::Schottky => (1.0e-6, 1.05),
            Self::Silicon => (2.5e-9, 1.85),
            Self::Body => (2.0e-11, 1.1),
        }
    }
}

/// The exponential part of a junction.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Junction {
    /// Saturation current.
    pub saturation: Amps,
    /// Emission coefficient times the thermal voltage.
    pub slope: Volts,
}

impl Junction {
    /// A junction of this kind; saturation currents differ by a factor of two either way from part to part (common practice), which
    /// is some 20 mV.
    pub fn new(kind: Kind, rng: &mut Rng) -> Self {
        let (saturation, emission) = kind.usual();
        Self { saturation: Amps(saturation * rng.decades(0.5, 2.0)), slope: Volts(emission * THERMAL_VOLTS) }
    }

    /// The freewheel diode of the front end, of the kind `hardware/spice/front-end.inc` calls dschottky.
    pub const FREEWHEEL: Self = Self { saturation: Amps(20e-6), slope: Volts(1.1 * THERMAL_VOLTS) };

    /// What a source cannot drive within its compliance goes back through this, from its node. Some ten millivolts below the limit its
    /// current begins to fall, as that of the real one does.
    pub const COMPLIANCE: Self = Self { saturation: Amps(1e-9), slope: Volts(2e-3) };

    /// Voltage at this current.
    pub fn voltage(&self, current: Amps) -> Volts {
        self.slope * libm::log1p(current / self.saturation)
    }

    /// Current at this voltage, and its slope, siemens.
    pub fn current(&self, Volts(volts): Volts) -> (Amps, f64) {
        let x = volts / self.slope.0;
        let steep = libm::exp(x.min(STEEPEST));
        let beyond = (x - STEEPEST).max(0.0);
        let amps = self.saturation.0 * (steep * (1.0 + beyond) - 1.0);
        (Amps(amps), self.saturation.0 * steep / self.slope.0)
    }

    /// The voltage to try next when `wanted` follows from the tangent at `from`: forward, no further than the exponential allows, by
    /// the logarithm that solves it for a given current.
    pub fn limited(&self, Volts(from): Volts, Volts(wanted): Volts) -> Volts {
        let step = wanted - from;
        if step <= 2.0 * self.slope.0 || wanted <= 0.0 {
            return Volts(wanted);
        }
        let base = from.max(0.0);
        let ahead = ((wanted - base) / self.slope.0).max(1.0);
        // Where hardly any current flows yet, the way up is free to where it begins to.
        let knee = self.slope.0 * libm::log(self.slope.0 / (self.saturation.0 * 1e3)).max(0.0);
        let next = base + self.slope.0 * libm::log1p(ahead);
        Volts(wanted.min(next.max(knee)))
    }
}

/// A junction in its place: anode and cathode.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Placed {
    /// Anode, then cathode, behind the series resistance.
    pub between: [Node; 2],
    /// The junction.
    pub junction: Junction,
    /// A voltage that stands against it in series, volt: that of a source's limit; zero for a part.
    pub against: Volts,
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn usual_junctions_have_their_usual_voltage_at_a_milliampere() {
        for (kind, low, high) in
            [(Kind::Schottky, 0.15, 0.25), (Kind::Silicon, 0.55, 0.70), (Kind::Body, 0.45, 0.60)]
        {
            for seed in 0..100 {
                let junction = Junction::new(kind, &mut Rng::new(seed));
                let volts = junction.slope.0 * libm::log(1e-3 / junction.saturation.0);
                assert!((low..high).contains(&volts), "{kind:?}: {volts}");
                assert!((junction.current(Volts(volts)).0.0 / 1e-3 - 1.0).abs() < 0.02);
            }
        }
    }

    #[test]
    fn the_slope_is_that_of_the_current() {
        let junction = Junction::new(Kind::Silicon, &mut Rng::new(1));
        for volts in [-1.0, 0.0, 0.3, 0.6, 9.0, 12.0] {
            let step = 1e-7;
            let [below, above] = [volts - step, volts + step].map(|at| junction.current(Volts(at)).0.0);
            let (_, siemens) = junction.current(Volts(volts));
            let expected = (above - below) / (2.0 * step);
            assert!((siemens - expected).abs() <= 1e-4 * siemens + 1e-12, "{volts}: {siemens} {expected}");
        }
    }
}
