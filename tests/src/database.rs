//! A record store as a plain database, for what the program itself never does: altering a row, holding the lock.
#![allow(clippy::expect_used, reason = "test equipment: a failed expectation is the message")]

use std::fmt;
use std::path::Path;

use sqlx::{AssertSqlSafe, Connection, SqliteConnection};
use tokio::runtime::{Builder, Runtime};

/// An open connection to a store.
pub struct Database {
    runtime: Runtime,
    connection: SqliteConnection,
}

impl fmt::Debug for Database {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        formatter.debug_struct("Database").finish_non_exhaustive()
    }
}

impl Database {
    /// Opens a store that is there.
    ///
    /// # Panics
    /// If it cannot be opened.
    pub fn open(path: &Path) -> Self {
        let runtime = Builder::new_current_thread().enable_all().build().expect("a runtime");
        let url = format!("sqlite://{}", path.display());
        let connection = runtime.block_on(SqliteConnection::connect(&url)).expect("a database");
        Self { runtime, connection }
    }

    /// Runs statements.
    ///
    /// # Panics
    /// If one is refused.
    pub fn run(&mut self, sql: &str) {
        let sql = sqlx::raw_sql(AssertSqlSafe(sql.to_owned()));
        self.runtime.block_on(sql.execute(&mut self.connection)).expect("statements that are taken");
    }

    /// The first column of the first row, a text.
    ///
    /// # Panics
    /// If there is none.
    pub fn text(&mut self, sql: &str) -> String {
        let query = sqlx::query_scalar(AssertSqlSafe(sql.to_owned()));
        self.runtime.block_on(query.fetch_one(&mut self.connection)).expect("a text")
    }

    /// Alters rows of a table that refuses it, and leaves the table as strict as it was.
    ///
    /// # Panics
    /// If the table has no such guard, or the statement is refused all the same.
    pub fn alter(&mut self, table: &str, update: &str) {
        let guard = format!("{table}_is_not_changed");
        let sql = self.text(&format!("SELECT sql FROM sqlite_master WHERE name = '{guard}'"));
        self.run(&format!("DROP TRIGGER {guard}; {update}; {sql};"));
    }

    /// Takes the lock that every writer needs; whoever writes waits until the connection is dropped.
    ///
    /// # Panics
    /// If another program has it.
    pub fn lock(&mut self) {
        self.run("BEGIN IMMEDIATE");
    }
}
