//! Worlds that lots are simulated from. They owe the forecast nothing: every share, chance, price and time is stated here, none is read
//! from the tables or the opinions that are tried on them, and the distributions are others, too (logistic-normal where the forecast
//! has Dirichlet and beta). All figures are invented.

use super::super::market::Kind;
use crate::{
    fault::method::{
        At,
        Method::{self, Clean, RebuildVia, Reflow, Replace, WireAround},
    },
    random::Rng,
    verdict::Class::{self, High, Open, Shorted},
};

/// Where a world's numbers come from.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) enum From {
    /// Much as common practice has it.
    Practice,
    /// Every share and every chance evenly: common practice is mostly wrong.
    Even,
    /// Good units and one kind of faulty ones alone; prices with a long tail.
    TwoKinds,
    /// Every repair works half as often as in common practice.
    Pessimist,
    /// Every repair fails a third as often.
    Optimist,
    /// Each repair of each kind nearly always works, or hardly ever, by the toss of a coin.
    Patchy,
    /// Good units sell for 30 % less than was stated.
    Cheap,
    /// For 30 % more.
    Dear,
    /// Prices are log-normal with a spread of 30 to 60 %.
    LongTail,
    /// A fifth of the units has a fault that the table of usual ones does not list.
    Unforeseen,
}

impl From {
    pub(super) const ALL: [Self; 10] = [
        Self::Practice,
        Self::Even,
        Self::TwoKinds,
        Self::Pessimist,
        Self::Optimist,
        Self::Patchy,
        Self::Cheap,
        Self::Dear,
        Self::LongTail,
        Self::Unforeseen,
    ];
}

/// What a good unit was stated to sell for.
pub(super) const STATED: f64 = 40.0;

