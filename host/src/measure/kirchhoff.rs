//! What the voltages in a mesh say of each of its segments.
//!
//! At every node the currents through its segments and the current that is sent in add up to nothing (Kirchhoff): with the potentials
//! known that is linear in the unknown conductances, and gives the first estimate. From there a generalised least-squares fit of the
//! voltages themselves goes on (Gauss and Newton's steps, damped as Levenberg's and Marquardt's), because it is the voltages that are
//! read and whose errors are known. It moves in the logarithms of the conductances, because none is below zero. At its end the covariance is that of Gauss and Markov, what the readings have in common included; and
//! what is left of the voltages says whether the mesh is all there is.

use nalgebra::{DMatrix, DVector};
use statrs::distribution::{ChiSquared, ContinuousCDF};

use crate::mesh::circuit::{Circuit, Solved};

/// What is expected before anything is read: that a segment conducts what a healthy one does, to a factor of about twenty, this logarithm.
/// What lies beyond is less and less expected, but never by much more (a Cauchy distribution): it says next to nothing where a current flows,
/// and nothing of an open. Behind an open, where only proportions can be told, it keeps every segment but one from being called open
/// with it.
const UNKNOWN: f64 = 3.0;
/// The first estimate conducts at least so much of what a healthy one does, no unit, so that every node has a potential.
const FIRST_LEAST: f64 = 1e-3;
/// Least damping of a step that led nowhere without any, of the diagonal of its matrix.
const LEAST_DAMPING: f64 = 1e-4;
/// Weight of Kirchhoff's law against what is expected of a healthy mesh in the first estimate, where the current sent in is one; no unit.
/// Voltages known to a hundredth must not say anything of a branch that carries nothing.
const KIRCHHOFF: f64 = 1e4;
/// A step changes no conductance by more than this factor's logarithm.
const FARTHEST: f64 = 5.0;
/// Steps until a fit that does not settle is given up; ten are usual.
const MOST_STEPS: usize = 400;
/// Where no more than this of the squared residuals is left to gain, the fit is at its end: no estimate would move by more than a
/// hundredth of its standard deviation.
const SETTLED: f64 = 1e-4;
/// A path whose currents would look like those of the known segments to so much cannot be told from them; no unit.
const ALIKE: f64 = 1e-6;

/// One voltage over one current.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Reading {
    /// Nodes where the current enters and leaves.
    pub current: [usize; 2],
    /// Nodes between which the voltage is read.
    pub between: [usize; 2],
    /// What was read, ohm.
    pub ohms: f64,
    /// Standard deviation of what it shares with no other reading, ohm.
    pub sigma: f64,
}

/// An error that several readings have in common: what each of them has of it, ohm, in units of its standard deviation.
pub type Shared = Vec<f64>;

/// What the readings say.
#[derive(Clone, Debug)]
pub struct Estimate {
    circuit: Circuit,
    healthy: Vec<f64>,
    /// Conductances over those of healthy segments.
    theta: Vec<f64>,
    solved: Solved,
    /// What each reading adds to the logarithm of each of `theta`, 1/ohm.
    weights: DMatrix<f64>,
    /// What each of them would be off by because nothing is known, in standard deviations of what is expected.
    unknown: DMatrix<f64>,
    /// Standard deviation of each logarithm by the readings alone, errors that they share included.
    deviations: Vec<f64>,
    /// Squared residuals over what they are expected to be.
    pub chi_square: f64,
    /// Degrees of freedom of that.
    pub freedom: f64,
    /// The two nodes that another path would best explain the residuals by.
    pub joined: Option<[usize; 2]>,
}

/// A resistance or a conductance, linear in small changes of the readings.
#[derive(Clone, PartialEq, Debug)]
pub struct Linear {
    /// Ohm or siemens.
    pub value: f64,
    /// What an ohm more in each reading would add to it.
    pub weights: Vec<f64>,
    /// Standard deviation of what nothing is known of.
    pub unknown: f64,
}

