//! The record store: what was measured on which unit, for as long as the file lives. Append-only; one transaction
//! per sweep, on the disk before the result is shown.
//!
//! Read in this order: [`summary`] (what the store answers), `host/migrations/` (the tables, column by column),
//! `open` (what may be opened, and how), `head` and `judgement` (a measurement's row, a judgement with its lists), `write`
//! (a sweep in one transaction), `stored` (whole sweeps again), `history` (one unit), `lot` (many units), `catalogue` (all of them, in
//! memory), `logbook`
//! (what people write down), `readings` (what good segments read), [`status`] (where a unit stands in the work), `photo` with `picture` (photos of units).
//! `digest`, `ledger` and `check` see to it that neither an altered row nor a missing one passes; `copy` saves and
//! restores; `aside` keeps what a locked store could not take. `wilson` says how far a yield can be trusted. `rows`, `list`
//! and `value` turn values into columns, `raw` codes into bytes; `files` are the texts a sweep stands on, `proof` what was
//! found of its bench; [`text`] says
//! what people may type, `place` which names a unit's board has for it, [`slip`] what looks mistyped, `trade` what lots cost and units brought, `book` all of that of one lot, `coming` which
//! of the units of a list are new; [`path()`] where the
//! store lies.
//!
//! [`Store`] is the store for asynchronous callers. [`Records`] is the same for the command line.
//!
//! ```no_run
//! use copperwalk::records::{self, Records};
//! # fn f(sweep: &copperwalk::sweep::Sweep, fixture: &copperwalk::fixture::Fixture) -> Result<(), records::Error> {
//! let records = Records::open(&records::path(None)?)?;
//! let id = records.store(sweep, fixture)?;
//! assert_eq!(&records.sweep(id)?, sweep);
//! # Ok(()) }
//! ```

mod aside;
mod book;
pub mod burn_in;
mod catalogue;
mod check;
mod clock;
mod coming;
mod copy;
mod database;
mod digest;
mod error;
mod files;
mod head;
mod history;
mod judgement;
mod ledger;
mod list;
mod logbook;
mod lot;
mod near;
mod open;
mod path;
mod photo;
mod picture;
mod place;
mod proof;
mod raw;
mod readings;
mod rows;
mod schema;
pub mod slip;
pub mod status;
mod stored;
pub mod summary;
pub mod text;
mod touches;
mod trade;
mod value;
mod wilson;
mod write;

#[cfg(test)]
pub(crate) mod sample;
#[cfg(test)]
mod tests;

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

use sqlx::pool::PoolConnection;
use sqlx::sqlite::SqliteConnectOptions;
use tokio::runtime::{Builder, Runtime};

pub use catalogue::Catalogue;
pub use check::Findings;
pub use clock::now_us;
pub use coming::Coming;
pub use error::{Error, meant};
pub use files::{Files, Setup};
pub use near::near;
pub use path::{VARIABLE, is_named, path};
pub use picture::{INPUT_BYTES, PictureError};
pub use stored::{Numbered, Of, Stored};
pub use summary::{PhotoId, SweepId};

use crate::board::Board;
use crate::fixture::Fixture;
use crate::proof::Proof;
use crate::quantity::Ohms;
use crate::remedy::Taken;
use crate::sweep::{Judgement, Sweep};
use crate::trade::book::SaidOfLot;
use crate::trade::{Book, Dealing};
use status::Said;
use summary::{LotLine, LotSummary, PastJudgement, UnitHistory, UnitLine};

/// An open record store. Cheap to clone; clones share their connections.
#[derive(Clone, Debug)]
pub struct Store {
    path: PathBuf,
    pool: database::Pool,
    /// `None` where it was opened to read only.
    writer: Option<database::Pool>,
    shelf: files::Shelf,
    news: Arc<[String]>,
}

/// Is a row as it was written? `digest` is that of what was read, `kept` the one that stands beside it.
fn seal(digest: impl FnOnce() -> Vec<u8>, kept: Vec<u8>) -> bool {
    #[cfg(test)]
    if tests::UNSEALED.with(std::cell::Cell::get) {
        return true;
    }
    digest() == kept
}

impl Store {
    /// Opens the store at this path, creating it and the folders above it where they are missing.
    ///
    /// # Errors
    /// A place that cannot be written, a file that is no record store, a damaged one, one of a newer layout.
    pub async fn open(path: &Path) -> Result<Self, Error> {
        Self::open_with(path, SqliteConnectOptions::new().busy_timeout(open::PATIENCE)).await
    }

    async fn open_with(path: &Path, options: SqliteConnectOptions) -> Result<Self, Error> {
        let mut store = Self::open_alone(path, options).await?;
        store.news = aside::take_in(&store).await.into();
        Ok(store)
    }

