//! The record store: what was measured on which unit, for as long as the file lives. Append-only; one transaction
//! per sweep, on the disk before the result is shown.
//!
//! Read in this order: [`summary`] (what the store answers), `host/migrations/` (the tables, column by column),
//! `open` (what may be opened), `write`, `history` (one unit), `lot` (many units). `rows` and `raw` turn values into
//! columns and bytes; [`text`] says what people may type; [`path()`] where the file lies.
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

mod database;
mod error;
mod history;
mod lot;
mod near;
mod open;
mod path;
mod raw;
mod rows;
pub mod summary;
pub mod text;
mod write;

#[cfg(test)]
mod sample;
#[cfg(test)]
mod tests;

use std::path::{Path, PathBuf};

use sqlx::sqlite::SqliteConnectOptions;
use tokio::runtime::{Builder, Runtime};

pub use error::Error;
pub use path::{VARIABLE, path};
pub use summary::SweepId;

use crate::fixture::Fixture;
use crate::sweep::Sweep;
use summary::{LotLine, LotSummary, UnitHistory, UnitLine};

/// An open record store. Cheap to clone; clones share their connections.
#[derive(Clone, Debug)]
pub struct Store {
    path: PathBuf,
    pool: database::Pool,
}

/// The files a sweep was judged by, as they were.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Files {
    /// Text of the board file.
    pub board: String,
    /// Text of the fixture file.
    pub fixture: String,
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
        let path = open::absolute(path)?;
        let pool = open::open(&path, options).await?;
        Ok(Self { path, pool })
    }

    /// Where it lies; absolute.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Tidies up: what is in the write-ahead file goes into the store. Nothing is lost without it.
    pub async fn close(&self) {
        self.pool.close().await;
    }

    fn said(&self, error: &sqlx::Error) -> Error {
        Error::from_database(&self.path, error)
    }
}

/// The store for callers that wait: each method is [`Store`]'s of the same name, with its errors.
///
/// Not for use inside an asynchronous runtime: waiting there would stop everything else, and tokio forbids it.
#[derive(Debug)]
pub struct Records {
    runtime: Runtime,
    store: Store,
}

#[allow(missing_docs)] // said once, above
impl Records {
    pub fn open(path: &Path) -> Result<Self, Error> {
        let runtime = Builder::new_current_thread()
            .enable_time()
            .build()
            .map_err(|error| Error::Unwritable { path: path.into(), reason: error.to_string() })?;
        let store = runtime.block_on(Store::open(path))?;
        Ok(Self { runtime, store })
    }

    pub fn path(&self) -> &Path {
        self.store.path()
    }

    pub fn store(&self, sweep: &Sweep, fixture: &Fixture) -> Result<SweepId, Error> {
        self.runtime.block_on(self.store.store(sweep, fixture))
    }

    pub fn note(&self, serial: &str, at_us: i64, text: &str) -> Result<(), Error> {
        self.runtime.block_on(self.store.note(serial, at_us, text))
    }

    pub fn repair(
        &self,
        serial: &str,
        at_us: i64,
        place: &str,
        action: &str,
        text: &str,
    ) -> Result<(), Error> {
        self.runtime.block_on(self.store.repair(serial, at_us, place, action, text))
    }

    pub fn unit(&self, serial: &str) -> Result<UnitHistory, Error> {
        self.runtime.block_on(self.store.unit(serial))
    }

    pub fn lot(&self, lot: &str) -> Result<LotSummary, Error> {
        self.runtime.block_on(self.store.lot(lot))
    }

    pub fn sweep(&self, id: SweepId) -> Result<Sweep, Error> {
        self.runtime.block_on(self.store.sweep(id))
    }

    pub fn files(&self, id: SweepId) -> Result<Files, Error> {
        self.runtime.block_on(self.store.files(id))
    }

    pub fn lots(&self) -> Result<Vec<LotLine>, Error> {
        self.runtime.block_on(self.store.lots())
    }

    pub fn units(&self) -> Result<Vec<UnitLine>, Error> {
        self.runtime.block_on(self.store.units())
    }
}

impl Drop for Records {
    fn drop(&mut self) {
        // Waiting is forbidden inside a runtime; then the write-ahead file simply stays, which is harmless.
        if tokio::runtime::Handle::try_current().is_err() {
            self.runtime.block_on(self.store.close());
        }
    }
}
