//! Capacitors in a network of resistors, without time steps.
//!
//! While nothing switches, the charges relax along a few exponentials, and these are solved for exactly: the
//! voltages at the end of any stretch of time, and their means over it, which is what an integrating
//! converter sees. A capacitor is a voltage behind its series resistance, an ordinary branch of the network.

use nalgebra::{DMatrix, DVector, SymmetricEigen};

use super::network::{Branch, Factored, Node, Sources};
use crate::quantity::{Farads, Ohms, Seconds, Volts};

/// A capacitor and its present charge.
#[derive(Clone, Debug)]
pub struct Capacitor {
    /// Nodes, the positive end first.
    pub between: [Node; 2],
    /// Capacitance.
    pub capacitance: Farads,
    /// Resistance in series.
    pub series: Ohms,
    /// Voltage it is charged to.
    pub voltage: Volts,
}

/// Equivalent series resistance of a bulk capacitor: a usual low-ESR part.
pub const SERIES: Ohms = Ohms(20e-3);

/// How the charges in one network relax.
#[derive(Clone, Debug)]
pub struct Relaxation {
    /// Voltage at every node for one volt on each capacitor.
    response: Vec<Vec<Volts>>,
    /// Rates, 1/s, and the modes they belong to in coordinates of volts · √farads.
    modes: SymmetricEigen<f64, nalgebra::Dyn>,
}

impl Relaxation {
    /// The relaxation of these capacitors, each through its branch.
    pub fn new(network: &Factored, branches: &[Branch], capacitors: &[Capacitor]) -> Self {
        let response: Vec<Vec<Volts>> = branches
            .iter()
            .map(|&branch| {
                let mut sources = Sources::default();
                sources.force(branch, Volts(1.0));
                network.solve(&sources)
            })
            .collect();
        let n = capacitors.len();
        // Current out of capacitor i for a volt on capacitor j, symmetric by reciprocity.
        let drain = DMatrix::from_fn(n, n, |i, j| {
            let own = f64::from(u8::from(i == j));
            (own - across(&response[j], &capacitors[i])) / capacitors[i].series.0
        });
        let scaled = DMatrix::from_fn(n, n, |i, j| {
            let mean = (drain[(i, j)] + drain[(j, i)]) / 2.0;
            mean / (capacitors[i].capacitance.0 * capacitors[j].capacitance.0).sqrt()
        });
        Self { response, modes: scaled.symmetric_eigen() }
    }

    /// Lets time pass. `base` holds the node voltages that everything but the charges makes; it is turned
    /// into the means over that time, and the capacitors get their new charge.
    pub fn pass(&self, time: Seconds, base: &mut [Volts], capacitors: &mut [Capacitor]) {
        let n = capacitors.len();
        let scale = |i: usize| capacitors[i].capacitance.0.sqrt();
        let modes = &self.modes.eigenvectors;
        let start = modes.tr_mul(&DVector::from_fn(n, |i, _| scale(i) * capacitors[i].voltage.0));
        let push = modes.tr_mul(&DVector::from_fn(n, |i, _| {
            across(base, &capacitors[i]) / capacitors[i].series.0 / scale(i)
        }));
        let (mut end, mut mean) = (start.clone(), start.clone());
        for i in 0..n {
            // Rounding may leave a mode that only leaks with a rate of minus nothing.
            let rate = self.modes.eigenvalues[i].max(0.0);
            let slope = push[i] - rate * start[i];
            let (grown, grown_mean) = growth(rate, time.0);
            end[i] += slope * grown;
            mean[i] += slope * grown_mean;
        }
        let (end, mean) = (modes * end, modes * mean);
        for i in 0..n {
            let scale = capacitors[i].capacitance.0.sqrt();
            capacitors[i].voltage = Volts(end[i] / scale);
            for (at, response) in base.iter_mut().zip(&self.response[i]) {
                at.0 += response.0 * mean[i] / scale;
            }
        }
    }
}