    /// Opens for writing, and lets lie what lies beside it.
    async fn open_alone(path: &Path, options: SqliteConnectOptions) -> Result<Self, Error> {
        let path = open::absolute(path)?;
        let pool = open::open(&path, options).await?;
        let writer = Some(open::writer(&pool));
        Ok(Self { path, pool, writer, shelf: files::Shelf::default(), news: Arc::default() })
    }

    /// Opens the store at this path to read only. Creates and changes nothing, and needs no leave to write.
    ///
    /// # Errors
    /// No file there, and what [`Store::open`] says.
    pub async fn open_to_read(path: &Path) -> Result<Self, Error> {
        let path = open::absolute(path)?;
        let pool = open::open_to_read(&path).await?;
        Ok(Self::readable(path, pool))
    }

    /// The same for a store that nobody changes.
    async fn open_still(path: &Path) -> Result<Self, Error> {
        let path = open::absolute(path)?;
        let pool = open::still(&path).await?;
        Ok(Self::readable(path, pool))
    }

    fn readable(path: PathBuf, pool: database::Pool) -> Self {
        Self { path, pool, writer: None, shelf: files::Shelf::default(), news: Arc::default() }
    }

    /// What opening for writing did besides, a sentence each: sweeps that lay in files beside the store.
    pub fn news(&self) -> &[String] {
        &self.news
    }

    /// Does the store bear this mark?
    pub async fn is_marked(&self, mark: &str) -> Result<bool, Error> {
        let found: Result<Option<i64>, _> = sqlx::query_scalar("SELECT 1 FROM mark WHERE mark = $1")
            .bind(mark)
            .fetch_optional(&self.pool)
            .await;
        found.map(|found| found.is_some()).map_err(|error| self.said(&error))
    }

    /// Marks the store, once and for all.
    pub async fn mark(&self, mark: &str) -> Result<(), Error> {
        let mark = sqlx::query("INSERT INTO mark (mark) VALUES ($1) ON CONFLICT DO NOTHING").bind(mark);
        let mut connection = self.writing().await?;
        mark.execute(&mut *connection).await.map(drop).map_err(|error| self.said(&error))
    }

    async fn reading(&self) -> Result<PoolConnection<database::Database>, Error> {
        self.pool.acquire().await.map_err(|error| self.said(&error))
    }

    /// Where it lies; absolute.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Tidies up: what is in the write-ahead file goes into the store. Nothing is lost without it.
    pub async fn close(&self) {
        if let Some(writer) = &self.writer {
            writer.close().await;
        }
        self.pool.close().await;
    }

    fn altered(&self, what: String) -> Error {
        Error::Altered { path: self.path.clone(), what }
    }

    fn said(&self, error: &sqlx::Error) -> Error {
        Error::from_database(&self.path, error)
    }
}

/// The store for callers that wait: each method is [`Store`]'s of the same name, with its errors.
///
/// Not for use inside an asynchronous runtime: waiting there would stop everything else, and tokio forbids it.
/// None of them waits for ever: the thread that SQLite runs on belongs to a library, and if it died, whoever waits for
/// its answer would not be told.
#[derive(Debug)]
pub struct Records {
    runtime: Runtime,
    store: Store,
    /// An answer was given up; there is nobody to close the store with.
    silent: AtomicBool,
}

/// How long a question may take, over and above the whole file's time where all of the file is walked. Twelve times as
/// long as one waits for another program's lock, so that a lock is always told as a lock.
const ANSWER: Duration = Duration::from_secs(120);
/// What is read at least of a file that is walked as a whole, byte a second: a hundredth of what a cheap disk gives.
const SLOWEST_BYTES_PER_SECOND: u64 = 1 << 20;

#[allow(missing_docs)] // said once, above
impl Records {
    pub fn open(path: &Path) -> Result<Self, Error> {
        let runtime = runtime(path)?;
        let store = wait(&runtime, path, whole(path), Store::open(path))?;
        Ok(Self { runtime, store, silent: AtomicBool::new(false) })
    }

    pub fn open_to_read(path: &Path) -> Result<Self, Error> {
        let runtime = runtime(path)?;
        let store = wait(&runtime, path, whole(path), Store::open_to_read(path))?;
        Ok(Self { runtime, store, silent: AtomicBool::new(false) })
    }

    pub fn restore(from: &Path, to: &Path) -> Result<Findings, Error> {
        wait(&runtime(to)?, from, whole(from), copy::restore(from, to))
    }

    /// Waits for an answer of the store.
    fn ask<T>(&self, most: Duration, answer: impl Future<Output = Result<T, Error>>) -> Result<T, Error> {
        let answer = wait(&self.runtime, self.store.path(), most, answer);
        if matches!(answer, Err(Error::Silent { .. })) {
            self.silent.store(true, Ordering::Relaxed);
        }
        answer
    }