/// Fits the conductances of a circuit whose healthy ones are given, siemens, to readings; `None` where there are none or the fit does not
/// settle.
pub fn fit(circuit: &Circuit, healthy: &[f64], readings: &[Reading], shared: &[Shared]) -> Option<Estimate> {
    let problem = Problem::new(circuit, healthy, readings, shared)?;
    let starts = [problem.first(), vec![1.0; healthy.len()]];
    starts.into_iter().find_map(|start| from(&problem, start))
}

/// The same from these conductances, over healthy ones.
fn from(problem: &Problem<'_>, start: Vec<f64>) -> Option<Estimate> {
    let (mut theta, mut damping) = (start, 0.0_f64);
    let mut solved = problem.solved(&theta)?;
    let mut cost = problem.cost(&theta, &solved);
    for _ in 0..MOST_STEPS {
        let jacobian = problem.jacobian(&theta, &solved);
        let prior = DVector::from_fn(theta.len(), |i, _| -theta[i].ln() * expected(theta[i]));
        let gradient = jacobian.tr_mul(&problem.residual(&solved)) + prior;
        let information = problem.information(&theta, &jacobian);
        // What is left to gain if the fit were linear from here, however small the next step is.
        if gradient.dot(&information.clone().cholesky()?.solve(&gradient)) < SETTLED {
            return problem.estimate(theta, solved);
        }
        let mut damped = information;
        (0..theta.len()).for_each(|i| damped[(i, i)] *= 1.0 + damping);
        let step = damped.cholesky()?.solve(&gradient);
        let next: Vec<f64> = theta
            .iter()
            .zip(&step)
            .map(|(theta, step)| theta * step.clamp(-FARTHEST, FARTHEST).exp())
            .collect();
        let there = problem.solved(&next).map(|solved| (problem.cost(&next, &solved), solved));
        match there {
            Some((less, there)) if less <= cost => {
                (theta, solved, cost) = (next, there, less);
                damping = if damping > LEAST_DAMPING { damping / 10.0 } else { 0.0 };
            }
            _ => damping = (10.0 * damping).max(LEAST_DAMPING),
        }
    }
    None
}

/// Weight of what is expected of a segment that conducts this over a healthy one, 1 over the variance of its logarithm.
fn expected(theta: f64) -> f64 {
    (UNKNOWN * UNKNOWN + theta.ln().powi(2)).recip()
}

struct Problem<'p> {
    circuit: &'p Circuit,
    healthy: &'p [f64],
    readings: &'p [Reading],
    /// Turns errors of the readings into independent ones of standard deviation one.
    whitening: DMatrix<f64>,
}

impl<'p> Problem<'p> {
    fn new(
        circuit: &'p Circuit,
        healthy: &'p [f64],
        readings: &'p [Reading],
        shared: &[Shared],
    ) -> Option<Self> {
        if readings.is_empty() {
            return None;
        }
        let count = readings.len();
        let mut covariance = DMatrix::from_diagonal(&DVector::from_iterator(
            count,
            readings.iter().map(|reading| reading.sigma * reading.sigma),
        ));
        for shared in shared {
            let shared = DVector::from_column_slice(shared);
            covariance += &shared * shared.transpose();
        }
        let factor = covariance.cholesky()?.l();
        let whitening = factor.solve_lower_triangular(&DMatrix::identity(count, count))?;
        Some(Self { circuit, healthy, readings, whitening })
    }

    fn siemens(&self, theta: &[f64]) -> Vec<f64> {
        theta.iter().zip(self.healthy).map(|(theta, healthy)| theta * healthy).collect()
    }

    fn solved(&self, theta: &[f64]) -> Option<Solved> {
        self.circuit.with(&self.siemens(theta))
    }

    /// What is read less what would be, in independent standard deviations.
    fn residual(&self, solved: &Solved) -> DVector<f64> {
        let residual = self
            .readings
            .iter()
            .map(|reading| reading.ohms - solved.transfer(reading.between, reading.current));
        &self.whitening * DVector::from_iterator(self.readings.len(), residual)
    }

