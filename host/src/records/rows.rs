//! The parts of a sweep that come as lists, and their tables: each row bound and read side by side, in one order.

use serde::de::value::StrDeserializer;
use serde::de::{DeserializeOwned, IntoDeserializer};
use sqlx::Row as _;
use sqlx::error::BoxDynError;

use super::database::{Query, Row};
use super::raw;
use crate::measurement::{Purpose, Run};
use crate::sweep::{Advice, BenchFault, ClosureRow, Fault, IsolationRow, SegmentRow, StandardRow};
use crate::verdict::{Class, Verdict};

/// A row of a list within a sweep. The first two parameters of [`Line::INSERT`] are the sweep and the line.
pub(super) trait Line: Sized {
    const INSERT: &'static str;
    /// All lines of the sweeps of unit `$1` from sweep `$2` to sweep `$3`, in order, with their `sweep_id`.
    const SELECT: &'static str;

    fn bind<'q>(&'q self, query: Query<'q>) -> Query<'q>;
    fn read(row: &Row) -> Result<Self, sqlx::Error>;
}

/// Writes both statements from one list of columns.
macro_rules! table {
    ($table:literal, $columns:literal, $values:literal) => {
        const INSERT: &'static str =
            concat!("INSERT INTO ", $table, " (sweep_id, line, ", $columns, ") VALUES ($1, $2, ", $values, ")");
        const SELECT: &'static str = concat!(
            "SELECT sweep_id, ",
            $columns,
            " FROM ",
            $table,
            " WHERE sweep_id IN (SELECT sweep_id FROM sweep WHERE serial = $1 AND sweep_id BETWEEN $2 AND $3)",
            " ORDER BY sweep_id, line"
        );
    };
}

impl Line for SegmentRow {
    table!(
        "segment",
        "name, kind, state, ohms, ohms_20c, u95_ohms, min_ohms, max_ohms, limit_derived, typical_ohms, verdict, class, \
         reason",
        "$3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15"
    );

    fn bind<'q>(&'q self, query: Query<'q>) -> Query<'q> {
        query
            .bind(&self.name)
            .bind(&self.kind)
            .bind(&self.state)
            .bind(self.ohms)
            .bind(self.ohms_20c)
            .bind(self.u95_ohms)
            .bind(self.min_ohms)
            .bind(self.max_ohms)
            .bind(self.limit_derived)
            .bind(self.typical_ohms)
            .bind(verdict_word(self.verdict))
            .bind(class_word(self.class))
            .bind(&self.reason)
    }

    fn read(row: &Row) -> Result<Self, sqlx::Error> {
        Ok(Self {
            name: row.try_get("name")?,
            kind: row.try_get("kind")?,
            state: row.try_get("state")?,
            ohms: row.try_get("ohms")?,
            ohms_20c: row.try_get("ohms_20c")?,
            u95_ohms: row.try_get("u95_ohms")?,
            min_ohms: row.try_get("min_ohms")?,
            max_ohms: row.try_get("max_ohms")?,
            limit_derived: row.try_get("limit_derived")?,
            typical_ohms: row.try_get("typical_ohms")?,
            verdict: word(row, "verdict")?,
            class: word(row, "class")?,
            reason: row.try_get("reason")?,
        })
    }
}

impl Line for IsolationRow {
    table!(
        "isolation",
        "name, point_a, point_b, is_switch, state, ohms, u95_ohms, at_least_ohms, min_ohms, verdict, class, \
         still_charging, reason",
        "$3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15"
    );

    fn bind<'q>(&'q self, query: Query<'q>) -> Query<'q> {
        query
            .bind(&self.name)
            .bind(&self.between[0])
            .bind(&self.between[1])
            .bind(self.is_switch)
            .bind(&self.state)
            .bind(self.ohms)
            .bind(self.u95_ohms)
            .bind(self.at_least_ohms)
            .bind(self.min_ohms)
            .bind(verdict_word(self.verdict))
            .bind(class_word(self.class))
            .bind(self.still_charging)
            .bind(&self.reason)
    }

    fn read(row: &Row) -> Result<Self, sqlx::Error> {
        Ok(Self {
            name: row.try_get("name")?,
            between: [row.try_get("point_a")?, row.try_get("point_b")?],
            is_switch: row.try_get("is_switch")?,
            state: row.try_get("state")?,
            ohms: row.try_get("ohms")?,
            u95_ohms: row.try_get("u95_ohms")?,
            at_least_ohms: row.try_get("at_least_ohms")?,
            min_ohms: row.try_get("min_ohms")?,
            verdict: word(row, "verdict")?,
            class: word(row, "class")?,
            still_charging: row.try_get("still_charging")?,
            reason: row.try_get("reason")?,
        })
    }
}

impl Line for StandardRow {
    table!("standard", "name, stated_ohms, tolerance, ohms, u95_ohms, verdict", "$3, $4, $5, $6, $7, $8");