    pub fn path(&self) -> &Path {
        self.store.path()
    }

    pub fn news(&self) -> &[String] {
        self.store.news()
    }

    pub fn store(&self, sweep: &Sweep, fixture: &Fixture) -> Result<SweepId, Error> {
        self.ask(ANSWER, self.store.store(sweep, fixture))
    }

    /// See [`Store::store_by_hand`].
    #[allow(missing_docs)]
    pub fn store_by_hand(&self, sweep: &Sweep, board: &Board) -> Result<SweepId, Error> {
        self.ask(ANSWER, self.store.store_by_hand(sweep, board))
    }

    pub fn keep_proof(&self, proof: &Proof) -> Result<(), Error> {
        self.ask(ANSWER, self.store.keep_proof(proof))
    }

    pub fn latest_proof(&self, bench: &str, fixture: &str) -> Result<Option<Proof>, Error> {
        self.ask(ANSWER, self.store.latest_proof(bench, fixture))
    }

    pub fn keep_judgement(&self, id: SweepId, judgement: &Judgement, made_us: i64) -> Result<(), Error> {
        self.ask(ANSWER, self.store.keep_judgement(id, judgement, made_us))
    }

    pub fn numbers(&self, of: Of<'_>) -> Result<Vec<SweepId>, Error> {
        self.ask(ANSWER, self.store.numbers(of))
    }

    pub fn boards(&self, ids: &[SweepId]) -> Result<Vec<Board>, Error> {
        self.ask(ANSWER, self.store.boards(ids))
    }

    pub fn read(&self, ids: &[SweepId]) -> Result<Vec<Result<Stored, Error>>, Error> {
        self.ask(ANSWER, self.store.read(ids))
    }

    pub fn latest(&self, most: usize) -> Result<Vec<Numbered<Stored>>, Error> {
        self.ask(ANSWER, self.store.latest(most))
    }

    pub fn worked(&self) -> Result<Vec<summary::Worked>, Error> {
        self.ask(ANSWER, self.store.worked())
    }

    pub fn judgements(&self, id: SweepId) -> Result<Vec<PastJudgement>, Error> {
        self.ask(ANSWER, self.store.judgements(id))
    }

    pub fn void(&self, serial: &str, id: SweepId, at_us: i64, because: &str) -> Result<(), Error> {
        self.ask(ANSWER, self.store.void(serial, id, at_us, because))
    }

    pub fn check(&self) -> Result<Findings, Error> {
        self.ask(whole(self.path()), self.store.check())
    }

    pub fn save(&self, to: &Path) -> Result<(), Error> {
        self.ask(whole(self.path()), self.store.save(to))
    }

    pub fn is_marked(&self, mark: &str) -> Result<bool, Error> {
        self.ask(ANSWER, self.store.is_marked(mark))
    }

    pub fn mark(&self, mark: &str) -> Result<(), Error> {
        self.ask(ANSWER, self.store.mark(mark))
    }

    pub fn note(&self, serial: &str, at_us: i64, text: &str) -> Result<(), Error> {
        self.ask(ANSWER, self.store.note(serial, at_us, text))
    }

    pub fn repair(
        &self,
        serial: &str,
        at_us: i64,
        place: &str,
        action: &str,
        text: &str,
    ) -> Result<(), Error> {
        self.ask(ANSWER, self.store.repair(serial, at_us, place, action, text))
    }

    pub fn take(&self, serial: &str, at_us: i64, taken: &Taken, text: &str) -> Result<(), Error> {
        self.ask(ANSWER, self.store.take(serial, at_us, taken, text))
    }

    pub fn good_readings(&self, board_hash: &str) -> Result<BTreeMap<String, Vec<Ohms>>, Error> {
        self.ask(ANSWER, self.store.good_readings(board_hash))
    }

    pub fn board_of(&self, unit: &UnitHistory) -> Result<Option<Board>, Error> {
        self.ask(ANSWER, self.store.board_of(unit))
    }

    pub fn receive(&self, serials: &[String], lot: Option<&str>, at_us: i64) -> Result<(), Error> {
        self.ask(ANSWER, self.store.receive(serials, lot, at_us))
    }

    pub fn set_status(&self, serial: &str, at_us: i64, said: Said) -> Result<(), Error> {
        self.ask(ANSWER, self.store.set_status(serial, at_us, said))
    }

    pub fn tick(&self, serial: &str, at_us: i64, check: &str, done: bool, note: &str) -> Result<(), Error> {
        self.ask(ANSWER, self.store.tick(serial, at_us, check, done, note))
    }

    pub fn deal(&self, serial: &str, at_us: i64, dealing: &Dealing) -> Result<(), Error> {
        self.ask(ANSWER, self.store.deal(serial, at_us, dealing))
    }