    /// What conductance between two nodes changes every reading by, ohm for each siemens (by reciprocity), not whitened.
    fn change(&self, solved: &Solved, ends: [usize; 2]) -> DVector<f64> {
        let change = self
            .readings
            .iter()
            .map(|reading| -solved.transfer(reading.between, ends) * solved.transfer(ends, reading.current));
        DVector::from_iterator(self.readings.len(), change)
    }

    /// By the logarithms of the conductances.
    fn jacobian(&self, theta: &[f64], solved: &Solved) -> DMatrix<f64> {
        let siemens = self.siemens(theta);
        let branches = self.circuit.branches.iter().zip(siemens);
        let columns: Vec<_> = branches.map(|(&ends, siemens)| self.change(solved, ends) * siemens).collect();
        &self.whitening * DMatrix::from_columns(&columns)
    }

    fn information(&self, theta: &[f64], jacobian: &DMatrix<f64>) -> DMatrix<f64> {
        let mut information = jacobian.tr_mul(jacobian);
        theta.iter().enumerate().for_each(|(i, theta)| information[(i, i)] += expected(*theta));
        information
    }

    fn cost(&self, theta: &[f64], solved: &Solved) -> f64 {
        let prior: f64 = theta.iter().map(|theta| (theta.ln() / UNKNOWN).powi(2).ln_1p()).sum();
        self.residual(solved).norm_squared() + prior
    }

    /// Kirchhoff's law at every node with every current, linear in the conductances. Nodes that were not read stand where healthy
    /// segments would put them.
    fn first(&self) -> Vec<f64> {
        let (nodes, count) = (self.circuit.nodes, self.circuit.branches.len());
        let mut currents: Vec<[usize; 2]> = Vec::new();
        for reading in self.readings {
            if !currents.contains(&reading.current) {
                currents.push(reading.current);
            }
        }
        let mut normal = DMatrix::identity(count, count);
        let mut right = DVector::repeat(count, 1.0);
        for current in currents {
            let at = self.potentials(current);
            for node in 0..nodes {
                let through = self.circuit.branches.iter().zip(self.healthy).map(|(&[a, b], healthy)| {
                    let volts = at[a] - at[b];
                    healthy
                        * if a == node {
                            volts
                        } else if b == node {
                            -volts
                        } else {
                            0.0
                        }
                });
                let row = DVector::from_iterator(count, through);
                let sent = f64::from(u8::from(node == current[0])) - f64::from(u8::from(node == current[1]));
                normal += &row * row.transpose() * KIRCHHOFF;
                right += row * (sent * KIRCHHOFF);
            }
        }
        let theta = normal.cholesky().map_or(right.clone(), |factor| factor.solve(&right));
        theta.iter().map(|theta| if theta.is_finite() { theta.max(FIRST_LEAST) } else { 1.0 }).collect()
    }

    /// The potentials of all nodes with one current, ohm, that fit the voltages read with it best.
    fn potentials(&self, current: [usize; 2]) -> DVector<f64> {
        let nodes = self.circuit.nodes;
        let read: Vec<&Reading> = self.readings.iter().filter(|reading| reading.current == current).collect();
        let usual = read.iter().map(|reading| reading.sigma.powi(-2)).sum::<f64>() / read.len() as f64;
        // Held together by next to nothing where nobody read.
        let mut normal = DMatrix::identity(nodes, nodes) * (usual * 1e-9);
        let mut right = DVector::zeros(nodes);
        let mut add = |[a, b]: [usize; 2], weight: f64, ohms: f64| {
            normal[(a, a)] += weight;
            normal[(b, b)] += weight;
            normal[(a, b)] -= weight;
            normal[(b, a)] -= weight;
            right[a] += weight * ohms;
            right[b] -= weight * ohms;
        };
        read.iter().for_each(|reading| add(reading.between, reading.sigma.powi(-2), reading.ohms));
        if let Some(solved) = self.circuit.with(self.healthy) {
            let branches = self.circuit.branches.iter();
            branches.for_each(|&ends| add(ends, usual * 1e-6, solved.transfer(ends, current)));
        }
        normal.cholesky().map_or(right.clone(), |factor| factor.solve(&right))
    }

