//! Board and fixture file into a draft.

use toml_edit::{DocumentMut, Item, TableLike};

use super::value::{keys, to_json};
use super::{Draft, DraftError, Entry, Keys, PointEntry, StateEntry};

/// The board file of a draft.
pub const BOARD: &str = "board.toml";
/// Its fixture file.
pub const FIXTURE: &str = "fixture.toml";

/// Reads both files as data, whether they pass the check or not.
///
/// # Errors
/// A text that is not TOML, or parts written in a way that cannot be kept.
pub fn open(board: &str, fixture: &str) -> Result<Draft, DraftError> {
    let (board, fixture) = (document(BOARD, board)?, document(FIXTURE, fixture)?);
    let pins = table(&fixture, FIXTURE, "pins")?;
    let points = table(&board, BOARD, "points")?.into_iter().flat_map(TableLike::iter);
    let point = |(name, item): (&str, &Item)| {
        let keys_of = item.as_table_like().map(keys);
        let keys = keys_of.ok_or(DraftError::Unusual { file: BOARD, key: "points" })?;
        let pins = pins.and_then(|pins| pins.get(name)).map(|item| item.as_table_like().map(self::keys));
        let pins =
            pins.map(|pins| pins.ok_or(DraftError::Unusual { file: FIXTURE, key: "pins" })).transpose()?;
        Ok(PointEntry { was: Some(name.to_owned()), name: name.to_owned(), keys, pins })
    };
    let states = table(&board, BOARD, "states")?.into_iter().flat_map(TableLike::iter);
    let state = |(name, item): (&str, &Item)| {
        let prompt = to_json(item).as_str().map(str::to_owned);
        let prompt = prompt.ok_or(DraftError::Unusual { file: BOARD, key: "states" })?;
        Ok(StateEntry { was: Some(name.to_owned()), name: name.to_owned(), prompt })
    };
    let of = |document: &DocumentMut, file, key| -> Result<Keys, DraftError> {
        Ok(table(document, file, key)?.map(keys).unwrap_or_default())
    };
    let draft = Draft {
        board: of(&board, BOARD, "board")?,
        supply: of(&board, BOARD, "supply")?,
        states: states.map(state).collect::<Result<_, _>>()?,
        points: points.map(point).collect::<Result<_, _>>()?,
        segments: entries(&board, "segment")?,
        isolation: entries(&board, "isolation")?,
        keep_outs: entries(&board, "keep_out")?,
        checks: entries(&board, "check")?,
        fixture: of(&fixture, FIXTURE, "fixture")?,
        controller: of(&fixture, FIXTURE, "controller")?,
    };
    draft.bounded()?;
    Ok(draft)
}

/// A text with everything that stands in it.
pub(super) fn document(file: &'static str, text: &str) -> Result<DocumentMut, DraftError> {
    text.parse().map_err(|error: toml_edit::TomlError| DraftError::NotToml {
        file,
        detail: error.message().to_owned(),
    })
}

/// A table, if it is there.
fn table<'d>(
    document: &'d DocumentMut,
    file: &'static str,
    key: &'static str,
) -> Result<Option<&'d dyn TableLike>, DraftError> {
    let Some(item) = document.get(key) else { return Ok(None) };
    item.as_table_like().map(Some).ok_or(DraftError::Unusual { file, key })
}

/// The tables of a list, each with its number.
fn entries(document: &DocumentMut, key: &'static str) -> Result<Vec<Entry>, DraftError> {
    let Some(item) = document.get(key) else { return Ok(Vec::new()) };
    let tables = item.as_array_of_tables().ok_or(DraftError::Unusual { file: BOARD, key })?;
    Ok(tables.iter().enumerate().map(|(at, table)| Entry { was: Some(at), keys: keys(table) }).collect())
}
