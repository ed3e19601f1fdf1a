//! Inductances, capacitors and junctions in one network of resistors.
//!
//! Charges and currents change by linear equations while nothing switches and the junctions keep their slope; over any stretch of
//! time these are solved for exactly, together with the means that an integrating converter sees. With junctions the time is
//! cut into steps over which their current is a straight line to one part in a few hundred.
//!
//! Everything hangs on the network by ports: a capacitor is a voltage behind its series resistance, an inductance and a junction
//! are currents between two nodes. What a unit at each port makes at all others is worked out once for a network.

use nalgebra::{DMatrix, DVector};

use super::{
    capacitor::Capacitor,
    junction::Placed,
    network::{Branch, Factored, Node, Sources},
};
use crate::quantity::{Amps, Henries, Ohms, Seconds, Volts};

/// An inductance that is too small for this is left out: with the 10 Ω of Rm in every loop, its current stands after a few times
/// 1.5 µs, and nothing is converted within 100 µs of a change.
pub const LEAST_INDUCTANCE: Henries = Henries(15e-6);
/// Loss of every inductance, as a resistance in parallel that takes over within this time: that of an ordinary choke, which is one
/// up to some megahertz (common practice). It bounds every rate.
const LOSS: Seconds = Seconds(10e-9);

/// Curvature of a junction's current over a step, against itself, that is small enough; no unit.
const CURVATURE: f64 = 4e-3;
/// A current below this needs no exact curve.
const SMALL: Amps = Amps(2e-6);
/// No step is shorter.
const SHORTEST: Seconds = Seconds(20e-9);
/// The solution for the junctions is found when no voltage changes by more than this.
const SETTLED: Volts = Volts(1e-10);
/// … or is as good as it gets after so many rounds.
const ROUNDS: usize = 200;

/// An inductance in its place.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Inductance {
    /// The current runs from the first node to the second.
    pub between: [Node; 2],
    /// How much.
    pub henries: Henries,
}

impl Inductance {
    /// The resistance that goes beside it.
    pub fn loss(&self) -> Ohms {
        self.henries / LOSS
    }
}

/// What changes over time: by capacitor its charge, by inductance its current, by junction its voltage.
#[derive(Clone, Debug, Default)]
pub struct Charges {
    /// Capacitors.
    pub capacitors: Vec<Capacitor>,
    /// Currents through the inductances.
    pub currents: Vec<Amps>,
    /// Voltages at the junctions, from where their solution is sought.
    pub junctions: Vec<Volts>,
}

impl Charges {
    /// Does anything change faster than this within such a time, or is any charge or current left?
    pub fn any(&self, rest: Volts, still: Amps) -> bool {
        self.capacitors.iter().any(|c| c.voltage.abs() > rest)
            || self.currents.iter().any(|i| i.abs() > still)
    }
}

/// How charges, currents and junctions act on each other in one network.
#[derive(Clone, Debug)]
pub struct Transient {
    /// Voltage at every node for a unit at each port.
    response: Vec<Vec<Volts>>,
    /// Its share between the nodes of every port: rows by where, columns by whence.
    coupling: DMatrix<f64>,
    /// Nodes of every port.
    ports: Vec<[Node; 2]>,
    inductances: Vec<Inductance>,
    junctions: Vec<Placed>,
    /// Charges and currents.
    states: usize,
}

/// Junctions as straight lines: current at no voltage, ampere, and slope, siemens.
struct Lines {
    offset: DVector<f64>,
    slope: DVector<f64>,
}

/// Charges and currents after a step, and their means over it.
struct Step {
    end: DVector<f64>,
    mean: DVector<f64>,
}

impl Transient {
    /// Of a network with these capacitors, each through its branch.
    pub fn new(
        network: &Factored,
        branches: &[Branch],
        capacitors: &[Capacitor],
        inductances: Vec<Inductance>,
        junctions: Vec<Placed>,
    ) -> Self {
        let through = inductances.iter().map(|of| of.between).chain(junctions.iter().map(|of| of.between));
        let mut ports: Vec<[Node; 2]> = capacitors.iter().map(|of| of.between).collect();
        let mut response: Vec<Vec<Volts>> = Vec::new();
        for &branch in branches {
            let mut sources = Sources::default();
            sources.force(branch, Volts(1.0));
            response.push(network.solve(&sources));
        }
        for [from, to] in through {
            let mut sources = Sources::default();
            sources.current(from, Amps(-1.0));
            sources.current(to, Amps(1.0));
            response.push(network.solve(&sources));
            ports.push([from, to]);
        }
        let coupling =
            DMatrix::from_fn(ports.len(), ports.len(), |row, column| across(&response[column], ports[row]));
        let states = capacitors.len() + inductances.len();
        Self { response, coupling, ports, inductances, junctions, states }
    }

