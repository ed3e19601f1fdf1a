//! What is known of a lot's trade: amounts, work, and what became of each unit. Plain data.

use serde::Serialize;
use utoipa::ToSchema;

use crate::{
    fault::method::{At, Method},
    quantity::Money,
    verdict::Class,
};

/// All that is known of one lot.
#[derive(Clone, PartialEq, Debug, Default)]
pub struct Book {
    /// Its name.
    pub lot: String,
    /// What was said of the lot as a whole.
    pub cost: Cost,
    /// Its units, in the order of their serial numbers.
    pub units: Vec<UnitBook>,
    /// How such boards usually come in, as shares of all units; what is missing to one comes in good. Empty: nothing is known.
    pub usual: Vec<Usual>,
}

/// What was said of a lot as a whole. Of each item the latest statement counts.
#[derive(Clone, PartialEq, Eq, Debug, Default, Serialize)]
pub struct Cost {
    /// Paid for it.
    pub paid: Option<Money>,
    /// To bring it here.
    pub freight: Option<Money>,
    /// Other costs, by name.
    pub others: Vec<(String, Money)>,
    /// Units that were said to be bought.
    pub units: Option<u32>,
    /// What a good unit is thought to sell for, fees taken off.
    pub price: Option<Money>,
    /// What a unit is worth as spares.
    pub spares: Option<Money>,
}

/// A statement about a lot as a whole.
#[derive(Clone, PartialEq, Eq, Debug)]
pub enum SaidOfLot {
    /// Paid for it.
    Paid(Money),
    /// To bring it here.
    Freight(Money),
    /// Another cost, by name.
    Other(String, Money),
    /// Units bought.
    Units(u32),
    /// What a good unit is thought to sell for, fees taken off.
    Price(Money),
    /// What a unit is worth as spares.
    Spares(Money),
}

impl SaidOfLot {
    /// The amount in it, with a word for what it is.
    pub fn amount(&self) -> Option<(&str, &Money)> {
        match self {
            Self::Paid(money) => Some(("price paid", money)),
            Self::Freight(money) => Some(("freight", money)),
            Self::Other(name, money) => Some((name, money)),
            Self::Units(_) => None,
            Self::Price(money) => Some(("expected price", money)),
            Self::Spares(money) => Some(("spares", money)),
        }
    }
}

impl Cost {
    /// Takes the next statement, in the order of writing.
    pub fn take(&mut self, said: SaidOfLot) {
        match said {
            SaidOfLot::Paid(money) => self.paid = Some(money),
            SaidOfLot::Freight(money) => self.freight = Some(money),
            SaidOfLot::Other(name, money) => match self.others.iter_mut().find(|(known, _)| *known == name) {
                Some((_, known)) => *known = money,
                None => self.others.push((name, money)),
            },
            SaidOfLot::Units(units) => self.units = Some(units),
            SaidOfLot::Price(money) => self.price = Some(money),
            SaidOfLot::Spares(money) => self.spares = Some(money),
        }
    }
}

/// What is known of one unit.
#[derive(Clone, PartialEq, Debug)]
pub struct UnitBook {
    /// Serial number.
    pub serial: String,
    /// How it stands.
    pub stand: Stand,
    /// How it came in: what its first sweep that was not void showed. `None` before that.
    pub came: Option<Came>,
    /// What its latest sweep names, the most probable first.
    pub faults: Vec<Suspected>,
    /// Repairs that a sweep has followed.
    pub tried: Vec<Tried>,
    /// A repair that no sweep has followed yet: the method, and what it was meant for.
    pub waits: Option<(Option<At>, Class, Method)>,
    /// Work on it that counts.
    pub work: Vec<Work>,
    /// Sales, in order.
    pub sales: Vec<Sale>,
    /// What was given back to buyers.
    pub refunds: Vec<Money>,
    /// Parts taken off it that were not put back.
    pub spares: Vec<Spare>,
}

/// How a unit stands, as far as trade asks.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Stand {
    /// Here, and no sweep says anything about it.
    Unswept,
    /// Its latest sweep did not pass.
    Faulty,
    /// Repaired since its latest sweep.
    Repaired,
    /// Passed, and here.
    Good,
    /// Given up.
    Scrapped,
    /// At a buyer's.
    Sold,
}

/// How a unit came in.
#[derive(Clone, Copy, PartialEq, Debug)]
pub enum Came {
    /// Its first sweep passed.
    Good,
    /// The most probable fault of its first sweep; at an unknown kind of place where its board is not read any more.
    Faulty(Option<At>, Class),
}

/// A fault that a sweep names.
#[derive(Clone, PartialEq, Debug)]
pub struct Suspected {
    /// Where, as the sweep names it.
    pub place: String,
    /// What is there.
    pub at: Option<At>,
    /// In what way.
    pub class: Class,
    /// Probability that it is one.
    pub probability: f64,
    /// Faults with the same number are alternatives.
    pub alternative: Option<u8>,
}

/// A repair, and what the sweep after it showed.
#[derive(Clone, PartialEq, Debug)]
pub struct Tried {
    /// Where.
    pub place: String,
    /// What is there.
    pub at: Option<At>,
    /// The class that the sweep before it gave the place.
    pub class: Class,
    /// How.
    pub method: Method,
    /// The sweep after it does not name the place any more.
    pub worked: bool,
}

/// Work on a unit.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Work {
    /// Minutes.
    pub minutes: u32,
    /// What was used up.
    pub parts: Option<Money>,
    /// What was done, where it was said.
    pub method: Option<Method>,
}

/// A sale of a unit.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Sale {
    /// Price.
    pub price: Money,
    /// What selling cost.
    pub fees: Option<Money>,
    /// The buyer gave it back.
    pub returned: bool,
}

