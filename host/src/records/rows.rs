//! The parts of a sweep that come as lists, and their tables: each row bound and read side by side, in one order.

use serde::de::value::StrDeserializer;
use serde::de::{DeserializeOwned, IntoDeserializer};
use sqlx::Row as _;
use sqlx::error::BoxDynError;

use super::database::Row;
use super::value::Value;
use crate::measurement::Method;
use crate::quantity::{Celsius, Ohms};
use crate::sweep::{
    Advice, Answered, Asked, BenchFault, ClosureRow, IsolationRow, Left, SegmentRow, StandardRow, StepRow,
    ThermometerRow, UnitFault,
};
use crate::verdict::{Class, Verdict};

/// A row of a list within a judgement.
pub(super) trait Line: Sized {
    const TABLE: &'static str;
    /// Its columns besides `judgement_id` and `line`, in the order of [`Line::values`].
    const COLUMNS: &'static [&'static str];

    /// What it says, column by column: both what is written and what its judgement's digest is made over.
    fn values(&self) -> Vec<Value<'_>>;
    fn read(row: &Row) -> Result<Self, sqlx::Error>;
}

impl Line for SegmentRow {
    const TABLE: &'static str = "segment";
    const COLUMNS: &'static [&'static str] = &[
        "name",
        "kind",
        "state",
        "ohms",
        "ohms_20c",
        "u95_ohms",
        "min_ohms",
        "max_ohms",
        "limit_derived",
        "typical_ohms",
        "verdict",
        "class",
        "method",
        "reason",
    ];

    fn values(&self) -> Vec<Value<'_>> {
        vec![
            Value::from(&self.name),
            Value::from(&self.kind),
            Value::from(&self.state),
            Value::from(self.resistance),
            Value::from(self.at_20c),
            Value::from(self.u95),
            Value::from(self.min),
            Value::from(self.max),
            Value::from(self.limit_derived),
            Value::from(self.typical),
            Value::from(verdict_word(self.verdict)),
            Value::from(class_word(self.class)),
            Value::from(self.method.map(method_word)),
            Value::from(self.reason.as_deref()),
        ]
    }

    fn read(row: &Row) -> Result<Self, sqlx::Error> {
        Ok(Self {
            name: row.try_get("name")?,
            kind: row.try_get("kind")?,
            state: row.try_get("state")?,
            resistance: ohms(row, "ohms")?,
            at_20c: ohms(row, "ohms_20c")?,
            u95: ohms(row, "u95_ohms")?,
            min: ohms(row, "min_ohms")?,
            max: Ohms(row.try_get("max_ohms")?),
            limit_derived: row.try_get("limit_derived")?,
            typical: Ohms(row.try_get("typical_ohms")?),
            verdict: word(row, "verdict")?,
            class: word(row, "class")?,
            method: method(row)?,
            reason: row.try_get("reason")?,
        })
    }
}

impl Line for IsolationRow {
    const TABLE: &'static str = "isolation";
    const COLUMNS: &'static [&'static str] = &[
        "name",
        "point_a",
        "point_b",
        "is_switch",
        "state",
        "ohms",
        "u95_ohms",
        "at_least_ohms",
        "min_ohms",
        "verdict",
        "class",
        "method",
        "still_charging",
        "reason",
    ];

    fn values(&self) -> Vec<Value<'_>> {
        vec![
            Value::from(&self.name),
            Value::from(&self.between[0]),
            Value::from(&self.between[1]),
            Value::from(self.is_switch),
            Value::from(&self.state),
            Value::from(self.resistance),
            Value::from(self.u95),
            Value::from(self.at_least),
            Value::from(self.min),
            Value::from(verdict_word(self.verdict)),
            Value::from(class_word(self.class)),
            Value::from(self.method.map(method_word)),
            Value::from(self.still_charging),
            Value::from(self.reason.as_deref()),
        ]
    }

    fn read(row: &Row) -> Result<Self, sqlx::Error> {
        Ok(Self {
            name: row.try_get("name")?,
            between: [row.try_get("point_a")?, row.try_get("point_b")?],
            is_switch: row.try_get("is_switch")?,
            state: row.try_get("state")?,
            resistance: ohms(row, "ohms")?,
            u95: ohms(row, "u95_ohms")?,
            at_least: ohms(row, "at_least_ohms")?,
            min: Ohms(row.try_get("min_ohms")?),
            verdict: word(row, "verdict")?,
            class: word(row, "class")?,
            method: method(row)?,
            still_charging: row.try_get("still_charging")?,
            reason: row.try_get("reason")?,
        })
    }
}

