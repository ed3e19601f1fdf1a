//! Money: an exact decimal amount with its currency as text. Sums are exact, never floating point, and two currencies
//! are never added.

use std::fmt;

use rust_decimal::{Decimal, RoundingStrategy};
use serde::{Serialize, Serializer};
use unicode_properties::{GeneralCategory, UnicodeGeneralCategory};

use super::clip;

/// Digits before the decimal point at most: more than any lot costs, and a sum of millions of such amounts is still exact.
const WHOLE_DIGITS: usize = 12;
/// Digits after the decimal point at most.
const DECIMALS: usize = 4;
/// Characters of a currency at most.
const CURRENCY_CHARACTERS: usize = 8;

/// An amount in a currency: `120.00 EUR`. Shown with the decimals it was written with.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Money {
    amount: Decimal,
    currency: String,
}

/// Why a text is no amount of money.
#[derive(Clone, PartialEq, Eq, Debug, thiserror::Error)]
#[error("{what}; write an amount and its currency, like \"120.00 EUR\" or \"7.5 kr\"")]
pub struct MoneyError {
    /// What is wrong.
    pub what: String,
}

/// Two amounts that cannot be added.
#[derive(Clone, PartialEq, Eq, Debug, thiserror::Error)]
#[error(
    "{first} ({}) and {second} ({}) are two currencies, which are never added; state all amounts of a lot in one",
    at[0],
    at[1]
)]
pub struct TwoCurrencies {
    /// A currency.
    pub first: String,
    /// Another one.
    pub second: String,
    /// Where an amount in each of them stands.
    pub at: [String; 2],
}

impl Money {
    /// Nothing, in this amount's currency and with its decimals.
    #[must_use]
    pub fn nothing_like(&self) -> Self {
        Self { amount: Decimal::new(0, self.amount.scale()), currency: self.currency.clone() }
    }

    /// The currency, as it was written.
    pub fn currency(&self) -> &str {
        &self.currency
    }

    /// The amount alone, as it was written: `120.00`.
    pub fn digits(&self) -> String {
        self.amount.to_string()
    }

    /// Below nothing? Only a difference can be.
    pub fn is_negative(&self) -> bool {
        self.amount.is_sign_negative() && !self.amount.is_zero()
    }

    /// Is it nothing?
    pub fn is_zero(&self) -> bool {
        self.amount.is_zero()
    }

    /// The amount for statistics, which are no sums of money.
    pub fn as_f64(&self) -> f64 {
        // The digits of a decimal are those of a float, and the nearest one is taken.
        self.digits().parse().unwrap_or(0.0)
    }

    /// The other amount taken off. Both have one currency, or the difference means nothing: see [`sum`].
    #[must_use]
    pub fn less(&self, other: &Self) -> Self {
        let amount = self.amount.checked_sub(other.amount).unwrap_or(self.amount);
        Self { amount, currency: self.currency.clone() }
    }

    /// An equal share of so many; rounded to hundredths, or to the decimals it was written with if those are more, a half to the
    /// even digit (the rule of IEEE 754 and of many countries' accounts). `None` of none.
    pub fn share(&self, of: u32) -> Option<Self> {
        self.times_ratio(Decimal::ONE, Decimal::from(of))
    }

    /// What this comes to for an hour, earned in so many minutes; rounded like [`Money::share`].
    pub fn per_hour(&self, minutes: u64) -> Option<Self> {
        self.times_ratio(Decimal::from(60), Decimal::from(minutes))
    }

    fn times_ratio(&self, times: Decimal, of: Decimal) -> Option<Self> {
        let amount = self.amount.checked_mul(times)?.checked_div(of)?;
        let decimals = self.amount.scale().max(2);
        let mut amount = amount.round_dp_with_strategy(decimals, RoundingStrategy::MidpointNearestEven);
        amount.rescale(decimals);
        Some(Self { amount, currency: self.currency.clone() })
    }

    /// An expected amount, no more exact than it is known: rounded to hundredths.
    pub fn about(amount: f64, currency: &str) -> Self {
        let hundredths = (amount * 100.0).round().clamp(-1e17, 1e17);
        Self { amount: Decimal::new(hundredths as i64, 2), currency: currency.to_owned() }
    }
}

impl fmt::Display for Money {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} {}", self.amount, self.currency)
    }
}

impl Serialize for Money {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}

