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
const SPREAD: f64 = 0.25;
/// That spread weighs like so many sales.
const SPREAD_SALES: f64 = 4.0;

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

/// What a good unit brings, fees taken off: a normal distribution of which neither mean nor spread is known (conjugate
/// normal-inverse-chi-square; Gelman et al., section 3.3).
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

    /// A mean and a standard deviation that may be the true ones.
    pub fn draw(self, rng: &mut Rng) -> [f64; 2] {
        let deviation = self.spread * (0.5 * self.freedom / draw::gamma(rng, 0.5 * self.freedom)).sqrt();
        [self.mean + deviation / self.sales.sqrt() * rng.normal(), deviation]
    }
}
