//! Places of a unit's board, as its files name them.

use super::near::near;
use super::{Error, Store};
use crate::board;

impl Store {
    /// The place of a repair as the files of the unit's latest sweep name it: a segment, a point, or two points.
    ///
    /// # Errors
    /// [`Error::NoSuchPlace`] with names that look like it; an unknown unit; a damaged store.
    pub async fn place(&self, serial: &str, place: &str) -> Result<String, Error> {
        let history = self.unit(serial).await?;
        let Some(latest) = history.sweeps().next_back() else { return Ok(place.into()) };
        let files = self.files(latest.id).await?;
        // Files that cannot be read any more keep nobody from writing a repair down.
        let Ok(board) = board::parse("board.toml", &files.board) else { return Ok(place.into()) };
        let is_point = |name: &str| board.point_named(name).is_some();
        let known = board.segment_named(place).is_some()
            || is_point(place)
            || place.split_once('~').is_some_and(|(a, b)| a != b && is_point(a) && is_point(b));
        if known {
            return Ok(place.into());
        }
        let names = board.segments.iter().map(|segment| &segment.name);
        let names = names.chain(board.points.iter().map(|point| &point.name));
        Err(Error::NoSuchPlace {
            place: place.into(),
            board: latest.basis.board.clone(),
            near: near(place, names.cloned().collect()),
        })
    }
}
