//! The ledger: what there is of each unit, said a second time, so that a row which is missing or was moved to another
//! unit shows. Whoever answers a question reads the ledger of the units in question and strikes off what was found;
//! nothing may be left over, and nothing may be found that does not stand there.

use std::collections::{BTreeSet, HashMap};

use sqlx::Row as _;

use super::database::{Connection, Query, Row};
use super::list;
use super::{Error, Store};

/// Which units a question is about: a condition on a column `serial`, with its parameter.
#[derive(Clone, Copy, Debug)]
pub(super) struct Units<'u> {
    condition: &'static str,
    parameter: Option<&'u str>,
}

impl<'u> Units<'u> {
    pub fn one(serial: &'u str) -> Self {
        Self { condition: "serial = $1", parameter: Some(serial) }
    }

    /// Every unit that was ever received or swept under a lot, also one that went to another since.
    pub fn of_lot(lot: &'u str) -> Self {
        let condition = "serial IN (SELECT serial FROM lot_unit WHERE lot = $1)";
        Self { condition, parameter: Some(lot) }
    }

    pub const ALL: Units<'static> = Units { condition: "TRUE", parameter: None };

    /// A statement about them; `{units}` stands for the condition.
    pub fn query(self, sql: &str) -> Query<'u> {
        let query = list::query(sql.replace("{units}", self.condition));
        match self.parameter {
            Some(parameter) => query.bind(parameter),
            None => query,
        }
    }
}

/// A line of the ledger.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) struct Line<'l> {
    pub serial: &'l str,
    /// The place in the unit's history; of a judgement that of its measurement.
    pub entry: i64,
    /// Number of the judgement; 0 for the entry itself.
    pub judgement: i64,
    /// Name of the table.
    pub kind: &'l str,
}

impl Line<'_> {
    pub async fn write(self, connection: &mut Connection) -> Result<(), sqlx::Error> {
        let values = [self.serial.into(), self.entry.into(), self.judgement.into(), self.kind.into()];
        list::insert(connection, "ledger", &["serial", "entry", "judgement", "kind"], &values).await.map(drop)
    }
}

/// The ledger of some units, being struck off.
#[derive(Debug)]
pub(super) struct Ledger {
    left: HashMap<String, BTreeSet<(i64, i64, String)>>,
    /// The first unit with something that does not stand in the ledger.
    beyond: Option<String>,
}

impl Ledger {
    pub async fn of(connection: &mut Connection, units: Units<'_>) -> Result<Self, sqlx::Error> {
        let sql = "SELECT serial, entry, judgement, kind FROM ledger WHERE {units}";
        let mut left = HashMap::<String, BTreeSet<_>>::new();
        for row in units.query(sql).fetch_all(connection).await? {
            let line = (row.try_get("entry")?, row.try_get("judgement")?, row.try_get("kind")?);
            left.entry(row.try_get("serial")?).or_default().insert(line);
        }
        Ok(Self { left, beyond: None })
    }

    /// Something was found.
    pub fn strike(&mut self, line: Line<'_>) {
        let key = (line.entry, line.judgement, line.kind.to_owned());
        if !self.left.get_mut(line.serial).is_some_and(|lines| lines.remove(&key)) {
            self.beyond.get_or_insert_with(|| line.serial.into());
        }
    }

    /// A measurement was found, and its latest judgement: those before it stand in the ledger too.
    pub fn strike_measurement(&mut self, serial: &str, entry: i64, latest: i64) {
        self.strike(Line { serial, entry, judgement: 0, kind: "measurement" });
        for judgement in 1..=latest {
            self.strike(Line { serial, entry, judgement, kind: "judgement" });
        }
    }

    /// Everything was found. A unit with which something is wrong otherwise.
    pub fn settle(self) -> Result<(), String> {
        let left = self.left.into_iter().filter(|(_, lines)| !lines.is_empty()).map(|(serial, _)| serial);
        self.beyond.or_else(|| left.min()).map_or(Ok(()), Err)
    }
}

/// Does the ledger have this line?
pub(super) async fn has(connection: &mut Connection, line: Line<'_>) -> Result<bool, sqlx::Error> {
    let sql = "SELECT 1 FROM ledger WHERE serial = $1 AND entry = $2 AND judgement = $3 AND kind = $4";
    let found =
        sqlx::query_scalar(sql).bind(line.serial).bind(line.entry).bind(line.judgement).bind(line.kind);
    let found: Option<i64> = found.fetch_optional(connection).await?;
    Ok(found.is_some())
}