    fn bind<'q>(&'q self, query: Query<'q>) -> Query<'q> {
        query
            .bind(&self.name)
            .bind(self.stated_ohms)
            .bind(self.tolerance)
            .bind(self.ohms)
            .bind(self.u95_ohms)
            .bind(verdict_word(self.verdict))
    }

    fn read(row: &Row) -> Result<Self, sqlx::Error> {
        Ok(Self {
            name: row.try_get("name")?,
            stated_ohms: row.try_get("stated_ohms")?,
            tolerance: row.try_get("tolerance")?,
            ohms: row.try_get("ohms")?,
            u95_ohms: row.try_get("u95_ohms")?,
            verdict: word(row, "verdict")?,
        })
    }
}

impl Line for ClosureRow {
    table!(
        "closure",
        "from_point, to_point, whole_ohms, sum_ohms, u95_ohms, agrees",
        "$3, $4, $5, $6, $7, $8"
    );

    fn bind<'q>(&'q self, query: Query<'q>) -> Query<'q> {
        query
            .bind(&self.from)
            .bind(&self.to)
            .bind(self.whole_ohms)
            .bind(self.sum_ohms)
            .bind(self.u95_ohms)
            .bind(self.agrees)
    }

    fn read(row: &Row) -> Result<Self, sqlx::Error> {
        Ok(Self {
            from: row.try_get("from_point")?,
            to: row.try_get("to_point")?,
            whole_ohms: row.try_get("whole_ohms")?,
            sum_ohms: row.try_get("sum_ohms")?,
            u95_ohms: row.try_get("u95_ohms")?,
            agrees: row.try_get("agrees")?,
        })
    }
}

impl Line for Fault {
    table!(
        "fault",
        "place, class, probability, alternative, cause, repair, caution",
        "$3, $4, $5, $6, $7, $8, $9"
    );

    fn bind<'q>(&'q self, query: Query<'q>) -> Query<'q> {
        query
            .bind(&self.place)
            .bind(class_word(self.class))
            .bind(self.probability)
            .bind(self.alternative)
            .bind(&self.advice.cause)
            .bind(&self.advice.repair)
            .bind(&self.advice.caution)
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
    table!("bench_fault", "part, what", "$3, $4");

    fn bind<'q>(&'q self, query: Query<'q>) -> Query<'q> {
        query.bind(&self.part).bind(&self.what)
    }

    fn read(row: &Row) -> Result<Self, sqlx::Error> {
        Ok(Self { part: row.try_get("part")?, what: row.try_get("what")? })
    }
}

/// What the sweep told the operator.
impl Line for String {
    table!("sweep_note", "text", "$3");

    fn bind<'q>(&'q self, query: Query<'q>) -> Query<'q> {
        query.bind(self)
    }

    fn read(row: &Row) -> Result<Self, sqlx::Error> {
        row.try_get("text")
    }
}

/// A run whose shots are still packed: only [`super::Store::sweep`] unpacks them.
pub(super) struct PackedRun {
    pub state: String,
    pub purpose: Purpose,
    /// Why it ended, in JSON: most ends are a word, a fault carries which.
    pub ended: String,
    pub closures: u32,
    pub device_us: u32,
    pub layout: i64,
    pub shots: Vec<u8>,
}

impl PackedRun {
    pub fn of(run: &Run) -> Result<Self, sqlx::Error> {
        Ok(Self {
            state: run.state.clone(),
            purpose: run.purpose,
            ended: serde_json::to_string(&run.end).map_err(|error| sqlx::Error::Encode(error.into()))?,
            closures: run.closures,
            device_us: run.device_us,
            layout: raw::LAYOUT,
            shots: raw::pack(&run.shots).map_err(|error| sqlx::Error::Encode(error.into()))?,
        })
    }
}

impl Line for PackedRun {
    table!("run", "state, purpose, ended, closures, device_us, layout, shots", "$3, $4, $5, $6, $7, $8, $9");

    fn bind<'q>(&'q self, query: Query<'q>) -> Query<'q> {
        query
            .bind(&self.state)
            .bind(self.purpose.word())
            .bind(&self.ended)
            .bind(i64::from(self.closures))
            .bind(i64::from(self.device_us))
            .bind(self.layout)
            .bind(&self.shots)
    }

    fn read(row: &Row) -> Result<Self, sqlx::Error> {
        Ok(Self {
            state: row.try_get("state")?,
            purpose: word(row, "purpose")?,
            ended: row.try_get("ended")?,
            closures: whole(row, "closures")?,
            device_us: whole(row, "device_us")?,
            layout: row.try_get("layout")?,
            shots: row.try_get("shots")?,
        })
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
        ];
        for class in classes {
            assert_eq!(serde_json::to_value(class).unwrap(), class_word(class));
        }
    }
}