    fn estimate(&self, theta: Vec<f64>, solved: Solved) -> Option<Estimate> {
        let (jacobian, residual) = (self.jacobian(&theta, &solved), self.residual(&solved));
        let inverse = self.information(&theta, &jacobian).cholesky()?.inverse();
        let expected: Vec<f64> = theta.iter().map(|theta| expected(*theta)).collect();
        // What the readings alone tell of each: the whole less what was expected.
        let told_alone =
            (0..theta.len()).map(|i| (inverse[(i, i)].recip() - expected[i]).max(f64::MIN_POSITIVE));
        let deviations = told_alone.map(|told| told.sqrt().recip()).collect();
        let unknown = DMatrix::from_fn(theta.len(), theta.len(), |i, j| inverse[(i, j)] * expected[j].sqrt());
        let told = &inverse * jacobian.tr_mul(&jacobian);
        let joined = self.joined(&solved, &jacobian, &inverse, &residual);
        Some(Estimate {
            circuit: self.circuit.clone(),
            healthy: self.healthy.to_vec(),
            theta,
            solved,
            weights: &inverse * jacobian.transpose() * &self.whitening,
            unknown,
            deviations,
            chi_square: residual.norm_squared(),
            freedom: (self.readings.len() as f64 - told.trace()).max(0.0),
            joined,
        })
    }

    /// The two nodes between which a further conductance, however small, would explain most of what is left (Rao's score).
    fn joined(
        &self,
        solved: &Solved,
        jacobian: &DMatrix<f64>,
        inverse: &DMatrix<f64>,
        residual: &DVector<f64>,
    ) -> Option<[usize; 2]> {
        let nodes = self.circuit.nodes;
        let pairs = (0..nodes).flat_map(|a| (a + 1..nodes).map(move |b| [a, b]));
        let scored = pairs.filter_map(|ends| {
            let change = &self.whitening * self.change(solved, ends);
            let projected = jacobian.tr_mul(&change);
            let left = change.norm_squared() - projected.dot(&(inverse * &projected));
            let along = change.dot(residual);
            (left > ALIKE * change.norm_squared() && along > 0.0).then_some((along * along / left, ends))
        });
        scored.max_by(|a, b| a.0.total_cmp(&b.0)).map(|(_, ends)| ends)
    }
}

impl Estimate {
    /// Probability of residuals at least as large, if the mesh is all there is.
    pub fn probability(&self) -> f64 {
        ChiSquared::new(self.freedom).map_or(1.0, |chi| chi.sf(self.chi_square))
    }

    /// Conductances, siemens.
    pub fn siemens(&self) -> Vec<f64> {
        self.theta.iter().zip(&self.healthy).map(|(theta, healthy)| theta * healthy).collect()
    }

    /// Conductance of a branch, siemens.
    pub fn conductance(&self, branch: usize) -> Linear {
        let siemens = self.theta[branch] * self.healthy[branch];
        let mut slopes = vec![0.0; self.theta.len()];
        slopes[branch] = siemens;
        self.linear(siemens, &slopes)
    }

    /// The most that a branch may conduct, siemens, so many standard deviations above what it seems to, by the readings alone. Close to
    /// nothing the readings are linear in the conductance and not in its logarithm.
    pub fn at_most(&self, branch: usize, deviations: f64) -> f64 {
        self.theta[branch] * self.healthy[branch] * (1.0 + deviations * self.deviations[branch])
    }

    /// Resistance of a branch, ohm.
    pub fn resistance(&self, branch: usize) -> Linear {
        let ohms = (self.theta[branch] * self.healthy[branch]).recip();
        let mut slopes = vec![0.0; self.theta.len()];
        slopes[branch] = -ohms;
        self.linear(ohms, &slopes)
    }

    /// Resistance of the whole mesh between two of its nodes, ohm.
    pub fn between(&self, ends: [usize; 2]) -> Linear {
        let branches = self.circuit.branches.iter().zip(self.siemens());
        let slopes: Vec<f64> = branches
            .map(|(&branch, siemens)| -siemens * self.solved.transfer(branch, ends).powi(2))
            .collect();
        self.linear(self.solved.between(ends), &slopes)
    }

