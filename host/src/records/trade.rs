//! Trade: what was said of a lot as a whole, and what was written down about a unit's work, sale, return and spares.
//!
//! Entries of a unit are rows of the logbook like any other. What is said of a lot belongs to no unit: it has a history of its own,
//! kept as tightly, with a digest over each row and a ledger that says a second time which rows there are.

use std::collections::BTreeSet;

use sqlx::{Connection as _, Row as _};

use super::database::{BEGIN, Connection, Row};
use super::digest::Digest;
use super::logbook::{self, STATUS, TRADE};
use super::status::{Said, Status};
use super::summary::{Event, UnitHistory};
use super::value::Value;
use super::{Error, Store, list, text};
use crate::fault::method::Method;
use crate::quantity::{Money, money};
use crate::trade::Dealing;
use crate::trade::book::{Cost, SaidOfLot};

/// The columns of a unit's entry besides those that every entry has.
pub(super) const COLUMNS: [&str; 10] =
    ["what", "minutes", "method", "amount", "fees", "currency", "part", "for_unit", "instead", "because"];

/// Minutes of one piece of work at most: a hundred hours.
pub const MOST_MINUTES: u32 = 6000;
/// Units of a lot at most.
pub const MOST_UNITS: u32 = 1_000_000;

/// The cells of a unit's entry.
pub(super) struct Cells<'d> {
    what: &'static str,
    minutes: Option<u32>,
    method: Option<&'static str>,
    amount: Option<String>,
    fees: Option<String>,
    currency: Option<&'d str>,
    part: Option<&'d str>,
    for_unit: Option<&'d str>,
    instead: bool,
    because: &'d str,
}

impl<'d> Cells<'d> {
    pub fn of(dealing: &'d Dealing) -> Self {
        let empty = Self {
            what: "",
            minutes: None,
            method: None,
            amount: None,
            fees: None,
            currency: None,
            part: None,
            for_unit: None,
            instead: false,
            because: "",
        };
        match dealing {
            Dealing::Work { minutes, parts, method, instead } => Self {
                what: "work",
                minutes: Some(*minutes),
                method: method.map(Method::word),
                amount: parts.as_ref().map(Money::digits),
                currency: parts.as_ref().map(Money::currency),
                instead: *instead,
                ..empty
            },
            Dealing::Sale { price, fees, instead } => Self {
                what: "sale",
                amount: Some(price.digits()),
                fees: fees.as_ref().map(Money::digits),
                currency: Some(price.currency()),
                instead: *instead,
                ..empty
            },
            Dealing::Return { refund, because } => Self {
                what: "return",
                amount: refund.as_ref().map(Money::digits),
                currency: refund.as_ref().map(Money::currency),
                because,
                ..empty
            },
            Dealing::Spare { part, unit, put_back } => Self {
                what: "spare",
                part: Some(part),
                for_unit: unit.as_deref(),
                instead: *put_back,
                ..empty
            },
        }
    }

    pub fn values(&self) -> [Value<'_>; 10] {
        [
            self.what.into(),
            self.minutes.into(),
            self.method.into(),
            self.amount.as_ref().into(),
            self.fees.as_ref().into(),
            self.currency.into(),
            self.part.into(),
            self.for_unit.into(),
            self.instead.into(),
            self.because.into(),
        ]
    }
}

/// An amount of its two columns. What is no amount was altered: nothing here writes one.
fn amount(row: &Row, column: &str) -> Result<Option<Money>, sqlx::Error> {
    let digits: Option<String> = row.try_get(column)?;
    let currency: Option<String> = row.try_get("currency")?;
    let (Some(digits), Some(currency)) = (digits, currency) else { return Ok(None) };
    money::parse(&format!("{digits} {currency}")).map(Some).map_err(|error| undecodable(column, error))
}

fn undecodable(column: &str, error: impl std::error::Error + Send + Sync + 'static) -> sqlx::Error {
    sqlx::Error::ColumnDecode { index: column.into(), source: Box::new(error) }
}

/// A column that an entry of this kind always has.
fn there<T>(value: Option<T>, column: &str) -> Result<T, sqlx::Error> {
    value.ok_or_else(|| sqlx::Error::ColumnNotFound(column.into()))
}

