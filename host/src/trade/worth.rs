//! What the next such lot is worth at most: its expected value with the work taken off, and the interval that nine of ten such
//! lots fall into.
//!
//! The next lot is drawn many times as a whole: how its units come in, how often each repair works, what a good unit sells for,
//! each from what is believed after this lot; then every unit of it, its repairs and its price. So a small lot, which teaches
//! little, gives a wide interval by itself. What is taken for granted: the next lot is like this one, every good unit finds a
//! buyer, and units are repaired by the plans that are best by today's record.
//!
//! The opinions that this begins with are from memory, so they are made to weigh little, and the interval is a little wider than it had
//! to be if they were right: what it covers is tried in worlds that have other opinions (`tests/coverage.rs`).

use serde::Serialize;
use utoipa::ToSchema;

use super::draw;
use super::market::{Arrivals, Kind, Price, Prices};
use super::odds::{Odds, RepairOption};
use super::plan::{self, Outcome, Plan, SWEEP_MINUTES, Stake, Suspect};
use super::skill::Skill;
use crate::{quantity::Money, random::Rng};

/// Lots that are drawn: a bound of the interval then stands within half a percent of its place.
const DRAWS: u32 = 4000;
/// Units of a lot that is forecast at most.
pub const MOST_UNITS: u32 = 5000;
/// Units drawn at most in all: of a large lot fewer are drawn.
const MOST_DRAWN: u32 = 1_000_000;
/// Shares of the lots drawn that are left out at the lower and at the upper end. Were every opinion right each could be a twentieth. A
/// hundredth makes up for worlds that no opinion here foresees; another one at the upper end, because prices have a long tail to the dear
/// side, of which few sales show nothing, so that their mean is more often too low than too high.
const TAILS: [f64; 2] = [0.04, 0.03];
/// Standard deviation of the logarithm of how long work takes against what is expected: sweeps are expected by memory, repairs by
/// few notes.
const PACE: f64 = 0.1;
/// Where draws begin: any number does, a fixed one repeats.
const SEED: u64 = 0x10f5;

/// What another lot like this one is worth.
#[derive(Clone, PartialEq, Debug, Serialize, ToSchema)]
pub struct Worth {
    /// Units in it.
    pub units: u32,
    /// Expected value: whoever pays more for it, freight and all, is expected to lose by it.
    #[schema(value_type = String)]
    pub at_most: Money,
    /// Lower and upper bound of what nine of ten such lots bring.
    #[schema(value_type = Vec<String>)]
    pub interval: [Money; 2],
    /// Expected value of one unit.
    #[schema(value_type = String)]
    pub of_unit: Money,
    /// Units expected to be sold.
    pub sold: f64,
    /// Hours of work expected.
    pub hours: f64,
    /// Units of this lot that this is learnt from, swept at least once.
    pub learnt_from: u32,
}

/// A kind of units with the plan for it.
#[derive(Clone, PartialEq, Debug)]
pub struct Lane {
    /// What may be tried, in the order of the plan.
    pub options: Vec<RepairOption>,
    /// What comes of it, by the means.
    pub outcome: Outcome,
}

/// A lot as it is forecast: kinds with their plans, and the stake.
#[derive(Clone, PartialEq, Debug)]
pub struct Model {
    /// How units come in.
    pub arrivals: Arrivals,
    /// The plan for each kind.
    pub lanes: Vec<Lane>,
    /// What good units bring.
    pub prices: Prices,
    /// How well repairs go.
    pub skill: Skill,
    /// What is at stake with one unit.
    pub stake: Stake,
}

/// One way the world may be: what a lot is drawn from.
#[derive(Clone, PartialEq, Debug)]
pub struct Nature {
    /// Share of each kind.
    pub shares: Vec<f64>,
    /// For each kind the chance of each repair of its plan.
    pub chances: Vec<Vec<f64>>,
    /// What good units sell for.
    pub price: Price,
    /// How long work takes, as a multiple of what is expected.
    pub pace: f64,
}

/// What a drawn lot came to.
#[derive(Clone, Copy, PartialEq, Debug, Default)]
pub struct Drawn {
    /// Its value, work and parts taken off.
    pub value: f64,
    /// Units that became good.
    pub sold: u32,
    /// Minutes worked.
    pub minutes: f64,
}

impl Model {
    /// With the best plan for each kind.
    pub fn of(arrivals: Arrivals, odds: &Odds, prices: Prices, stake: Stake) -> Self {
        let lanes = arrivals.kinds.iter().map(|kind| Lane::of(*kind, odds, stake)).collect();
        Self { arrivals, lanes, prices, skill: odds.skill().clone(), stake }
    }