/// A part taken off a unit.
#[derive(Clone, PartialEq, Eq, Debug, Serialize)]
pub struct Spare {
    /// When, µs since 1970-01-01 UTC.
    pub at_us: i64,
    /// What.
    pub part: String,
    /// For which unit, where it was said.
    pub unit: Option<String>,
}

/// How often such boards come in with some class of fault at some kind of place.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Usual {
    /// Kind of place.
    pub at: At,
    /// Class of fault.
    pub class: Class,
    /// Share of all units, 0 to 1.
    pub share: f64,
}

/// What is written down about one unit's trade.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, ToSchema)]
#[serde(tag = "what", rename_all = "lowercase")]
pub enum Dealing {
    /// Work on it.
    Work {
        /// Minutes.
        minutes: u32,
        /// Cost of what was used up.
        #[schema(value_type = Option<String>)]
        parts: Option<Money>,
        /// The method of repair, where it was said.
        method: Option<Method>,
        /// In place of all work written down before.
        instead: bool,
    },
    /// It was sold.
    Sale {
        /// Price.
        #[schema(value_type = String)]
        price: Money,
        /// What selling cost.
        #[schema(value_type = Option<String>)]
        fees: Option<Money>,
        /// In place of the sale written down before.
        instead: bool,
    },
    /// The buyer gave it back.
    Return {
        /// What the buyer got back.
        #[schema(value_type = Option<String>)]
        refund: Option<Money>,
        /// Why; may be empty.
        because: String,
    },
    /// A part was taken off it.
    Spare {
        /// What.
        part: String,
        /// For which unit, where it was said.
        unit: Option<String>,
        /// It was put back: the latest such part counts as never taken.
        put_back: bool,
    },
}

impl Dealing {
    /// The amounts in it, each with a word for what it is.
    pub fn amounts(&self) -> impl Iterator<Item = (&'static str, &Money)> {
        let pair = match self {
            Self::Work { parts, .. } => [parts.as_ref().map(|parts| ("parts", parts)), None],
            Self::Sale { price, fees, .. } => {
                [Some(("sale", price)), fees.as_ref().map(|fees| ("fees", fees))]
            }
            Self::Return { refund, .. } => [refund.as_ref().map(|refund| ("refund", refund)), None],
            Self::Spare { .. } => [None, None],
        };
        pair.into_iter().flatten()
    }
}

impl UnitBook {
    /// A unit of which nothing is known.
    pub fn new(serial: &str) -> Self {
        Self {
            serial: serial.to_owned(),
            stand: Stand::Unswept,
            came: None,
            faults: Vec::new(),
            tried: Vec::new(),
            waits: None,
            work: Vec::new(),
            sales: Vec::new(),
            refunds: Vec::new(),
            spares: Vec::new(),
        }
    }

    /// Takes the next of its dealings, in the order of writing.
    pub fn take(&mut self, at_us: i64, dealing: &Dealing) {
        match dealing {
            Dealing::Work { minutes, parts, method, instead } => {
                if *instead {
                    self.work.clear();
                }
                self.work.push(Work { minutes: *minutes, parts: parts.clone(), method: *method });
            }
            Dealing::Sale { price, fees, instead } => {
                if *instead && self.sales.last().is_some_and(|sale| !sale.returned) {
                    self.sales.pop();
                }
                self.sales.push(Sale { price: price.clone(), fees: fees.clone(), returned: false });
            }
            Dealing::Return { refund, .. } => {
                if let Some(sale) = self.sales.last_mut() {
                    sale.returned = true;
                }
                self.refunds.extend(refund.clone());
            }
            Dealing::Spare { part, unit, put_back: false } => {
                self.spares.push(Spare { at_us, part: part.clone(), unit: unit.clone() });
            }
            Dealing::Spare { part, put_back: true, .. } => {
                if let Some(at) = self.spares.iter().rposition(|spare| spare.part == *part) {
                    self.spares.remove(at);
                }
            }
        }
    }
}

impl Book {
    /// How many of its units are so.
    pub fn count(&self, so: impl Fn(&UnitBook) -> bool) -> u32 {
        u32::try_from(self.units.iter().filter(|unit| so(unit)).count()).unwrap_or(u32::MAX)
    }

    /// Units that were bought: as was said, else as many as are known.
    pub fn bought(&self) -> u32 {
        self.cost.units.unwrap_or_else(|| self.count(|_| true))
    }

    /// Every amount in it that counts, each with the place where it stands.
    pub fn amounts(&self) -> Vec<(&Money, String)> {
        let lot = |what: &str| format!("{what} of lot {}", self.lot);
        let cost = &self.cost;
        let of_lot = [
            (&cost.paid, "price paid"),
            (&cost.freight, "freight"),
            (&cost.price, "expected price"),
            (&cost.spares, "spares"),
        ];
        let mut all: Vec<(&Money, String)> = of_lot
            .into_iter()
            .filter_map(|(money, what)| money.as_ref().map(|money| (money, lot(what))))
            .collect();
        all.extend(cost.others.iter().map(|(name, money)| (money, lot(name))));
        for unit in &self.units {
            let of = |what: &str| format!("{what} of unit {}", unit.serial);
            all.extend(unit.work.iter().filter_map(|work| Some((work.parts.as_ref()?, of("parts")))));
            for sale in &unit.sales {
                all.push((&sale.price, of("sale")));
                all.extend(sale.fees.as_ref().map(|fees| (fees, of("fees"))));
            }
            all.extend(unit.refunds.iter().map(|refund| (refund, of("refund"))));
        }
        all
    }
}
