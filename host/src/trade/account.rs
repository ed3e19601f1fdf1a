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

/// What is written down of some units, added up.
struct Sums {
    minutes: u64,
    parts: Option<Money>,
    sales: Option<Money>,
    fees: Option<Money>,
    refunds: Option<Money>,
}

impl Sums {
    fn of(units: &[UnitBook]) -> Result<Self, Box<TwoCurrencies>> {
        let work = || units.iter().flat_map(|unit| &unit.work);
        let sales = || units.iter().flat_map(|unit| &unit.sales);
        Ok(Self {
            minutes: work().map(|work| u64::from(work.minutes)).sum(),
            parts: total(work().filter_map(|work| work.parts.as_ref()))?,
            sales: total(sales().map(|sale| &sale.price))?,
            fees: total(sales().filter_map(|sale| sale.fees.as_ref()))?,
            refunds: total(units.iter().flat_map(|unit| &unit.refunds))?,
        })
    }
}

/// Adds up a lot.
///
/// # Errors
/// Amounts in two currencies, with the place of one in each.
pub fn account(book: &Book) -> Result<Account, Box<TwoCurrencies>> {
    // Asked of all at once, so that the error can name places.
    sum(book.amounts())?;
    let said = &book.cost;
    let of_lot = [&said.paid, &said.freight].into_iter().flatten();
    let cost = total(of_lot.chain(said.others.iter().map(|(_, money)| money)))?;
    let Sums { minutes, parts, sales, fees, refunds } = Sums::of(&book.units)?;
    let off = [&cost, &parts, &fees, &refunds].into_iter().flatten();
    // Without a sale one begins at nothing, in the currency of the costs.
    let from = sales.clone().or_else(|| off.clone().next().map(Money::nothing_like));
    let earned = from.map(|from| off.fold(from, |left, money| left.less(money)));
    let units = book.bought();
    Ok(Account {
        cost_of_unit: cost.as_ref().and_then(|cost| cost.share(units)),
        earned_per_hour: earned.as_ref().and_then(|earned| earned.per_hour(minutes)),
        sold: book.count(|unit| unit.stand == Stand::Sold),
        in_stock: book.count(|unit| unit.stand == Stand::Good),
        by_unit: book.units.iter().map(of_unit).collect::<Result<_, _>>()?,
        cost,
        units,
        parts,
        sales,
        fees,
        refunds,
        minutes,
        earned,
    })
}

fn of_unit(unit: &UnitBook) -> Result<UnitAccount, Box<TwoCurrencies>> {
    let Sums { minutes, parts, sales, fees, refunds } = Sums::of(std::slice::from_ref(unit))?;
    let spares = u32::try_from(unit.spares.len()).unwrap_or(u32::MAX);
    Ok(UnitAccount { serial: unit.serial.clone(), minutes, parts, sales, fees, refunds, spares })
}
