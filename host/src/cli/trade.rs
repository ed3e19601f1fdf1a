//! What the commands about trade have in common: how amounts, minutes and hours are read.

use crate::{
    quantity::{
        Money,
        money::{self, MoneyError},
    },
    trade::triage::MOST_HOURS,
};

/// An amount with its currency.
pub fn amount(text: &str) -> Result<Money, MoneyError> {
    money::parse(text)
}

/// Another cost: what for, and how much.
pub fn named_amount(text: &str) -> Result<(String, Money), String> {
    let (name, amount) = text
        .rsplit_once('=')
        .ok_or("the name of the cost is missing; write it and the amount, like \"customs=4.00 EUR\"")?;
    Ok((name.trim().to_owned(), money::parse(amount).map_err(|error| error.to_string())?))
}

/// Minutes of work.
pub fn minutes(text: &str) -> Result<u32, String> {
    match text.trim().parse::<i64>() {
        Ok(minutes) if minutes < 0 => {
            Err("nobody works less than no minutes; give the minutes that were worked, 0 or more".to_owned())
        }
        Ok(minutes) => {
            u32::try_from(minutes).map_err(|_| "that is more than a lifetime; give minutes".to_owned())
        }
        Err(_) => Err("it is no whole number; give whole minutes, such as 25".to_owned()),
    }
}

/// Hours that there are.
pub fn hours(text: &str) -> Result<f64, String> {
    match text.trim().parse::<f64>() {
        Ok(hours) if hours.is_finite() && (0.0..=MOST_HOURS).contains(&hours) => Ok(hours),
        _ => Err(format!("it is no number of hours; give 0 to {MOST_HOURS}, such as 6 or 2.5")),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_below_zero_or_no_number_is_refused_in_words() {
        assert_eq!(minutes("25"), Ok(25));
        for (text, fragment) in
            [("-5", "less than no minutes"), ("2.5", "whole minutes"), ("99999999999", "lifetime")]
        {
            assert!(minutes(text).unwrap_err().contains(fragment), "{text}");
        }
        assert_eq!(hours("2.5"), Ok(2.5));
        for text in ["-1", "201", "NaN", "six"] {
            assert!(hours(text).unwrap_err().contains("0 to 200"), "{text}");
        }
        assert_eq!(named_amount("customs = 4.00 EUR").unwrap().0, "customs");
        assert!(named_amount("4.00 EUR").unwrap_err().contains("name of the cost is missing"));
        assert!(named_amount("customs=-4 EUR").unwrap_err().contains("below zero"));
    }
}
