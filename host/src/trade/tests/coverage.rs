//! Do nine of ten lots fall into the stated intervals? Lots are simulated from a truth, worked through and sold; what is
//! learnt of each forecasts the next lot from the same truth.

use super::super::book::{Book, Came, Cost, Sale, Stand, Tried, UnitBook};
use super::super::draw;
use super::super::market::{Arrivals, Kind, Prices};
use super::super::odds::{Odds, RepairOption};
use super::super::plan::Stake;
use super::super::worth::{Lane, Model, Nature};
use super::usual;
use crate::{
    fault::method::{At, Method},
    quantity::Money,
    random::Rng,
    verdict::Class,
};

/// Where truths come from.
#[derive(Clone, Copy, PartialEq, Debug)]
enum From {
    /// What is believed beforehand.
    Opinion,
    /// Every share and every chance evenly, so that the table of methods is mostly wrong.
    Even,
    /// Two kinds of units alone, and prices with a long tail.
    Narrow,
    /// Every repair works half as often as the table says.
    Pessimist,
}

/// Prices of the truth.
#[derive(Clone, Copy)]
enum Price {
    Normal([f64; 2]),
    LogNormal([f64; 2]),
}

impl Price {
    fn draw(self, rng: &mut Rng) -> f64 {
        match self {
            Self::Normal([mean, deviation]) => (mean + deviation * rng.normal()).max(0.0),
            Self::LogNormal([mean, spread]) => {
                mean * libm::exp(spread * rng.normal() - 0.5 * spread * spread)
            }
        }
    }
}

struct Truth {
    kinds: Vec<Kind>,
    shares: Vec<f64>,
    /// Chance of each method on each kind.
    chances: Vec<Vec<(Method, f64)>>,
    price: Price,
}

const STATED: f64 = 40.0;

fn empty() -> Book {
    Book {
        lot: "simulated".into(),
        cost: Cost { price: Some(Money::about(STATED, "EUR")), ..Cost::default() },
        units: Vec::new(),
        usual: usual(),
    }
}

fn truth(from: From, rng: &mut Rng) -> Truth {
    let arrivals = Arrivals::usual(&empty());
    let odds = Odds::of(&empty());
    let shift = odds.skill().draw(rng);
    let shares = match from {
        From::Opinion | From::Pessimist => draw::shares(rng, &arrivals.weights),
        From::Even => draw::shares(rng, &vec![1.0; arrivals.weights.len()]),
        From::Narrow => {
            let good = rng.between(0.1, 0.5);
            let other = 1 + (rng.unit() * (arrivals.kinds.len() - 1) as f64) as usize;
            let share = |at| match at {
                0 => good,
                at if at == other => 1.0 - good,
                _ => 0.0,
            };
            (0..arrivals.kinds.len()).map(share).collect()
        }
    };
    let chance = |option: &RepairOption, rng: &mut Rng| match from {
        From::Opinion | From::Narrow => draw::beta(rng, option.record.under(shift)),
        From::Even => rng.unit(),
        From::Pessimist => 0.5 * option.record.table.mean(),
    };
    let mut of_kind = |kind: &Kind| match kind {
        Kind::Good => Vec::new(),
        Kind::Faulty(at, class) => {
            let options = odds.options(*at, *class);
            options.iter().map(|option| (option.method, chance(option, rng))).collect()
        }
    };
    let chances = arrivals.kinds.iter().map(&mut of_kind).collect();
    let price = match from {
        From::Narrow => Price::LogNormal([rng.between(25.0, 60.0), rng.between(0.15, 0.5)]),
        _ => Price::Normal(Prices::of(&empty()).unwrap().draw(rng)),
    };
    Truth { kinds: arrivals.kinds, shares, chances, price }
}

fn model(book: &Book, hour: f64) -> Model {
    let prices = Prices::of(book).unwrap();
    let stake = Stake { price: prices.mean, spares: 4.0, hour };
    Model::of(Arrivals::of(book), &Odds::of(book), prices, stake)
}

