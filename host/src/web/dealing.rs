//! What is written down about trade: the same fields in the body of the API and in a form of a page. Amounts are text, such as
//! `45.00 EUR`; what a form leaves empty is not said.

use std::num::ParseIntError;

use serde::{Deserialize, Deserializer, de::Error};
use utoipa::ToSchema;

use super::problem::Problem;
use crate::{
    fault::method::Method,
    quantity::{Money, money},
    records::text,
    trade::book::{Dealing, SaidOfLot},
};

/// A sale.
#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NewSale {
    /// What the buyer paid.
    price: String,
    /// What selling it cost.
    fees: Option<String>,
    /// A correction: this counts in place of the sale written down before.
    #[serde(default)]
    instead: bool,
}

/// A unit that came back from its buyer.
#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NewReturn {
    /// What the buyer got back.
    refund: Option<String>,
    /// Why it came back.
    #[serde(default)]
    because: String,
}

/// Work on a unit.
#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NewWork {
    /// Minutes worked.
    #[serde(deserialize_with = "minutes")]
    minutes: u32,
    /// Cost of the parts that were used up.
    parts: Option<String>,
    /// What the time went into: a word of the methods of repair. Without it, the latest repair of the unit.
    #[schema(value_type = Option<Method>)]
    method: Option<String>,
    /// A correction: this counts in place of all work written down before.
    #[serde(default)]
    instead: bool,
}

/// A part taken off a unit.
#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NewSpare {
    /// The part.
    part: String,
    /// Serial number of the unit that it is for.
    r#for: Option<String>,
    /// It was put back: the latest such part counts as never taken.
    #[serde(default)]
    put_back: bool,
}

/// What is said of a lot as a whole; of each item the latest statement counts.
#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NewCosts {
    /// Paid for it.
    paid: Option<String>,
    /// Paid to bring it here.
    freight: Option<String>,
    /// Another cost; `other_name` says for what.
    other: Option<String>,
    /// What the other cost was for.
    other_name: Option<String>,
    /// Units that were bought.
    #[serde(default, deserialize_with = "units")]
    units: Option<u32>,
    /// What a good unit is thought to sell for, fees taken off.
    price: Option<String>,
    /// What the spares of a unit are worth.
    spares: Option<String>,
}

impl TryFrom<NewSale> for Dealing {
    type Error = Problem;

    fn try_from(sale: NewSale) -> Result<Self, Problem> {
        let price = amount("price", &sale.price)?;
        Ok(Self::Sale { price, fees: said_amount("fees", sale.fees)?, instead: sale.instead })
    }
}

impl TryFrom<NewReturn> for Dealing {
    type Error = Problem;

    fn try_from(back: NewReturn) -> Result<Self, Problem> {
        let because = back.because.trim().to_owned();
        Ok(Self::Return { refund: said_amount("refund", back.refund)?, because })
    }
}

impl TryFrom<NewWork> for Dealing {
    type Error = Problem;

    fn try_from(work: NewWork) -> Result<Self, Problem> {
        let method = said(work.method).map(|word| {
            let known = Method::ALL.into_iter().find(|method| method.word() == word);
            known.ok_or_else(|| {
                let words = Method::ALL.map(Method::word).join(", ");
                Problem::bad_request(format!("{word:?} is no method of repair; there are: {words}"))
            })
        });
        let parts = said_amount("parts", work.parts)?;
        Ok(Self::Work { minutes: work.minutes, parts, method: method.transpose()?, instead: work.instead })
    }
}

impl TryFrom<NewSpare> for Dealing {
    type Error = Problem;

    fn try_from(spare: NewSpare) -> Result<Self, Problem> {
        let unit = said(spare.r#for).map(|serial| text::serial(&serial)).transpose()?;
        if spare.put_back && unit.is_some() {
            let detail = "a part is put back on the unit that it came from; leave `for` out";
            return Err(Problem::bad_request(detail));
        }
        Ok(Self::Spare { part: spare.part.trim().to_owned(), unit, put_back: spare.put_back })
    }
}

impl NewCosts {
    /// Each item that is said.
    ///
    /// # Errors
    /// An amount that is none; nothing said.
    pub fn said(self) -> Result<Vec<SaidOfLot>, Problem> {
        let other = said_amount("other", self.other)?;
        let items = [
            said_amount("paid", self.paid)?.map(SaidOfLot::Paid),
            said_amount("freight", self.freight)?.map(SaidOfLot::Freight),
            other.map(|money| SaidOfLot::Other(said(self.other_name).unwrap_or_default(), money)),
            self.units.map(SaidOfLot::Units),
            said_amount("price", self.price)?.map(SaidOfLot::Price),
            said_amount("spares", self.spares)?.map(SaidOfLot::Spares),
        ];
        let items: Vec<SaidOfLot> = items.into_iter().flatten().collect();
        if items.is_empty() {
            return Err(Problem::bad_request(
                "nothing is said of the lot; give at least one amount or count",
            ));
        }
        Ok(items)
    }
}

/// A text with something in it.
fn said(text: Option<String>) -> Option<String> {
    text.map(|text| text.trim().to_owned()).filter(|text| !text.is_empty())
}

fn amount(field: &str, text: &str) -> Result<Money, Problem> {
    money::parse(text).map_err(|error| Problem::bad_request(format!("{field}: {error}")))
}

fn said_amount(field: &str, text: Option<String>) -> Result<Option<Money>, Problem> {
    said(text).map(|text| amount(field, &text)).transpose()
}

/// How many units were bought.
fn units<'de, D: Deserializer<'de>>(from: D) -> Result<Option<u32>, D::Error> {
    const WANTED: &str = "it is no whole number; give how many units were bought, such as 40";
    Count::deserialize(from)
        .map_err(|_| D::Error::custom(WANTED))?
        .read()
        .map_err(|_| D::Error::custom(WANTED))
}

/// Minutes of work.
fn minutes<'de, D: Deserializer<'de>>(from: D) -> Result<u32, D::Error> {
    const WANTED: &str = "it is no whole number; give whole minutes, such as 25";
    let count = Count::deserialize(from).map_err(|_| D::Error::custom(WANTED))?;
    count.read().ok().flatten().ok_or_else(|| D::Error::custom(WANTED))
}

/// A count: a number in a body, text in a form.
#[derive(Deserialize)]
#[serde(untagged)]
enum Count {
    Number(u32),
    Text(String),
    Nothing(()),
}

impl Count {
    /// The number, if one is said.
    fn read(self) -> Result<Option<u32>, ParseIntError> {
        match self {
            Self::Number(number) => Ok(Some(number)),
            Self::Text(text) => said(Some(text)).map(|text| text.parse()).transpose(),
            Self::Nothing(()) => Ok(None),
        }
    }
}
