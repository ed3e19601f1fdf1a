//! One bit of a store flipped: in its file, or in a cell of a table as another program would alter it.

use std::path::Path;

use sqlx::sqlite::{SqliteConnectOptions, SqliteRow, SqliteSynchronous};
use sqlx::{AssertSqlSafe, ConnectOptions as _, Connection as _, Executor as _, Row as _, SqliteConnection};
use tokio::runtime::{Builder, Runtime};

use crate::cases::Cases;

/// Flips one bit of bytes; says which.
pub fn flip(bytes: &mut [u8], cases: &mut Cases) -> usize {
    let bit = (cases.bits() % (bytes.len() as u64 * 8)) as usize;
    bytes[bit / 8] ^= 1 << (bit % 8);
    bit
}

/// A store opened by another program, with what keeps its records from being changed taken away for the time being.
pub struct Tables {
    runtime: Runtime,
    connection: SqliteConnection,
}

impl Tables {
    /// Opens a store that nobody else has open.
    pub fn open(store: &Path) -> Self {
        let runtime = Builder::new_current_thread().enable_time().build().unwrap();
        let options = SqliteConnectOptions::new()
            .filename(store)
            .foreign_keys(false)
            .synchronous(SqliteSynchronous::Off);
        let connection = runtime.block_on(options.connect()).unwrap();
        let mut tables = Self { runtime, connection };
        tables.run("PRAGMA ignore_check_constraints = ON").unwrap();
        tables
    }

    /// Every column of every table, by their names.
    pub fn columns(&mut self) -> Vec<(String, String)> {
        self.rows(
            "SELECT t.name, c.name FROM sqlite_schema AS t JOIN pragma_table_info(t.name) AS c
             WHERE t.type = 'table' ORDER BY t.name, c.cid",
        )
        .iter()
        .map(|row| (row.get(0), row.get(1)))
        .collect()
    }

    /// Flips a bit of a cell of this column; says what was done, or nothing where no row can have it.
    pub fn flip(&mut self, table: &str, column: &str, cases: &mut Cases) -> Option<String> {
        let triggers = self.rows("SELECT name, sql FROM sqlite_schema WHERE type = 'trigger'");
        let triggers: Vec<(String, String)> = triggers.iter().map(|row| (row.get(0), row.get(1))).collect();
        self.run("BEGIN").unwrap();
        for (name, _) in &triggers {
            self.run(&format!("DROP TRIGGER {name}")).unwrap();
        }
        let keys: Vec<String> = self
            .rows(&format!("SELECT name FROM pragma_table_info('{table}') WHERE pk > 0"))
            .iter()
            .map(|row| row.get(0))
            .collect();
        let key = keys.iter().map(|key| format!("'{key} IS ' || quote({key})")).collect::<Vec<_>>();
        let select = format!(
            "SELECT {}, typeof({column}), CAST({column} AS BLOB), {column} FROM {table}",
            key.join(" || ' AND ' || ")
        );
        let rows = self.rows(&select);
        // A key may collide with another; a few other bits are tried then.
        let done = (0..8).find_map(|_| {
            let row = cases.choose(&rows)?;
            let (place, kind): (String, String) = (row.get(0), row.get(1));
            let bit = cases.bits();
            let update = format!("UPDATE {table} SET {column} = $1 WHERE {place}");
            let query = sqlx::query(AssertSqlSafe(update));
            let query = match kind.as_str() {
                "integer" => query.bind(row.get_unchecked::<i64, _>(3) ^ (1 << (bit % 63))),
                "real" => {
                    query.bind(f64::from_bits(row.get_unchecked::<f64, _>(3).to_bits() ^ (1 << (bit % 64))))
                }
                "null" => query.bind(1),
                _ => {
                    let mut bytes: Vec<u8> = row.get_unchecked(2);
                    if bytes.is_empty() {
                        bytes.push(b'x');
                    } else {
                        flip(&mut bytes, cases);
                    }
                    if kind == "blob" {
                        query.bind(bytes)
                    } else {
                        let text: String = bytes.iter().map(|byte| format!("{byte:02x}")).collect();
                        let update =
                            format!("UPDATE {table} SET {column} = CAST(x'{text}' AS TEXT) WHERE {place}");
                        sqlx::query(AssertSqlSafe(update))
                    }
                }
            };
            let altered = self.runtime.block_on(query.execute(&mut self.connection)).ok()?;
            (altered.rows_affected() == 1).then(|| format!("{table}.{column} ({kind}) where {place}"))
        });
        for (_, sql) in &triggers {
            self.run(sql).unwrap();
        }
        self.run("COMMIT").unwrap();
        done
    }

    /// Closes it, so that everything is in the one file.
    pub fn close(self) {
        let Self { runtime, connection } = self;
        runtime.block_on(connection.close()).unwrap();
    }

    fn run(&mut self, sql: &str) -> Result<(), sqlx::Error> {
        self.runtime.block_on(self.connection.execute(AssertSqlSafe(sql.to_owned()))).map(drop)
    }

    fn rows(&mut self, sql: &str) -> Vec<SqliteRow> {
        let query = sqlx::query(AssertSqlSafe(sql.to_owned()));
        self.runtime.block_on(query.fetch_all(&mut self.connection)).unwrap()
    }
}