impl Line for StandardRow {
    const TABLE: &'static str = "standard";
    const COLUMNS: &'static [&'static str] =
        &["name", "stated_ohms", "tolerance", "ohms", "u95_ohms", "verdict"];

    fn values(&self) -> Vec<Value<'_>> {
        vec![
            Value::from(&self.name),
            Value::from(self.stated),
            Value::from(self.tolerance),
            Value::from(self.resistance),
            Value::from(self.u95),
            Value::from(verdict_word(self.verdict)),
        ]
    }

    fn read(row: &Row) -> Result<Self, sqlx::Error> {
        Ok(Self {
            name: row.try_get("name")?,
            stated: Ohms(row.try_get("stated_ohms")?),
            tolerance: row.try_get("tolerance")?,
            resistance: ohms(row, "ohms")?,
            u95: ohms(row, "u95_ohms")?,
            verdict: word(row, "verdict")?,
        })
    }
}

impl Line for ThermometerRow {
    const TABLE: &'static str = "thermometer";
    const COLUMNS: &'static [&'static str] = &["name", "ohms", "celsius", "u95_kelvin", "counts"];

    fn values(&self) -> Vec<Value<'_>> {
        vec![
            Value::from(&self.name),
            Value::from(self.resistance),
            Value::from(self.temperature),
            Value::from(self.u95_kelvin),
            Value::from(self.counts),
        ]
    }

    fn read(row: &Row) -> Result<Self, sqlx::Error> {
        Ok(Self {
            name: row.try_get("name")?,
            resistance: ohms(row, "ohms")?,
            temperature: row.try_get::<Option<_>, _>("celsius")?.map(Celsius),
            u95_kelvin: row.try_get("u95_kelvin")?,
            counts: row.try_get("counts")?,
        })
    }
}

impl Line for ClosureRow {
    const TABLE: &'static str = "closure";
    const COLUMNS: &'static [&'static str] =
        &["from_point", "to_point", "whole_ohms", "sum_ohms", "u95_ohms", "agrees"];

    fn values(&self) -> Vec<Value<'_>> {
        vec![
            Value::from(&self.from),
            Value::from(&self.to),
            Value::from(self.whole),
            Value::from(self.sum),
            Value::from(self.u95),
            Value::from(self.agrees),
        ]
    }

    fn read(row: &Row) -> Result<Self, sqlx::Error> {
        Ok(Self {
            from: row.try_get("from_point")?,
            to: row.try_get("to_point")?,
            whole: Ohms(row.try_get("whole_ohms")?),
            sum: Ohms(row.try_get("sum_ohms")?),
            u95: Ohms(row.try_get("u95_ohms")?),
            agrees: row.try_get("agrees")?,
        })
    }
}

impl Line for UnitFault {
    const TABLE: &'static str = "fault";
    const COLUMNS: &'static [&'static str] =
        &["place", "class", "probability", "alternative", "cause", "repair", "caution"];

    fn values(&self) -> Vec<Value<'_>> {
        vec![
            Value::from(&self.place),
            Value::from(class_word(self.class)),
            Value::from(self.probability),
            Value::from(self.alternative.map(u32::from)),
            Value::from(&self.advice.cause),
            Value::from(&self.advice.repair),
            Value::from(&self.advice.caution),
        ]
    }

    fn read(row: &Row) -> Result<Self, sqlx::Error> {
        Ok(Self {
            place: row.try_get("place")?,
            class: word(row, "class")?,
            probability: row.try_get("probability")?,
            alternative: row.try_get("alternative")?,
            advice: Advice {
                cause: row.try_get("cause")?,
                repair: row.try_get("repair")?,
                caution: row.try_get("caution")?,
            },
        })
    }
}

impl Line for BenchFault {
    const TABLE: &'static str = "bench_fault";
    const COLUMNS: &'static [&'static str] = &["part", "what"];

    fn values(&self) -> Vec<Value<'_>> {
        vec![Value::from(&self.part), Value::from(&self.what)]
    }

    fn read(row: &Row) -> Result<Self, sqlx::Error> {
        Ok(Self { part: row.try_get("part")?, what: row.try_get("what")? })
    }
}

