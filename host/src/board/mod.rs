//! Board files: read, validated as a whole, and turned into a [`Board`] that later modules may trust.
//!
//! Read [`Board`] (the outcome) first; then in the order a file passes through: `file` and `segment_file` (every value
//! with its place), [`expected`] and [`parts`] (what healthy segments read), `rules` (the board as a whole, over
//! [`network`]), [`limits`] (shares of the drop budget). `docs/board-files.md` explains the files to those who write
//! them.

pub mod expected;
mod file;
pub mod limits;
mod model;
pub mod network;
mod outline;
pub mod parts;
mod rules;
mod segment_file;

use std::path::Path;

use crate::document::Sheet;
use crate::problem::Problems;

pub use model::*;

/// Reads a board file.
///
/// # Errors
/// Everything wrong with the file, all at once.
pub fn read(path: &Path) -> Result<Board, Problems> {
    examine(Sheet::open(path)?).map(|(board, _)| board)
}

/// Reads a board from a text; `name` is what problems call the file.
///
/// # Errors
/// Everything wrong with the text, all at once.
pub fn parse(name: &str, text: &str) -> Result<Board, Problems> {
    examine(Sheet::new(name, text)).map(|(board, _)| board)
}

/// The board with what should be looked at although it can be used; or everything that is wrong.
pub(crate) fn examine(sheet: Sheet) -> Result<(Board, Problems), Problems> {
    match file::read(&sheet).and_then(|draft| rules::judge(&sheet, draft)) {
        Ok(board) => Ok((board, sheet.into_problems())),
        Err(_) => Err(sheet.into_problems()),
    }
}
