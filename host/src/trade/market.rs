//! How units of such a lot come in, and what a good one sells for: opinions before the first unit, and what the lot has shown.

use super::book::{Book, Came};
use super::draw;
use crate::{fault::method::At, random::Rng, statistics::sample, verdict::Class};

/// The usual shares weigh like so many units: few, because lots differ more than boards do.
const USUAL_UNITS: f64 = 4.0;
/// A class that is not among the usual ones still weighs so much.
const UNUSUAL: f64 = 0.02;
/// A price that was only thought of weighs like so many sales.
const STATED_SALES: f64 = 1.0;
/// How much prices of like units differ before any was seen: standard deviation as a share of the price; common practice,
/// from memory.
const SPREAD: f64 = 0.12;
/// That spread weighs like so many sales: few, because one kind of board sells evenly and another by luck.
const SPREAD_SALES: f64 = 1.0;
/// A spread that is drawn is this share of the price at most: a single sale says little of it, and would else have lots drawn that sell
/// for any sum.
const MOST_SPREAD: f64 = 1.0;

/// What units come in with.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Kind {
    /// Good.
    Good,
    /// Faulty, with its most probable fault.
    Faulty(At, Class),
}

/// Shares of the kinds that units come in as: a Dirichlet distribution (conjugate to counting; A. Gelman et al., Bayesian
/// Data Analysis, 3rd ed. (2013), section 3.4).
#[derive(Clone, PartialEq, Debug)]
pub struct Arrivals {
    /// The kinds.
    pub kinds: Vec<Kind>,
    /// Their weights, in units; all above 0.
    pub weights: Vec<f64>,
}

impl Arrivals {
    /// Before the first unit: the usual shares.
    pub fn usual(book: &Book) -> Self {
        let mut arrivals = Self { kinds: Vec::new(), weights: Vec::new() };
        let faulty: f64 = book.usual.iter().map(|usual| usual.share).sum();
        arrivals.add(Kind::Good, USUAL_UNITS * (1.0 - faulty).max(0.0));
        for usual in &book.usual {
            arrivals.add(Kind::Faulty(usual.at, usual.class), USUAL_UNITS * usual.share);
        }
        for came in book.units.iter().filter_map(|unit| unit.came) {
            if let Came::Faulty(Some(at), class) = came {
                arrivals.add(Kind::Faulty(at, class), 0.0);
            }
        }
        arrivals.weights.iter_mut().for_each(|weight| *weight = weight.max(UNUSUAL));
        arrivals
    }

    /// After the units of a lot.
    pub fn of(book: &Book) -> Self {
        let mut arrivals = Self::usual(book);
        for came in book.units.iter().filter_map(|unit| unit.came) {
            match came {
                Came::Good => arrivals.add(Kind::Good, 1.0),
                Came::Faulty(Some(at), class) => arrivals.add(Kind::Faulty(at, class), 1.0),
                Came::Faulty(None, _) => {}
            }
        }
        arrivals
    }

    fn add(&mut self, kind: Kind, weight: f64) {
        match self.kinds.iter().position(|known| *known == kind) {
            Some(at) => {
                if let Some(known) = self.weights.get_mut(at) {
                    *known += weight;
                }
            }
            None => {
                self.kinds.push(kind);
                self.weights.push(weight);
            }
        }
    }

    /// The weight of all kinds.
    pub fn all(&self) -> f64 {
        self.weights.iter().sum()
    }
}

/// What a good unit brings, fees taken off: neither mean nor spread is known, and both are learnt as those of a normal distribution
/// (conjugate normal-inverse-chi-square; Gelman et al., section 3.3).
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Prices {
    /// Expected.
    pub mean: f64,
    /// Weight of that mean, in sales; above 0.
    pub sales: f64,
    /// Weight of the spread, in sales.
    pub freedom: f64,
    /// Scale of the spread: a standard deviation.
    pub spread: f64,
}

impl Prices {
    /// What was thought of and what was sold; `None` where nothing was.
    pub fn of(book: &Book) -> Option<Self> {
        let sales = book.units.iter().flat_map(|unit| &unit.sales).filter(|sale| !sale.returned);
        let sold: Vec<f64> = sales
            .map(|sale| sale.price.as_f64() - sale.fees.as_ref().map_or(0.0, |fees| fees.as_f64()))
            .collect();
        let stated = book.cost.price.as_ref().map(|price| price.as_f64());
        let seen = sample::mean(&sold);
        let (middle, weight) = match (stated, seen) {
            (Some(stated), _) => (stated, STATED_SALES),
            // The first sale stands for what nobody thought of before: it is counted once, as a sale.
            (None, seen) => (seen?, 0.0),
        };
        let prior =
            Self { mean: middle, sales: weight, freedom: SPREAD_SALES, spread: SPREAD * middle.abs() };
        Some(prior.after(&sold))
    }

