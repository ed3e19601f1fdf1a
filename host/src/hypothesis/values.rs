//! Resistances under hypotheses: all readings of a unit together, in closed form.
//!
//! A healthy unit's segments are taken as normally distributed about what is usual for them, copper with a part in common
//! (one board is etched and plated at a time). A reading is the sum of the segments between its sensed points plus its own
//! error, so that readings y of one unit are jointly normal, and what two of them share is not counted twice. A defect
//! adds an excess x to one segment; with its readings' column a, C the covariance of y and r = y − E(y),
//!
//! ```text
//! L(x) / L(healthy) = exp(x·b − x²·s/2),   b = aᵀC⁻¹r,   s = aᵀC⁻¹a
//! ```
//!
//! (a Gauss-Markov model: Rao, Linear Statistical Inference, 4a; from memory). For an excess of unknown size, spread evenly
//! over its decades, the integral over x is a normal one as long as 1/x changes little over its width.

use nalgebra::{DMatrix, DVector};

use super::look::Look;
use crate::{board::Board, quantity::Ohms};
use statrs::function::erf::erfc;

/// Copper of one board is thick or thin in common by this much, relative, one standard deviation: platings differ by a fifth
/// between boards, and rooms by some kelvin (common practice).
const COPPER_IN_COMMON: f64 = 0.12;
/// The largest excess that still counts as a resistance.
pub const MOST: Ohms = Ohms(1e6);
/// ln 2π.
const LN_TAU: f64 = 1.837_877_066_409_345_5;
/// No answer is less probable than this under any hypothesis, natural logarithm: something may have happened that is none of
/// them.
pub const LEAST_LN: f64 = -30.0;

/// An excess over what is usual, of which only the range is known, spread evenly over its decades.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Range {
    /// Least and most before anything was read, Ω.
    pub prior: [f64; 2],
    /// What answers without a value have left of it, Ω.
    pub left: [f64; 2],
}

impl Range {
    fn ln_prior_decades(&self) -> f64 {
        (self.prior[1] / self.prior[0]).ln()
    }

    fn is_empty(&self) -> bool {
        self.left[0] >= self.left[1]
    }
}

/// All values read of a unit.
#[derive(Clone, Debug)]
pub struct Values {
    /// For each segment, which of the columns is its own.
    column: Vec<usize>,
    /// b of each different column.
    b: Vec<f64>,
    /// s of every two different columns.
    s: Vec<Vec<f64>>,
    /// For each different column, what its readings are above the usual and their variances, and the log density of these readings given
    /// all others.
    readings: Vec<(Vec<(f64, f64)>, f64)>,
}

impl Values {
    /// What these readings say together: each with the look it was made by, the value and its standard uncertainty.
    pub fn new(board: &Board, readings: &[(&Look, Ohms, Ohms)]) -> Self {
        let count = readings.len();
        let rows: Vec<Vec<bool>> = readings
            .iter()
            .map(|(look, ..)| {
                let mut row = vec![false; board.segments.len()];
                look.between().iter().for_each(|id| row[id.index()] = true);
                row
            })
            .collect();
        let covariance = DMatrix::from_fn(count, count, |i, j| {
            let shared = board.segments.iter().zip(rows[i].iter().zip(&rows[j]));
            let own: f64 =
                shared.filter(|(_, (a, b))| **a && **b).map(|(segment, _)| sigma(segment).powi(2)).sum();
            let common = |row: &[bool]| -> f64 {
                let copper = board.segments.iter().zip(row).filter(|(s, on)| **on && s.kind.is_copper());
                copper.map(|(segment, _)| COPPER_IN_COMMON * segment.expected.typical.0).sum()
            };
            let noise = if i == j { readings[i].2.0.powi(2) } else { 0.0 };
            own + common(&rows[i]) * common(&rows[j]) + noise
        });
        let residual = DVector::from_fn(count, |i, _| {
            let usual: f64 =
                readings[i].0.between().iter().map(|&id| board.segment(id).expected.typical.0).sum();
            readings[i].1.0 - usual
        });
        let inverse = covariance
            .clone()
            .cholesky()
            .map_or_else(|| DMatrix::zeros(count, count), |cholesky| cholesky.inverse());
        let weighted = &inverse * &residual;
        let mut patterns: Vec<Vec<usize>> = Vec::new();
        let column = (0..board.segments.len())
            .map(|segment| {
                let pattern: Vec<usize> = (0..count).filter(|&reading| rows[reading][segment]).collect();
                patterns.iter().position(|other| *other == pattern).unwrap_or_else(|| {
                    patterns.push(pattern);
                    patterns.len() - 1
                })
            })
            .collect();
        let b = patterns.iter().map(|rows| rows.iter().map(|&row| weighted[row]).sum()).collect();
        let s = patterns
            .iter()
            .map(|a| {
                let with = |b: &Vec<usize>| {
                    a.iter().flat_map(|&i| b.iter().map(move |&j| (i, j))).map(|at| inverse[at]).sum()
                };
                patterns.iter().map(with).collect()
            })
            .collect();
        let readings = patterns.iter().map(|rows| {
            let precision = DMatrix::from_fn(rows.len(), rows.len(), |i, j| inverse[(rows[i], rows[j])]);
            let pulls = DVector::from_fn(rows.len(), |i, _| weighted[rows[i]]);
            let given = precision.cholesky().map_or(0.0, |cholesky| {
                let ln_det: f64 = cholesky.l().diagonal().iter().map(|entry| 2.0 * entry.ln()).sum();
                -0.5 * pulls.dot(&cholesky.solve(&pulls)) + 0.5 * (ln_det - rows.len() as f64 * LN_TAU)
            });
            (rows.iter().map(|&row| (residual[row], covariance[(row, row)])).collect(), given)
        });
        Self { readings: readings.collect(), column, b, s }
    }