    /// Its inductances.
    pub fn inductances(&self) -> &[Inductance] {
        &self.inductances
    }

    /// Its junctions.
    pub fn junctions(&self) -> &[Placed] {
        &self.junctions
    }

    /// Lets time pass. `base` holds the node voltages that everything but the ports makes; it is turned into the means over that time, and
    /// charges and currents are as they are after it.
    pub fn pass(&self, time: Seconds, base: &mut [Volts], charges: &mut Charges) {
        let driven = self.driven(base);
        let mut state = self.state(charges);
        let mut left = time.0;
        let mut step = left;
        // Sum of what each port did, times how long.
        let mut done = DVector::zeros(self.ports.len());
        while left > 0.0 {
            let over = step.min(left);
            if self.junctions.is_empty() || self.states == 0 {
                let lines = self.lines(&driven, &state, &mut charges.junctions);
                let Step { end, mean } = self.step(&driven, &lines, &charges.capacitors, &state, left);
                done += self.inputs(&driven, &lines, &mean) * left;
                state = end;
                break;
            }
            let mut guess = charges.junctions.clone();
            let before = self.lines(&driven, &state, &mut guess);
            let first = self.currents(&guess);
            let half = self.step(&driven, &before, &charges.capacitors, &state, over / 2.0).end;
            let lines = self.lines(&driven, &half, &mut guess);
            let middle = self.currents(&guess);
            let Step { end, mean } = self.step(&driven, &lines, &charges.capacitors, &state, over);
            self.lines(&driven, &end, &mut guess);
            let last = self.currents(&guess);
            let bent = (0..first.len()).map(|i| {
                let size = first[i].abs() + middle[i].abs() + last[i].abs() + SMALL.0;
                (middle[i] - (first[i] + last[i]) / 2.0).abs() / size
            });
            let bent = bent.fold(0.0, f64::max);
            if bent > CURVATURE && over > SHORTEST.0 {
                step = over * 0.4;
                continue;
            }
            done += self.inputs(&driven, &lines, &mean) * over;
            (state, charges.junctions) = (end, guess);
            left -= over;
            // The curvature grows with the square of the step.
            step = over * (0.8 * (CURVATURE / bent.max(1e-9)).sqrt()).clamp(0.4, 4.0);
        }
        self.keep(&state, charges);
        self.add(base, &(done / time.0));
    }

    /// Node voltages at this moment; `base` holds what everything but the ports makes. Gives the current of every port that is one.
    pub fn hold(&self, base: &mut [Volts], charges: &mut Charges) -> Vec<Amps> {
        let driven = self.driven(base);
        let state = self.state(charges);
        let lines = self.lines(&driven, &state, &mut charges.junctions);
        let inputs = self.inputs(&driven, &lines, &state);
        self.add(base, &inputs);
        inputs.iter().skip(charges.capacitors.len()).map(|&amps| Amps(amps)).collect()
    }

    fn driven(&self, base: &[Volts]) -> DVector<f64> {
        DVector::from_iterator(self.ports.len(), self.ports.iter().map(|&port| across(base, port)))
    }

    fn state(&self, charges: &Charges) -> DVector<f64> {
        let volts = charges.capacitors.iter().map(|of| of.voltage.0);
        DVector::from_iterator(self.states, volts.chain(charges.currents.iter().map(|amps| amps.0)))
    }

    fn keep(&self, state: &DVector<f64>, charges: &mut Charges) {
        let count = charges.capacitors.len();
        for (capacitor, &volts) in charges.capacitors.iter_mut().zip(state.iter()) {
            capacitor.voltage = Volts(volts);
        }
        for (current, &amps) in charges.currents.iter_mut().zip(state.iter().skip(count)) {
            *current = Amps(amps);
        }
    }

