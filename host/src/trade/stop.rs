//! Stop here? What one more unit is expected to bring, swept and repaired, against the hour that it takes.
//!
//! Sweeping a unit brings two things: what the unit itself is expected to come to, and what it teaches of those behind it. The
//! second is the value of information (R. A. Howard, IEEE Trans. Systems Science and Cybernetics 2 (1966) 22-26), here one step
//! ahead: after this unit one either stops or goes on with all that are left, whichever is better by then.

use serde::Serialize;
use utoipa::ToSchema;

use super::plan::{Outcome, SWEEP_MINUTES};
use super::triage::{Waiting, Way};
use super::worth::Model;
use crate::quantity::Money;

/// What to do next with a lot.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Next {
    /// Repair on: the first of the triage list.
    Repair,
    /// Sweep one more unit.
    Sweep,
    /// Neither pays for the hour it takes.
    Stop,
    /// Nothing waits.
    Done,
}

/// Whether to go on.
#[derive(Clone, PartialEq, Debug, Serialize, ToSchema)]
pub struct Stop {
    /// What an hour of work was said to cost, if it was.
    #[schema(value_type = Option<String>)]
    pub hour: Option<Money>,
    /// Units swept.
    pub swept: u32,
    /// Units that are left to sweep.
    pub unswept: u32,
    /// What the best of the units that wait for repair brings in an hour; `None` where none waits.
    #[schema(value_type = Option<String>)]
    pub repair_per_hour: Option<Money>,
    /// What one more unit, swept and worked on, is expected to bring in an hour; `None` where none is left.
    #[schema(value_type = Option<String>)]
    pub sweep_per_hour: Option<Money>,
    /// What one more sweep is worth: what the unit brings and what it teaches, with its time taken off.
    #[schema(value_type = Option<String>)]
    pub sweep_is_worth: Option<Money>,
    /// The part of that which is only information.
    #[schema(value_type = Option<String>)]
    pub information: Option<Money>,
    /// What to do next.
    pub next: Next,
}

/// What one more sweep is expected to come to.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Sweep {
    /// Of the unit itself, time taken off.
    pub net: f64,
    /// Of what it teaches.
    pub information: f64,
    /// Gain by the hour.
    pub per_hour: f64,
}

/// Looks one sweep ahead, with so many units left.
pub fn one_more(model: &Model, left: u32) -> Sweep {
    let all = model.arrivals.all();
    let hour = model.stake.hour;
    let cost = hour * SWEEP_MINUTES / 60.0;
    let lanes = || model.arrivals.weights.iter().zip(&model.lanes).map(|(weight, lane)| (weight / all, lane));
    let of = |what: &dyn Fn(&Outcome) -> f64| -> f64 {
        lanes().map(|(share, lane)| share * what(&lane.outcome)).sum()
    };
    let net = of(&|outcome| outcome.net(hour)) - cost;
    let minutes = SWEEP_MINUTES + of(&|outcome| outcome.minutes);
    // After a unit of a kind its weight is one more: what the units behind it bring moves toward what it brings.
    let behind = f64::from(left.saturating_sub(1));
    let after = |value: f64| behind * ((all * (net + cost) + value) / (all + 1.0) - cost);
    let informed: f64 = lanes().map(|(share, lane)| share * after(lane.outcome.net(hour)).max(0.0)).sum();
    let information = informed - (behind * net).max(0.0);
    Sweep { net, information: information.max(0.0), per_hour: 60.0 * of(&|outcome| outcome.gain) / minutes }
}

/// Whether to go on with a lot.
pub fn stop(
    model: &Model,
    waiting: &[Waiting],
    [swept, unswept]: [u32; 2],
    hour: Option<&Money>,
    currency: &str,
) -> Stop {
    let best = waiting.iter().filter_map(|unit| unit.ways.first()).map(Way::rate).max_by(f64::total_cmp);
    let sweep = (unswept > 0).then(|| one_more(model, unswept));
    let pays = |rate: f64| rate > 0.0 && rate >= model.stake.hour;
    let goes_on = sweep.filter(|sweep| sweep.net + sweep.information > 0.0);
    let next = match (best, goes_on) {
        // Both pay: what brings more in its hour comes first.
        (Some(repair), Some(sweep)) if pays(repair) && repair < sweep.per_hour => Next::Sweep,
        (Some(repair), _) if pays(repair) => Next::Repair,
        (_, Some(_)) => Next::Sweep,
        (None, None) if unswept == 0 && waiting.is_empty() => Next::Done,
        _ => Next::Stop,
    };
    let money = |amount: f64| Money::about(amount, currency);
    Stop {
        hour: hour.cloned(),
        swept,
        unswept,
        repair_per_hour: best.map(money),
        sweep_per_hour: sweep.map(|sweep| money(sweep.per_hour)),
        sweep_is_worth: sweep.map(|sweep| money(sweep.net + sweep.information)),
        information: sweep.map(|sweep| money(sweep.information)),
        next,
    }
}
