//! A course of readings with the limits of its control chart, for reports.

use serde::Serialize;
use utoipa::ToSchema;

use crate::{
    records::SweepId,
    statistics::control::{self, Chart},
};

/// A reading in a course.
#[derive(Clone, Copy, PartialEq, Debug, Serialize, ToSchema)]
pub struct At {
    /// The sweep it was taken in.
    pub sweep: SweepId,
    /// Start of that sweep, µs since 1970-01-01 UTC.
    pub started_us: i64,
}

/// Limits of a course in the unit of its readings, by its first readings; what came after is held against them.
#[derive(Clone, PartialEq, Debug, Serialize, ToSchema)]
pub struct Limits {
    /// How many of the first readings they are worked out from.
    pub base: usize,
    /// Mean of these.
    pub centre: f64,
    /// Lower and upper warning limit: two standard deviations, by the mean moving range.
    pub warning: [f64; 2],
    /// Lower and upper action limit: three.
    pub action: [f64; 2],
    /// The exponentially weighted moving average at each reading.
    pub average: Vec<f64>,
    /// Lower and upper limit of the average once it is settled.
    pub average_limits: [f64; 2],
    /// Rules that were ever broken, the gravest first, each with the last time.
    pub broken: Vec<Broken>,
}

/// A rule of the chart.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Rule {
    /// A reading beyond an action limit.
    Action,
    /// Two of three readings beyond the same warning limit.
    Warning,
    /// The moving average beyond its limits.
    Drift,
}

impl Rule {
    /// What broke it.
    pub fn in_words(self) -> &'static str {
        match self {
            Self::Action => "a reading beyond the action limit",
            Self::Warning => "two of three readings beyond the warning limit",
            Self::Drift => "the moving average beyond its limits",
        }
    }
}

/// A rule that was broken.
#[derive(Clone, Copy, PartialEq, Debug, Serialize, ToSchema)]
pub struct Broken {
    /// Which.
    pub rule: Rule,
    /// Since which reading, without a break.
    pub since: At,
    /// The last reading that broke it.
    pub last: At,
    /// Does the latest reading still break it?
    pub stands: bool,
    /// Above the centre, or below it?
    pub above: bool,
}

impl Limits {
    /// Of readings in order; `None` while there are too few.
    pub fn of(readings: &[(At, f64)]) -> Option<Self> {
        let values: Vec<f64> = readings.iter().map(|(_, value)| *value).collect();
        let Chart { limits, averages, broken } = Chart::of(&values)?;
        let told = |broken: &control::Broken| {
            let (since, last) = (readings.get(broken.since)?, readings.get(broken.last)?);
            let value = match broken.rule {
                control::Rule::Drift => averages.get(broken.last)?.value,
                _ => last.1,
            };
            Some(Broken {
                rule: match broken.rule {
                    control::Rule::Action => Rule::Action,
                    control::Rule::Warning => Rule::Warning,
                    control::Rule::Drift => Rule::Drift,
                },
                since: since.0,
                last: last.0,
                stands: broken.last + 1 == values.len(),
                above: value > limits.centre,
            })
        };
        Some(Self {
            base: control::BASE,
            centre: limits.centre,
            warning: limits.warning(),
            action: limits.action(),
            average_limits: averages.last()?.limits,
            broken: broken.iter().filter_map(told).collect(),
            average: averages.into_iter().map(|average| average.value).collect(),
        })
    }

    /// The gravest rule that the latest reading breaks.
    pub fn standing(&self) -> Option<&Broken> {
        self.broken.iter().find(|broken| broken.stands)
    }
}
