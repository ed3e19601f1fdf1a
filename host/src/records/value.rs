//! A value on its way into a column: bound to statements, and put into digests, from one list.

use super::database::Query;
use crate::quantity::{Amps, Celsius, Ohms, Volts};

/// What a column can hold.
#[derive(Clone, Copy, PartialEq, Debug)]
pub(super) enum Value<'v> {
    Empty,
    Flag(bool),
    Whole(i64),
    Real(f64),
    Text(&'v str),
    Bytes(&'v [u8]),
}

impl<'v> Value<'v> {
    /// Binds it as the next parameter.
    pub fn bind(self, query: Query<'v>) -> Query<'v> {
        match self {
            Self::Empty => query.bind(None::<i64>),
            Self::Flag(flag) => query.bind(flag),
            Self::Whole(number) => query.bind(number),
            Self::Real(number) => query.bind(number),
            Self::Text(text) => query.bind(text),
            Self::Bytes(bytes) => query.bind(bytes),
        }
    }
}

impl From<bool> for Value<'_> {
    fn from(flag: bool) -> Self {
        Self::Flag(flag)
    }
}

impl From<i64> for Value<'_> {
    fn from(number: i64) -> Self {
        Self::Whole(number)
    }
}

impl From<u32> for Value<'_> {
    fn from(number: u32) -> Self {
        Self::Whole(number.into())
    }
}

/// As the database gives it back: what is no number is empty, and zero has no sign (SQLite keeps it as an integer).
impl From<f64> for Value<'_> {
    fn from(number: f64) -> Self {
        if number.is_nan() { Self::Empty } else { Self::Real(number + 0.0) }
    }
}

impl From<Ohms> for Value<'_> {
    fn from(resistance: Ohms) -> Self {
        resistance.0.into()
    }
}

impl From<Volts> for Value<'_> {
    fn from(voltage: Volts) -> Self {
        voltage.0.into()
    }
}

impl From<Amps> for Value<'_> {
    fn from(current: Amps) -> Self {
        current.0.into()
    }
}

impl From<Celsius> for Value<'_> {
    fn from(temperature: Celsius) -> Self {
        temperature.0.into()
    }
}

impl<'v> From<&'v str> for Value<'v> {
    fn from(text: &'v str) -> Self {
        Self::Text(text)
    }
}

impl<'v> From<&'v String> for Value<'v> {
    fn from(text: &'v String) -> Self {
        Self::Text(text)
    }
}

impl<'v> From<&'v Vec<u8>> for Value<'v> {
    fn from(bytes: &'v Vec<u8>) -> Self {
        Self::Bytes(bytes)
    }
}

impl<'v> From<&'v [u8]> for Value<'v> {
    fn from(bytes: &'v [u8]) -> Self {
        Self::Bytes(bytes)
    }
}

impl<'v, T: Into<Value<'v>>> From<Option<T>> for Value<'v> {
    fn from(value: Option<T>) -> Self {
        value.map_or(Self::Empty, Into::into)
    }
}
