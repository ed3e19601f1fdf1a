//! Which unit to work on next: those first that are expected to bring most in an hour.
//!
//! The model. Every unit that waits has a way with an expected gain and an expected time, independent of the other units'.
//! One unit is worked on at a time, and the work may end at any minute, each as likely as the other. Then the order by gain
//! per hour is the best there is: it minimises the sum of gains, each times the time until it comes in (W. E. Smith, Naval Research
//! Logistics Quarterly 3 (1956) 59-66; for random times M. H. Rothkopf, Management Science 12 (1966) 707-713).
//!
//! Where the hours are given, which units are worth them is another question, and is answered exactly: the best choice of one way
//! at most for each unit whose expected minutes fit (a knapsack of whole minutes). The chosen ones stand in the same order.

use serde::Serialize;
use utoipa::ToSchema;

use super::book::{Book, Stand, Suspected, UnitBook};
use super::odds::Odds;
use super::plan::{self, Outcome, Plan, Stake, Suspect};
use crate::{fault::method::Method, quantity::Money, verdict::Class};

/// A fault that is less probable than this will turn out to be another one's doing.
const OWN: f64 = 0.5;
/// Hours that are planned for at most: a choice by whole minutes takes memory for each.
pub const MOST_HOURS: f64 = 200.0;

/// What to do with a unit.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Act {
    /// Repair it.
    Repair,
    /// It was repaired: sweep it, and go on as that says.
    Sweep,
    /// It is worth more as spares.
    Spares,
    /// No repair is expected to pay.
    Leave,
}

/// A repair of a plan, in words that stand alone.
#[derive(Clone, PartialEq, Debug, Serialize, ToSchema)]
pub struct Try {
    /// At which place.
    #[serde(rename = "where")]
    pub place: String,
    /// How.
    pub method: Method,
    /// Chance that it cures the fault, if that is where the fault is.
    pub chance: f64,
}

/// A unit that waits.
#[derive(Clone, PartialEq, Debug, Serialize, ToSchema)]
pub struct Item {
    /// Serial number.
    pub serial: String,
    /// What to do.
    pub act: Act,
    /// What to try, each if those before it failed.
    pub tries: Vec<Try>,
    /// Chance that it is good at the end.
    pub chance: f64,
    /// Minutes, expected, with the sweeps.
    pub minutes: f64,
    /// What it is expected to bring, parts taken off, time not.
    #[schema(value_type = String)]
    pub gain: Money,
    /// That by the hour.
    #[schema(value_type = Option<String>)]
    pub gain_per_hour: Option<Money>,
    /// It is among those that the hours given are best spent on; always, where none were given.
    pub chosen: bool,
}

/// A unit with its ways, before it has words.
#[derive(Clone, PartialEq, Debug)]
pub struct Waiting {
    /// Serial number.
    pub serial: String,
    /// What may be done, the best first; empty where nothing pays.
    pub ways: Vec<Way>,
}

/// One way with a unit.
#[derive(Clone, PartialEq, Debug)]
pub struct Way {
    /// What it is.
    pub act: Act,
    /// What comes of it.
    pub outcome: Outcome,
    /// What to try.
    pub tries: Vec<Try>,
}

impl Way {
    /// Gain by the hour.
    pub fn rate(&self) -> f64 {
        60.0 * self.outcome.gain / self.outcome.minutes.max(f64::MIN_POSITIVE)
    }
}

/// The units of a lot that wait for work, in the order of their serial numbers.
pub fn waiting(book: &Book, odds: &Odds, stake: Stake) -> Vec<Waiting> {
    let ways = |unit: &UnitBook| {
        let mut ways = match unit.stand {
            Stand::Faulty => vec![repair(unit, odds, stake)],
            Stand::Repaired => vec![swept(unit, odds, stake)],
            Stand::Unswept | Stand::Good | Stand::Scrapped | Stand::Sold => return None,
        };
        let spares = Way { act: Act::Spares, outcome: stake.given_up(), tries: Vec::new() };
        if spares.outcome.gain > 0.0 {
            ways.push(spares);
        }
        ways.retain(|way| way.outcome.minutes > 0.0 && way.outcome.net(stake.hour) > 0.0);
        let net = |way: &Way| way.outcome.net(stake.hour);
        // A stable sort: a repair whose best end is giving up at once is those spares, and they come first by name.
        ways.sort_by(|a, b| net(b).total_cmp(&net(a)));
        ways.dedup_by(|later, earlier| later.act == earlier.act);
        Some(ways)
    };
    let units = book.units.iter();
    units.filter_map(|unit| Some(Waiting { serial: unit.serial.clone(), ways: ways(unit)? })).collect()
}

/// The best plan to repair a unit.
fn repair(unit: &UnitBook, odds: &Odds, stake: Stake) -> Way {
    let faults = faults(unit, odds);
    let suspects: Vec<Vec<Suspect>> =
        faults.iter().map(|fault| fault.iter().map(|(_, suspect)| suspect.clone()).collect()).collect();
    // A unit that failed without a fault that anything can be done about is no unit that sells.
    let plan = if suspects.is_empty() {
        Plan { outcome: stake.given_up(), steps: Vec::new() }
    } else {
        plan::best(&suspects, stake)
    };
    let told = |step: &plan::Step| {
        let (suspected, suspect) = faults.get(step.fault)?.get(step.suspect)?;
        let option = suspect.options.get(step.option)?;
        Some(Try { place: suspected.place.clone(), method: option.method, chance: option.chance.mean() })
    };
    let tries: Vec<Try> = plan.steps.iter().filter_map(told).collect();
    let act = if tries.is_empty() { Act::Spares } else { Act::Repair };
    Way { act, outcome: plan.outcome, tries }
}

