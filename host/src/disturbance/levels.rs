//! What the undisturbed contact reads, and how its conversions scatter: learned from the first second, whatever happens in it.

use copperwalk_wire::hardware::{DRY_AMPS, DRY_CLAMP_OHMS, RM_OHMS};

use super::{Pair, blocks::Line};
use crate::{
    meter::noise::conversion_noise,
    plan::aim::{WATCH_GAINS, WATCH_RATE, dry_open},
    quantity::{Amps, Ohms, Volts},
};

/// Pairs that the levels are learned from: a second.
pub const LEARNED_PAIRS: usize = 460;

/// Conducting: a drop over Rm of at least this share of the usual one. A loop whose resistance rises by two ohms has less.
const CONDUCTS: f64 = 0.95;
/// The usual drop is the one that is reached in this share of the pairs: a contact that comes and goes every two
/// milliseconds is learned all the same.
const USUAL: f64 = 0.85;
/// Of so many of the pairs at least the contact must conduct.
const LEAST_SHARE: f64 = 0.05;
/// A drop below this share of the nominal one is no current: half of the least that a limit of 1 kΩ leaves.
const LEAST_DROP: f64 = 0.01;
/// Median of the absolute deviations of a normal distribution over its standard deviation, inverse.
const MEDIAN_TO_SIGMA: f64 = 1.4826;
/// Values further off the median than so many standard deviations are disturbed.
const OUTSIDE: f64 = 6.0;
/// No converter is quieter than this share of its table.
const QUIETEST: f64 = 0.5;

/// A contact at rest.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Levels {
    /// Voltage over the segment as it is converted, with offset and thermal voltages.
    pub sense: Volts,
    /// What of it is none of the segment's, so that its resistance is that of the reading before.
    pub shift: Volts,
    /// Voltage over Rm.
    pub drop: Volts,
    /// Standard deviations of one conversion of either pair.
    pub noise: [Volts; 2],
    /// Degrees of freedom of the first.
    pub freedom: f64,
    /// What the rest of the loop has, from the source's node on.
    pub others: Ohms,
}

impl Levels {
    /// Of a segment that a reading with current reversal has just found to have this resistance. `None` where no current flows.
    pub fn learn(pairs: &[Pair], resistance: Ohms) -> Option<Self> {
        let mut drops: Vec<f64> = pairs.iter().map(|pair| pair.drop.0).collect();
        drops.sort_by(f64::total_cmp);
        let usual = *drops.get((USUAL * drops.len() as f64) as usize)?;
        if usual < LEAST_DROP * DRY_AMPS * RM_OHMS {
            return None;
        }
        // A conversion of pair A between two of pair B that are both as usual.
        let conducts = |pair: &Pair| pair.drop.0 >= CONDUCTS * usual;
        let calm = pairs.windows(2).filter_map(|two| match two {
            [before, pair] if conducts(before) && conducts(pair) => Some(pair),
            _ => None,
        });
        let calm: Vec<&Pair> = calm.collect();
        if (calm.len() as f64) < LEAST_SHARE * pairs.len() as f64 {
            return None;
        }
        let table = WATCH_GAINS.map(|gain| conversion_noise(gain, WATCH_RATE).0);
        let of = |value: fn(&Pair) -> f64, table: f64| {
            let values: Vec<f64> = calm.iter().map(|pair| value(pair)).collect();
            scatter(&values, table)
        };
        let (sense, sense_noise, freedom) = of(|pair| pair.sense.0, table[0])?;
        let (drop, drop_noise, _) = of(|pair| pair.drop.0, table[1])?;
        let current = Amps(drop / RM_OHMS);
        Some(Self {
            sense: Volts(sense),
            shift: Volts(sense) - current * resistance,
            drop: Volts(drop),
            noise: [Volts(sense_noise), Volts(drop_noise)],
            freedom,
            others: (dry_open() / current - resistance).max(Ohms(DRY_CLAMP_OHMS + RM_OHMS)),
        })
    }

    /// The current at rest.
    pub fn current(&self) -> Amps {
        self.drop / Ohms(RM_OHMS)
    }

    /// Voltage over the segment, offset included, if it has this resistance.
    pub fn sense_at(&self, resistance: Ohms) -> Volts {
        dry_open() * (resistance / (self.others + resistance)) + self.shift
    }

    /// Voltage over Rm if the segment has this resistance.
    pub fn drop_at(&self, resistance: Ohms) -> Volts {
        let at_rest = self.others + self.resistance_at(self.sense).max(Ohms::ZERO);
        self.drop * (at_rest / (self.others + resistance))
    }

    /// Resistance that puts this voltage over the segment; infinite where it is as good as open.
    pub fn resistance_at(&self, sense: Volts) -> Ohms {
        /// Less than this share of the source's voltage is left for the rest of the loop: 1 kΩ and more.
        const LEFT: f64 = 0.03;
        let (across, open) = (sense - self.shift, dry_open());
        if across > (1.0 - LEFT) * open {
            return Ohms(f64::INFINITY);
        }
        self.others * (across / (open - across))
    }
}

/// Mean, standard deviation about a line, and its degrees of freedom, of the values that belong together.
fn scatter(values: &[f64], table: f64) -> Option<(f64, f64, f64)> {
    let middle = median(values.to_vec())?;
    let spread = median(values.iter().map(|value| (value - middle).abs()).collect())?;
    let sigma = (MEDIAN_TO_SIGMA * spread).max(table);
    let mut line = Line::default();
    let near = values.iter().enumerate().filter(|(_, value)| (**value - middle).abs() <= OUTSIDE * sigma);
    near.for_each(|(at, value)| line.add(at as f64, *value - middle));
    let (variance, freedom) = line.variance()?;
    Some((middle + line.mean(), variance.sqrt().max(QUIETEST * table), freedom))
}

fn median(mut values: Vec<f64>) -> Option<f64> {
    values.sort_by(f64::total_cmp);
    values.get(values.len() / 2).copied()
}
