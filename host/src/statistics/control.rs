//! Control charts of single readings: has a course of readings left the path it used to follow, by which rule, and
//! since when?
//!
//! Two charts see different things. The chart of individuals with its moving range sees a jump at once; the
//! exponentially weighted moving average (EWMA) sees a slow drift that no single reading would show.

use super::sample;

/// Readings that limits are worked out from: the first ones of a course (20 to 25 is the trade's custom).
pub const BASE: usize = 20;

/// Mean moving range of two normal values, in standard deviations: 2/√π, d2 of the tables (printed as 1.128).
const RANGE_OF_TWO: f64 = std::f64::consts::FRAC_2_SQRT_PI;

/// Action limits stand so many standard deviations from the centre (W. A. Shewhart 1931): of readings that are in order
/// 1 in 370 lies beyond.
const ACTION: f64 = 3.0;
/// Warning limits. Two of three readings beyond the same one break the rule (Western Electric, Statistical Quality
/// Control Handbook, 1956): in order that happens once in about 1000 threes for either side.
const WARNING: f64 = 2.0;

/// Weight of the newest reading in the moving average: 0.2 finds shifts of about one standard deviation soonest, in 10
/// readings.
pub const WEIGHT: f64 = 0.2;
/// Limits of the moving average in its standard deviations: with the weight 0.2 a course in order leaves them once in
/// 500 readings (J. M. Lucas and M. S. Saccucci, Technometrics 32 (1990) 1-12, from memory; the test works it out).
/// With 2.7 it would be once in 236.
pub const AVERAGE_LIMIT: f64 = 2.962;

/// Where readings of a course should lie.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Limits {
    /// Mean of the base.
    pub centre: f64,
    /// Standard deviation by the mean moving range of the base, which a drift inside the base hardly widens.
    pub sigma: f64,
}

impl Limits {
    /// By the readings of a base, at least two of them.
    pub fn of(base: &[f64]) -> Option<Self> {
        let ranges: Vec<f64> =
            base.windows(2).filter_map(|pair| Some((pair.first()? - pair.last()?).abs())).collect();
        Some(Self { centre: sample::mean(base)?, sigma: sample::mean(&ranges)? / RANGE_OF_TWO })
    }

    /// Lower and upper action limit.
    pub fn action(&self) -> [f64; 2] {
        self.beside(ACTION)
    }

    /// Lower and upper warning limit.
    pub fn warning(&self) -> [f64; 2] {
        self.beside(WARNING)
    }

    fn beside(&self, deviations: f64) -> [f64; 2] {
        [-1.0, 1.0].map(|side| self.centre + side * deviations * self.sigma)
    }
}

/// The moving average at one reading, and where it should lie.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Average {
    /// Its value.
    pub value: f64,
    /// Its lower and its upper limit, which widen over the first readings.
    pub limits: [f64; 2],
}

/// The moving average over the readings, with the weight of the newest and the limit in its standard deviations.
pub fn averages(limits: &Limits, readings: &[f64], weight: f64, limit: f64) -> Vec<Average> {
    let mut value = limits.centre;
    // Its variance in units of the readings': λ/(2 − λ)·(1 − (1 − λ)^2i) (S. W. Roberts, Technometrics 1 (1959)
    // 239-250).
    let mut left = 1.0;
    let all = readings.iter().map(|reading| {
        value += weight * (reading - value);
        left *= (1.0 - weight) * (1.0 - weight);
        let half = limit * limits.sigma * (weight / (2.0 - weight) * (1.0 - left)).sqrt();
        Average { value, limits: [limits.centre - half, limits.centre + half] }
    });
    all.collect()
}

/// A rule that a course in order seldom breaks.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Rule {
    /// A reading beyond an action limit.
    Action,
    /// Two of three readings beyond the same warning limit.
    Warning,
    /// The moving average beyond its limits.
    Drift,
}

/// A rule that was broken.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Broken {
    /// Which.
    pub rule: Rule,
    /// The reading since which it has been broken without a break, by its place in the course.
    pub since: usize,
    /// The last reading at which it was.
    pub last: usize,
}

/// A course of readings with its limits.
#[derive(Clone, PartialEq, Debug)]
pub struct Chart {
    /// Limits of single readings.
    pub limits: Limits,
    /// The moving average at every reading.
    pub averages: Vec<Average>,
    /// For each rule that was ever broken the last stretch over which it was, the gravest rule first.
    pub broken: Vec<Broken>,
}

impl Chart {
    /// Of readings in order; `None` of fewer than [`BASE`], and of a base without any scatter, which says nothing about
    /// what scatter is to be expected.
    pub fn of(readings: &[f64]) -> Option<Self> {
        let limits = Limits::of(readings.get(..BASE)?).filter(|limits| limits.sigma > 0.0)?;
        let averages = averages(&limits, readings, WEIGHT, AVERAGE_LIMIT);
        let is_beyond = |value: f64, [low, high]: [f64; 2]| value < low || value > high;
        // On which side of the warning limits each reading lies.
        let [low, high] = limits.warning();
        let sides: Vec<i8> =
            readings.iter().map(|reading| i8::from(*reading > high) - i8::from(*reading < low)).collect();
        let two_of_three = |at: usize| {
            let side = sides.get(at).copied().unwrap_or(0);
            let before = sides.get(at.saturating_sub(2)..at).unwrap_or_default();
            side != 0 && before.contains(&side)
        };
        let broken = [
            stretch(Rule::Action, readings.iter().map(|reading| is_beyond(*reading, limits.action()))),
            stretch(Rule::Warning, (0..readings.len()).map(two_of_three)),
            stretch(Rule::Drift, averages.iter().map(|average| is_beyond(average.value, average.limits))),
        ];
        let broken = broken.into_iter().flatten().collect();
        Some(Self { limits, averages, broken })
    }

    /// Rules that the last reading breaks, the gravest first.
    pub fn standing(&self) -> impl Iterator<Item = &Broken> {
        self.broken.iter().filter(|broken| broken.last + 1 == self.averages.len())
    }
}

/// The last stretch of readings over which a rule was broken.
fn stretch(rule: Rule, breaks: impl Iterator<Item = bool>) -> Option<Broken> {
    let mut found: Option<Broken> = None;
    for (at, _) in breaks.enumerate().filter(|(_, breaks)| *breaks) {
        match &mut found {
            Some(broken) if broken.last + 1 == at => broken.last = at,
            _ => found = Some(Broken { rule, since: at, last: at }),
        }
    }
    found
}