    /// A way the world may be, by what is believed.
    pub fn nature(&self, rng: &mut Rng) -> Nature {
        let shift = self.skill.draw(rng);
        let of_lane = |lane: &Lane, rng: &mut Rng| {
            lane.options.iter().map(|option| draw::beta(rng, option.record.under(shift))).collect()
        };
        Nature {
            shares: draw::shares(rng, &self.arrivals.weights),
            chances: self.lanes.iter().map(|lane| of_lane(lane, rng)).collect(),
            price: self.prices.draw(rng),
            pace: libm::exp(PACE * rng.normal()),
        }
    }

    /// Draws a lot of so many units. Sweeping is work, too.
    pub fn lot(&self, nature: &Nature, units: u32, rng: &mut Rng) -> Drawn {
        let mut drawn = Drawn::default();
        let given_up = self.stake.given_up();
        for _ in 0..units {
            drawn.minutes += SWEEP_MINUTES;
            let number = draw::among(&nature.shares, rng.unit());
            let (Some(kind), Some(lane)) = (self.arrivals.kinds.get(number), self.lanes.get(number)) else {
                continue;
            };
            let chances = nature.chances.get(number).map_or(&[][..], Vec::as_slice);
            let mut good = *kind == Kind::Good;
            let mut lost = false;
            for (option, chance) in lane.options.iter().zip(chances) {
                drawn.minutes += option.minutes + SWEEP_MINUTES;
                drawn.value -= option.parts;
                lost = rng.unit() < option.spoils;
                good = !lost && rng.unit() < *chance;
                if good || lost {
                    break;
                }
            }
            if good {
                drawn.sold += 1;
            } else if !lost {
                drawn.value += given_up.gain;
                drawn.minutes += given_up.minutes;
            }
        }
        drawn.minutes *= nature.pace;
        drawn.value += nature.price.of(drawn.sold, rng) - self.stake.hour * drawn.minutes / 60.0;
        drawn
    }

    /// Draws so many lots by what is believed, with so many units each; in the order of their values.
    fn lots(&self, units: u32, draws: u32) -> Vec<Drawn> {
        let mut rng = Rng::new(SEED);
        let mut lots: Vec<Drawn> = (0..draws)
            .map(|_| {
                let nature = self.nature(&mut rng);
                self.lot(&nature, units, &mut rng)
            })
            .collect();
        lots.sort_by(|a, b| a.value.total_cmp(&b.value));
        lots
    }

    /// Lower and upper bound that nine of ten lots of so many units stand between, and the lots.
    pub fn forecast(&self, units: u32, draws: u32) -> ([f64; 2], Vec<Drawn>) {
        let lots = self.lots(units, draws);
        // Of n values drawn alike the place k, from 1, has the share k/(n + 1) below it; the next one outward is taken.
        let place = |share: f64| share * (lots.len() as f64 + 1.0) - 1.0;
        let at = |place: f64| {
            let most = lots.len().saturating_sub(1);
            lots.get((place as usize).min(most)).map_or(0.0, |drawn| drawn.value)
        };
        let [low, high] = TAILS;
        ([at(place(low).floor().max(0.0)), at(place(1.0 - high).ceil())], lots)
    }
}

impl Lane {
    fn of(kind: Kind, odds: &Odds, stake: Stake) -> Self {
        let Kind::Faulty(at, class) = kind else {
            return Self { options: Vec::new(), outcome: stake.sold() };
        };
        let suspect = Suspect { probability: 1.0, options: odds.options(at, class) };
        let Plan { outcome, steps } = plan::best(&[vec![suspect.clone()]], stake);
        let options = steps.iter().filter_map(|step| suspect.options.get(step.option).copied()).collect();
        Self { options, outcome }
    }
}

/// What a lot of so many units is worth.
pub fn worth(model: &Model, units: u32, learnt_from: u32, currency: &str) -> Worth {
    let units = units.clamp(1, MOST_UNITS);
    let (bounds, lots) = model.forecast(units, DRAWS.min((MOST_DRAWN / units).max(200)));
    let mean = |of: fn(&Drawn) -> f64| lots.iter().map(of).sum::<f64>() / lots.len().max(1) as f64;
    let value = mean(|drawn| drawn.value);
    let money = |amount: f64| Money::about(amount, currency);
    Worth {
        units,
        at_most: money(value.max(0.0)),
        interval: bounds.map(money),
        of_unit: money(value / f64::from(units)),
        sold: mean(|drawn| f64::from(drawn.sold)),
        hours: mean(|drawn| drawn.minutes) / 60.0,
        learnt_from,
    }
}