/// Voltage between the ends of a capacitor, volt.
fn across(at: &[Volts], capacitor: &Capacitor) -> f64 {
    (at[capacitor.between[0]] - at[capacitor.between[1]]).0
}

/// (1 − e^−rt)/r, and its mean over 0 to t.
fn growth(rate: f64, t: f64) -> (f64, f64) {
    let x = rate * t;
    if x < 1e-5 {
        // The next terms are x²/6 and x²/24.
        return (t * (1.0 - x / 2.0), t / 2.0 * (1.0 - x / 3.0));
    }
    let grown = -libm::expm1(-x) / rate;
    (grown, (t - grown) / x)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::virtual_bench::network::{GROUND, Network};

    fn capacitor(a: Node, b: Node, farads: f64, volts: f64) -> Capacitor {
        Capacitor { between: [a, b], capacitance: Farads(farads), series: SERIES, voltage: Volts(volts) }
    }

    /// One volt behind 180 Ω onto 100 µF: v(t) = 1 − e^(−t/RC), mean 1 − (1 − e^(−t/RC))·RC/t.
    #[test]
    fn one_capacitor_charges_along_its_exponential() {
        let mut network = Network::new(2);
        let source = network.resistor(1, GROUND, Ohms(180.0));
        let branch = network.resistor(1, GROUND, SERIES);
        let network = network.factor();
        let mut caps = [capacitor(1, GROUND, 100e-6, 0.0)];
        let relaxation = Relaxation::new(&network, &[branch], &caps);
        let mut sources = Sources::default();
        sources.force(source, Volts(1.0));
        let rc = 180.02 * 100e-6;
        let mut before = 0.0;
        for step in 1..=5 {
            let mut at = network.solve(&sources);
            relaxation.pass(Seconds(0.01), &mut at, &mut caps);
            let expected = 1.0 - (-0.01 * f64::from(step) / rc).exp();
            assert!((caps[0].voltage.0 - expected).abs() < 1e-12, "{} {expected}", caps[0].voltage.0);
            // The mean node voltage follows from the charge that went in.
            let current = (caps[0].voltage.0 - before) * 100e-6 / 0.01;
            assert!((at[1].0 - (1.0 - 180.0 * current)).abs() < 1e-12);
            before = caps[0].voltage.0;
        }
    }

    /// Two capacitors share their charge through a resistor and keep its sum; the difference decays with R·C/2.
    #[test]
    fn two_capacitors_share_their_charge() {
        let mut network = Network::new(3);
        network.resistor(1, 2, Ohms(100.0));
        let branches = [network.resistor(1, GROUND, SERIES), network.resistor(2, GROUND, SERIES)];
        let network = network.factor();
        let mut caps = [capacitor(1, GROUND, 1e-6, 2.0), capacitor(2, GROUND, 1e-6, 0.0)];
        let relaxation = Relaxation::new(&network, &branches, &caps);
        relaxation.pass(Seconds(40e-6), &mut network.solve(&Sources::default()), &mut caps);
        let difference = 2.0 * (-40e-6 / (0.5e-6 * (100.0 + 2.0 * SERIES.0))).exp();
        assert!((caps[0].voltage.0 - caps[1].voltage.0 - difference).abs() < 1e-9);
        assert!((caps[0].voltage.0 + caps[1].voltage.0 - 2.0).abs() < 1e-12);
    }

    #[test]
    fn a_charge_without_a_way_out_stays() {
        let mut network = Network::new(4);
        network.resistor(3, 1, Ohms(0.01));
        let branch = network.resistor(1, 2, SERIES);
        let network = network.factor();
        let mut caps = [capacitor(1, 2, 470e-6, 5.0)];
        let relaxation = Relaxation::new(&network, &[branch], &caps);
        relaxation.pass(Seconds(3600.0), &mut network.solve(&Sources::default()), &mut caps);
        // Rounding in the network alone would empty it over years.
        assert!((caps[0].voltage.0 - 5.0).abs() < 1e-6, "{}", caps[0].voltage.0);
    }
}