/// A lot from the truth, worked through by the plans that are best before it.
fn observed(truth: &Truth, units: u32, hour: f64, rng: &mut Rng) -> Book {
    let mut book = empty();
    let plans = model(&book, hour);
    for number in 0..units {
        let mut unit = UnitBook::new(&number.to_string());
        let kind = draw::among(&truth.shares, rng.unit());
        let mut good = truth.kinds[kind] == Kind::Good;
        unit.came = Some(match truth.kinds[kind] {
            Kind::Good => Came::Good,
            Kind::Faulty(at, class) => Came::Faulty(Some(at), class),
        });
        if let Kind::Faulty(at, class) = truth.kinds[kind] {
            for option in &plans.lanes[kind].options {
                good = rng.unit() < chance(truth, kind, option.method);
                unit.tried.push(tried(at, class, option.method, good));
                if good {
                    break;
                }
            }
        }
        unit.stand = if good { Stand::Sold } else { Stand::Scrapped };
        if good {
            let price = Money::about(truth.price.draw(rng), "EUR");
            unit.sales.push(Sale { price, fees: None, returned: false });
        }
        book.units.push(unit);
    }
    book
}

fn tried(at: At, class: Class, method: Method, worked: bool) -> Tried {
    Tried { place: "there".into(), at: Some(at), class, method, worked }
}

fn chance(truth: &Truth, kind: usize, method: Method) -> f64 {
    truth.chances[kind].iter().find(|(known, _)| *known == method).map_or(0.0, |(_, chance)| *chance)
}

/// Share of lots that fall into the interval stated for them, and of those below and above it.
fn covered(from: From, units: u32, lots: u32, draws: u32) -> [f64; 3] {
    let mut rng = Rng::new(u64::from(units) * 1000 + from as u64);
    let mut counts = [0_u32; 3];
    for lot in 0..lots {
        let hour = [0.0, 20.0][lot as usize % 2];
        let truth = truth(from, &mut rng);
        let book = observed(&truth, units, hour, &mut rng);
        let model = model(&book, hour);
        let ([low, high], _) = model.forecast(units, draws);
        // The next lot is worked by the plans that the forecast stands on.
        let lanes = model.lanes.iter().enumerate();
        let of_lane = |(kind, lane): (usize, &Lane)| {
            lane.options.iter().map(|option| chance(&truth, kind, option.method)).collect()
        };
        let chances = lanes.map(of_lane).collect();
        assert_eq!(model.arrivals.kinds, truth.kinds);
        let nature = Nature { shares: truth.shares.clone(), chances };
        let value = model.lot(&nature, units, &mut rng, |rng| truth.price.draw(rng)).value;
        let place = if value < low { 1 } else { usize::from(value > high) * 2 };
        counts[place] += 1;
    }
    counts.map(|count| f64::from(count) / f64::from(lots))
}

/// With `COPPERWALK_LONG=1` 2000 lots of each size, else 250 of three sizes: the share that is found then scatters by 1.9 %
/// (standard deviation of a binomial share), and the bounds here are wider by three of those.
#[test]
fn nine_of_ten_lots_fall_into_their_intervals() {
    let long = std::env::var_os("COPPERWALK_LONG").is_some();
    let (sizes, lots, draws): (&[u32], _, _) =
        if long { (&[5, 10, 20, 50, 100, 200], 2000, 1000) } else { (&[5, 20, 60], 250, 500) };
    for from in [From::Opinion, From::Even, From::Narrow, From::Pessimist] {
        for &units in sizes {
            let [inside, below, above] = covered(from, units, lots, draws);
            println!("{from:?}, lots of {units}: {inside:.3} inside, {below:.3} below, {above:.3} above");
            if from == From::Opinion {
                let slack = if long { 0.0 } else { 0.057 };
                assert!((0.88 - slack..=0.95 + slack).contains(&inside), "lots of {units}: {inside}");
            }
        }
    }
}
