//! The files that measurements stand on: kept as text by their hash, and read again into a fixture when codes are to
//! be understood.

use std::collections::HashMap;
use std::sync::{Arc, Mutex, PoisonError};

use sqlx::Row as _;

use super::database::Connection;
use super::{Error, Store, SweepId};
use crate::fixture::{self, Fixture};
use crate::hash;
use crate::measurement::Basis;
use crate::{board, problem::Problems};

/// The files a sweep stands on, as they were.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Files {
    /// Text of the board file.
    pub board: String,
    /// Text of the fixture file.
    pub fixture: String,
}

impl Files {
    /// The fixture they describe.
    ///
    /// # Errors
    /// Files that this program no longer reads.
    pub fn fixture(&self) -> Result<Fixture, Problems> {
        fixture::parse("fixture.toml", &self.fixture, board::parse("board.toml", &self.board)?)
    }
}

/// Fixtures by the hashes of their two files: most sweeps of a store stand on a few.
#[derive(Clone, Debug, Default)]
pub(super) struct Shelf(Arc<Mutex<HashMap<[String; 2], Arc<Fixture>>>>);

impl Shelf {
    fn lookup(&self, key: &[String; 2]) -> Option<Arc<Fixture>> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner).get(key).cloned()
    }

    fn put(&self, key: [String; 2], fixture: Arc<Fixture>) {
        self.0.lock().unwrap_or_else(PoisonError::into_inner).insert(key, fixture);
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

    /// The two texts, each as its hash says.
    pub(super) async fn texts(&self, connection: &mut Connection, basis: &Basis) -> Result<Files, Error> {
        let row = sqlx::query(
            "SELECT (SELECT source FROM board WHERE board_hash = $1) AS board,
                    (SELECT source FROM fixture WHERE fixture_hash = $2) AS fixture",
        );
        let read = async {
            let row = row.bind(&basis.board_hash).bind(&basis.fixture_hash).fetch_one(connection).await?;
            Ok((row.try_get("board")?, row.try_get("fixture")?))
        };
        let (board, fixture): (String, String) = read.await.map_err(|error| self.said(&error))?;
        for (what, text, hash) in
            [("board", &board, &basis.board_hash), ("fixture", &fixture, &basis.fixture_hash)]
        {
            if !super::seal(|| hash::of(text).into_bytes(), hash.as_bytes().to_vec()) {
                let what = format!("the {what} file with hash {hash}");
                return Err(Error::Altered { path: self.path.clone(), what });
            }
        }
        Ok(Files { board, fixture })
    }

    /// The fixture of a basis.
    pub(super) async fn fixture(
        &self,
        connection: &mut Connection,
        basis: &Basis,
    ) -> Result<Arc<Fixture>, Error> {
        let key = [basis.board_hash.clone(), basis.fixture_hash.clone()];
        if let Some(fixture) = self.shelf.lookup(&key) {
            return Ok(fixture);
        }
        let files = self.texts(connection, basis).await?;
        let fixture = files.fixture().map_err(|problems| Error::OldFiles {
            path: self.path.clone(),
            board: basis.board.clone(),
            fixture: basis.fixture.clone(),
            problems: problems.to_string(),
        })?;
        let fixture = Arc::new(fixture);
        self.shelf.put(key, Arc::clone(&fixture));
        Ok(fixture)
    }
}
