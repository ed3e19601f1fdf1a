//! Opening a store: find out what the file is before anything is written to it, then bring its layout up to date. Or
//! open it to read only, which changes nothing anywhere and needs leave for nothing but reading.
//!
//! Several programs may open one store at once, also one that does not exist yet. SQLite in its write-ahead mode
//! lets any number read while one writes; a second writer waits.

use std::fs::File;
use std::io::Read;
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

use sqlx::Connection as _;
use sqlx::migrate::MigrateError;
use sqlx::sqlite::{SqliteConnectOptions, SqlitePoolOptions, SqliteSynchronous};

use super::Error;
use super::database::{BEGIN, Connection, Pool};
use super::schema::SCHEMA;

/// How long to wait for another program's transaction. One sweep takes milliseconds; a backup tool may take seconds.
pub(super) const PATIENCE: Duration = Duration::from_secs(10);

/// The longest store that SQLite's quick check walks before every opening for writing, byte. It reads about 300 MB a
/// second, so this is a tenth of a second; a longer store is walked by `records check` only.
const QUICK_CHECK_BYTES: u64 = 32 << 20;

/// Bytes of a page in a new store. A sweep's raw codes take 2 to 5 kB: in pages of 4 kB a third of the file was empty, in
/// these it is a twentieth (dbstat of 200 sweeps of one board; 1 and 8 kB pack less well).
pub(super) const PAGE_BYTES: u32 = 2048;

/// `application_id` of a record store, set by the first migration.
const APPLICATION_ID: i32 = 0x4377_5276;
/// The same of stores that trial versions kept, whose layouts were given up before the first release.
const TRIAL_IDS: [i32; 5] = [0x4377_5263, 0x4377_5265, 0x4377_5273, 0x4377_5274, 0x4377_5275];

/// Opens the store at `path`, which must be absolute; creates it and the folders above it where they are missing.
pub(super) async fn open(path: &Path, options: SqliteConnectOptions) -> Result<Pool, Error> {
    if let Some(folder) = path.parent() {
        std::fs::create_dir_all(folder)
            .map_err(|error| Error::Unwritable { path: path.into(), reason: error.to_string() })?;
    }
    look(path)?;
    let options = options
        .filename(path)
        .create_if_missing(true)
        .page_size(PAGE_BYTES)
        .foreign_keys(true)
        // A record is on the disk before its result is shown, also through a power cut.
        .synchronous(SqliteSynchronous::Full);
    let pool = pool(options);
    match prepare(path, &pool).await {
        Ok(()) => Ok(pool),
        Err(error) => {
            pool.close().await;
            Err(error)
        }
    }
}

/// Opens the store at `path`, which must be absolute, to read only.
///
/// SQLite needs two files beside a store in write-ahead mode, also for reading. Where they cannot be made (read-only
/// media, a folder of somebody else's, a full disk) and nothing is waiting in a write-ahead file, the store is read
/// as a file that nobody changes: whoever could change it would have had to make those files.
pub(super) async fn open_to_read(path: &Path) -> Result<Pool, Error> {
    if !look(path)? {
        return Err(Error::Missing { path: path.into() });
    }
    let options = SqliteConnectOptions::new()
        .filename(path)
        .create_if_missing(false)
        .busy_timeout(PATIENCE)
        .pragma("query_only", "ON");
    let shared = pool(options);
    let error = match layout(path, &shared).await.and_then(|found| known(path, found)) {
        Ok(_) => return Ok(shared),
        Err(error) => error,
    };
    shared.close().await;
    if !matches!(error, Error::Unwritable { .. } | Error::Full { .. }) {
        return Err(error);
    }
    if is_filled(&beside(path, "-wal")) {
        return Err(Error::Waiting { path: path.into() });
    }
    still(path).await
}

/// Opens a store that nobody changes, to read only and without any file beside it.
pub(super) async fn still(path: &Path) -> Result<Pool, Error> {
    if !look(path)? {
        return Err(Error::Missing { path: path.into() });
    }
    let options = SqliteConnectOptions::new().filename(path).pragma("query_only", "ON");
    let still = pool(options.read_only(true).immutable(true));
    match layout(path, &still).await.and_then(|found| known(path, found)) {
        Ok(_) => Ok(still),
        Err(error) => {
            still.close().await;
            Err(error)
        }
    }
}