/// The most probable of what is left stands in columns of the row: what, probability.
impl Line for StepRow {
    const TABLE: &'static str = "step";
    const COLUMNS: &'static [&'static str] = &[
        "from_point",
        "to_point",
        "state",
        "what",
        "answer",
        "ohms",
        "left_1",
        "probability_1",
        "left_2",
        "probability_2",
        "left_3",
        "probability_3",
        "bits",
    ];

    fn values(&self) -> Vec<Value<'_>> {
        let Asked { from, to, state, what } = &self.asked;
        let mut values = [from, to, state, what, &self.answered.text].map(Value::from).to_vec();
        values.push(self.answered.resistance.into());
        for rank in 0..Self::LEFT {
            let left = self.left.get(rank);
            values.push(left.map(|left| &left.what).into());
            values.push(left.map(|left| left.probability).into());
        }
        values.push(self.bits.into());
        values
    }

    fn read(row: &Row) -> Result<Self, sqlx::Error> {
        let mut left = Vec::new();
        for rank in 1..=Self::LEFT {
            let what: Option<String> = row.try_get(format!("left_{rank}").as_str())?;
            let probability: Option<f64> = row.try_get(format!("probability_{rank}").as_str())?;
            left.extend(what.zip(probability).map(|(what, probability)| Left { what, probability }));
        }
        Ok(Self {
            asked: Asked {
                from: row.try_get("from_point")?,
                to: row.try_get("to_point")?,
                state: row.try_get("state")?,
                what: row.try_get("what")?,
            },
            answered: Answered { text: row.try_get("answer")?, resistance: ohms(row, "ohms")? },
            left,
            bits: row.try_get("bits")?,
        })
    }
}

/// What the judgement tells the operator besides.
impl Line for String {
    const TABLE: &'static str = "remark";
    const COLUMNS: &'static [&'static str] = &["text"];

    fn values(&self) -> Vec<Value<'_>> {
        vec![Value::from(self)]
    }

    fn read(row: &Row) -> Result<Self, sqlx::Error> {
        row.try_get("text")
    }
}

/// The word kept for a verdict; the same as on every screen.
pub(super) fn verdict_word(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Pass => "pass",
        Verdict::Fail => "fail",
        Verdict::Unproven => "unproven",
        Verdict::Void => "void",
    }
}

/// The word kept for a class; the same as on every screen.
pub(super) fn class_word(class: Class) -> &'static str {
    match class {
        Class::Ok => "ok",
        Class::Open => "open",
        Class::High => "high",
        Class::Low => "low",
        Class::Flaky => "flaky",
        Class::Shorted => "shorted",
        Class::Leaky => "leaky",
        Class::Film => "film",
        Class::RedundancyLost => "redundancy_lost",
        Class::NotReached => "not_reached",
        Class::Junction => "junction",
        Class::NotJudgedUnpowered => "not_judged_unpowered",
        Class::Bypassed => "bypassed",
    }
}

/// The word kept for a way of reading.
fn method_word(method: Method) -> &'static str {
    match method {
        Method::Continuity => "continuity",
        Method::TwoWire => "two_wire",
        Method::FourWire => "four_wire",
    }
}

/// How a row was read; empty: it was not.
fn method(row: &Row) -> Result<Option<Method>, sqlx::Error> {
    match row.try_get::<Option<&str>, _>("method")? {
        Some(_) => word(row, "method").map(Some),
        None => Ok(None),
    }
}

/// Reads such a word back, by the names the type itself has for the outside.
pub(super) fn word<T: DeserializeOwned>(row: &Row, column: &str) -> Result<T, sqlx::Error> {
    let text: &str = row.try_get(column)?;
    let source: StrDeserializer<'_, serde::de::value::Error> = text.into_deserializer();
    T::deserialize(source).map_err(|error| damaged(column, error))
}

/// A whole number that must fit the type it had before it was stored.
pub(super) fn whole<T: TryFrom<i64>>(row: &Row, column: &str) -> Result<T, sqlx::Error>
where
    T::Error: std::error::Error + Send + Sync + 'static,
{
    T::try_from(row.try_get(column)?).map_err(|error| damaged(column, error))
}

/// A resistance, if there is one.
fn ohms(row: &Row, column: &str) -> Result<Option<Ohms>, sqlx::Error> {
    Ok(row.try_get::<Option<f64>, _>(column)?.map(Ohms))
}

fn damaged(column: &str, source: impl Into<BoxDynError>) -> sqlx::Error {
    sqlx::Error::ColumnDecode { index: column.into(), source: source.into() }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// What is written by hand above must be what serde reads.
    #[test]
    fn every_word_reads_back() {
        let verdicts = [Verdict::Pass, Verdict::Fail, Verdict::Unproven, Verdict::Void];
        for verdict in verdicts {
            assert_eq!(serde_json::to_value(verdict).unwrap(), verdict_word(verdict));
        }
        let classes = [
            Class::Ok,
            Class::Open,
            Class::High,
            Class::Low,
            Class::Flaky,
            Class::Shorted,
            Class::Leaky,
            Class::Film,
            Class::RedundancyLost,
            Class::NotReached,
            Class::Junction,
            Class::NotJudgedUnpowered,
            Class::Bypassed,
        ];
        for class in classes {
            assert_eq!(serde_json::to_value(class).unwrap(), class_word(class));
        }
    }
}