/// Place and class of a fault, its share, and how often each method cures it.
type Fault = (At, Class, f64, &'static [(Method, f64)]);

/// Kinds of faulty units, with a weight, and how often each repair of them works.
const FAULTY: [Fault; 6] = [
    (At::Switch, High, 0.20, &[(Clean, 0.75), (Replace, 0.85)]),
    (At::Switch, Open, 0.07, &[(Clean, 0.35), (Reflow, 0.25), (Replace, 0.90)]),
    (At::Via, Open, 0.18, &[(RebuildVia, 0.75), (WireAround, 0.85)]),
    (At::Joint, Open, 0.13, &[(Reflow, 0.85), (WireAround, 0.85)]),
    (At::Trace, Open, 0.10, &[(WireAround, 0.85), (Reflow, 0.45)]),
    (At::Gap, Shorted, 0.07, &[(Reflow, 0.45), (Replace, 0.55)]),
];
/// The weight of good units beside them.
const GOOD: f64 = 0.25;
/// What [`From::Unforeseen`] has besides.
const UNFORESEEN: (At, Class, &[(Method, f64)]) =
    (At::Connector, Open, &[(Clean, 0.40), (Reflow, 0.30), (Replace, 0.85)]);

/// Minutes of a repair on a common day.
fn minutes(method: Method) -> f64 {
    match method {
        Clean => 8.0,
        Reflow => 7.0,
        Replace => 20.0,
        _ => 14.0,
    }
}

/// How units of one kind come in and what can be done about them.
pub(super) struct Source {
    pub kind: Kind,
    share: f64,
    /// Chance of each repair.
    cures: Vec<(Method, f64)>,
}

/// What prices are drawn from.
#[derive(Clone, Copy)]
enum Price {
    /// Mean and standard deviation; never below 0.
    Normal([f64; 2]),
    /// Mean, and standard deviation of the logarithm.
    LogNormal([f64; 2]),
}

/// A world.
pub(super) struct World {
    pub sources: Vec<Source>,
    price: Price,
    /// Times of repairs, as multiples of those on a common day.
    pace: f64,
    /// Minutes for a sweep.
    pub sweep: f64,
    /// Minutes to take the spares off.
    pub strip: f64,
    /// Chance that a repair ends the board.
    pub spoils: f64,
}

/// A chance with its log odds moved.
fn moved(chance: f64, by: f64) -> f64 {
    1.0 / (1.0 + (1.0 - chance) / chance * libm::exp(-by))
}

impl World {
    pub(super) fn draw(from: From, rng: &mut Rng) -> Self {
        let chance = |usual: f64, rng: &mut Rng| match from {
            From::Even => rng.unit(),
            From::Pessimist => 0.5 * usual,
            From::Optimist => 1.0 - (1.0 - usual) / 3.0,
            From::Patchy if rng.unit() < 0.5 => 0.1,
            From::Patchy => 0.95,
            _ => moved(usual, 0.5 * rng.normal()),
        };
        let weight = |usual: f64, rng: &mut Rng| match from {
            From::Even => rng.waiting(1.0),
            _ => usual * libm::exp(0.6 * rng.normal()),
        };
        let good = Source { kind: Kind::Good, share: weight(GOOD, rng), cures: Vec::new() };
        let mut sources = vec![good];
        for (at, class, usual, cures) in FAULTY {
            let cures = cures.iter().map(|&(method, usual)| (method, chance(usual, rng))).collect();
            sources.push(Source { kind: Kind::Faulty(at, class), share: weight(usual, rng), cures });
        }
        match from {
            From::TwoKinds => {
                let only = 1 + (rng.unit() * FAULTY.len() as f64) as usize;
                let good = rng.between(0.1, 0.5);
                for (number, source) in sources.iter_mut().enumerate() {
                    source.share = match number {
                        0 => good,
                        _ if number == only => 1.0 - good,
                        _ => 0.0,
                    };
                }
            }
            From::Unforeseen => {
                let (at, class, cures) = UNFORESEEN;
                let share = 0.25 * sources.iter().map(|source| source.share).sum::<f64>();
                let cures = cures.iter().map(|&(method, usual)| (method, chance(usual, rng))).collect();
                sources.push(Source { kind: Kind::Faulty(at, class), share, cures });
            }
            _ => {}
        }
        let all: f64 = sources.iter().map(|source| source.share).sum();
        sources.iter_mut().for_each(|source| source.share /= all);
        let about = |share: f64, rng: &mut Rng| STATED * rng.between(1.0 - share, 1.0 + share);
        let price = match from {
            From::Cheap => Price::Normal([0.7 * STATED, 0.2 * STATED]),
            From::Dear => Price::Normal([1.3 * STATED, 0.2 * STATED]),
            From::TwoKinds => Price::LogNormal([about(0.4, rng), rng.between(0.15, 0.5)]),
            From::LongTail => Price::LogNormal([about(0.2, rng), rng.between(0.3, 0.6)]),
            _ => Price::Normal([about(0.2, rng), STATED * rng.between(0.1, 0.3)]),
        };
        Self {
            sources,
            price,
            pace: rng.decades(0.7, 1.5),
            sweep: rng.between(2.5, 4.0),
            strip: rng.between(8.0, 13.0),
            spoils: rng.between(0.0, 0.03),
        }
    }

    /// The number of the source that the next unit comes from.
    pub(super) fn next(&self, rng: &mut Rng) -> usize {
        let mut left = rng.unit();
        let here = |source: &Source| {
            left -= source.share;
            left < 0.0
        };
        self.sources.iter().position(here).unwrap_or(0)
    }

    /// Does this repair work on a unit of that source?
    pub(super) fn cures(&self, source: usize, method: Method, rng: &mut Rng) -> bool {
        let known = self.sources[source].cures.iter().find(|(known, _)| *known == method);
        rng.unit() < known.unwrap_or_else(|| panic!("{method:?} is unheard of here")).1
    }

    /// What a good unit sells for.
    pub(super) fn price(&self, rng: &mut Rng) -> f64 {
        match self.price {
            Price::Normal([mean, deviation]) => (mean + deviation * rng.normal()).max(0.0),
            Price::LogNormal([mean, spread]) => {
                mean * libm::exp(spread * rng.normal() - 0.5 * spread * spread)
            }
        }
    }

    /// How long a repair takes this time, in minutes.
    pub(super) fn minutes(&self, method: Method, rng: &mut Rng) -> f64 {
        self.pace * minutes(method) * libm::exp(0.3 * rng.normal())
    }
}
