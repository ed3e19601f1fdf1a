//! Draws from the distributions that a forecast stands on. Seeded: the same book gives the same forecast, to the byte.

use crate::{random::Rng, statistics::beta::Beta};

/// From a gamma distribution of this shape, above 0, and of scale 1 (G. Marsaglia and W. W. Tsang, ACM Trans. Math. Softw. 26
/// (2000) 363-372; below a shape of 1 with their power of a rectangle).
pub fn gamma(rng: &mut Rng, shape: f64) -> f64 {
    if shape < 1.0 {
        let boost = libm::pow(rng.unit(), 1.0 / shape);
        return gamma(rng, shape + 1.0) * boost;
    }
    let d = shape - 1.0 / 3.0;
    let c = 1.0 / (9.0 * d).sqrt();
    loop {
        let x = rng.normal();
        let v = (1.0 + c * x).powi(3);
        // ln(1 − u) instead of ln(u): the generator gives 0 but never 1.
        if v > 0.0 && libm::log(1.0 - rng.unit()) < 0.5 * x * x + d - d * v + d * libm::log(v) {
            return d * v;
        }
    }
}

/// From a beta distribution, by two gamma distributions.
pub fn beta(rng: &mut Rng, of: Beta) -> f64 {
    let [a, b] = [of.a, of.b].map(|shape| gamma(rng, shape));
    if a + b > 0.0 { a / (a + b) } else { of.mean() }
}

/// From a Dirichlet distribution with these weights, each above 0: shares that add up to 1.
pub fn shares(rng: &mut Rng, weights: &[f64]) -> Vec<f64> {
    let drawn: Vec<f64> = weights.iter().map(|weight| gamma(rng, *weight)).collect();
    let all: f64 = drawn.iter().sum();
    drawn.into_iter().map(|share| if all > 0.0 { share / all } else { 0.0 }).collect()
}

/// From 0 up, the number of the share that a number from [0, 1) falls into; the last one for what rounding leaves over.
pub fn among(shares: &[f64], mut unit: f64) -> usize {
    for (number, share) in shares.iter().enumerate() {
        unit -= share;
        if unit < 0.0 {
            return number;
        }
    }
    shares.len().saturating_sub(1)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Mean and variance of a gamma distribution are its shape, those of a beta distribution a/(a+b) and
    /// ab/((a+b)²(a+b+1)) (any table).
    #[test]
    fn draws_have_the_moments_of_their_distributions() {
        let mut rng = Rng::new(3);
        let n = 40_000;
        let mut moments = |draw: &dyn Fn(&mut Rng) -> f64| {
            let x: Vec<f64> = (0..n).map(|_| draw(&mut rng)).collect();
            let mean = x.iter().sum::<f64>() / f64::from(n);
            (mean, x.iter().map(|x| (x - mean).powi(2)).sum::<f64>() / f64::from(n))
        };
        for shape in [0.3, 1.0, 4.5] {
            let (mean, variance) = moments(&|rng| gamma(rng, shape));
            assert!((mean / shape - 1.0).abs() < 0.03 && (variance / shape - 1.0).abs() < 0.07, "{shape}");
        }
        let (mean, variance) = moments(&|rng| beta(rng, Beta { a: 2.0, b: 6.0 }));
        assert!((mean - 0.25).abs() < 0.005 && (variance - 12.0 / 64.0 / 9.0).abs() < 0.001);
        let (mean, _) = moments(&|rng| shares(rng, &[1.0, 3.0])[1]);
        assert!((mean - 0.75).abs() < 0.01);
    }

    #[test]
    fn a_number_falls_into_its_share() {
        for (unit, number) in [(0.0, 0), (0.19, 0), (0.21, 1), (0.999, 2)] {
            assert_eq!(among(&[0.2, 0.3, 0.5], unit), number);
        }
        assert_eq!(among(&[0.5, 0.5 - 1e-16], 1.0 - 1e-17), 1);
    }
}
