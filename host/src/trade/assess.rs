//! Everything about a lot's trade at once.

use serde::Serialize;
use utoipa::ToSchema;

use super::account::{Account, account};
use super::book::{Book, Stand};
use super::market::{Arrivals, Prices};
use super::odds::Odds;
use super::plan::Stake;
use super::stop::{self, Stop};
use super::triage::{self, Item};
use super::worth::{self, Model, Worth};
use crate::quantity::{
    Money,
    money::{TwoCurrencies, sum},
};

/// What a lot is assessed for.
#[derive(Clone, PartialEq, Debug, Default)]
pub struct Terms {
    /// What an hour of work costs.
    pub hour: Option<Money>,
    /// Hours that there are for repairs.
    pub hours: Option<f64>,
    /// Units of the next lot; without it as many as this one has.
    pub next_units: Option<u32>,
}

/// What a lot's trade comes to.
#[derive(Clone, PartialEq, Debug, Serialize, ToSchema)]
pub struct Assessment {
    /// What it cost and earned.
    pub account: Account,
    /// What to do with each unit that waits, the best hour first; empty while no price is known.
    pub triage: Vec<Item>,
    /// What another such lot is worth; `None` while no price is known, or no unit has been swept.
    pub worth: Option<Worth>,
    /// Whether to go on; `None` like that.
    pub stop: Option<Stop>,
    /// What a good unit is expected to bring, fees taken off.
    #[schema(value_type = Option<String>)]
    pub price: Option<Money>,
}

impl Assessment {
    /// Is there anything in it that somebody wrote down?
    pub fn is_of_money(&self) -> bool {
        let account = &self.account;
        account.earned.is_some() || account.minutes > 0 || self.price.is_some()
    }
}

/// A lot that was assessed, or the two currencies that kept it from that.
pub type Assessed = Result<Assessment, Box<TwoCurrencies>>;

/// Assesses a lot.
///
/// # Errors
/// Amounts in two currencies, with the place of one in each.
pub fn assess(book: &Book, terms: &Terms) -> Assessed {
    let account = account(book)?;
    let hour = terms.hour.iter().map(|hour| (hour, "--hour".to_owned()));
    let all = sum(book.amounts().into_iter().chain(hour))?;
    let nothing = Assessment { account, triage: Vec::new(), worth: None, stop: None, price: None };
    let (Some(all), Some(prices)) = (all, Prices::of(book)) else { return Ok(nothing) };
    let currency = all.currency();
    let stake = Stake {
        price: prices.mean,
        spares: book.cost.spares.as_ref().map_or(0.0, Money::as_f64),
        hour: terms.hour.as_ref().map_or(0.0, Money::as_f64),
    };
    let odds = Odds::of(book);
    let waiting = triage::waiting(book, &odds, stake);
    let swept = book.count(|unit| unit.came.is_some());
    // Beside those that are here and unswept, those that were bought and that no record knows yet.
    let bought = book.bought();
    let here = book.count(|unit| unit.stand == Stand::Unswept);
    let unswept = here.saturating_add(bought.saturating_sub(book.count(|_| true)));
    let model = Model::of(Arrivals::of(book), &odds, prices, stake);
    let ahead = swept > 0;
    Ok(Assessment {
        triage: triage::triage(&waiting, stake, terms.hours, currency),
        worth: ahead.then(|| worth::worth(&model, terms.next_units.unwrap_or(bought), swept, currency)),
        stop: ahead.then(|| stop::stop(&model, &waiting, [swept, unswept], terms.hour.as_ref(), currency)),
        price: Some(Money::about(prices.mean, currency)),
        ..nothing
    })
}
