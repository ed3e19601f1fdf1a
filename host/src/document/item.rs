//! Values: text, quantities, numbers, lists, words of a few.

use std::ops::Range;

use jiff::civil::Date;
use toml::Spanned;
use toml::de::DeValue;

use super::names::check_visible;
use super::{Sheet, Table, Told, check_name};
use crate::quantity::{self, Amps, Farads, Henries, Ohms, Unit, Volts, clip};

/// A value, with the words to name it in a message.
#[derive(Clone)]
pub struct Item<'d> {
    sheet: &'d Sheet,
    value: &'d DeValue<'d>,
    /// Where it stands.
    pub span: Range<usize>,
    /// `width of segment "tail trace"`.
    what: String,
}

impl<'d> Item<'d> {
    pub(super) fn new(sheet: &'d Sheet, title: &str, key: &str, value: &'d Spanned<DeValue<'d>>) -> Self {
        let what = format!("`{}` of {title}", clip(key));
        Self { sheet, value: value.get_ref(), span: value.span(), what }
    }

    /// Notes an error about this value.
    pub fn refuse(&self, message: impl Into<String>, help: impl Into<String>) -> Told {
        self.sheet.refuse(Some(self.span.clone()), message, help)
    }

    /// Notes a warning about this value.
    pub fn warn(&self, message: impl Into<String>, help: impl Into<String>) {
        self.sheet.warn(Some(self.span.clone()), message, help);
    }

    fn wrong_type(&self, wanted: &str, help: &str) -> Told {
        self.refuse(format!("{} is {}; {wanted} is wanted", self.what, article(self.value.type_str())), help)
    }