/// The dealing of a row.
pub(super) fn dealing(row: &Row) -> Result<Dealing, sqlx::Error> {
    let what: String = row.try_get("what")?;
    let instead = row.try_get("instead")?;
    Ok(match what.as_str() {
        "work" => {
            let minutes: Option<i64> = row.try_get("minutes")?;
            let minutes = there(minutes.and_then(|minutes| u32::try_from(minutes).ok()), "minutes")?;
            let method: Option<String> = row.try_get("method")?;
            let method = method.and_then(|word| Method::ALL.into_iter().find(|method| method.word() == word));
            Dealing::Work { minutes, parts: amount(row, "amount")?, method, instead }
        }
        "sale" => Dealing::Sale {
            price: there(amount(row, "amount")?, "amount")?,
            fees: amount(row, "fees")?,
            instead,
        },
        "return" => Dealing::Return { refund: amount(row, "amount")?, because: row.try_get("because")? },
        _ => Dealing::Spare {
            part: there(row.try_get("part")?, "part")?,
            unit: row.try_get("for_unit")?,
            put_back: instead,
        },
    })
}

impl Store {
    /// Writes down what concerns a unit's trade. A sale also says that the unit is sold, a return that it is here again.
    ///
    /// # Errors
    /// An unknown unit, or one that a part is said to be for; the sale of a unit that is scrapped or sold already, the return of
    /// one that is not sold, a part put back that was not taken; an amount in another currency than those of the unit's lot;
    /// and what [`Store::note`] says.
    pub async fn deal(&self, serial: &str, at_us: i64, dealing: &Dealing) -> Result<(), Error> {
        let history = self.unit(serial).await?;
        self.may(&history, dealing).await?;
        self.in_one_currency(&history, dealing).await?;
        let status = match dealing {
            Dealing::Sale { .. } if history.status != Status::Sold => Some(Said::Sold),
            Dealing::Return { .. } => Some(Said::Received),
            _ => None,
        };
        let cells = Cells::of(dealing);
        let mut connection = self.writing().await?;
        let write = async {
            let mut transaction = connection.begin_with(BEGIN).await?;
            logbook::enter(&mut transaction, &TRADE, serial, at_us, &cells.values()).await?;
            if let Some(said) = status {
                let values = [logbook::said_word(said).into(), Value::Empty];
                logbook::enter(&mut transaction, &STATUS, serial, at_us, &values).await?;
            }
            transaction.commit().await
        };
        match write.await {
            Ok(()) => Ok(()),
            Err(error) => Err(self.after_failed_write(connection, &error).await),
        }
    }

    /// Does it make sense for a unit with this history?
    async fn may(&self, history: &UnitHistory, dealing: &Dealing) -> Result<(), Error> {
        let serial = history.serial.clone();
        match dealing {
            Dealing::Work { minutes, .. } if *minutes > MOST_MINUTES => {
                Err(Error::LongWork { minutes: *minutes })
            }
            Dealing::Work { .. } => Ok(()),
            Dealing::Sale { .. } if history.status == Status::Scrapped => Err(Error::NotForSale { serial }),
            Dealing::Sale { instead, .. } => match (history.sold_for(), instead) {
                (Some(price), false) => Err(Error::SoldAlready { serial, price: price.to_string() }),
                (None, true) => Err(Error::NotSold { serial }),
                _ => Ok(()),
            },
            Dealing::Return { because, .. } => {
                if !because.is_empty() {
                    text::line("reason", because, text::CAPTION_CHARACTERS)?;
                }
                if history.sold_for().is_some() { Ok(()) } else { Err(Error::NotSold { serial }) }
            }
            Dealing::Spare { part, unit, put_back } => {
                text::line("part", part, text::CAPTION_CHARACTERS)?;
                if *put_back && !has_taken(history, part) {
                    return Err(Error::NotTaken { serial, part: part.clone() });
                }
                match unit {
                    Some(unit) if *unit == serial => Err(Error::OwnSpare { serial }),
                    Some(unit) => self.unit(unit).await.map(drop),
                    None => Ok(()),
                }
            }
        }
    }