    /// After sales at these prices.
    pub fn after(self, sold: &[f64]) -> Self {
        let Some(seen) = sample::mean(sold) else { return self };
        let count = sold.len() as f64;
        let sales = self.sales + count;
        // A mean that was itself taken from the sales costs one of them.
        let freedom = if self.sales > 0.0 { self.freedom + count } else { self.freedom + count - 1.0 };
        let squares = self.freedom * self.spread * self.spread
            + sample::squares(sold)
            + self.sales * count / sales * (seen - self.mean) * (seen - self.mean);
        Self {
            mean: (self.sales * self.mean + count * seen) / sales,
            sales,
            freedom,
            spread: (squares / freedom).sqrt(),
        }
    }

    /// A mean and a standard deviation that may be the true ones. A mean above 0 stays there: it is uncertain by a factor, of which the
    /// expectation is 1.
    pub fn draw(self, rng: &mut Rng) -> Price {
        let deviation = self.spread * (0.5 * self.freedom / draw::gamma(rng, 0.5 * self.freedom)).sqrt();
        let deviation = deviation.min(MOST_SPREAD * self.mean.abs());
        // The variance of the factor's logarithm, if its own variance is that of the mean of as many sales.
        let ratio = deviation / self.mean;
        let variance = libm::log1p(ratio * ratio) / self.sales;
        let factor = libm::exp(variance.sqrt() * rng.normal() - 0.5 * variance);
        Price { mean: self.mean * factor, deviation }
    }
}

/// What good units sell for: prices with this mean and standard deviation, none below 0 and with a longer tail to the dear side, as
/// prices have: a gamma distribution.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Price {
    /// Mean.
    pub mean: f64,
    /// Standard deviation.
    pub deviation: f64,
}

impl Price {
    /// What so many units bring together: a sum of gamma distributions of one scale is one, too. Whoever would have to pay to be rid of
    /// them keeps them.
    pub fn of(self, units: u32, rng: &mut Rng) -> f64 {
        if self.mean <= 0.0 || units == 0 {
            return 0.0;
        }
        let ratio = self.deviation / self.mean;
        let scale = self.deviation * ratio;
        if scale > 0.0 {
            scale * draw::gamma(rng, f64::from(units) / (ratio * ratio))
        } else {
            self.mean * f64::from(units)
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Of n prices drawn alike the sum has n times the mean and √n times the deviation; the mean that is believed is that of the
    /// means drawn.
    #[test]
    fn prices_have_the_moments_that_they_are_stated_with() {
        let mut rng = Rng::new(6);
        let mut moments = |draw: &dyn Fn(&mut Rng) -> f64| {
            let x: Vec<f64> = (0..40_000).map(|_| draw(&mut rng)).collect();
            (sample::mean(&x).unwrap(), (sample::squares(&x) / x.len() as f64).sqrt())
        };
        let (mean, deviation) = moments(&|rng| Price { mean: 40.0, deviation: 16.0 }.of(5, rng));
        assert!(
            (mean / 200.0 - 1.0).abs() < 0.005 && (deviation / 35.78 - 1.0).abs() < 0.02,
            "{mean} {deviation}"
        );
        let prices = Prices { mean: 40.0, sales: 6.0, freedom: 9.0, spread: 12.0 };
        let (mean, deviation) = moments(&|rng| prices.draw(rng).mean);
        // Student's distribution of 9 degrees of freedom has a variance of 9/7.
        let wanted = 12.0 / 6_f64.sqrt() * (9.0_f64 / 7.0).sqrt();
        assert!(
            (mean / 40.0 - 1.0).abs() < 0.005 && (deviation / wanted - 1.0).abs() < 0.05,
            "{mean} {deviation}"
        );
    }

    #[test]
    fn prices_without_spread_and_prices_below_nothing_are_drawn_too() {
        let mut rng = Rng::new(7);
        assert_eq!(Price { mean: 40.0, deviation: 0.0 }.of(3, &mut rng), 120.0);
        assert_eq!(Price { mean: -1.0, deviation: 5.0 }.of(3, &mut rng), 0.0);
        assert_eq!(Price { mean: 40.0, deviation: 5.0 }.of(0, &mut rng), 0.0);
        let below = Prices { mean: -2.0, sales: 1.0, freedom: 4.0, spread: 1.0 };
        assert!(below.draw(&mut rng).mean < 0.0);
    }
}
