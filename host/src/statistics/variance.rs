//! Where scatter comes from: analysis of variance, components of variance, pooled deviations, effective degrees of
//! freedom.

use super::sample;

/// One-way analysis of variance: do groups differ by more than the scatter within them?
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct OneWay {
    /// Between the groups.
    pub between: Mean,
    /// Within them.
    pub within: Mean,
    /// Values in a group; of unequal groups the number that stands for them in the components of variance.
    pub size: f64,
}

/// A mean square.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Mean {
    /// Sum of squares.
    pub squares: f64,
    /// Its degrees of freedom.
    pub freedom: usize,
}

impl Mean {
    /// The mean square.
    pub fn square(&self) -> f64 {
        self.squares / self.freedom as f64
    }
}

/// Standard deviations of a random-effects model: value = mean + group + repetition.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Components {
    /// Repeatability: between values of one group.
    pub within: f64,
    /// Between groups, beyond what the scatter within explains; 0 where it explains all.
    pub between: f64,
}

impl OneWay {
    /// Of groups of values; `None` unless there are two groups at least, none empty, and one of them with two values.
    pub fn of(groups: &[&[f64]]) -> Option<Self> {
        let all: Vec<f64> = groups.iter().flat_map(|group| group.iter().copied()).collect();
        let count = all.len() as f64;
        if groups.len() < 2 || groups.iter().any(|group| group.is_empty()) || all.len() == groups.len() {
            return None;
        }
        let grand = sample::mean(&all)?;
        let between = sample::sum(groups.iter().map(|group| {
            let off = sample::mean(group).unwrap_or(grand) - grand;
            group.len() as f64 * off * off
        }));
        let within = sample::sum(groups.iter().map(|group| sample::squares(group)));
        let freedom = groups.len() - 1;
        let crowding = sample::sum(groups.iter().map(|group| (group.len() as f64).powi(2))) / count;
        Some(Self {
            between: Mean { squares: between, freedom },
            within: Mean { squares: within, freedom: all.len() - groups.len() },
            size: (count - crowding) / freedom as f64,
        })
    }

    /// Fisher's F.
    pub fn f(&self) -> f64 {
        self.between.square() / self.within.square()
    }

    /// Residual standard deviation.
    pub fn residual(&self) -> f64 {
        self.within.square().sqrt()
    }

    /// Components of variance by equating the mean squares to what they are expected to be (ISO 5725-2).
    pub fn components(&self) -> Components {
        let between = (self.between.square() - self.within.square()) / self.size;
        Components { within: self.residual(), between: between.max(0.0).sqrt() }
    }
}

/// A standard deviation and how well it is known.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Deviation {
    /// The standard deviation.
    pub sigma: f64,
    /// Degrees of freedom; infinite if it is known exactly.
    pub freedom: f64,
}

impl Deviation {
    /// Of a sample of at least two values.
    pub fn of(values: &[f64]) -> Option<Self> {
        Some(Self { sigma: sample::deviation(values)?, freedom: (values.len() - 1) as f64 })
    }
}

/// Deviations of several samples of like scatter, as one; `None` of none.
pub fn pooled(deviations: &[Deviation]) -> Option<Deviation> {
    let freedom = sample::sum(deviations.iter().map(|each| each.freedom));
    let squares = sample::sum(deviations.iter().map(|each| each.freedom * each.sigma * each.sigma));
    (freedom > 0.0).then(|| Deviation { sigma: (squares / freedom).sqrt(), freedom })
}

/// Independent contributions to one uncertainty: their root sum of squares, with effective degrees of freedom by Welch
/// and Satterthwaite (GUM, JCGM 100, G.4.1).
pub fn combined(contributions: &[Deviation]) -> Deviation {
    let variance = sample::sum(contributions.iter().map(|each| each.sigma.powi(2)));
    let shares = sample::sum(contributions.iter().map(|each| each.sigma.powi(4) / each.freedom));
    let freedom = if shares > 0.0 { variance * variance / shares } else { f64::INFINITY };
    Deviation { sigma: variance.sqrt(), freedom }
}
