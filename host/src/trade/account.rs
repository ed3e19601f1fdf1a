//! What a lot has cost and earned so far: exact sums, and what they come to by unit and by hour.

use serde::Serialize;
use utoipa::ToSchema;

use super::book::{Book, Stand, UnitBook};
use crate::quantity::{
    Money,
    money::{TwoCurrencies, sum},
};

/// What a lot has cost and earned. An amount that nothing was written down of is `None`, not zero.
#[derive(Clone, PartialEq, Debug, Serialize, ToSchema)]
pub struct Account {
    /// Paid for it, freight and other costs together.
    #[schema(value_type = Option<String>)]
    pub cost: Option<Money>,
    /// Units that this was paid for: as was said, else as many as the records know.
    pub units: u32,
    /// That cost of one unit, rounded.
    #[schema(value_type = Option<String>)]
    pub cost_of_unit: Option<Money>,
    /// Parts that were used up.
    #[schema(value_type = Option<String>)]
    pub parts: Option<Money>,
    /// What buyers paid.
    #[schema(value_type = Option<String>)]
    pub sales: Option<Money>,
    /// What selling cost.
    #[schema(value_type = Option<String>)]
    pub fees: Option<Money>,
    /// What was given back to buyers.
    #[schema(value_type = Option<String>)]
    pub refunds: Option<Money>,
    /// Units that are at a buyer's.
    pub sold: u32,
    /// Units that pass and are still here.
    pub in_stock: u32,
    /// Minutes worked on its units.
    pub minutes: u64,
    /// Sales, with every cost taken off.
    #[schema(value_type = Option<String>)]
    pub earned: Option<Money>,
    /// That by the hour worked, rounded; `None` while no minutes were written down.
    #[schema(value_type = Option<String>)]
    pub earned_per_hour: Option<Money>,
    /// Every unit, in the order of the serial numbers.
    pub by_unit: Vec<UnitAccount>,
}

/// What one unit has cost and brought.
#[derive(Clone, PartialEq, Debug, Serialize, ToSchema)]
pub struct UnitAccount {
    /// Serial number.
    pub serial: String,
    /// Minutes worked on it.
    pub minutes: u64,
    /// Parts that were used up.
    #[schema(value_type = Option<String>)]
    pub parts: Option<Money>,
    /// What buyers paid for it.
    #[schema(value_type = Option<String>)]
    pub sales: Option<Money>,
    /// What selling it cost.
    #[schema(value_type = Option<String>)]
    pub fees: Option<Money>,
    /// What was given back.
    #[schema(value_type = Option<String>)]
    pub refunds: Option<Money>,
    /// Parts taken off it.
    pub spares: u32,
}

/// The sum of amounts of which [`account`] knows that they have one currency.
fn total<'m>(amounts: impl IntoIterator<Item = &'m Money>) -> Result<Option<Money>, Box<TwoCurrencies>> {
    sum(amounts.into_iter().map(|money| (money, String::new())))
}

/// Adds up a lot.
///
/// # Errors
/// Amounts in two currencies, with the place of one in each.
pub fn account(book: &Book) -> Result<Account, Box<TwoCurrencies>> {
    // Asked of all at once, so that the error can name places.
    let Some(all) = sum(book.amounts())? else {
        return Ok(Account {
            cost: None,
            units: units(book),
            cost_of_unit: None,
            parts: None,
            sales: None,
            fees: None,
            refunds: None,
            sold: count(book, Stand::Sold),
            in_stock: count(book, Stand::Good),
            minutes: minutes(&book.units),
            earned: None,
            earned_per_hour: None,
            by_unit: by_unit(book)?,
        });
    };
    let cost = &book.cost;
    let of_lot = [&cost.paid, &cost.freight].into_iter().flatten();
    let spent = total(of_lot.chain(cost.others.iter().map(|(_, money)| money)))?;
    let sales = || book.units.iter().flat_map(|unit| &unit.sales);
    let works = book.units.iter().flat_map(|unit| &unit.work);
    let parts = total(works.filter_map(|work| work.parts.as_ref()))?;
    let taken = total(sales().map(|sale| &sale.price))?;
    let fees = total(sales().filter_map(|sale| sale.fees.as_ref()))?;
    let refunds = total(book.units.iter().flat_map(|unit| &unit.refunds))?;
    let off = [&spent, &parts, &fees, &refunds].into_iter().flatten();
    let any = taken.is_some() || off.clone().next().is_some();
    let zero = all.nothing_like();
    let earned =
        any.then(|| off.fold(taken.clone().unwrap_or_else(|| zero.clone()), |sum, money| sum.less(money)));
    let (units, minutes) = (units(book), minutes(&book.units));
    Ok(Account {
        cost_of_unit: spent.as_ref().and_then(|spent| spent.share(units)),
        cost: spent,
        units,
        parts,
        sales: taken,
        fees,
        refunds,
        sold: count(book, Stand::Sold),
        in_stock: count(book, Stand::Good),
        minutes,
        earned_per_hour: earned.as_ref().and_then(|earned| earned.per_hour(minutes)),
        earned,
        by_unit: by_unit(book)?,
    })
}

/// Units that were bought.
pub fn units(book: &Book) -> u32 {
    let known = u32::try_from(book.units.len()).unwrap_or(u32::MAX);
    book.cost.units.unwrap_or(known)
}

fn count(book: &Book, stand: Stand) -> u32 {
    book.units.iter().map(|unit| u32::from(unit.stand == stand)).sum()
}

fn minutes(units: &[UnitBook]) -> u64 {
    units.iter().flat_map(|unit| &unit.work).map(|work| u64::from(work.minutes)).sum()
}

fn by_unit(book: &Book) -> Result<Vec<UnitAccount>, Box<TwoCurrencies>> {
    let of = |unit: &UnitBook| {
        Ok(UnitAccount {
            serial: unit.serial.clone(),
            minutes: minutes(std::slice::from_ref(unit)),
            parts: total(unit.work.iter().filter_map(|work| work.parts.as_ref()))?,
            sales: total(unit.sales.iter().map(|sale| &sale.price))?,
            fees: total(unit.sales.iter().filter_map(|sale| sale.fees.as_ref()))?,
            refunds: total(&unit.refunds)?,
            spares: u32::try_from(unit.spares.len()).unwrap_or(u32::MAX),
        })
    };
    book.units.iter().map(of).collect()
}