    /// Are the amounts in the currency of the unit's lot, or of the unit's own where it has no lot?
    async fn in_one_currency(&self, history: &UnitHistory, dealing: &Dealing) -> Result<(), Error> {
        let new =
            dealing.amounts().map(|(what, money)| (money, format!("{what} of unit {}", history.serial)));
        let new: Vec<(&Money, String)> = new.collect();
        if new.is_empty() {
            return Ok(());
        }
        let kept = match &history.lot {
            Some(lot) => self.book(lot).await?,
            None => crate::trade::Book::default(),
        };
        let own = dealings(history).flat_map(Dealing::amounts);
        let own = own.map(|(what, money)| (money, format!("{what} of unit {}", history.serial)));
        let all = kept.amounts().into_iter().chain(own).chain(new);
        money::sum(all).map(drop).map_err(Error::Currencies)
    }

    /// Writes down what is said of a lot as a whole: all of it, or nothing.
    ///
    /// # Errors
    /// A lot that no unit belongs to; an amount in another currency than the lot's others; a name that [`text`] refuses; and what
    /// [`Store::note`] says.
    pub async fn say_of_lot(&self, lot: &str, at_us: i64, said: &[SaidOfLot]) -> Result<(), Error> {
        let book = self.book(lot).await?;
        for said in said {
            match said {
                SaidOfLot::Other(name, _) => text::line("name of the cost", name, text::NAME_CHARACTERS)?,
                SaidOfLot::Units(units) if !(1..=MOST_UNITS).contains(units) => {
                    return Err(Error::LotSize { units: *units });
                }
                _ => {}
            }
        }
        let new = said.iter().filter_map(SaidOfLot::amount);
        let new = new.map(|(what, money)| (money, format!("{what} of lot {lot}")));
        money::sum(book.amounts().into_iter().chain(new)).map_err(Error::Currencies)?;
        let mut connection = self.writing().await?;
        let write = async {
            let mut transaction = connection.begin_with(BEGIN).await?;
            for said in said {
                enter_of_lot(&mut transaction, lot, at_us, said).await?;
            }
            transaction.commit().await
        };
        match write.await {
            Ok(()) => Ok(()),
            Err(error) => Err(self.after_failed_write(connection, &error).await),
        }
    }

    /// What was said of a lot as a whole.
    pub(super) async fn cost(&self, connection: &mut Connection, lot: &str) -> Result<Cost, Error> {
        let read = async {
            let rows = list::query(format!("{OF_LOTS} WHERE lot = $1 ORDER BY entry"));
            let rows = rows.bind(lot).fetch_all(&mut *connection).await?;
            let kept = sqlx::query_scalar("SELECT entry FROM lot_ledger WHERE lot = $1");
            let kept: Vec<i64> = kept.bind(lot).fetch_all(connection).await?;
            Ok((rows.iter().map(of_lot).collect::<Result<Vec<_>, _>>()?, kept))
        };
        let (rows, kept): (Vec<LotEntry>, Vec<i64>) =
            read.await.map_err(|error: sqlx::Error| self.said(&error))?;
        let found: BTreeSet<i64> = rows.iter().map(|row| row.entry).collect();
        if found != kept.into_iter().collect::<BTreeSet<i64>>() || rows.iter().any(|row| !row.as_written) {
            return Err(self.altered(format!("what was said of lot {lot:?}")));
        }
        let mut cost = Cost::default();
        rows.into_iter().for_each(|row| cost.take(row.said));
        Ok(cost)
    }
}

/// What was written down about the unit's trade, in order.
fn dealings(history: &UnitHistory) -> impl Iterator<Item = &Dealing> {
    history.events.iter().filter_map(|event| match event {
        Event::Trade(entry) => Some(&entry.dealing),
        _ => None,
    })
}

impl UnitHistory {
    /// The price of the latest sale, unless the buyer gave the unit back since.
    pub fn sold_for(&self) -> Option<&Money> {
        dealings(self).fold(None, |sold, dealing| match dealing {
            Dealing::Sale { price, .. } => Some(price),
            Dealing::Return { .. } => None,
            Dealing::Work { .. } | Dealing::Spare { .. } => sold,
        })
    }
}

/// Was such a part taken off it, and not put back since?
fn has_taken(history: &UnitHistory, wanted: &str) -> bool {
    let changes = dealings(history).filter_map(|dealing| match dealing {
        Dealing::Spare { part, put_back, .. } if part == wanted => Some(if *put_back { -1 } else { 1 }),
        _ => None,
    });
    changes.sum::<i64>() > 0
}

