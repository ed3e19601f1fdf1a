//! Blocks of a tenth of a second: steps between them, and noise within.

use copperwalk_wire::hardware::RM_OHMS;

use super::{MOTION_SHARE, Pair, levels::Levels, rates, watched::Step};
use crate::{
    quantity::{Ohms, Volts},
    statistics::cusum::Cusum,
};

/// Pairs of a block: a tenth of a second, five periods of 50 Hz and six of 60 Hz, so that hum leaves its mean alone.
pub const BLOCK_PAIRS: usize = 46;
/// A block in which fewer than so many pairs are undisturbed is passed over.
const LEAST_PAIRS: usize = 34;
/// An interruption that has lasted so many blocks is a step, if the segment is steady and within its limit.
pub const LASTS_BLOCKS: usize = 3;

/// Thermal voltages of the relays' contacts move by at most so much from one block to the next: two whose warming coils add 50 µV each
/// with a time constant of two seconds, when a second has passed. Faster ones are over while the levels are learned.
const DRIFT: Volts = Volts(3e-6);
/// Scatter of this share of [`MOTION_SHARE`] of the limit is noise worth a word: over a block its ends lie about four standard
/// deviations apart.
const NOISE_SHARE: f64 = 0.25;

/// A line through values, by least squares.
#[derive(Clone, Copy, PartialEq, Debug, Default)]
pub struct Line {
    count: f64,
    /// Sums of x, y, x², xy, y².
    sums: [f64; 5],
}

impl Line {
    /// Takes a value.
    pub fn add(&mut self, x: f64, y: f64) {
        self.count += 1.0;
        for (sum, value) in self.sums.iter_mut().zip([x, y, x * x, x * y, y * y]) {
            *sum += value;
        }
    }

    /// Mean of the values.
    pub fn mean(&self) -> f64 {
        let [_, y, ..] = self.sums;
        y / self.count.max(1.0)
    }

    /// Variance about the line, and its degrees of freedom. `None` of fewer than three values.
    pub fn variance(&self) -> Option<(f64, f64)> {
        let [x, y, xx, xy, yy] = self.sums;
        let n = self.count;
        let (sxx, sxy, syy) = (xx - x * x / n, xy - x * y / n, yy - y * y / n);
        (n > 2.0 && sxx > 0.0).then(|| (((syy - sxy * sxy / sxx) / (n - 2.0)).max(0.0), n - 2.0))
    }
}

/// A block under way.
#[derive(Clone, Copy, Debug, Default)]
pub struct Block {
    /// Pairs in it, disturbed ones included.
    pairs: usize,
    /// When it began, µs.
    at_us: u64,
    /// Pair A of the undisturbed ones, against its level when it was learned.
    sense: Line,
    drop: f64,
    /// The same of all of them.
    all: Line,
    all_drop: f64,
}

/// What a block says.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Said {
    /// When it began, µs.
    pub at_us: u64,
    /// Voltages of its undisturbed pairs.
    pub sense: Volts,
    /// The segment's resistance by them, whatever the rest of the loop has.
    pub resistance: Ohms,
    /// Excess noise, as resistance, standard deviation.
    pub noise: Option<Ohms>,
}

impl Block {
    /// Takes a pair, and whether it is undisturbed. Is the block whole?
    pub fn take(&mut self, pair: &Pair, calm: bool, levels: &Levels) -> bool {
        if self.pairs == 0 {
            self.at_us = pair.at_us;
        }
        let (at, sense) = (self.pairs as f64, (pair.sense - levels.sense).0);
        self.all.add(at, sense);
        self.all_drop += pair.drop.0;
        if calm {
            self.sense.add(at, sense);
            self.drop += pair.drop.0;
        }
        self.pairs += 1;
        self.pairs >= BLOCK_PAIRS
    }

    /// When it began, µs.
    pub fn at_us(&self) -> u64 {
        self.at_us
    }

    /// The level of pair A in it, if that stood as still as at rest and the current was the one that belongs to it: whatever else
    /// holds for its pairs.
    pub fn steady(&self, levels: &Levels) -> Option<Volts> {
        /// A current that stands off the one that belongs to a resistance by more than this share has another cause.
        const BELONGS: f64 = 0.05;
        let (variance, freedom) = self.all.variance()?;
        let learned = levels.noise[0].0 * levels.noise[0].0;
        let level = levels.sense + Volts(self.all.mean());
        let drop = levels.drop_at(levels.resistance_at(level));
        let belongs = (self.all_drop / self.pairs as f64 - drop.0).abs() < BELONGS * levels.drop.0;
        let still = rates::of_variance(variance / learned, freedom, levels.freedom) > rates::of_block();
        (belongs && still).then_some(level)
    }

    /// What it says; `None` where too few of its pairs are undisturbed.
    pub fn said(&self, levels: &Levels, limit: Ohms) -> Option<Said> {
        let (variance, freedom) = self.sense.variance()?;
        if (self.sense.count as usize) < LEAST_PAIRS {
            return None;
        }
        let sense = levels.sense + Volts(self.sense.mean());
        let drop = Volts(self.drop / self.sense.count);
        let learned = levels.noise[0].0 * levels.noise[0].0;
        let excess = Volts((variance - learned).max(0.0).sqrt()) / levels.current();
        let unlikely = rates::of_variance(variance / learned, freedom, levels.freedom) < rates::of_block();
        let worth = excess > NOISE_SHARE * MOTION_SHARE * limit;
        Some(Said {
            at_us: self.at_us,
            sense,
            resistance: Ohms(RM_OHMS) * ((sense - levels.shift) / drop),
            noise: (unlikely && worth).then_some(excess),
        })
    }
}

/// Looks for steps of the resistance from block to block.
#[derive(Clone, Debug)]
pub struct Steps {
    sums: Cusum,
    allowance: Ohms,
    /// The blocks so far, as many as the sums may reach back.
    course: Vec<(u64, Ohms)>,
    /// Blocks passed over since the last of them.
    passed: usize,
}

impl Steps {
    /// For a segment of this limit.
    pub fn new(levels: &Levels, limit: Ohms) -> Self {
        let current = levels.current();
        let sigma = Volts(levels.noise[0].0 / (LEAST_PAIRS as f64).sqrt()) / current;
        let allowance = DRIFT / current;
        let certain = rates::of_step(allowance / sigma) * sigma;
        let threshold = certain.max(MOTION_SHARE * limit);
        Self { sums: Cusum::new(threshold.0), allowance, course: Vec::new(), passed: 0 }
    }

    /// A block that says nothing.
    pub fn pass_over(&mut self) {
        self.passed += 1;
    }

    /// The level from which steps count from now on, and when that was.
    pub fn begin_anew(&mut self, at_us: u64, resistance: Ohms) {
        self.sums.reset();
        (self.course, self.passed) = (vec![(at_us, resistance)], 0);
    }

    /// Takes a block. Was there a step?
    pub fn take(&mut self, said: &Said) -> Option<Step> {
        let passed = std::mem::take(&mut self.passed);
        let before = self.course.last().copied();
        self.course.push((said.at_us, said.resistance));
        let (_, before) = before?;
        let allowance = self.allowance * (1 + passed) as f64;
        let (_, ago) = self.sums.take((said.resistance - before).0, allowance.0)?;
        let began = self.course.len().saturating_sub(1 + ago);
        let (_, from) = *self.course.get(began)?;
        let (at_us, _) = *self.course.get(began + 1)?;
        self.begin_anew(said.at_us, said.resistance);
        Some(Step { at_us, from, to: said.resistance })
    }
}