    fn b(&self, segment: usize) -> f64 {
        self.b[self.column[segment]]
    }

    fn s(&self, one: usize, other: usize) -> f64 {
        self.s[self.column[one]][self.column[other]]
    }

    /// The excess that the readings say one segment has, if it alone has one, and its standard deviation, Ω; `None` where no
    /// reading holds it.
    pub fn excess(&self, segment: usize) -> Option<(f64, f64)> {
        let s = self.s(segment, segment);
        (s > 0.0).then(|| (self.b(segment) / s, s.sqrt().recip()))
    }

    /// Log likelihood ratio of an excess of this size against none.
    pub fn of_size(&self, segment: usize, excess: f64) -> f64 {
        excess * self.b(segment) - 0.5 * excess.powi(2) * self.s(segment, segment)
    }

    /// The same of one anywhere below what is usual by at least and at most so much, Ω.
    pub fn of_lack(&self, segment: usize, [least, most]: [f64; 2]) -> f64 {
        let Some((mean, sigma)) = self.excess(segment) else { return 0.0 };
        let height = 0.5 * (mean / sigma).powi(2) + (sigma * (2.0 * std::f64::consts::PI).sqrt()).ln();
        height + ln_within(mean, sigma, [-most, -least]) - (most - least).ln()
    }

    /// The same of an excess within a range.
    pub fn of_range(&self, segment: usize, range: &Range) -> f64 {
        if range.is_empty() {
            return f64::NEG_INFINITY;
        }
        match self.excess(segment) {
            None => ((range.left[1] / range.left[0]).ln() / range.ln_prior_decades()).ln(),
            Some((mean, sigma)) => {
                let height =
                    0.5 * (mean / sigma).powi(2) + (sigma * (2.0 * std::f64::consts::PI).sqrt()).ln();
                height + ln_within(mean, sigma, range.left) + ln_density(mean, range)
            }
        }
    }

    /// The same of a segment that comes and goes: in each reading by itself it conducts well with this probability, or adds an excess within
    /// a range, or does not conduct. What readings share is left out of account.
    pub fn of_flaky(&self, segment: usize, [well, badly]: [f64; 2], [least, most]: [f64; 2]) -> f64 {
        let (readings, given) = &self.readings[self.column[segment]];
        let ln_each = |&(above, variance): &(f64, f64)| {
            let usual = (-0.5 * (above.powi(2) / variance + LN_TAU + variance.ln())).exp();
            let broad = if above > least { (above * (most / least).ln()).recip() } else { 0.0 };
            (well * usual + badly * broad).max(f64::MIN_POSITIVE).ln()
        };
        let always_well = readings.len() as f64 * well.ln();
        always_well.max(readings.iter().map(ln_each).sum::<f64>() - given)
    }

    /// The same of two segments.
    pub fn of_two(&self, one: (usize, &Range), other: (usize, &Range)) -> f64 {
        if one.1.is_empty() || other.1.is_empty() {
            return f64::NEG_INFINITY;
        }
        let (s11, s22, s12) = (self.s(one.0, one.0), self.s(other.0, other.0), self.s(one.0, other.0));
        let det = s11 * s22 - s12 * s12;
        if s11 == 0.0 || s22 == 0.0 {
            return self.of_range(one.0, one.1) + self.of_range(other.0, other.1);
        }
        if det < 1e-9 * s11 * s22 {
            // No reading tells the two apart: what is known is their sum, of which the larger is most.
            let widest = if one.1.prior[0] > other.1.prior[0] { one } else { other };
            return self.of_range(widest.0, widest.1);
        }
        let (b1, b2) = (self.b(one.0), self.b(other.0));
        let mean = [(s22 * b1 - s12 * b2) / det, (s11 * b2 - s12 * b1) / det];
        let sigma = [(s22 / det).sqrt(), (s11 / det).sqrt()];
        let height = 0.5 * (b1 * mean[0] + b2 * mean[1]) + (2.0 * std::f64::consts::PI / det.sqrt()).ln();
        let part = |at: usize, range: &Range| {
            ln_within(mean[at], sigma[at], range.left) + ln_density(mean[at], range)
        };
        height + part(0, one.1) + part(1, other.1)
    }
}

/// Standard deviation of a healthy segment about what is usual, Ω: the upper end of what a healthy one may read lies two of them
/// above.
pub fn sigma(segment: &crate::board::Segment) -> f64 {
    0.5 * (segment.expected.high - segment.expected.typical).0.max(0.02 * segment.expected.typical.0)
}

