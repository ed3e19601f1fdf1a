//! What all readings of a measurement say together of noise and hum, which no single one of them can know.

use statrs::distribution::{ChiSquared, ContinuousCDF};

use super::{Observation, RunEvidence};
use crate::measure::{
    ratio::{Reading, Surroundings},
    uncertainty::Noise,
};

/// A reading that scatters as much by noise alone in fewer than so many cases was disturbed by something else, and does not
/// say how large the noise is; probability. One quiet reading in a hundred is left out for nothing.
const FOREIGN_PROBABILITY: f64 = 0.01;

/// Looks through all runs.
pub(super) fn of(runs: &[RunEvidence]) -> Surroundings {
    let observations = || runs.iter().flat_map(|run| &run.observations);
    let hum = observations()
        .filter_map(|seen| match seen {
            Observation::Hum(hum) => Some(*hum),
            _ => None,
        })
        .max_by(|a, b| a.peak.total_cmp(&b.peak));
    let spreads: Vec<(f64, f64)> = observations()
        .filter_map(reading)
        .filter(|reading| reading.flows && !reading.over_range)
        .map(|reading| reading.spread(hum))
        .filter(|(_, freedom)| *freedom > 0.0)
        .collect();
    Surroundings { noise: pool(spreads), hum }
}

/// The resistance reading of an observation, if it is one.
fn reading(seen: &Observation) -> Option<&Reading> {
    match seen {
        Observation::EndToEnd(seen) => Some(&seen.reading),
        Observation::Between(seen) => Some(&seen.reading),
        Observation::Segment(seen) => Some(&seen.reading),
        Observation::Mesh(seen) => Some(&seen.reading),
        Observation::Around(_, reading)
        | Observation::Standard(_, reading)
        | Observation::Thermometer { reading, .. } => Some(reading),
        _ => None,
    }
}

/// The same, to weigh it anew.
pub(super) fn reading_mut(seen: &mut Observation) -> Option<&mut Reading> {
    match seen {
        Observation::EndToEnd(seen) => Some(&mut seen.reading),
        Observation::Between(seen) => Some(&mut seen.reading),
        Observation::Segment(seen) => Some(&mut seen.reading),
        Observation::Mesh(seen) => Some(&mut seen.reading),
        Observation::Around(_, reading)
        | Observation::Standard(_, reading)
        | Observation::Thermometer { reading, .. } => Some(reading),
        _ => None,
    }
}

/// Pools squares over the table's variance, with their degrees of freedom. A contact that moves scatters by far more than
/// noise; so the median says first how large the noise is, and what it cannot explain is left out.
fn pool(mut spreads: Vec<(f64, f64)>) -> Noise {
    let of = |(squares, freedom): &(f64, f64)| squares / freedom;
    spreads.sort_by(|a, b| of(a).total_cmp(&of(b)));
    let Some(median) = spreads.get(spreads.len() / 2) else { return Noise::TABLE };
    // Half of all chi-squares lie below this.
    let half = ChiSquared::new(median.1).map_or(median.1, |chi| chi.inverse_cdf(0.5));
    let variance = median.0 / half;
    let quiet = spreads.iter().filter(|(squares, freedom)| {
        ChiSquared::new(*freedom).is_ok_and(|chi| chi.sf(squares / variance) >= FOREIGN_PROBABILITY)
    });
    let (squares, freedom) = quiet.fold((0.0, 0.0), |sum, spread| (sum.0 + spread.0, sum.1 + spread.1));
    Noise::pooled(squares, freedom)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::random::Rng;

    /// Chi-squares with three degrees of freedom of noise that is `factor` times the table's.
    fn quiet(rng: &mut Rng, factor: f64, count: usize) -> Vec<(f64, f64)> {
        let square = |rng: &mut Rng| (factor * rng.normal()).powi(2);
        (0..count).map(|_| ((0..3).map(|_| square(rng)).sum(), 3.0)).collect()
    }

    #[test]
    fn noise_is_found_whatever_moves_beside_it() {
        let mut rng = Rng::new(9);
        for factor in [1.0, 1.4, 2.0] {
            let mut found = Vec::new();
            for _ in 0..300 {
                let mut spreads = quiet(&mut rng, factor, 14);
                spreads.extend([(4e4, 3.0), (9e5, 6.0)]);
                found.push(pool(spreads).factor / factor);
            }
            let mean = found.iter().sum::<f64>() / found.len() as f64;
            assert!((0.95..1.03).contains(&mean), "{factor}: {mean}");
            assert!(found.iter().all(|factor| (0.5..1.6).contains(factor)));
        }
        assert_eq!(pool(Vec::new()), Noise::TABLE);
    }
}