    fn add(&self, base: &mut [Volts], inputs: &DVector<f64>) {
        for (response, &input) in self.response.iter().zip(inputs.iter()) {
            for (at, volts) in base.iter_mut().zip(response) {
                at.0 += input * volts.0;
            }
        }
    }

    fn currents(&self, volts: &[Volts]) -> Vec<f64> {
        self.junctions.iter().zip(volts).map(|(of, &volts)| of.junction.current(volts).0.0).collect()
    }

    /// The junctions' tangents where they stand with these charges and currents: Newton's rule, each step kept within what the
    /// exponentials allow.
    fn lines(&self, driven: &DVector<f64>, state: &DVector<f64>, volts: &mut Vec<Volts>) -> Lines {
        let (states, count) = (self.states, self.junctions.len());
        volts.resize(count, Volts::ZERO);
        let open = DVector::from_fn(count, |i, _| {
            let row = self.coupling.row(states + i);
            let held: f64 = (0..states).map(|j| row[j] * state[j]).sum();
            driven[states + i] + held - self.junctions[i].against.0
        });
        let own = self.coupling.view((states, states), (count, count));
        let tangents = |volts: &[Volts]| {
            let at = self.junctions.iter().zip(volts).map(|(of, &volts)| {
                let (amps, siemens) = of.junction.current(volts);
                (amps.0 - siemens * volts.0, siemens)
            });
            let (offset, slope): (Vec<f64>, Vec<f64>) = at.unzip();
            Lines { offset: offset.into(), slope: slope.into() }
        };
        let mut lines = tangents(volts);
        for _ in 0..ROUNDS {
            if count == 0 {
                break;
            }
            let matrix = DMatrix::from_fn(count, count, |i, j| {
                f64::from(u8::from(i == j)) - own[(i, j)] * lines.slope[j]
            });
            let Some(wanted) = matrix.lu().solve(&(&open + own * &lines.offset)) else { break };
            let mut moved = Volts::ZERO;
            for (i, at) in volts.iter_mut().enumerate() {
                let next = self.junctions[i].junction.limited(*at, Volts(wanted[i]));
                moved = moved.max((next - *at).abs());
                *at = next;
            }
            lines = tangents(volts);
            if moved <= SETTLED {
                break;
            }
        }
        lines
    }

    /// What every port does with these charges and currents: volts of capacitors, amperes of inductances and junctions.
    fn inputs(&self, driven: &DVector<f64>, lines: &Lines, state: &DVector<f64>) -> DVector<f64> {
        let (add, of_state) = self.through(driven, lines);
        let currents = add + of_state * state;
        DVector::from_iterator(self.ports.len(), state.iter().chain(currents.iter()).copied())
    }

    /// Currents of the junctions while they are straight lines: those without charges, and by charge.
    fn through(&self, driven: &DVector<f64>, lines: &Lines) -> (DVector<f64>, DMatrix<f64>) {
        let (states, count) = (self.states, self.junctions.len());
        if count == 0 {
            return (DVector::zeros(0), DMatrix::zeros(0, states));
        }
        let own = self.coupling.view((states, states), (count, count));
        let whence = self.coupling.view((states, 0), (count, states));
        let open = DVector::from_fn(count, |i, _| driven[states + i] - self.junctions[i].against.0);
        let matrix =
            DMatrix::from_fn(count, count, |i, j| f64::from(u8::from(i == j)) - own[(i, j)] * lines.slope[j]);
        let inverse = matrix.try_inverse().unwrap_or_else(|| DMatrix::zeros(count, count));
        let slope = DMatrix::from_diagonal(&lines.slope);
        let add = &lines.offset + &slope * (&inverse * (open + own * &lines.offset));
        (add, slope * inverse * whence)
    }