/// The connection to write with. One, because SQLite lets one write at a time: whoever waits for another program's lock then
/// keeps nobody from reading, and whoever waits for that one is told as soon.
pub(super) fn writer(readers: &Pool) -> Pool {
    let options = readers.connect_options().as_ref().clone();
    readers.options().clone().max_connections(1).acquire_timeout(PATIENCE).connect_lazy_with(options)
}

fn pool(options: SqliteConnectOptions) -> Pool {
    SqlitePoolOptions::new()
        .max_connections(4)
        // A local file: connections neither age nor break.
        .idle_timeout(None)
        .max_lifetime(None)
        .test_before_acquire(false)
        // Rows come from a thread of SQLite's own; a short queue would have the two threads wait in turn.
        .connect_lazy_with(options.row_buffer_size(4096))
}

/// Absolute, so that a name like `:memory:` is a file like any other.
pub(super) fn absolute(path: &Path) -> Result<PathBuf, Error> {
    std::path::absolute(path)
        .map_err(|error| Error::Unwritable { path: path.into(), reason: error.to_string() })
}

/// Is there a file, and may it be opened? It must be a plain one: to open a pipe or a device may wait for ever. It must
/// begin like a database, or SQLite might take it for an empty one and write to it; and it must end with a whole
/// page, or SQLite would read the rest of it as zeros.
/// Source: sqlite.org/fileformat2.html, "Magic Header String" and "Page Size".
fn look(path: &Path) -> Result<bool, Error> {
    let unreadable =
        |error: std::io::Error| Error::Unwritable { path: path.into(), reason: error.to_string() };
    let length = match path.metadata() {
        Ok(file) if file.is_file() => file.len(),
        Ok(file) => return Err(Error::NotPlain { path: path.into(), is_folder: file.is_dir() }),
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => return Ok(false),
        Err(error) => return Err(unreadable(error)),
    };
    let mut start = Vec::new();
    File::open(path).and_then(|file| file.take(18).read_to_end(&mut start)).map_err(unreadable)?;
    if start.is_empty() {
        return Ok(true);
    }
    let Some(&[high, low]) = start.strip_prefix(b"SQLite format 3\0") else {
        return Err(Error::NotAStore { path: path.into(), reason: "it does not begin like one".into() });
    };
    let page = match u16::from_be_bytes([high, low]) {
        1 => 65_536,
        bytes => u64::from(bytes),
    };
    // While a write-ahead file is there, a torn end is mended from it.
    if page > 0 && length.is_multiple_of(page) || is_filled(&beside(path, "-wal")) {
        return Ok(true);
    }
    Err(Error::Damaged { path: path.into(), reason: "it ends in the middle of a page".into() })
}

pub(super) fn is_filled(path: &Path) -> bool {
    path.metadata().is_ok_and(|file| file.len() > 0)
}

/// The name of a file that is kept beside the store.
pub(super) fn beside(path: &Path, ending: &str) -> PathBuf {
    let mut name = path.as_os_str().to_owned();
    name.push(ending);
    name.into()
}

/// What the tables in a file are.
struct Layout {
    /// The latest migration that made them.
    version: i64,
    /// The first definition that is not as those migrations made it.
    altered: Option<String>,
}

/// The layout of the tables in a file, for every opening; `None` where there are no tables yet.
async fn layout(path: &Path, pool: &Pool) -> Result<Option<Layout>, Error> {
    let of = |error: sqlx::Error| Error::from_database(path, &error);
    let mut connection = pool.acquire().await.map_err(of)?;
    // Another program may be creating the tables just now: all of them are seen, or none.
    let mut snapshot = connection.begin().await.map_err(of)?;
    let definitions = definitions(&mut snapshot).await.map_err(of)?;
    let id: i32 = sqlx::query_scalar("PRAGMA application_id").fetch_one(&mut *snapshot).await.map_err(of)?;
    match (id, definitions.len()) {
        (APPLICATION_ID, _) => {
            let definitions = texts(&definitions).map_err(|name| not_as_made(path, &name))?;
            let version: i64 = sqlx::query_scalar("SELECT max(version) FROM _sqlx_migrations")
                .fetch_one(&mut *snapshot)
                .await
                .map_err(of)?;
            Ok(Some(Layout { version, altered: altered(&definitions, version) }))
        }
        (0, 0) => Ok(None),
        (id, _) if TRIAL_IDS.contains(&id) => Err(Error::Trial { path: path.into() }),
        _ => {
            let reason = "it is the database of another program".into();
            Err(Error::NotAStore { path: path.into(), reason })
        }
    }
}