    /// A text that can be shown as it is: on one line, every character visible.
    pub fn text(&self) -> Result<&'d str, Told> {
        let text = self.value.as_str().ok_or_else(|| self.wrong_type("a text", "put it in quotes"))?;
        check_visible(text).map_err(|(what, help)| self.refuse(format!("{} {what}", self.what), help))
    }

    /// A text of any length and any number of lines, as it is.
    pub fn passage(&self) -> Result<&'d str, Told> {
        self.value.as_str().ok_or_else(|| self.wrong_type("a text", "put it in quotes"))
    }

    /// A name: a text that fits on a line of a report. [`NAME_LONGEST`](super::NAME_LONGEST) characters, none
    /// of them hidden.
    pub fn name(&self) -> Result<&'d str, Told> {
        let text = self.text()?;
        check_name(text).map_err(|(what, help)| self.refuse(format!("{} {what}", self.what), help))
    }

    /// A quantity within bounds, both included, in the unit it is kept in.
    pub fn quantity(&self, unit: Unit, least: f64, most: f64) -> Result<f64, Told> {
        let Some(text) = self.value.as_str() else {
            let message = match self.value {
                DeValue::Integer(_) | DeValue::Float(_) => format!("{} has no unit", self.what),
                other => format!("{} is {}; a quantity is wanted", self.what, article(other.type_str())),
            };
            return Err(self.refuse(message, format!("write {}", unit.example())));
        };
        let value = quantity::parse(text, unit)
            .map_err(|error| self.refuse(format!("{}: {}", self.what, error.what), error.help))?;
        if value < least || value > most {
            let message = format!("{} is {}", self.what, clip(text));
            let help = format!("from {} to {} belongs here", unit.show(least), unit.show(most));
            return Err(self.refuse(message, help));
        }
        Ok(value)
    }

    /// A resistance within bounds, both included.
    pub fn ohms(&self, least: Ohms, most: Ohms) -> Result<Ohms, Told> {
        self.quantity(Unit::Ohm, least.0, most.0).map(Ohms)
    }

    /// A voltage within bounds, both included.
    pub fn volts(&self, least: Volts, most: Volts) -> Result<Volts, Told> {
        self.quantity(Unit::Volt, least.0, most.0).map(Volts)
    }

    /// A current within bounds, both included.
    pub fn amps(&self, least: Amps, most: Amps) -> Result<Amps, Told> {
        self.quantity(Unit::Ampere, least.0, most.0).map(Amps)
    }

    /// A capacitance within bounds, both included.
    pub fn farads(&self, least: Farads, most: Farads) -> Result<Farads, Told> {
        self.quantity(Unit::Farad, least.0, most.0).map(Farads)
    }

    /// An inductance within bounds, both included.
    pub fn henries(&self, least: Henries, most: Henries) -> Result<Henries, Told> {
        self.quantity(Unit::Henry, least.0, most.0).map(Henries)
    }

    /// The resistance if it is one, for comparing with another; says nothing if it is not.
    pub fn peek_ohms(&self) -> Option<Ohms> {
        quantity::parse(self.value.as_str()?, Unit::Ohm).ok().map(Ohms)
    }

    /// A whole number within bounds, both included.
    pub fn whole(&self, least: u32, most: u32) -> Result<u32, Told> {
        let help = format!("a whole number from {least} to {most} belongs here");
        let Some(number) = self.value.as_integer() else {
            return Err(self.wrong_type("a whole number", &help));
        };
        i64::from_str_radix(number.as_str(), number.radix())
            .ok()
            .and_then(|number| u32::try_from(number).ok())
            .filter(|number| (least..=most).contains(number))
            .ok_or_else(|| self.refuse(format!("{} is {}", self.what, clip(number.as_str())), help))
    }

    /// A day.
    pub fn date(&self) -> Result<Date, Told> {
        let text = self.text()?;
        let date = text.parse().ok().filter(|_| text.len() == "2026-03-01".len());
        date.ok_or_else(|| {
            self.refuse(
                format!("{} is {}", self.what, clip(text)),
                r#"write a day as year, month, day: "2026-03-01""#,
            )
        })
    }

    /// `true` or `false`, without quotes.
    pub fn yes_or_no(&self) -> Result<bool, Told> {
        self.value
            .as_bool()
            .ok_or_else(|| self.wrong_type("true or false", "write true or false, without quotes"))
    }

    /// A number of millimetres: coordinates are the one place where the unit is said once for all.
    fn millimetres(&self) -> Result<f64, Told> {
        const FARTHEST: f64 = 2000.0;
        let help = "write millimetres as bare numbers, such as [6.0, 31.0]";
        let number = match self.value {
            DeValue::Integer(number) => number.as_str().parse::<f64>().ok(),
            DeValue::Float(number) => number.as_str().parse::<f64>().ok(),
            _ => return Err(self.wrong_type("a number", help)),
        };
        number
            .filter(|number| number.abs() <= FARTHEST)
            .ok_or_else(|| self.refuse(format!("{} is not within ±{FARTHEST} mm", self.what), help))
    }

    /// A place: x and y in millimetres.
    pub fn place(&self, help: &str) -> Result<[f64; 2], Told> {
        let [x, y] = self.pair(help)?;
        let (x, y) = (x.millimetres(), y.millimetres());
        Ok([x?, y?])
    }

    /// A pair.
    pub fn pair(&self, help: &str) -> Result<[Item<'d>; 2], Told> {
        let items = self.list(help)?;
        let count = items.len();
        <[Item; 2]>::try_from(items)
            .map_err(|_| self.refuse(format!("{} has {count} entries; two are wanted", self.what), help))
    }

    /// A list.
    pub fn list(&self, help: &str) -> Result<Vec<Item<'d>>, Told> {
        let Some(array) = self.value.as_array() else {
            return Err(self.wrong_type("a list", help));
        };
        let element = |value: &'d Spanned<DeValue<'d>>| Item {
            sheet: self.sheet,
            value: value.get_ref(),
            span: value.span(),
            what: self.what.clone(),
        };
        Ok(array.iter().map(element).collect())
    }

    /// Is it a list?
    pub fn is_list(&self) -> bool {
        self.value.is_array()
    }

    /// A table, called by this title in messages.
    pub fn table(&self, title: impl Into<String>, help: &str) -> Result<Table<'d>, Told> {
        let Some(entries) = self.value.as_table() else {
            return Err(self.wrong_type("a table", help));
        };
        Ok(Table::new(self.sheet, entries, self.span.clone(), title.into()))
    }

    /// One of a few words.
    pub fn choice<T: Copy>(&self, choices: &[(&str, T)]) -> Result<T, Told> {
        let word = self.text()?;
        if let Some((_, choice)) = choices.iter().find(|(name, _)| *name == word) {
            return Ok(*choice);
        }
        let words: Vec<_> = choices.iter().map(|(name, _)| *name).collect();
        Err(self.refuse(
            format!("{} is `{}`, which is none of the words known here", self.what, clip(word)),
            self.sheet.suggest(word, &words),
        ))
    }

    /// The position of a name that must be known already.
    pub fn known(&self, kind: &str, names: &[&str]) -> Result<usize, Told> {
        let word = self.text()?;
        names.iter().position(|name| *name == word).ok_or_else(|| {
            let message = format!("{} names the {kind} `{}`, which does not exist", self.what, clip(word));
            self.refuse(message, self.sheet.suggest(word, names))
        })
    }
}

fn article(type_name: &str) -> String {
    let vowel = type_name.starts_with(['a', 'e', 'i', 'o', 'u']);
    format!("{} {type_name}", if vowel { "an" } else { "a" })
}
