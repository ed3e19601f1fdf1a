//! The lists of judgements: written in one statement a list, read in one statement for many judgements.

use std::collections::HashMap;

use sqlx::{AssertSqlSafe, Row as _};

use super::database::{Connection, Query, Row};
use super::rows::Line;
use super::value::Value;

/// Parameters in one statement. SQLite's own limit is 32,766.
const PARAMETERS: usize = 8_000;
/// Keys in one statement; longer lists of them are asked in turns of this length.
pub(super) const KEYS: usize = 256;

/// A statement whose text is made here, from constants and counts only.
pub(super) fn query<'q>(sql: String) -> Query<'q> {
    sqlx::query(AssertSqlSafe(sql))
}

/// `$1, $2, … $count`.
fn parameters(first: usize, count: usize) -> String {
    (first..first + count).map(|number| format!("${number}")).collect::<Vec<_>>().join(", ")
}

/// Inserts one row.
pub(super) async fn insert(
    connection: &mut Connection,
    table: &str,
    columns: &[&str],
    values: &[Value<'_>],
) -> Result<i64, sqlx::Error> {
    let sql =
        format!("INSERT INTO {table} ({}) VALUES ({})", columns.join(", "), parameters(1, columns.len()));
    let query = values.iter().fold(query(sql), |query, value| value.bind(query));
    Ok(query.execute(connection).await?.last_insert_rowid())
}

/// Inserts the lines of a judgement.
pub(super) async fn write<L: Line>(
    connection: &mut Connection,
    judgement: i64,
    lines: &[L],
) -> Result<(), sqlx::Error> {
    let width = L::COLUMNS.len() + 2;
    let mut numbered = (0_i64..).zip(lines);
    for part in lines.chunks(PARAMETERS / width) {
        let rows: Vec<String> =
            (0..part.len()).map(|row| format!("({})", parameters(1 + row * width, width))).collect();
        let sql = format!(
            "INSERT INTO {} (judgement_id, line, {}) VALUES {}",
            L::TABLE,
            L::COLUMNS.join(", "),
            rows.join(", ")
        );
        let mut query = query(sql);
        for (number, line) in numbered.by_ref().take(part.len()) {
            query = query.bind(judgement).bind(number);
            query = line.values().into_iter().fold(query, |query, value| value.bind(query));
        }
        query.execute(&mut *connection).await?;
    }
    Ok(())
}

/// `column IN (…)` for these keys, of which there are [`KEYS`] at most. Few different statements are made: the last
/// key is repeated up to the next of four lengths.
pub(super) fn among(column: &str, keys: &[i64]) -> (String, Vec<i64>) {
    let length = [1, 4, 32, KEYS].into_iter().find(|length| *length >= keys.len()).unwrap_or(KEYS);
    let mut padded = keys.to_vec();
    padded.resize(length, keys.last().copied().unwrap_or_default());
    (format!("{column} IN ({})", parameters(1, length)), padded)
}

/// The rows of a statement that ends in `WHERE … IN (keys)` and an order.
pub(super) async fn rows(
    connection: &mut Connection,
    select: &str,
    column: &str,
    keys: &[i64],
    order: &str,
) -> Result<Vec<Row>, sqlx::Error> {
    let mut found = Vec::new();
    for keys in keys.chunks(KEYS) {
        let (condition, keys) = among(column, keys);
        let query = query(format!("{select} WHERE {condition} ORDER BY {order}"));
        found.extend(
            keys.into_iter().fold(query, |query, key| query.bind(key)).fetch_all(&mut *connection).await?,
        );
    }
    Ok(found)
}

/// The lines of judgements, each list under its judgement.
pub(super) async fn read<L: Line>(
    connection: &mut Connection,
    judgements: &[i64],
) -> Result<HashMap<i64, Vec<L>>, sqlx::Error> {
    let select = format!("SELECT judgement_id, {} FROM {}", L::COLUMNS.join(", "), L::TABLE);
    let rows = rows(connection, &select, "judgement_id", judgements, "judgement_id, line").await?;
    gather(&rows)
}

/// Rows of lists, each list under its judgement.
pub(super) fn gather<L: Line>(rows: &[Row]) -> Result<HashMap<i64, Vec<L>>, sqlx::Error> {
    let mut lists = HashMap::<i64, Vec<L>>::new();
    for row in rows {
        lists.entry(row.try_get("judgement_id")?).or_default().push(L::read(row)?);
    }
    Ok(lists)
}