/// A unit that was repaired: the chance of that repair, and giving it up where it failed.
fn swept(unit: &UnitBook, odds: &Odds, stake: Stake) -> Way {
    let chance = unit.waits.and_then(|(at, class, method)| {
        let options = odds.options(at?, class);
        options.into_iter().find(|option| option.method == method).map(|option| option.chance.mean())
    });
    // Of a repair that the table does not know nothing is known.
    let chance = chance.unwrap_or(0.5);
    let [cured, failed] = [stake.sold(), stake.given_up()];
    let outcome = Outcome {
        gain: chance * cured.gain + (1.0 - chance) * failed.gain,
        minutes: plan::SWEEP_MINUTES + (1.0 - chance) * failed.minutes,
        cured: chance,
    };
    Way { act: Act::Sweep, outcome, tries: Vec::new() }
}

/// The faults of a unit, each with its suspects and what may still be tried on them.
fn faults<'u>(unit: &'u UnitBook, odds: &Odds) -> Vec<Vec<(&'u Suspected, Suspect)>> {
    let mut groups: Vec<Option<u8>> = Vec::new();
    let mut faults: Vec<Vec<(&Suspected, Suspect)>> = Vec::new();
    for suspected in &unit.faults {
        // A lost barrel fails nothing; a suspect that stands alone and is improbable is the doing of another.
        let alone = suspected.alternative.is_none();
        if suspected.class == Class::RedundancyLost || (alone && suspected.probability < OWN) {
            continue;
        }
        let mut options = suspected.at.map(|at| odds.options(at, suspected.class)).unwrap_or_default();
        // What failed at this place of this unit is not tried again.
        options.retain(|option| {
            !unit
                .tried
                .iter()
                .any(|tried| !tried.worked && tried.place == suspected.place && tried.method == option.method)
        });
        let probability = if alone { 1.0 } else { suspected.probability };
        let suspect = (suspected, Suspect { probability, options });
        let group = suspected.alternative;
        let known = groups.iter().position(|known| group.is_some() && *known == group);
        match known.and_then(|at| faults.get_mut(at)) {
            Some(fault) => fault.push(suspect),
            None => {
                groups.push(group);
                faults.push(vec![suspect]);
            }
        }
    }
    faults
}

/// The triage list: what to do with each unit, the best hour first; units that nothing pays with come last. With `hours`, the units
/// that are worth them are marked.
pub fn triage(waiting: &[Waiting], stake: Stake, hours: Option<f64>, currency: &str) -> Vec<Item> {
    let chosen = match hours {
        Some(hours) => choose(waiting, minutes(hours), stake.hour),
        None => waiting.iter().map(|unit| (!unit.ways.is_empty()).then_some(0)).collect(),
    };
    let mut lines: Vec<(f64, Item)> = Vec::with_capacity(waiting.len());
    for (unit, choice) in waiting.iter().zip(chosen) {
        let way = unit.ways.get(choice.unwrap_or(0));
        let outcome = way.map(|way| way.outcome).unwrap_or_default();
        let rate = way.map(Way::rate);
        let item = Item {
            serial: unit.serial.clone(),
            act: way.map_or(Act::Leave, |way| way.act),
            tries: way.map(|way| way.tries.clone()).unwrap_or_default(),
            chance: outcome.cured,
            minutes: outcome.minutes,
            gain: Money::about(outcome.gain, currency),
            gain_per_hour: rate.map(|rate| Money::about(rate, currency)),
            chosen: choice.is_some(),
        };
        lines.push((rate.unwrap_or(f64::NEG_INFINITY), item));
    }
    lines.sort_by(|(a, one), (b, other)| {
        let chosen = other.chosen.cmp(&one.chosen);
        chosen.then(b.total_cmp(a)).then_with(|| one.serial.cmp(&other.serial))
    });
    lines.into_iter().map(|(_, item)| item).collect()
}

/// Whole minutes of so many hours.
fn minutes(hours: f64) -> usize {
    (hours.clamp(0.0, MOST_HOURS) * 60.0) as usize
}

/// For each unit the number of the way that is chosen, so that the sum of gains, time taken off, is the greatest whose minutes,
/// each rounded up to a whole one, are no more than these.
pub fn choose(waiting: &[Waiting], minutes: usize, hour: f64) -> Vec<Option<usize>> {
    let mut best = vec![0.0_f64; minutes + 1];
    // For each unit, for each number of minutes, the way taken; 0 for none, else its number and one.
    let mut taken: Vec<Vec<u8>> = Vec::with_capacity(waiting.len());
    for unit in waiting {
        let mut row = vec![0_u8; minutes + 1];
        let before = best.clone();
        for (number, way) in (1_u8..).zip(&unit.ways) {
            let takes = whole(way.outcome.minutes);
            let net = way.outcome.net(hour);
            for (room, without) in before.iter().enumerate() {
                let at = room + takes;
                if let (Some(known), Some(place)) = (best.get_mut(at), row.get_mut(at))
                    && without + net > *known
                {
                    *known = without + net;
                    *place = number;
                }
            }
        }
        taken.push(row);
    }
    let mut room = minutes;
    let mut chosen = vec![None; waiting.len()];
    for (place, (unit, row)) in chosen.iter_mut().zip(waiting.iter().zip(&taken)).rev() {
        let number = row.get(room).copied().unwrap_or(0);
        if let Some(number) = usize::from(number).checked_sub(1) {
            *place = Some(number);
            room -= unit.ways.get(number).map_or(0, |way| whole(way.outcome.minutes)).min(room);
        }
    }
    chosen
}

/// Minutes rounded up to whole ones.
fn whole(minutes: f64) -> usize {
    minutes.ceil().clamp(1.0, 60.0 * MOST_HOURS + 1.0) as usize
}