/// Density of an excess at its best value, natural logarithm, 1/Ω.
fn ln_density(mean: f64, range: &Range) -> f64 {
    -(mean.clamp(range.left[0], range.left[1]) * range.ln_prior_decades()).ln()
}

/// Share of a normal distribution within bounds, natural logarithm; far from it by the leading term of its tail.
fn ln_within(mean: f64, sigma: f64, [least, most]: [f64; 2]) -> f64 {
    let (low, high) = ((least - mean) / sigma, (most - mean) / sigma);
    let tail = |z: f64| 0.5 * erfc(z / std::f64::consts::SQRT_2);
    let share = match (low > 0.0, high < 0.0) {
        (true, _) => tail(low) - tail(high),
        (_, true) => tail(-high) - tail(-low),
        _ => 1.0 - tail(-low) - tail(high),
    };
    if share > 1e-300 {
        return share.ln();
    }
    let away = low.max(-high).max(1.0);
    -0.5 * away.powi(2) - away.ln() - 0.5 * (2.0 * std::f64::consts::PI).ln()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::board::{self, StateId};

    fn board() -> Board {
        board::parse("board.toml", include_str!("../../../fixtures/tide-gauge-head/board.toml")).unwrap()
    }

    fn look(board: &Board, from: &str, to: &str) -> Look {
        let point = |name: &str| board.point_named(name).unwrap();
        Look::two_points(board, StateId::new(1), [point(from), point(to)]).unwrap()
    }

    /// Log density of jointly normal readings, by the definition and with the covariance written down entry by entry.
    fn ln_density_of(board: &Board, readings: &[(&Look, Ohms, Ohms)], segment: usize, excess: f64) -> f64 {
        let count = readings.len();
        let holds = |reading: usize, segment: usize| {
            readings[reading].0.between().iter().any(|id| id.index() == segment)
        };
        let mut covariance = DMatrix::<f64>::zeros(count, count);
        let mut residual = DVector::<f64>::zeros(count);
        for i in 0..count {
            residual[i] = readings[i].1.0 - if holds(i, segment) { excess } else { 0.0 };
            for (number, part) in board.segments.iter().enumerate() {
                residual[i] -= if holds(i, number) { part.expected.typical.0 } else { 0.0 };
            }
            for j in 0..count {
                let copper = |reading: usize| -> f64 {
                    let parts = board.segments.iter().enumerate();
                    let copper =
                        parts.filter(|(number, part)| holds(reading, *number) && part.kind.is_copper());
                    copper.map(|(_, part)| COPPER_IN_COMMON * part.expected.typical.0).sum()
                };
                let parts = board.segments.iter().enumerate();
                let own: f64 = parts
                    .filter(|(number, _)| holds(i, *number) && holds(j, *number))
                    .map(|(_, part)| sigma(part).powi(2))
                    .sum();
                covariance[(i, j)] =
                    own + copper(i) * copper(j) + if i == j { readings[i].2.0.powi(2) } else { 0.0 };
            }
        }
        let inverse = covariance.clone().try_inverse().unwrap();
        -0.5 * ((residual.transpose() * inverse * &residual)[0] + covariance.determinant().ln())
    }

    #[test]
    fn closed_forms_agree_with_the_definition_and_with_sums_over_the_excess() {
        let board = board();
        let [whole, part] = [look(&board, "cell+", "reg.in"), look(&board, "cell+", "fuse.out")];
        let readings = [(&whole, Ohms(1.4), Ohms(2e-3)), (&part, Ohms(1.1), Ohms(1e-3))];
        let values = Values::new(&board, &readings);
        for name in ["cell fuse", "power switch", "tail trace"] {
            let segment = board.segment_named(name).unwrap().index();
            let healthy = ln_density_of(&board, &readings, segment, 0.0);
            for excess in [0.05, 0.7, 3.0] {
                let by_definition = ln_density_of(&board, &readings, segment, excess) - healthy;
                assert!(
                    (values.of_size(segment, excess) - by_definition).abs()
                        < 1e-6 * by_definition.abs().max(1.0),
                    "{name}"
                );
            }
            // The integral over the decades, as a sum over many narrow ones.
            let range = Range { prior: [0.01, 1e6], left: [0.01, 1e6] };
            let steps = 400_000;
            let width = (1e6_f64 / 0.01).ln() / f64::from(steps);
            let sum: f64 = (0..steps)
                .map(|step| {
                    let excess = 0.01 * ((f64::from(step) + 0.5) * width).exp();
                    values.of_size(segment, excess).exp() * width / (1e6_f64 / 0.01).ln()
                })
                .sum();
            let closed = values.of_range(segment, &range);
            // Where an excess is known to a tenth of itself, 1/x changes as little within its width.
            let tolerance = if values.excess(segment).is_some_and(|(mean, sigma)| sigma < 0.3 * mean) {
                0.1
            } else {
                1.0
            };
            assert!((closed - sum.ln()).abs() < tolerance, "{name}: {closed} against {}", sum.ln());
        }
    }
}
