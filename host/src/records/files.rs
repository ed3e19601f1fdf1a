//! The files that measurements stand on: kept as text by their hash, and read again into a fixture when codes are to
//! be understood. What was read by hand stands on a board file alone.

use std::collections::HashMap;
use std::sync::{Arc, Mutex, PoisonError};

use sqlx::Row as _;

use super::database::Connection;
use super::{Error, Store, SweepId};
use crate::fixture::{self, Fixture};
use crate::hash;
use crate::measurement::Basis;
use crate::{
    board::{self, Board},
    problem::Problems,
};

/// The files a sweep stands on, as they were.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Files {
    /// Text of the board file.
    pub board: String,
    /// Text of the fixture file; `None` by hand.
    pub fixture: Option<String>,
}

impl Files {
    /// What they describe.
    ///
    /// # Errors
    /// Files that this program no longer reads.
    pub fn setup(&self) -> Result<Setup, Problems> {
        let board = board::parse("board.toml", &self.board)?;
        Ok(match &self.fixture {
            Some(text) => Setup::Bed(Arc::new(fixture::parse("fixture.toml", text, board)?)),
            None => Setup::ByHand(Arc::new(board)),
        })
    }
}

/// What a measurement was made with.
#[derive(Clone, PartialEq, Debug)]
pub enum Setup {
    /// A bed of pins for its board.
    Bed(Arc<Fixture>),
    /// Two tips held on the board by a person.
    ByHand(Arc<Board>),
}

impl Setup {
    /// The board.
    pub fn board(&self) -> &Board {
        match self {
            Self::Bed(fixture) => &fixture.board,
            Self::ByHand(board) => board,
        }
    }

    /// The bed, if there was one.
    pub fn fixture(&self) -> Option<&Fixture> {
        match self {
            Self::Bed(fixture) => Some(fixture),
            Self::ByHand(_) => None,
        }
    }
}

/// Hash of a board file, and of a fixture file for it.
type Key = (String, Option<String>);

/// Setups by the hashes of their files: most sweeps of a store stand on a few.
#[derive(Clone, Debug, Default)]
pub(super) struct Shelf(Arc<Mutex<HashMap<Key, Setup>>>);

impl Shelf {
    fn lookup(&self, key: &Key) -> Option<Setup> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner).get(key).cloned()
    }

    fn put(&self, key: Key, setup: Setup) {
        self.0.lock().unwrap_or_else(PoisonError::into_inner).insert(key, setup);
    }
}

impl Store {
    /// The board and fixture files a sweep stands on, checked against their hashes.
    ///
    /// # Errors
    /// An unknown number; a damaged store; texts that are not those that were written.
    pub async fn files(&self, id: SweepId) -> Result<Files, Error> {
        let mut connection = self.reading().await?;
        let [head] = self.heads(&mut connection, [id]).await?;
        self.texts(&mut connection, &head?.basis).await
    }

    /// The texts, each as its hash says.
    pub(super) async fn texts(&self, connection: &mut Connection, basis: &Basis) -> Result<Files, Error> {
        let row = sqlx::query(
            "SELECT (SELECT source FROM board WHERE board_hash = $1) AS board,
                    (SELECT source FROM fixture WHERE fixture_hash = $2) AS fixture",
        );
        let read = async {
            let fixture_hash = basis.bed.as_ref().map(|bed| &bed.fixture_hash);
            let row = row.bind(&basis.board_hash).bind(fixture_hash).fetch_one(connection).await?;
            Ok((row.try_get("board")?, row.try_get("fixture")?))
        };
        let (board, fixture): (String, Option<String>) = read.await.map_err(|error| self.said(&error))?;
        let of_bed = basis.bed.as_ref().map(|bed| ("fixture", fixture.as_deref(), &bed.fixture_hash));
        for (what, text, hash) in
            [("board", Some(board.as_str()), &basis.board_hash)].into_iter().chain(of_bed)
        {
            let text = text.unwrap_or_default();
            if !super::seal(|| hash::of(text).into_bytes(), hash.as_bytes().to_vec()) {
                let what = format!("the {what} file with hash {hash}");
                return Err(Error::Altered { path: self.path.clone(), what });
            }
        }
        Ok(Files { board, fixture })
    }

    /// The setup of a basis.
    pub(super) async fn setup(&self, connection: &mut Connection, basis: &Basis) -> Result<Setup, Error> {
        let bed = basis.bed.as_ref();
        let key = (basis.board_hash.clone(), bed.map(|bed| bed.fixture_hash.clone()));
        if let Some(setup) = self.shelf.lookup(&key) {
            return Ok(setup);
        }
        let files = self.texts(connection, basis).await?;
        let setup = files.setup().map_err(|problems| Error::OldFiles {
            path: self.path.clone(),
            files: match bed {
                Some(bed) => format!("board {:?} and fixture {:?}", basis.board, bed.fixture),
                None => format!("the files of board {:?}", basis.board),
            },
            problems: problems.to_string(),
        })?;
        self.shelf.put(key, setup.clone());
        Ok(setup)
    }
}