    /// Lets so many seconds pass while the junctions are straight lines.
    fn step(
        &self,
        driven: &DVector<f64>,
        lines: &Lines,
        capacitors: &[Capacitor],
        state: &DVector<f64>,
        seconds: f64,
    ) -> Step {
        let (states, count) = (self.states, self.junctions.len());
        if states == 0 {
            return Step { end: state.clone(), mean: state.clone() };
        }
        let (add, of_state) = self.through(driven, lines);
        let to = self.coupling.view((0, states), (states, count));
        let by_state = self.coupling.view((0, 0), (states, states)) + to * of_state;
        let by_drive = driven.rows(0, states) + to * add;
        // In coordinates whose squares are energies, so that nothing grows on the way.
        let scale = DVector::from_fn(states, |i, _| match capacitors.get(i) {
            Some(capacitor) => capacitor.capacitance.0.sqrt(),
            None => self.inductances[i - capacitors.len()].henries.0.sqrt(),
        });
        // Into a capacitor flows what stands over its series resistance; an inductance takes its whole voltage.
        let weight = |i: usize| capacitors.get(i).map_or(1.0, |capacitor| 1.0 / capacitor.series.0);
        let rates = DMatrix::from_fn(states, states, |i, j| {
            let own = if i == j && i < capacitors.len() { 1.0 } else { 0.0 };
            (by_state[(i, j)] - own) * weight(i) / scale[i] / scale[j]
        });
        let push = DVector::from_fn(states, |i, _| by_drive[i] * weight(i) / scale[i]);
        let start = state.component_mul(&scale);
        let Growth { grown, once, twice } = growth(rates, seconds);
        let end = &start + &grown * &start + &once * &push;
        let mean = (once * start + twice * push) / seconds;
        Step { end: end.component_div(&scale), mean: mean.component_div(&scale) }
    }
}

/// e^At − 1, its integral over 0 to t with the 1, and the integral of that.
struct Growth {
    grown: DMatrix<f64>,
    once: DMatrix<f64>,
    twice: DMatrix<f64>,
}

/// By a series over a short time, doubled until it is the whole. Without the 1, slow changes keep their digits beside fast ones.
fn growth(rates: DMatrix<f64>, seconds: f64) -> Growth {
    /// With this exponent the series below is exact to the last digit.
    const SHORT: f64 = 0.125;
    const TERMS: usize = 10;
    let n = rates.nrows();
    let fastest = rates.row_iter().map(|row| row.iter().map(|rate| rate.abs()).sum()).fold(0.0, f64::max);
    let doublings = (libm::log2(fastest * seconds / SHORT).ceil()).clamp(0.0, 80.0) as i32;
    let mut time = seconds * 0.5f64.powi(doublings);
    let exponent = rates * time;
    let mut power = DMatrix::identity(n, n);
    let mut growth =
        Growth { grown: DMatrix::zeros(n, n), once: DMatrix::zeros(n, n), twice: DMatrix::zeros(n, n) };
    for k in 0..TERMS {
        let k = k as f64;
        growth.once += &power * (time / (k + 1.0));
        growth.twice += &power * (time * time / ((k + 1.0) * (k + 2.0)));
        power = &power * &exponent / (k + 1.0);
        growth.grown += &power;
    }
    for _ in 0..doublings {
        let Growth { grown, once, twice } = &growth;
        growth = Growth {
            twice: twice * 2.0 + once * time + grown * twice,
            once: once * 2.0 + grown * once,
            grown: grown * 2.0 + grown * grown,
        };
        time *= 2.0;
    }
    growth
}

