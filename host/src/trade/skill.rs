//! How well repairs go on this bench: one number for a lot, which moves all chances of the table together.
//!
//! The table of methods is from memory, and benches differ: where reflowing fails more often than it says, replacing does too. Were
//! each chance learnt by itself, a lot of sixty repairs over six kinds of faults would still lean on the table in each of them, and all
//! errors would add up. So the log odds of every chance of the table are moved by one shift, normally distributed about 0, and all
//! repairs of the lot teach it (a hierarchical model; A. Gelman et al., Bayesian Data Analysis, 3rd ed. (2013), chapter 5). Beside the
//! shift each method on each kind of fault deviates by itself: the table's tries weigh a fifth of what they would if they had been
//! counted here (a power prior; J. G. Ibrahim and M.-H. Chen, Statistical Science 15 (2000) 46-60).

use crate::{random::Rng, statistics::beta::Beta};

use super::draw;

/// Standard deviation of the shift, in log odds. Benches differ: half of it takes nine in ten to three in four, or to 96 in a hundred.
const DEVIATION: f64 = 2.0;
/// What a try of the table weighs beside one that was counted here.
const HEARSAY: f64 = 0.2;
/// The shifts that are weighed, to either side of 0.
const SIDE: i32 = 14;
/// Distance of two of them.
const STEP: f64 = 0.25 * DEVIATION;

/// A method's tries on one kind of fault.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Record {
    /// The table's opinion.
    pub table: Beta,
    /// Tries that worked.
    pub worked: u32,
    /// Tries that did not.
    pub failed: u32,
}

impl Record {
    /// All tries.
    pub fn tries(self) -> u32 {
        self.worked.saturating_add(self.failed)
    }

    /// What is believed of the chance under a shift.
    pub fn under(self, shift: f64) -> Beta {
        moved(self.table, shift).after(self.worked, self.failed)
    }
}

/// The table's opinion with its mean moved in log odds, and with the weight of hearsay.
fn moved(table: Beta, shift: f64) -> Beta {
    let all = HEARSAY * (table.a + table.b);
    let mean = 1.0 / (1.0 + table.b / table.a * libm::exp(-shift));
    Beta { a: all * mean, b: all * (1.0 - mean) }
}

/// What is believed of the shift: probabilities over a grid.
#[derive(Clone, PartialEq, Debug)]
pub struct Skill(Vec<(f64, f64)>);

impl Skill {
    /// After these tries.
    pub fn of<'r>(records: impl Iterator<Item = &'r Record> + Clone) -> Self {
        let grid = (-SIDE..=SIDE).map(|step| f64::from(step) * STEP);
        let log = |shift: f64| {
            let seen = records.clone().filter(|record| record.tries() > 0);
            let likely: f64 = seen
                .map(|record| {
                    let table = moved(record.table, shift);
                    libm::log(table.predicts(record.worked, record.tries()).max(f64::MIN_POSITIVE))
                })
                .sum();
            likely - 0.5 * (shift / DEVIATION) * (shift / DEVIATION)
        };
        let weighed: Vec<(f64, f64)> = grid.map(|shift| (shift, log(shift))).collect();
        let most = weighed.iter().map(|(_, log)| *log).fold(f64::NEG_INFINITY, f64::max);
        let all: f64 = weighed.iter().map(|(_, log)| libm::exp(log - most)).sum();
        Self(weighed.into_iter().map(|(shift, log)| (shift, libm::exp(log - most) / all)).collect())
    }

    /// A shift that may be the true one: a place of the grid, and evenly about it.
    pub fn draw(&self, rng: &mut Rng) -> f64 {
        let shares: Vec<f64> = self.0.iter().map(|(_, share)| *share).collect();
        let place = draw::among(&shares, rng.unit());
        let shift = self.0.get(place).map_or(0.0, |(shift, _)| *shift);
        shift + STEP * (rng.unit() - 0.5)
    }

    /// What is believed of a chance, whatever the shift: the beta distribution with the same mean and variance.
    pub fn chance(&self, record: Record) -> Beta {
        let (mut mean, mut square) = (0.0, 0.0);
        for &(shift, share) in &self.0 {
            let under = record.under(shift);
            mean += share * under.mean();
            square += share * (under.mean() * under.mean() + under.deviation() * under.deviation());
        }
        let variance = square - mean * mean;
        let all = mean * (1.0 - mean) / variance - 1.0;
        if all.is_finite() && all > 0.0 {
            Beta { a: all * mean, b: all * (1.0 - mean) }
        } else {
            record.under(0.0)
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const TABLE: Beta = Beta { a: 8.0, b: 2.0 };

    #[test]
    fn a_shift_moves_the_mean_in_log_odds_and_keeps_the_weight() {
        // Odds of 4 to 1 become 8 to 1; the ten tries of the table weigh like two.
        let found = moved(TABLE, 2f64.ln());
        assert!((found.mean() - 8.0 / 9.0).abs() < 1e-12 && (found.a + found.b - 2.0).abs() < 1e-12);
    }

    /// Failures of one method make another one's chance smaller, successes greater.
    #[test]
    fn what_one_method_shows_moves_the_others() {
        let of = |worked, failed| {
            let seen = [Record { table: TABLE, worked, failed }];
            Skill::of(seen.iter()).chance(Record { table: TABLE, worked: 0, failed: 0 }).mean()
        };
        let before = of(0, 0);
        assert!((0.62..0.8).contains(&before), "{before}");
        assert!(of(2, 18) < 0.6 && of(20, 0) > 0.82, "{} {}", of(2, 18), of(20, 0));
    }

    #[test]
    fn draws_scatter_as_the_grid_does() {
        let skill = Skill::of(std::iter::empty());
        let mut rng = Rng::new(5);
        let draws: Vec<f64> = (0..20_000).map(|_| skill.draw(&mut rng)).collect();
        let square = draws.iter().map(|x| x * x).sum::<f64>() / draws.len() as f64;
        assert!((square.sqrt() / DEVIATION - 1.0).abs() < 0.03, "{square}");
    }
}