/// The exact sum of amounts, each with the place where it stands; `None` of no amounts.
///
/// # Errors
/// Two currencies, with the place of one amount in each.
pub fn sum<'m>(
    amounts: impl IntoIterator<Item = (&'m Money, String)>,
) -> Result<Option<Money>, Box<TwoCurrencies>> {
    let mut sum: Option<(Money, String)> = None;
    for (money, place) in amounts {
        match &mut sum {
            None => sum = Some((money.clone(), place)),
            Some((sum, _)) if sum.currency == money.currency => {
                // Sixteen digits are left above the longest amount.
                sum.amount = sum.amount.checked_add(money.amount).unwrap_or(sum.amount);
            }
            Some((sum, first)) => {
                return Err(Box::new(TwoCurrencies {
                    first: sum.currency.clone(),
                    second: money.currency.clone(),
                    at: [first.clone(), place],
                }));
            }
        }
    }
    Ok(sum.map(|(sum, _)| sum))
}

/// Reads an amount: digits with a decimal point, then the currency as text. Nothing below zero.
///
/// # Errors
/// No number, a comma, more digits than are kept, no currency, or one that is no word.
pub fn parse(text: &str) -> Result<Money, MoneyError> {
    let text = text.trim();
    let wrong = |what: &str| MoneyError { what: format!("`{}` {what}", clip(text)) };
    let end = text.find(|c: char| !c.is_ascii_digit() && c != '.').unwrap_or(text.len());
    let (number, currency) = text.split_at(end);
    let currency = currency.trim();
    if number.is_empty() {
        return Err(wrong(match text.chars().next() {
            Some('-' | '−') => "is below zero, which no price, cost or fee is",
            Some(c) if is_of_currency(c) => "begins with the currency; the amount comes first",
            _ => "does not begin with an amount",
        }));
    }
    if currency.starts_with([',', '\'', '_']) {
        return Err(wrong("has something else than digits and one decimal point in its amount"));
    }
    let (whole, decimals) = number.split_once('.').unwrap_or((number, ""));
    if whole.is_empty() || decimals.contains('.') || (decimals.is_empty() && number.ends_with('.')) {
        return Err(wrong("is not a number with digits on both sides of at most one decimal point"));
    }
    if whole.trim_start_matches('0').len() > WHOLE_DIGITS || decimals.len() > DECIMALS {
        return Err(wrong(&format!(
            "has more digits than are kept ({WHOLE_DIGITS} before the decimal point, {DECIMALS} after it)"
        )));
    }
    if currency.is_empty() {
        return Err(wrong("has no currency"));
    }
    if currency.chars().count() > CURRENCY_CHARACTERS || !currency.chars().all(is_of_currency) {
        return Err(wrong(&format!(
            "has a currency that is not a word or a sign of at most {CURRENCY_CHARACTERS} letters"
        )));
    }
    let whole = match whole.trim_start_matches('0') {
        "" => "0",
        whole => whole,
    };
    let number = if decimals.is_empty() { whole.to_owned() } else { format!("{whole}.{decimals}") };
    let amount = Decimal::from_str_exact(&number).map_err(|_| wrong("is not an amount"))?;
    Ok(Money { amount, currency: currency.to_owned() })
}