/// The place after the last in a unit's history.
pub(super) async fn next(connection: &mut Connection, serial: &str) -> Result<i64, sqlx::Error> {
    sqlx::query_scalar("SELECT 1 + coalesce(max(entry), 0) FROM ledger WHERE serial = $1")
        .bind(serial)
        .fetch_one(connection)
        .await
}

/// For each of these measurements the numbers that the ledger has for it: 0 for itself, and its judgements.
pub(super) async fn numbers(
    connection: &mut Connection,
    measurements: &[i64],
) -> Result<HashMap<i64, BTreeSet<i64>>, sqlx::Error> {
    let select = "SELECT measurement_id, judgement FROM measurement JOIN ledger USING (serial, entry)";
    let mut numbers = HashMap::<i64, BTreeSet<i64>>::new();
    for row in list::rows(connection, select, "measurement_id", measurements, "measurement_id").await? {
        numbers.entry(row.try_get("measurement_id")?).or_default().insert(row.try_get("judgement")?);
    }
    Ok(numbers)
}

/// How many measurements the ledger has.
pub(super) async fn measurements(connection: &mut Connection) -> Result<i64, sqlx::Error> {
    sqlx::query_scalar("SELECT count(*) FROM ledger WHERE kind = 'measurement'").fetch_one(connection).await
}

/// Lots for which measurements and receipts, and the list of their units, do not say the same.
pub(super) async fn odd_lots(connection: &mut Connection) -> Result<Vec<String>, sqlx::Error> {
    sqlx::query_scalar(
        "WITH said AS (SELECT lot, serial FROM measurement WHERE lot IS NOT NULL
                       UNION SELECT lot, serial FROM status WHERE lot IS NOT NULL),
         listed AS (SELECT lot, serial FROM lot_unit)
         SELECT lot FROM (SELECT * FROM said EXCEPT SELECT * FROM listed)
         UNION SELECT lot FROM (SELECT * FROM listed EXCEPT SELECT * FROM said)
         ORDER BY lot",
    )
    .fetch_all(connection)
    .await
}

/// Lots of which what was said and the ledger of lots do not say the same.
pub(super) async fn odd_lot_trades(connection: &mut Connection) -> Result<Vec<String>, sqlx::Error> {
    sqlx::query_scalar(
        "WITH found AS (SELECT lot, entry FROM lot_trade), kept AS (SELECT lot, entry FROM lot_ledger)
         SELECT lot FROM (SELECT * FROM found EXCEPT SELECT * FROM kept)
         UNION SELECT lot FROM (SELECT * FROM kept EXCEPT SELECT * FROM found)
         ORDER BY lot",
    )
    .fetch_all(connection)
    .await
}

/// Units whose rows and ledger do not say the same.
pub(super) async fn odd_units(connection: &mut Connection) -> Result<Vec<String>, sqlx::Error> {
    sqlx::query(
        "WITH found AS (
             SELECT serial, entry, 0 AS judgement, 'measurement' AS kind FROM measurement
             UNION ALL SELECT serial, entry, number, 'judgement' FROM judgement JOIN measurement USING (measurement_id)
             UNION ALL SELECT serial, entry, 0, 'note' FROM note
             UNION ALL SELECT serial, entry, 0, 'repair' FROM repair
             UNION ALL SELECT serial, entry, 0, 'correction' FROM correction
             UNION ALL SELECT serial, entry, 0, 'status' FROM status
             UNION ALL SELECT serial, entry, 0, 'photo' FROM photo
             UNION ALL SELECT serial, entry, 0, 'tick' FROM tick
             UNION ALL SELECT serial, entry, 0, 'watch' FROM watch
             UNION ALL SELECT serial, entry, 0, 'trade' FROM trade
             UNION ALL SELECT serial, entry, 0, 'start' FROM start),
         kept AS (SELECT serial, entry, judgement, kind FROM ledger)
         SELECT serial FROM (SELECT * FROM found EXCEPT SELECT * FROM kept)
         UNION SELECT serial FROM (SELECT * FROM kept EXCEPT SELECT * FROM found)
         ORDER BY serial",
    )
    .try_map(|row: Row| row.try_get(0))
    .fetch_all(connection)
    .await
}

impl Store {
    /// The error for a unit with something missing or added.
    pub(super) fn odd_unit(&self, serial: &str) -> Error {
        self.altered(format!("the history of unit {serial:?}"))
    }
}
