//! Thresholds from a stated rate of false alarms.
//!
//! What is stated is the most that a quiet contact is called disturbed, by all tests together, noise being normal. Each test gets a
//! third of it, divided by how often the test decides.

use statrs::distribution::{ContinuousCDF, FisherSnedecor, StudentsT};

use super::blocks::BLOCK_PAIRS;
use crate::{meter::conversion_us, plan::aim::WATCH_RATE, statistics::normal};

/// False alarms on a quiet contact at most, an hour, dropouts, steps and noise together.
pub const FALSE_ALARMS_AN_HOUR: f64 = 1.0;
/// Tests that share them.
const TESTS: f64 = 3.0;

const HOUR_US: f64 = 3.6e9;
/// The dropout test decides three times a pair: pair A up, pair A down, pair B down.
const DECISIONS_A_PAIR: f64 = 3.0;
/// Bisections of a quantile, from a range of 1000: to its last digits.
const BISECTIONS: usize = 60;

/// Pairs in an hour.
fn pairs_an_hour() -> f64 {
    HOUR_US / (2.0 * f64::from(conversion_us(WATCH_RATE)))
}

/// Probability of a false alarm that one pair may have for the dropout test.
pub fn of_pair() -> f64 {
    FALSE_ALARMS_AN_HOUR / TESTS / pairs_an_hour()
}

/// Probability of a false alarm that one block may have, for the step test and for the noise test.
pub fn of_block() -> f64 {
    of_pair() * BLOCK_PAIRS as f64
}

/// How many standard deviations a conversion may be off its level without being called off it. The deviation was learned from so
/// many values; the level is the mean of a block.
pub fn of_conversion(freedom: f64) -> f64 {
    let probability = of_pair() / DECISIONS_A_PAIR;
    let student = StudentsT::new(0.0, 1.0, freedom.max(1.0)).ok();
    let above = |t: f64| student.as_ref().map_or(1.0, |student| student.sf(t));
    crossing(|t| above(t) > probability) * (1.0 + 1.0 / BLOCK_PAIRS as f64).sqrt()
}

/// Probability that noise alone has a variance of at least this many times the one that was learned.
pub fn of_variance(ratio: f64, freedom: f64, learned: f64) -> f64 {
    let fisher = FisherSnedecor::new(freedom.max(1.0), learned.max(1.0));
    fisher.map_or(1.0, |fisher| fisher.sf(ratio.max(0.0)))
}

/// The threshold of cumulative sums over the differences of neighbouring levels, in standard deviations of one level, with this
/// allowance for each.
///
/// Such a sum is the most by which the latest level lies above one before it, the allowances taken off: by m blocks before, it is
/// above the threshold with probability Q((h + k·m)/√2). Added up over m and both ways that is more than the false alarms of a block.
pub fn of_step(allowance: f64) -> f64 {
    of_step_at(allowance, of_block())
}

/// The same for any probability of a false alarm at a block.
pub fn of_step_at(allowance: f64, probability: f64) -> f64 {
    let alarms = |threshold: f64| -> f64 {
        let at = |blocks: usize| {
            let off = threshold + allowance * blocks as f64;
            2.0 * normal::below(-off / std::f64::consts::SQRT_2)
        };
        (1..=MOST_BLOCKS).map(at).take_while(|one| *one > 0.0).sum()
    };
    crossing(|threshold| alarms(threshold) > probability)
}

/// Blocks of an hour's watching.
const MOST_BLOCKS: usize = 36_000;

/// Where a condition that holds at 0 and not at 1000 ceases to.
fn crossing(holds: impl Fn(f64) -> bool) -> f64 {
    let (mut low, mut high) = (0.0, 1e3);
    for _ in 0..BISECTIONS {
        let middle = 0.5 * (low + high);
        if holds(middle) { low = middle } else { high = middle }
    }
    high
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_test_gets_its_share_of_the_stated_rate() {
        // 1.657 million pairs and 36 000 blocks an hour.
        assert!((of_pair() * 1.657e6 - 1.0 / 3.0).abs() < 1e-3, "{}", of_pair());
        assert!((of_block() * 36_031.0 - 1.0 / 3.0).abs() < 1e-3, "{}", of_block());
        // Q(5.26) = 7e-8: three decisions a pair.
        let many = of_conversion(1e9) / (1.0 + 1.0 / BLOCK_PAIRS as f64).sqrt();
        assert!((normal::below(-many) / (of_pair() / 3.0) - 1.0).abs() < 1e-3, "{many}");
        assert!((5.2..5.3).contains(&many), "{many}");
        assert!(of_conversion(458.0) > of_conversion(1e9));
        // Without an allowance every earlier level counts; with a large one only the neighbour does.
        let neighbour = of_step(3.0);
        assert!((2.0 * normal::below(-(neighbour + 3.0) / 2f64.sqrt()) / of_block() - 1.0).abs() < 0.01);
        assert!(of_step(1.0) > of_step(2.0) && of_step(2.0) > neighbour);
        assert!(of_variance(1.0, 46.0, 458.0) > 0.3 && of_variance(2.5, 46.0, 458.0) < of_block());
    }
}