    pub fn say_of_lot(&self, lot: &str, at_us: i64, said: &[SaidOfLot]) -> Result<(), Error> {
        self.ask(ANSWER, self.store.say_of_lot(lot, at_us, said))
    }

    pub fn book(&self, lot: &str) -> Result<Book, Error> {
        self.ask(ANSWER, self.store.book(lot))
    }

    pub fn keep_watch(&self, serial: &str, watch: &summary::WatchEntry) -> Result<(), Error> {
        self.ask(ANSWER, self.store.keep_watch(serial, watch))
    }

    pub fn keep_start(&self, serial: &str, start: &summary::StartEntry) -> Result<(), Error> {
        self.ask(ANSWER, self.store.keep_start(serial, start))
    }

    pub fn golden_starts(&self, board: &str, revision: &str) -> Result<Vec<String>, Error> {
        self.ask(ANSWER, self.store.golden_starts(board, revision))
    }

    pub fn photo(&self, serial: &str, at_us: i64, caption: &str, file: Vec<u8>) -> Result<PhotoId, Error> {
        self.ask(ANSWER, self.store.photo(serial, at_us, caption, file))
    }

    pub fn picture(&self, id: PhotoId) -> Result<Vec<u8>, Error> {
        self.ask(ANSWER, self.store.picture(id))
    }

    pub fn place(&self, serial: &str, place: &str) -> Result<String, Error> {
        self.ask(ANSWER, self.store.place(serial, place))
    }

    pub fn check_named(&self, serial: &str, check: &str) -> Result<String, Error> {
        self.ask(ANSWER, self.store.check_named(serial, check))
    }

    pub fn unit(&self, serial: &str) -> Result<UnitHistory, Error> {
        self.ask(ANSWER, self.store.unit(serial))
    }

    pub fn lot(&self, lot: &str) -> Result<LotSummary, Error> {
        self.ask(ANSWER, self.store.lot(lot))
    }

    pub fn sweep(&self, id: SweepId) -> Result<Sweep, Error> {
        self.ask(ANSWER, self.store.sweep(id))
    }

    pub fn files(&self, id: SweepId) -> Result<Files, Error> {
        self.ask(ANSWER, self.store.files(id))
    }

    pub fn doubts(&self, serial: &str, lot: Option<&str>, board: &Board) -> Vec<String> {
        // Nobody is kept from measuring by a store that does not answer.
        let asked = async { Ok(self.store.doubts(serial, lot, board).await) };
        self.ask(ANSWER, asked).unwrap_or_default()
    }

    pub fn lots(&self) -> Result<Vec<LotLine>, Error> {
        self.ask(ANSWER, self.store.lots())
    }

    pub fn lot_names(&self) -> Result<Vec<String>, Error> {
        self.ask(ANSWER, self.store.lot_names())
    }

    pub fn aside(&self, serial: &str) -> Result<Vec<PathBuf>, Error> {
        self.ask(whole(self.path()), async { Ok(self.store.aside(serial).await) })
    }

    pub fn take_in(&self) -> Result<Vec<String>, Error> {
        self.ask(ANSWER, async { Ok(self.store.take_in().await) })
    }

    pub fn units(&self) -> Result<Vec<UnitLine>, Error> {
        self.ask(ANSWER, self.store.units())
    }
}

/// How long it may take to walk all of a file.
fn whole(path: &Path) -> Duration {
    let bytes = path.metadata().map_or(0, |file| file.len());
    ANSWER + Duration::from_secs(bytes / SLOWEST_BYTES_PER_SECOND)
}

/// Waits for an answer about the store at `path`, but no longer than `most`.
fn wait<T>(
    runtime: &Runtime,
    path: &Path,
    most: Duration,
    answer: impl Future<Output = Result<T, Error>>,
) -> Result<T, Error> {
    // The time is taken inside the runtime, whose clock it is.
    let bounded = async { tokio::time::timeout(most, answer).await };
    runtime
        .block_on(bounded)
        .unwrap_or_else(|_| Err(Error::Silent { path: path.into(), seconds: most.as_secs() }))
}

fn runtime(path: &Path) -> Result<Runtime, Error> {
    Builder::new_current_thread()
        .enable_time()
        .build()
        .map_err(|error| Error::Unwritable { path: path.into(), reason: error.to_string() })
}

impl Drop for Records {
    fn drop(&mut self) {
        // Waiting is forbidden inside a runtime; then the write-ahead file simply stays, which is harmless.
        if tokio::runtime::Handle::try_current().is_err() && !self.silent.load(Ordering::Relaxed) {
            let close = async {
                self.store.close().await;
                Ok(())
            };
            // The same holds where nobody answers.
            let _ = self.ask(ANSWER, close);
        }
    }
}
