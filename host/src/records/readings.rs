//! What healthy segments read on the units of a board: what predictions stand on.

use std::collections::BTreeMap;

use sqlx::Row as _;

use super::database::Row;
use super::{Error, Store, list};
use crate::quantity::Ohms;

/// So many units are looked at, the latest.
const UNITS: i64 = 300;

impl Store {
    /// The latest readings at 20 °C of a board's segments where they were proven good, by segment: of each unit the last one.
    ///
    /// # Errors
    /// A damaged store.
    pub async fn good_readings(&self, board_hash: &str) -> Result<BTreeMap<String, Vec<Ohms>>, Error> {
        // Of several judgements of a measurement the highest number counts, of several measurements of a unit the latest.
        let sql = "WITH last AS (
                       SELECT max(measurement_id) AS measurement_id FROM measurement
                       WHERE board_hash = $1 AND manner = 'sweep' GROUP BY serial
                       ORDER BY 1 DESC LIMIT $2),
                   latest AS (
                       SELECT measurement_id, max(number) AS number FROM judgement
                       WHERE measurement_id IN (SELECT measurement_id FROM last) GROUP BY measurement_id)
                   SELECT segment.name AS name, segment.ohms_20c AS ohms FROM latest
                   JOIN judgement USING (measurement_id, number)
                   JOIN segment USING (judgement_id)
                   WHERE segment.verdict = 'pass' AND segment.class = 'ok' AND segment.ohms_20c IS NOT NULL
                   ORDER BY judgement_id, line";
        let rows = list::query(sql.into()).bind(board_hash).bind(UNITS).fetch_all(&self.pool).await;
        let read = |rows: Vec<Row>| -> Result<_, sqlx::Error> {
            let mut readings = BTreeMap::<String, Vec<Ohms>>::new();
            for row in rows {
                readings.entry(row.try_get("name")?).or_default().push(Ohms(row.try_get("ohms")?));
            }
            Ok(readings)
        };
        rows.and_then(read).map_err(|error| self.said(&error))
    }
}
