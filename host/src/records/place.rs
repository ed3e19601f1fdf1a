//! Names that people enter about a unit, held against its board: places of repairs, checks.

use super::near::near;
use super::summary::UnitHistory;
use super::{Error, Store};
use crate::board::{self, Board};
use crate::fitted::Wire;

impl Store {
    /// The place of a repair as the files of the unit's latest sweep name it: a segment, a point, or two points; or a wire fitted to it. Of a unit
    /// that has not been swept nothing is known that it could be held against, and any place is taken.
    ///
    /// # Errors
    /// [`Error::NoSuchPlace`] with names that look like it; an unknown unit; a damaged store.
    pub async fn place(&self, serial: &str, place: &str) -> Result<String, Error> {
        let history = self.unit(serial).await?;
        let Some(board) = self.board_of(&history).await? else { return Ok(place.into()) };
        let wires: Vec<String> = history.wires_before(i64::MAX).iter().map(Wire::name).collect();
        let is_point = |name: &str| board.point_named(name).is_some();
        let known = board.segment_named(place).is_some()
            || is_point(place)
            || wires.iter().any(|wire| wire == place)
            || place.split_once('~').is_some_and(|(a, b)| a != b && is_point(a) && is_point(b));
        if known {
            return Ok(place.into());
        }
        let names = board.segments.iter().map(|segment| &segment.name);
        let names = names.chain(board.points.iter().map(|point| &point.name));
        let near = near(place, names.cloned().chain(wires).collect());
        Err(Error::NoSuchPlace { place: place.into(), board: board.name, near })
    }

    /// A check as the board file of the unit's latest sweep names it.
    ///
    /// # Errors
    /// [`Error::NoSuchCheck`] with names that look like it; [`Error::NoBoard`] where no sweep says which checks there
    /// are; an unknown unit; a damaged store.
    pub async fn check_named(&self, serial: &str, check: &str) -> Result<String, Error> {
        let board = self.latest_board(serial).await?;
        let board = board.ok_or_else(|| Error::NoBoard { serial: serial.into() })?;
        if board.check_named(check).is_some() {
            return Ok(check.into());
        }
        let known: Vec<String> = board.checks.into_iter().map(|check| check.name).collect();
        let near = near(check, known.clone());
        Err(Error::NoSuchCheck { check: check.into(), board: board.name, near, known })
    }

    async fn latest_board(&self, serial: &str) -> Result<Option<Board>, Error> {
        self.board_of(&self.unit(serial).await?).await
    }

    /// The board of a unit's latest sweep, as its file was then; `None` if it has not been swept, or if the file is not
    /// read any more.
    ///
    /// # Errors
    /// A damaged store.
    pub async fn board_of(&self, history: &UnitHistory) -> Result<Option<Board>, Error> {
        let Some(latest) = history.sweeps().next_back() else { return Ok(None) };
        let files = self.files(latest.id).await?;
        Ok(board::parse("board.toml", &files.board).ok())
    }
}
