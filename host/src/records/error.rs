//! What can go wrong with records, said so that a person at the bench knows what to do next.
//!
//! Every message ends in a remedy, and says what state the records are in wherever that could be in doubt.

use std::path::{Path, PathBuf};

use super::summary::SweepId;
use super::text::TextError;

/// Why the record store could not do as asked.
#[derive(Debug, thiserror::Error)]
pub enum Error {
    /// Neither told where to keep records nor able to find out.
    #[error(
        "no place for the records: this computer names no data folder (HOME is not set); say --records PATH or \
         set {}",
        super::path::VARIABLE
    )]
    NoPlace,
    /// The folder or the file cannot be written.
    #[error(
        "cannot write records at {}: {reason}; choose a place you may write to with --records PATH",
        path.display()
    )]
    Unwritable {
        /// The store.
        path: PathBuf,
        /// What the system says.
        reason: String,
    },
    /// A file, but no record store.
    #[error(
        "{} is not a record store ({reason}); it was left untouched; name another file with --records PATH",
        path.display()
    )]
    NotAStore {
        /// The file.
        path: PathBuf,
        /// How that shows.
        reason: String,
    },
    /// A record store with parts missing or altered.
    #[error(
        "the records in {} are damaged ({reason}); the file was left as it is: put it aside, bring back the latest \
         copy of it, or begin a new one with --records PATH",
        path.display()
    )]
    Damaged {
        /// The store.
        path: PathBuf,
        /// How that shows.
        reason: String,
    },
    /// Written by a later version of this program.
    #[error(
        "the records in {} have layout {found}, this program knows layouts up to {known}: use the newer copperwalk \
         that wrote them",
        path.display()
    )]
    Newer {
        /// The store.
        path: PathBuf,
        /// Its layout.
        found: i64,
        /// The newest layout this program knows.
        known: i64,
    },
    /// The disk is full.
    #[error(
        "no space left for {}: nothing was half-written and all earlier records are whole; free some space, then \
         do it again (a sweep: sweep the unit again)",
        path.display()
    )]
    Full {
        /// The store.
        path: PathBuf,
    },
    /// Another program kept the store locked.
    #[error(
        "{} stayed locked by another program for {} s; nothing was written: see what else has it open, then do it \
         again",
        path.display(),
        super::open::PATIENCE.as_secs()
    )]
    Busy {
        /// The store.
        path: PathBuf,
    },
    /// Nothing is kept under this serial number.
    #[error("no unit {serial:?} in the records at {}; {}", path.display(), meant(near))]
    UnknownUnit {
        /// The store.
        path: PathBuf,
        /// What was asked for.
        serial: String,
        /// Serial numbers that look like it.
        near: Vec<String>,
    },
    /// No unit belongs to a lot of this name.
    #[error("no unit of a lot {lot:?} in the records at {}; {}", path.display(), meant(near))]
    UnknownLot {
        /// The store.
        path: PathBuf,
        /// What was asked for.
        lot: String,
        /// Lots that look like it.
        near: Vec<String>,
    },
    /// No sweep has this number.
    #[error("no sweep {id} in the records at {}; `copperwalk unit SN` names those of a unit", path.display())]
    UnknownSweep {
        /// The store.
        path: PathBuf,
        /// What was asked for.
        id: SweepId,
    },
    /// A serial number, a lot, a note … that cannot be kept.
    #[error(transparent)]
    Text(#[from] TextError),
    /// Raw codes in a layout of another version.
    #[error(
        "the raw codes of sweep {sweep} have layout {found}, this program reads layout {known}: its values and \
         verdicts stand, only judging it again takes the copperwalk that stored it"
    )]
    RawLayout {
        /// The sweep.
        sweep: SweepId,
        /// Layout it was stored in.
        found: i64,
        /// Layout of this program.
        known: i64,
    },
    /// The database refused for a reason that is none of the above.
    #[error("the record store {} refused: {reason}; nothing was written", path.display())]
    Refused {
        /// The store.
        path: PathBuf,
        /// What the database says.
        reason: String,
    },
}

/// `did you mean "A-1" or "A-2"?`, or what to do when nothing looks alike.
fn meant(near: &[String]) -> String {
    let quoted: Vec<String> = near.iter().map(|name| format!("{name:?}")).collect();
    match quoted.split_last() {
        None => "see that it is spelt as it was, and that --records names the right file".into(),
        Some((only, [])) => format!("did you mean {only}?"),
        Some((last, others)) => format!("did you mean {} or {last}?", others.join(", ")),
    }
}

impl Error {
    /// Sorts what the database reports.
    ///
    /// Numbers are SQLite's primary result codes, the low byte of an extended one (sqlite.org/rescode.html).
    pub(super) fn from_database(path: &Path, error: &sqlx::Error) -> Self {
        let path = path.to_owned();
        let reason = match error {
            sqlx::Error::Database(inner) => inner.message().to_owned(),
            other => other.to_string(),
        };
        let code = match error {
            sqlx::Error::Database(inner) => inner.code().and_then(|code| code.parse::<i32>().ok()),
            _ => None,
        };
        // Extended: the index that all programs share in memory could not grow. Seen on a full disk.
        if code == Some(4874) {
            return Self::Full { path };
        }
        match code.map(|code| code & 0xff) {
            Some(5 | 6) => Self::Busy { path }, // BUSY, LOCKED
            Some(3 | 8 | 10 | 14 | 23) => Self::Unwritable { path, reason }, // PERM, READONLY, IOERR, CANTOPEN, AUTH
            Some(11) => Self::Damaged { path, reason },                      // CORRUPT
            Some(13) => Self::Full { path },                                 // FULL
            Some(26) => Self::NotAStore { path, reason },                    // NOTADB
            _ => match error {
                sqlx::Error::PoolTimedOut => Self::Busy { path },
                sqlx::Error::ColumnDecode { .. }
                | sqlx::Error::Decode(_)
                | sqlx::Error::ColumnNotFound(_) => Self::Damaged { path, reason },
                _ => Self::Refused { path, reason },
            },
        }
    }
}
