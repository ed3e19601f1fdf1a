//! The database behind the store, named here and in `open.rs` only. The queries are plain SQL with `$1` parameters
//! and the tables have one folder per database, so a second one (PostgreSQL, for several benches) takes a second set
//! of these names, a second way of opening, and the choice between the two in [`Store`](super::Store).

pub(super) type Database = sqlx::Sqlite;
pub(super) type Pool = sqlx::Pool<Database>;
pub(super) type Connection = <Database as sqlx::Database>::Connection;
pub(super) type Row = <Database as sqlx::Database>::Row;
pub(super) type Query<'q> = sqlx::query::Query<'q, Database, <Database as sqlx::Database>::Arguments>;

/// Begins a transaction that writes. It takes SQLite's write lock at once: one that begins by reading could not wait
/// for it later, because what it has read would be out of date. (PostgreSQL: plain `BEGIN`.)
pub(super) const BEGIN: &str = "BEGIN IMMEDIATE";