/// Voltage between the nodes of a port, volt.
fn across(at: &[Volts], [from, to]: [Node; 2]) -> f64 {
    (at[from] - at[to]).0
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{
        quantity::Farads,
        virtual_bench::{
            capacitor::SERIES,
            junction::Junction,
            network::{GROUND, Network},
        },
    };

    /// One volt behind 10 Ω into 10 mH: i(t) = 0.1 A · (1 − e^(−t/1 ms)).
    #[test]
    fn a_current_rises_along_its_exponential() {
        let mut network = Network::new(2);
        let source = network.resistor(1, GROUND, Ohms(10.0));
        let coil = Inductance { between: [1, GROUND], henries: Henries(10e-3) };
        network.resistor(1, GROUND, coil.loss());
        let network = network.factor();
        let transient = Transient::new(&network, &[], &[], vec![coil], vec![]);
        let mut sources = Sources::default();
        sources.force(source, Volts(1.0));
        let mut charges = Charges { currents: vec![Amps::ZERO], ..Charges::default() };
        for step in 1..=5 {
            let before = charges.currents[0].0;
            let mut at = network.solve(&sources);
            transient.pass(Seconds(0.4e-3), &mut at, &mut charges);
            let expected = 0.1 * (1.0 - (-0.4 * f64::from(step)).exp());
            let found = charges.currents[0].0;
            // 10 Ω beside a loss of 1 MΩ.
            assert!((found / expected - 1.0).abs() < 2e-5, "{found} {expected}");
            // The mean voltage over it is what the current rose by.
            assert!((at[1].0 - 10e-3 * (found - before) / 0.4e-3).abs() < 1e-9);
        }
    }

    /// 10 mH and 470 µF with 0.1 Ω in all ring at 73.4 Hz, and lose e^(−R·t/2L).
    #[test]
    fn a_choke_and_a_capacitor_ring() {
        let mut network = Network::new(3);
        let series = Ohms(0.1) - SERIES;
        network.resistor(1, 2, series);
        let branch = network.resistor(1, GROUND, SERIES);
        let coil = Inductance { between: [2, GROUND], henries: Henries(10e-3) };
        network.resistor(2, GROUND, coil.loss());
        let network = network.factor();
        let capacitor = Capacitor {
            between: [1, GROUND],
            capacitance: Farads(470e-6),
            series: SERIES,
            voltage: Volts(1.0),
        };
        let transient =
            Transient::new(&network, &[branch], std::slice::from_ref(&capacitor), vec![coil], vec![]);
        let mut charges =
            Charges { capacitors: vec![capacitor], currents: vec![Amps::ZERO], ..Charges::default() };
        let (decay, omega) = (5.0, (1.0 / (10e-3 * 470e-6) - 25.0_f64).sqrt());
        for step in 1..=20 {
            transient.pass(Seconds(1e-3), &mut network.solve(&Sources::default()), &mut charges);
            let t = f64::from(step) * 1e-3;
            let expected = (-decay * t).exp() * ((omega * t).cos() + decay / omega * (omega * t).sin());
            assert!(
                (charges.capacitors[0].voltage.0 - expected).abs() < 2e-5,
                "{step}: {charges:?} {expected}"
            );
        }
    }

    /// A millisecond and an hour beside each other.
    #[test]
    fn a_charge_without_a_way_out_stays_beside_a_fast_one() {
        let mut network = Network::new(3);
        let keeps = network.resistor(1, GROUND, SERIES);
        network.resistor(2, GROUND, Ohms(1.0));
        let loses = network.resistor(2, GROUND, SERIES);
        let network = network.factor();
        let capacitor = |node| Capacitor {
            between: [node, GROUND],
            capacitance: Farads(1e-3),
            series: SERIES,
            voltage: Volts(5.0),
        };
        let both = [capacitor(1), capacitor(2)];
        let transient = Transient::new(&network, &[keeps, loses], &both, vec![], vec![]);
        let mut charges = Charges { capacitors: both.to_vec(), ..Charges::default() };
        transient.pass(Seconds(3600.0), &mut network.solve(&Sources::default()), &mut charges);
        assert!((charges.capacitors[0].voltage.0 - 5.0).abs() < 1e-6);
        assert!(charges.capacitors[1].voltage.abs() < Volts(1e-9));
    }

    /// A junction charges 1 µF with a milliampere at 1 V: the current is that of the exponential at what stands over it.
    #[test]
    fn a_junction_passes_what_its_exponential_says_and_blocks_the_other_way() {
        let junction = Junction { saturation: Amps(1e-9), slope: Volts(50e-3) };
        for (volts, forward) in [(1.0, true), (-1.0, false)] {
            let mut network = Network::new(3);
            let source = network.resistor(1, GROUND, Ohms(100.0));
            network.resistor(1, 2, Ohms(1e12));
            network.resistor(2, GROUND, Ohms(50.0));
            let network = network.factor();
            let placed = Placed { between: [1, 2], junction, against: Volts::ZERO };
            let transient = Transient::new(&network, &[], &[], vec![], vec![placed]);
            let mut sources = Sources::default();
            sources.force(source, Volts(volts));
            let mut charges = Charges::default();
            let mut at = network.solve(&sources);
            let currents = transient.hold(&mut at, &mut charges);
            let (expected, _) = junction.current(at[1] - at[2]);
            assert!((currents[0] - expected).abs() < Amps(1e-12), "{currents:?} {expected:?}");
            assert!((at[2].0 / 50.0 - currents[0].0).abs() < 1e-9);
            assert_eq!(currents[0] > Amps(1e-3), forward);
        }
    }
}