/// Name and text of a table, an index or a trigger, as bytes.
type Definition = (Vec<u8>, Vec<u8>);

/// Every definition in a file. As bytes, because a text that is none ends the thread that sqlx reads with.
async fn definitions(connection: &mut Connection) -> Result<Vec<Definition>, sqlx::Error> {
    sqlx::query_as("SELECT CAST(name AS BLOB), CAST(coalesce(sql, '') AS BLOB) FROM sqlite_schema")
        .fetch_all(connection)
        .await
}

/// The definitions as texts, or the name of the first that is none: its columns' names and types would end the reading
/// thread on the first query of its table, and whoever waits for that would wait for ever.
fn texts(definitions: &[Definition]) -> Result<Vec<(&str, &str)>, String> {
    definitions
        .iter()
        .map(|(name, sql)| match (std::str::from_utf8(name), std::str::from_utf8(sql)) {
            (Ok(name), Ok(sql)) => Ok((name, sql)),
            _ => Err(String::from_utf8_lossy(name).into_owned()),
        })
        .collect()
}

/// The first table, index or trigger that is not as the migrations up to this one made it, if any is not. SQLite keeps
/// the text of each statement.
fn altered(definitions: &[(&str, &str)], version: i64) -> Option<String> {
    let migrations = SCHEMA.iter().filter(|migration| migration.version <= version);
    let text: String = migrations.map(|migration| migration.sql.as_str()).collect();
    // sqlx keeps its list of migrations in a table of its own; an index that SQLite makes by itself has no text.
    let kept = definitions.iter().filter(|(name, sql)| !sql.is_empty() && *name != "_sqlx_migrations");
    if let Some((name, _)) = kept.clone().find(|(_, sql)| !text.contains(sql)) {
        return Some((*name).to_owned());
    }
    let made = text.lines().filter(|line| line.starts_with("CREATE ")).count();
    (kept.count() != made).then(|| format!("one of {made} tables, indexes and triggers"))
}

/// [`altered`], asked by itself of a store that has been opened.
pub(super) async fn altered_now(path: &Path, pool: &Pool) -> Result<Option<String>, Error> {
    Ok(layout(path, pool).await?.and_then(|layout| layout.altered))
}

/// How a definition that was altered is told.
pub(super) fn words_for_altered(name: &str) -> String {
    format!("the definition of {name} is not as this program made it")
}

fn not_as_made(path: &Path, name: &str) -> Error {
    Error::Damaged { path: path.into(), reason: words_for_altered(name) }
}

/// The newest layout this program knows.
fn newest() -> i64 {
    SCHEMA.iter().map(|migration| migration.version).max().unwrap_or_default()
}

/// A layout to read from: there, and no newer than this program.
fn known(path: &Path, found: Option<Layout>) -> Result<Layout, Error> {
    let Some(found) = found else {
        return Err(Error::NotAStore { path: path.into(), reason: "it is empty".into() });
    };
    if found.version > newest() {
        return Err(Error::Newer { path: path.into(), found: found.version, known: newest() });
    }
    Ok(found)
}

/// Nothing is written to a store that fails its quick check, or whose tables are not as this program made them.
async fn prepare(path: &Path, pool: &Pool) -> Result<(), Error> {
    let found = layout(path, pool).await?;
    let mut connection = pool.acquire().await.map_err(|error| Error::from_database(path, &error))?;
    let mut version = 0;
    if found.is_some() {
        let found = known(path, found)?;
        quick_check(path, &mut connection).await?;
        if let Some(name) = found.altered {
            return Err(not_as_made(path, &name));
        }
        version = found.version;
    }
    if version < newest() {
        write_ahead(path, &mut connection).await?;
        migrate(path, &mut connection).await?;
    }
    Ok(())
}

async fn quick_check(path: &Path, connection: &mut Connection) -> Result<(), Error> {
    if path.metadata().is_ok_and(|file| file.len() > QUICK_CHECK_BYTES) {
        return Ok(());
    }
    let said: Result<String, _> =
        sqlx::query_scalar("PRAGMA quick_check(1)").fetch_one(&mut *connection).await;
    match said.map_err(|error| Error::from_database(path, &error))? {
        said if said == "ok" => Ok(()),
        said => Err(Error::Damaged { path: path.into(), reason: said }),
    }
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
