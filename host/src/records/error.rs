//! What can go wrong with records, said so that a person at the bench knows what to do next.
//!
//! Every message ends in a remedy, and says what state the records are in wherever that could be in doubt.

use std::path::{Path, PathBuf};

use super::picture::PictureError;
use super::summary::{PhotoId, SweepId};
use super::text::TextError;
use crate::quantity::money::TwoCurrencies;
use crate::raw::RawError;

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
    /// No file where a store was to be read.
    #[error(
        "there are no records at {}; see that --records or {} names the right file",
        path.display(),
        super::path::VARIABLE
    )]
    Missing {
        /// The store.
        path: PathBuf,
    },
    /// A folder, or something that is no file at all.
    #[error(
        "{} is {}, not a file; name a file with --records PATH",
        path.display(),
        if *is_folder { "a folder" } else { "a pipe, a socket or a device" }
    )]
    NotPlain {
        /// What was named.
        path: PathBuf,
        /// A folder?
        is_folder: bool,
    },
    /// Kept by a trial version.
    #[error(
        "the records in {} were kept by a trial version before the first release, in a layout that was given up; the \
         file was left as it is: read it with that version, and begin a new store with --records PATH",
        path.display()
    )]
    Trial {
        /// The store.
        path: PathBuf,
    },
    /// The latest records are in a write-ahead file that cannot be read where it lies.
    #[error(
        "the latest records of {} are still in the file beside it that ends in -wal, which can be read only where \
         files may be made: copy both to such a folder",
        path.display()
    )]
    Waiting {
        /// The store.
        path: PathBuf,
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
    /// A file that no photo can be made of.
    #[error(transparent)]
    Picture(#[from] PictureError),
    /// No photo has this number.
    #[error("no photo {id} in the records at {}; `copperwalk unit SN` names those of a unit", path.display())]
    UnknownPhoto {
        /// The store.
        path: PathBuf,
        /// What was asked for.
        id: PhotoId,
    },
    /// Raw codes that cannot be understood although they are as they were written.
    #[error(
        "the raw readings of sweep {sweep} in the records at {} cannot be read: {error}; its values and verdicts stand",
        path.display()
    )]
    Raw {
        /// The store.
        path: PathBuf,
        /// The sweep.
        sweep: SweepId,
        /// Why not.
        error: RawError,
    },
    /// Board and fixture files that this program no longer reads.
    #[error(
        "{files} as kept in the records at {} are not read by this program: {problems}",
        path.display()
    )]
    OldFiles {
        /// The store.
        path: PathBuf,
        /// The board, and the fixture if there is one.
        files: String,
        /// What is wrong with them.
        problems: String,
    },
    /// A row or a text that does not fit its digest.
    #[error(
        "{what} in the records at {} is not as it was written, so it is not shown; `copperwalk records check` names \
         everything that is wrong, and a copy made by `copperwalk records save` may still have it whole",
        path.display()
    )]
    Altered {
        /// The store.
        path: PathBuf,
        /// What was altered.
        what: String,
    },
    /// A copy with something wrong in it.
    #[error(
        "{} is not restored: {wrong} things in it are not as they were written; \
         `copperwalk --records {} records check` names them",
        path.display(), path.display()
    )]
    UnsoundCopy {
        /// The copy.
        path: PathBuf,
        /// How many.
        wrong: usize,
    },
    /// Something is where a new file was to be made.
    #[error("{} exists and is never written over; name another file, or put it aside first", path.display())]
    Exists {
        /// The file.
        path: PathBuf,
    },
    /// A sweep that is not of the unit it was said to be of.
    #[error("unit {serial:?} has no sweep {id} in the records at {}; {}", path.display(), numbered(known))]
    NotOfUnit {
        /// The store.
        path: PathBuf,
        /// The unit.
        serial: String,
        /// What was asked for.
        id: SweepId,
        /// The unit's sweeps.
        known: Vec<SweepId>,
    },
    /// A repair at a place that the unit's board does not have.
    #[error("board {board:?} has no segment or point {place:?}; {}", meant(near))]
    NoSuchPlace {
        /// As given.
        place: String,
        /// The board of the unit's latest sweep.
        board: String,
        /// Names that look like it.
        near: Vec<String>,
    },
    /// A check that the unit's board does not have.
    #[error("board {board:?} has no check {check:?}; {}", checks(near, known))]
    NoSuchCheck {
        /// As given.
        check: String,
        /// The board of the unit's latest sweep.
        board: String,
        /// Names that look like it.
        near: Vec<String>,
        /// Every name.
        known: Vec<String>,
    },
    /// A check of a unit of which no board is known.
    #[error("unit {serial:?} has not been swept, so nothing says which checks it has; sweep it first")]
    NoBoard {
        /// Serial number.
        serial: String,
    },
    /// A sweep that was declared void before.
    #[error("sweep {id} is declared void already, because: {because}; `copperwalk note` adds to that")]
    AlreadyVoid {
        /// The sweep.
        id: SweepId,
        /// The reason given then.
        because: String,
    },
    /// Amounts in two currencies.
    #[error("{0}; nothing was written")]
    Currencies(Box<TwoCurrencies>),
    /// More minutes than anybody works at a stretch.
    #[error(
        "{minutes} minutes are more than the {} that one entry takes; write them down in parts",
        super::trade::MOST_MINUTES
    )]
    LongWork {
        /// As given.
        minutes: u32,
    },
    /// A lot of no units, or of more than there are.
    #[error(
        "a lot of {units} units is none that was bought; give the number of units, 1 to {}",
        super::trade::MOST_UNITS
    )]
    LotSize {
        /// As given.
        units: u32,
    },
    /// The sale of a unit that was given up.
    #[error(
        "unit {serial:?} is scrapped, so it is not sold; if that was a slip, say `copperwalk status` with its serial number and \
         received first"
    )]
    NotForSale {
        /// The unit.
        serial: String,
    },
    /// The sale of a unit that is sold.
    #[error(
        "unit {serial:?} is sold already, for {price}; to correct that price say so (`--instead`, or the unit's page), and \
         if the buyer gave it back, `copperwalk returned` first"
    )]
    SoldAlready {
        /// The unit.
        serial: String,
        /// What it was sold for.
        price: String,
    },
    /// What can only happen to a unit that is sold.
    #[error("no price of unit {serial:?} is in the records; `copperwalk sold` writes a sale down first")]
    NotSold {
        /// The unit.
        serial: String,
    },
    /// A part put back that was not taken off.
    #[error(
        "no part {part:?} was taken off unit {serial:?}; name it as it was written down, `copperwalk unit` shows it"
    )]
    NotTaken {
        /// The unit.
        serial: String,
        /// The part.
        part: String,
    },
    /// A unit that gives a part to itself.
    #[error(
        "unit {serial:?} cannot be its own donor; name the unit that the part is for, or leave --for out"
    )]
    OwnSpare {
        /// The unit.
        serial: String,
    },
    /// The store was locked, and the sweep lies in a file beside it.
    #[error(
        "{} stayed locked by another program for {} s, so the sweep was put into {}: it is whole, and goes into the \
         records by itself the next time something is written to them",
        path.display(),
        super::open::PATIENCE.as_secs(),
        file.display()
    )]
    Aside {
        /// The store.
        path: PathBuf,
        /// The file beside it.
        file: PathBuf,
    },
    /// The store was locked, and no file could be made beside it.
    #[error(
        "{} stayed locked by another program and the sweep could not be put beside it ({error}): it is lost; sweep the \
         unit again",
        path.display()
    )]
    Lost {
        /// The store.
        path: PathBuf,
        /// Why not.
        error: Box<Error>,
    },
    /// No answer came in a time in which every answer does.
    #[error(
        "the records at {} gave no answer in {seconds} s, and waiting was given up; what was being written is there whole \
         or not at all: see with `copperwalk unit SN` which, then do it again; if it stops again, \
         `copperwalk records check`, and bring back the latest copy where that stops too",
        path.display()
    )]
    Silent {
        /// The store.
        path: PathBuf,
        /// How long was waited.
        seconds: u64,
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
pub fn meant(near: &[String]) -> String {
    let quoted: Vec<String> = near.iter().map(|name| format!("{name:?}")).collect();
    match quoted.split_last() {
        None => "see that it is spelt as it was, and that --records names the right file".into(),
        Some((only, [])) => format!("did you mean {only}?"),
        Some((last, others)) => format!("did you mean {} or {last}?", others.join(", ")),
    }
}

/// The check that was meant, or which there are.
fn checks(near: &[String], known: &[String]) -> String {
    match (near, known) {
        (_, []) => "its file lists none; add a [[check]] to it and sweep the unit again".into(),
        ([], _) => format!("its checks are {}", known.join(", ")),
        _ => meant(near),
    }
}

/// Which sweeps a unit has.
fn numbered(known: &[SweepId]) -> String {
    let numbers: Vec<String> = known.iter().map(ToString::to_string).collect();
    match numbers.as_slice() {
        [only] => format!("its only sweep is {only}"),
        _ => format!("its sweeps are {}", numbers.join(", ")),
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