fn is_of_currency(c: char) -> bool {
    c.is_alphabetic() || c.general_category() == GeneralCategory::CurrencySymbol
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn of(texts: &[&str]) -> Vec<Money> {
        texts.iter().map(|text| parse(text).unwrap()).collect()
    }

    fn added(texts: &[&str]) -> String {
        let amounts = of(texts);
        let all = amounts.iter().map(|money| (money, String::new()));
        sum(all).unwrap().map(|sum| sum.to_string()).unwrap_or_default()
    }

    #[test]
    fn amounts_read_back_as_they_were_written() {
        for text in ["120.00 EUR", "0 EUR", "7.5 kr", "18.5000 US$", "999999999999.9999 €", "3 元"] {
            assert_eq!(parse(text).unwrap().to_string(), text);
        }
        assert_eq!(parse(" 007.50EUR ").unwrap().to_string(), "7.50 EUR");
    }

    #[test]
    fn what_is_no_amount_is_told_what_it_lacks() {
        for (text, fragment) in [
            ("120", "has no currency"),
            ("", "does not begin with an amount"),
            ("EUR 120", "the amount comes first"),
            ("-3 EUR", "below zero"),
            ("−3 EUR", "below zero"),
            ("1,50 EUR", "one decimal point"),
            ("1'000 CHF", "one decimal point"),
            ("1.2.3 EUR", "at most one decimal point"),
            (".5 EUR", "at most one decimal point"),
            ("5. EUR", "at most one decimal point"),
            ("1.23456 EUR", "more digits than are kept"),
            ("1234567890123 EUR", "more digits than are kept"),
            ("1 EUR USD", "not a word"),
            ("1e3 EUR", "not a word"),
            ("1 \u{202e}EUR", "not a word"),
            ("1 ABCDEFGHI", "not a word"),
        ] {
            let error = parse(text).unwrap_err().to_string();
            assert!(error.contains(fragment) && error.contains("120.00 EUR"), "{text}: {error}");
        }
    }

    /// An invoice worked by hand: 12 switches at 0.85, 40 fuses at 0.12, freight 6.90, and 19 % tax on their sum as its own line.
    #[test]
    fn an_invoice_adds_up_to_the_cent() {
        assert_eq!(added(&["10.20 EUR", "4.80 EUR", "6.90 EUR"]), "21.90 EUR");
        assert_eq!(added(&["21.90 EUR", "4.16 EUR"]), "26.06 EUR");
        // What binary floating point gets wrong: ten dimes are one.
        assert_eq!(added(&["0.10 EUR"; 10]), "1.00 EUR");
        assert_eq!(added(&["0.1 EUR", "0.2 EUR", "0.005 EUR"]), "0.305 EUR");
        assert_eq!(added(&[]), "");
    }

    /// Worked by hand: a half goes to the even digit, up as often as down.
    #[test]
    fn shares_round_a_half_to_the_even_digit() {
        for (text, of, share) in [
            ("0.05 EUR", 2, "0.02 EUR"),
            ("0.15 EUR", 2, "0.08 EUR"),
            ("0.25 EUR", 2, "0.12 EUR"),
            ("120.00 EUR", 7, "17.14 EUR"),
            ("100 EUR", 3, "33.33 EUR"),
            ("1.0001 EUR", 2, "0.5000 EUR"),
            ("1.0003 EUR", 2, "0.5002 EUR"),
        ] {
            assert_eq!(parse(text).unwrap().share(of).unwrap().to_string(), share, "{text} of {of}");
        }
        assert_eq!(parse("1 EUR").unwrap().share(0), None);
        assert_eq!(parse("45.00 EUR").unwrap().per_hour(90).unwrap().to_string(), "30.00 EUR");
    }

    #[test]
    fn two_currencies_are_never_added_and_both_are_named() {
        let amounts = of(&["120.00 EUR", "4 EUR", "45 USD"]);
        let places = ["paid for the lot", "freight", "sale of unit A-7"].map(str::to_owned);
        let error = sum(amounts.iter().zip(places)).unwrap_err().to_string();
        for word in ["EUR (paid for the lot)", "USD (sale of unit A-7)", "never added"] {
            assert!(error.contains(word), "{error}");
        }
    }

    #[test]
    fn a_difference_may_be_below_zero() {
        let [a, b] = [parse("1.00 EUR").unwrap(), parse("3.50 EUR").unwrap()];
        assert_eq!((a.less(&b).to_string(), a.less(&b).is_negative()), ("-2.50 EUR".into(), true));
        assert_eq!(Money::about(-2.5, "EUR"), a.less(&b));
        assert_eq!(a.nothing_like().to_string(), "0.00 EUR");
    }

    proptest! {
        #[test]
        fn no_text_makes_it_panic(text in "\\PC{0,40}") {
            let _ = parse(&text);
        }

        /// Against whole numbers of the smallest unit.
        #[test]
        fn sums_are_those_of_whole_numbers(cents in proptest::collection::vec(0u64..10_000_000_000, 1..50)) {
            let amounts: Vec<Money> =
                cents.iter().map(|c| parse(&format!("{}.{:02} EUR", c / 100, c % 100)).unwrap()).collect();
            let total: u64 = cents.iter().sum();
            let found = sum(amounts.iter().map(|money| (money, String::new()))).unwrap().unwrap();
            prop_assert_eq!(found.to_string(), format!("{}.{:02} EUR", total / 100, total % 100));
        }
    }
}