/// What is said of a lot, and whether its row is as it was written.
struct LotEntry {
    lot: String,
    entry: i64,
    said: SaidOfLot,
    as_written: bool,
}

const OF_LOTS: &str = "SELECT lot, entry, at_us, item, name, amount, currency, units, digest FROM lot_trade";

/// The cells of what is said: item, name, amount, currency, units.
struct LotCells<'s>(&'static str, Option<&'s str>, Option<String>, Option<&'s str>, Option<u32>);

impl<'s> LotCells<'s> {
    fn of(said: &'s SaidOfLot) -> Self {
        let of = |item, name, money: &'s Money| {
            Self(item, name, Some(money.digits()), Some(money.currency()), None)
        };
        match said {
            SaidOfLot::Paid(money) => of("paid", None, money),
            SaidOfLot::Freight(money) => of("freight", None, money),
            SaidOfLot::Other(name, money) => of("other", Some(name.as_str()), money),
            SaidOfLot::Units(units) => Self("units", None, None, None, Some(*units)),
            SaidOfLot::Price(money) => of("price", None, money),
            SaidOfLot::Spares(money) => of("spares", None, money),
        }
    }

    fn values(&self) -> [Value<'_>; 5] {
        [self.0.into(), self.1.into(), self.2.as_ref().into(), self.3.into(), self.4.into()]
    }
}

fn digest_of_lot(lot: &str, entry: i64, at_us: i64, cells: &LotCells<'_>) -> Vec<u8> {
    Digest::of("lot_trade").values([lot.into(), entry.into(), at_us.into()]).values(cells.values()).finish()
}

async fn enter_of_lot(
    connection: &mut Connection,
    lot: &str,
    at_us: i64,
    said: &SaidOfLot,
) -> Result<(), sqlx::Error> {
    const COLUMNS: [&str; 9] =
        ["lot", "entry", "at_us", "item", "name", "amount", "currency", "units", "digest"];
    let next = sqlx::query_scalar("SELECT 1 + coalesce(max(entry), 0) FROM lot_ledger WHERE lot = $1");
    let entry: i64 = next.bind(lot).fetch_one(&mut *connection).await?;
    let cells = LotCells::of(said);
    let digest = digest_of_lot(lot, entry, at_us, &cells);
    let head: [Value<'_>; 3] = [lot.into(), entry.into(), at_us.into()];
    let values = [&head[..], &cells.values(), &[Value::from(&digest)]].concat();
    list::insert(connection, "lot_trade", &COLUMNS, &values).await?;
    list::insert(connection, "lot_ledger", &["lot", "entry"], &[lot.into(), entry.into()]).await.map(drop)
}

fn of_lot(row: &Row) -> Result<LotEntry, sqlx::Error> {
    let (lot, entry, at_us): (String, i64, i64) =
        (row.try_get("lot")?, row.try_get("entry")?, row.try_get("at_us")?);
    let item: String = row.try_get("item")?;
    let money = || there(amount(row, "amount")?, "amount");
    let said = match item.as_str() {
        "paid" => SaidOfLot::Paid(money()?),
        "freight" => SaidOfLot::Freight(money()?),
        "other" => SaidOfLot::Other(there(row.try_get("name")?, "name")?, money()?),
        "units" => {
            let units: Option<i64> = row.try_get("units")?;
            SaidOfLot::Units(there(units.and_then(|units| u32::try_from(units).ok()), "units")?)
        }
        "price" => SaidOfLot::Price(money()?),
        _ => SaidOfLot::Spares(money()?),
    };
    let kept = row.try_get("digest")?;
    let as_written = super::seal(|| digest_of_lot(&lot, entry, at_us, &LotCells::of(&said)), kept);
    Ok(LotEntry { lot, entry, said, as_written })
}

/// Lots of which something that was said is not as it was written.
pub(super) async fn odd_entries(connection: &mut Connection) -> Result<BTreeSet<String>, sqlx::Error> {
    let rows = list::query(OF_LOTS.to_owned()).fetch_all(connection).await?;
    let entries = rows.iter().map(of_lot).collect::<Result<Vec<_>, _>>()?;
    Ok(entries.into_iter().filter(|entry| !entry.as_written).map(|entry| entry.lot).collect())
}