    fn linear(&self, value: f64, slopes: &[f64]) -> Linear {
        let slopes = DVector::from_column_slice(slopes);
        let weights = self.weights.tr_mul(&slopes);
        Linear {
            value,
            weights: weights.iter().copied().collect(),
            unknown: self.unknown.tr_mul(&slopes).norm(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const SIGMA: f64 = 1e-6;

    /// A ring of four with a diagonal, and every branch's voltage with three currents.
    fn circuit() -> Circuit {
        Circuit { nodes: 4, branches: vec![[0, 1], [1, 2], [2, 3], [3, 0], [0, 2]] }
    }

    fn readings(siemens: &[f64], beside: Option<([usize; 2], f64)>) -> Vec<Reading> {
        let mut whole = circuit();
        let mut all = siemens.to_vec();
        if let Some((ends, siemens)) = beside {
            whole.branches.push(ends);
            all.push(siemens);
        }
        let solved = whole.with(&all).unwrap();
        let currents = [[0, 2], [1, 3], [0, 1]];
        currents
            .into_iter()
            .flat_map(|current| circuit().branches.into_iter().map(move |between| (current, between)))
            .map(|(current, between)| Reading {
                current,
                between,
                ohms: solved.transfer(between, current),
                sigma: SIGMA,
            })
            .collect()
    }

    const HEALTHY: [f64; 5] = [1e3, 500.0, 200.0, 1e3, 10.0];

    #[test]
    fn exact_voltages_give_the_conductances_however_far_they_are_from_healthy() {
        for real in [
            [1e3, 500.0, 200.0, 1e3, 10.0],
            [900.0, 50.0, 230.0, 1.1e3, 3.0],
            [1e3, 500.0, 2.0, 1e3, 10.0],
            [1e3, 0.01, 200.0, 1e3, 10.0],
            [10.0, 500.0, 200.0, 5.0, 100.0],
        ] {
            let fit = fit(&circuit(), &HEALTHY, &readings(&real, None), &[]).unwrap();
            for (branch, real) in real.iter().enumerate() {
                let found = fit.conductance(branch);
                let sigma = found.weights.iter().map(|weight| (weight * SIGMA).powi(2)).sum::<f64>().sqrt();
                assert!((found.value - real).abs() < 0.3 * sigma + 1e-4 * real, "{real}: {found:?}, {sigma}");
                assert!(found.unknown < 0.1 * real + sigma, "{found:?}");
            }
            assert!(fit.chi_square < 1.0 && (fit.freedom - 10.0).abs() < 0.1, "{fit:?}");
            let between = fit.between([1, 3]).value;
            assert!((between / circuit().with(&real).unwrap().between([1, 3]) - 1.0).abs() < 1e-4);
        }
    }

    /// A diagonal that nobody wrote down, of a tenth of the conductance beside it.
    #[test]
    fn another_path_is_seen_and_its_ends_are_named() {
        let fit = fit(&circuit(), &HEALTHY, &readings(&HEALTHY, Some(([1, 3], 50.0))), &[]).unwrap();
        assert!(fit.probability() < 1e-12, "{} of {}", fit.chi_square, fit.freedom);
        assert_eq!(fit.joined, Some([1, 3]));
        let fit = super::fit(&circuit(), &HEALTHY, &readings(&HEALTHY, None), &[]).unwrap();
        assert!(fit.probability() > 0.999);
    }

    /// Errors that all readings share in proportion scale the mesh and leave no residual.
    #[test]
    fn what_scales_all_readings_leaves_no_residual() {
        let mut off = readings(&HEALTHY, None);
        let scale: Shared = off.iter().map(|reading| 1e-3 * reading.ohms).collect();
        off.iter_mut().for_each(|reading| reading.ohms *= 1.002);
        let fit = fit(&circuit(), &HEALTHY, &off, &[scale]).unwrap();
        assert!(fit.probability() > 0.999);
        assert!((fit.resistance(0).value * HEALTHY[0] - 1.002).abs() < 1e-4);
    }

    #[test]
    fn nothing_read_is_nothing_known() {
        assert!(fit(&circuit(), &HEALTHY, &[], &[]).is_none());
    }
}
