//! Opening a store: find out what the file is before anything is written to it, then bring its layout up to date.
//!
//! Several programs may open one store at once, also one that does not exist yet. SQLite in its write-ahead mode
//! lets any number read while one writes; a second writer waits.

use std::fs::File;
use std::io::Read;
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

use sqlx::Connection as _;
use sqlx::migrate::{MigrateError, Migrator};
use sqlx::sqlite::{SqliteConnectOptions, SqlitePoolOptions, SqliteSynchronous};

use super::Error;
use super::database::{BEGIN, Connection, Pool};

/// How long to wait for another program's transaction. One sweep takes milliseconds; a backup tool may take seconds.
pub(super) const PATIENCE: Duration = Duration::from_secs(10);

/// The schema, compiled in.
static SCHEMA: Migrator = sqlx::migrate!("migrations/sqlite");

/// `application_id` of a record store, set by the first migration.
const APPLICATION_ID: i32 = 0x4377_5263;

/// Opens the store at `path`, which must be absolute; creates it and the folders above it where they are missing.
pub(super) async fn open(path: &Path, options: SqliteConnectOptions) -> Result<Pool, Error> {
    if let Some(folder) = path.parent() {
        std::fs::create_dir_all(folder)
            .map_err(|error| Error::Unwritable { path: path.into(), reason: error.to_string() })?;
    }
    is_database(path)?;
    let options = options
        .filename(path)
        .create_if_missing(true)
        .foreign_keys(true)
        // A record is on the disk before its result is shown, also through a power cut.
        .synchronous(SqliteSynchronous::Full)
        // Rows come from a thread of SQLite's own; a short queue would have the two threads wait in turn.
        .row_buffer_size(4096);
    let pool = SqlitePoolOptions::new()
        .max_connections(4)
        // A local file: connections neither age nor break.
        .idle_timeout(None)
        .max_lifetime(None)
        .test_before_acquire(false)
        .connect_lazy_with(options);
    match prepare(path, &pool).await {
        Ok(()) => Ok(pool),
        Err(error) => {
            pool.close().await;
            Err(error)
        }
    }
}

/// Absolute, so that a name like `:memory:` is a file like any other.
pub(super) fn absolute(path: &Path) -> Result<PathBuf, Error> {
    std::path::absolute(path)
        .map_err(|error| Error::Unwritable { path: path.into(), reason: error.to_string() })
}

/// A file that is there must begin like a database, or SQLite might take it for an empty one and write to it; and
/// it must end with a whole page, or SQLite would read the rest of it as zeros.
/// Source: sqlite.org/fileformat2.html, "Magic Header String" and "Page Size".
fn is_database(path: &Path) -> Result<(), Error> {
    let unreadable =
        |error: std::io::Error| Error::Unwritable { path: path.into(), reason: error.to_string() };
    let mut start = Vec::new();
    let length = match File::open(path) {
        Ok(file) => {
            let length = file.metadata().map_err(unreadable)?.len();
            file.take(18).read_to_end(&mut start).map_err(unreadable)?;
            length
        }
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => return Ok(()),
        Err(error) => return Err(unreadable(error)),
    };
    if start.is_empty() {
        return Ok(());
    }
    let Some(&[high, low]) = start.strip_prefix(b"SQLite format 3\0") else {
        return Err(Error::NotAStore { path: path.into(), reason: "it does not begin like one".into() });
    };
    let page = match u16::from_be_bytes([high, low]) {
        1 => 65_536,
        bytes => u64::from(bytes),
    };
    // While a write-ahead file is there, a torn end is mended from it.
    if length.is_multiple_of(page) || beside(path, "-wal").metadata().is_ok_and(|file| file.len() > 0) {
        return Ok(());
    }
    Err(Error::Damaged { path: path.into(), reason: "it ends in the middle of a page".into() })
}

/// The name of a file that SQLite keeps beside the store.
fn beside(path: &Path, ending: &str) -> PathBuf {
    let mut name = path.as_os_str().to_owned();
    name.push(ending);
    name.into()
}

async fn prepare(path: &Path, pool: &Pool) -> Result<(), Error> {
    let of = |error: sqlx::Error| Error::from_database(path, &error);
    let mut connection = pool.acquire().await.map_err(of)?;
    // In this order: whoever sees the tables that another program is just creating also sees whose they are.
    let tables: i64 = sqlx::query_scalar("SELECT count(*) FROM sqlite_schema")
        .fetch_one(&mut *connection)
        .await
        .map_err(of)?;
    let id: i32 =
        sqlx::query_scalar("PRAGMA application_id").fetch_one(&mut *connection).await.map_err(of)?;
    let known = SCHEMA.iter().map(|migration| migration.version).max().unwrap_or_default();
    let found = match (id, tables) {
        (APPLICATION_ID, _) => sqlx::query_scalar("SELECT max(version) FROM _sqlx_migrations")
            .fetch_one(&mut *connection)
            .await
            .map_err(of)?,
        (0, 0) => 0,
        _ => {
            let reason = "it is the database of another program".into();
            return Err(Error::NotAStore { path: path.into(), reason });
        }
    };
    if found > known {
        return Err(Error::Newer { path: path.into(), found, known });
    }
    if found < known {
        write_ahead(path, &mut connection).await?;
        migrate(path, &mut connection).await?;
    }
    Ok(())
}

/// Write-ahead mode stays with the file. Changing to it does not wait for locks by itself, and two programs may be
/// creating the store at the same time.
async fn write_ahead(path: &Path, connection: &mut Connection) -> Result<(), Error> {
    let began = Instant::now();
    loop {
        let changed = sqlx::query("PRAGMA journal_mode = WAL").execute(&mut *connection).await;
        match changed.map_err(|error| Error::from_database(path, &error)) {
            Err(Error::Busy { .. }) if began.elapsed() < PATIENCE => {
                tokio::time::sleep(Duration::from_millis(10)).await;
            }
            other => return other.map(drop),
        }
    }
}

/// All new migrations in one transaction that holds the write lock from the start: of two programs that open a new
/// store, one does it and the other finds it done.
async fn migrate(path: &Path, connection: &mut Connection) -> Result<(), Error> {
    let of = |error: sqlx::Error| Error::from_database(path, &error);
    let mut transaction = connection.begin_with(BEGIN).await.map_err(of)?;
    SCHEMA.run(&mut *transaction).await.map_err(|error| match error {
        MigrateError::Execute(error) | MigrateError::ExecuteMigration(error, _) => of(error),
        other => Error::Damaged { path: path.into(), reason: other.to_string() },
    })?;
    transaction.commit().await.map_err(of)
}
