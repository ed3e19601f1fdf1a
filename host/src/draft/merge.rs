//! A draft into the files it came from, or into new ones.

use std::collections::BTreeSet;

use toml_edit::{ArrayOfTables, DocumentMut, InlineTable, Item, Key, Table, Value};

use super::open::{BOARD, FIXTURE, document};
use super::value::{set, to_json, update};
use super::{Draft, DraftError, Entry, Keys};
use crate::document::MAX_BYTES;

/// Both files.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Texts {
    /// `board.toml`.
    pub board: String,
    /// `fixture.toml`.
    pub fixture: String,
}

/// What new files begin as.
const NEW_BOARD: &str = "# Drawn with the board editor. docs/board-files.md explains every key; comments are kept.\nformat = 1\n\n[board]\n\n[supply]\n\n[states]\n\n[points]\n";
const NEW_FIXTURE: &str = "# The bed of pins for board.toml, with channels given by the board editor.\nformat = 1\n\n[fixture]\n\n[controller]\n\n[pins]\n";

/// Writes a draft into the texts of the files it was opened from; without them, into new ones. Whatever the draft does not change
/// stays as it is written.
///
/// # Errors
/// A text that is not TOML, something that was not in it, names twice, values that no file can hold, or too much of it all.
pub fn merge(draft: &Draft, base: Option<&Texts>) -> Result<Texts, DraftError> {
    draft.bounded()?;
    let mut board = document(BOARD, base.map_or(NEW_BOARD, |texts| &texts.board))?;
    let mut fixture = document(FIXTURE, base.map_or(NEW_FIXTURE, |texts| &texts.fixture))?;
    section(&mut board, BOARD, "board", &draft.board)?;
    section(&mut board, BOARD, "supply", &draft.supply)?;
    let states: Vec<Line> = draft
        .states
        .iter()
        .map(|state| (state.was.as_deref(), state.name.as_str(), Content::Text(&state.prompt)))
        .collect();
    lines(&mut board, BOARD, "states", &states)?;
    let points: Vec<Line> = draft
        .points
        .iter()
        .map(|point| (point.was.as_deref(), point.name.as_str(), Content::Keys(&point.keys)))
        .collect();
    lines(&mut board, BOARD, "points", &points)?;
    for (key, entries) in [
        ("segment", &draft.segments),
        ("isolation", &draft.isolation),
        ("keep_out", &draft.keep_outs),
        ("check", &draft.checks),
    ] {
        list(&mut board, key, entries)?;
    }
    power(&mut board, draft);
    section(&mut fixture, FIXTURE, "fixture", &draft.fixture)?;
    section(&mut fixture, FIXTURE, "controller", &draft.controller)?;
    let pins: Vec<Line> = draft
        .points
        .iter()
        .filter_map(|point| {
            let pins = Content::Keys(point.pins.as_ref()?);
            let known = point.was.as_deref().filter(|was| has(&fixture, "pins", was));
            Some((known, point.name.as_str(), pins))
        })
        .collect();
    // Lines for points that the board does not have stay: the check tells of them.
    let strangers = strangers(&fixture, draft, base)?;
    let strangers: Vec<Line> = strangers
        .iter()
        .map(|(name, keys)| (Some(name.as_str()), name.as_str(), Content::Keys(keys)))
        .collect();
    let pins = in_file_order(&fixture, pins, strangers);
    lines(&mut fixture, FIXTURE, "pins", &pins)?;
    let texts = Texts { board: board.to_string(), fixture: fixture.to_string() };
    match (texts.board.len().max(texts.fixture.len()) as u64) > MAX_BYTES {
        true => Err(DraftError::TooLong),
        false => Ok(texts),
    }
}

/// The editor does not draw rails and power, but renames points and states: they go with them.
fn power(board: &mut DocumentMut, draft: &Draft) {
    let points: Vec<_> = draft.points.iter().map(|point| (point.was.as_deref(), &*point.name)).collect();
    let states: Vec<_> = draft.states.iter().map(|state| (state.was.as_deref(), &*state.name)).collect();
    let rails = board.get_mut("rail").and_then(Item::as_array_of_tables_mut);
    for at in rails.into_iter().flat_map(ArrayOfTables::iter_mut).filter_map(|rail| rail.get_mut("at")) {
        follow(at, &points);
    }
    let power = board.get_mut("power").and_then(Item::as_table_like_mut);
    if let Some(state) = power.and_then(|power| power.get_mut("state")) {
        follow(state, &states);
    }
}

/// A name that something else in the file has: it becomes what that is called now.
fn follow(item: &mut Item, renamed: &[(Option<&str>, &str)]) {
    let Some(value) = item.as_value_mut() else { return };
    let Some(was) = value.as_str() else { return };
    let now = renamed.iter().find(|(before, now)| *before == Some(was) && *now != was);
    if let Some((_, now)) = now {
        let mut new = Value::from(*now);
        *new.decor_mut() = value.decor().clone();
        *value = new;
    }
}

/// A line of a table: what its key was, what it is, and what stands behind it.
type Line<'a> = (Option<&'a str>, &'a str, Content<'a>);

#[derive(Clone, Copy)]
enum Content<'a> {
    Text(&'a str),
    Keys(&'a Keys),
}

fn has(document: &DocumentMut, table: &str, key: &str) -> bool {
    document.get(table).and_then(Item::as_table_like).is_some_and(|table| table.contains_key(key))
}

/// Pins in the fixture file for points that the board file never had.
fn strangers(
    fixture: &DocumentMut,
    draft: &Draft,
    base: Option<&Texts>,
) -> Result<Vec<(String, Keys)>, DraftError> {
    let Some(base) = base else { return Ok(Vec::new()) };
    let before = document(BOARD, &base.board)?;
    let pins = fixture.get("pins").and_then(Item::as_table_like);
    let lines = pins.into_iter().flat_map(|table| table.iter());
    let strange = lines.filter(|(name, _)| {
        !has(&before, "points", name) && draft.points.iter().all(|point| point.name != *name)
    });
    Ok(strange
        .filter_map(|(name, item)| Some((name.to_owned(), to_json(item).as_object()?.clone())))
        .collect())
}

/// Lines that were in the file stay in its order, so that nothing moves; new ones follow.
fn in_file_order<'a>(file: &DocumentMut, pins: Vec<Line<'a>>, strangers: Vec<Line<'a>>) -> Vec<Line<'a>> {
    let order: Vec<&str> = file
        .get("pins")
        .and_then(Item::as_table_like)
        .map(|table| table.iter().map(|(key, _)| key).collect())
        .unwrap_or_default();
    let mut all: Vec<Line<'a>> = pins.into_iter().chain(strangers).collect();
    all.sort_by_key(|(was, ..)| {
        was.and_then(|was| order.iter().position(|key| *key == was)).unwrap_or(order.len())
    });
    all
}

/// A table with keys of its own.
fn section(
    document: &mut DocumentMut,
    file: &'static str,
    key: &'static str,
    wanted: &Keys,
) -> Result<(), DraftError> {
    if wanted.is_empty() && !document.contains_key(key) {
        return Ok(());
    }
    let item = document.entry(key).or_insert_with(|| Item::Table(Table::new()));
    update(item.as_table_like_mut().ok_or(DraftError::Unusual { file, key })?, wanted)
}

/// A table whose keys are names: lines keep their comments when they are renamed, and stand in the draft's order.
fn lines(
    document: &mut DocumentMut,
    file: &'static str,
    key: &'static str,
    wanted: &[Line<'_>],
) -> Result<(), DraftError> {
    let mut names = BTreeSet::new();
    if let Some((_, name, _)) = wanted.iter().find(|(_, name, _)| !names.insert(*name)) {
        return Err(DraftError::Twice { name: (*name).to_owned() });
    }
    if wanted.is_empty() {
        // A file without states has no such table; a file without points says so itself.
        if key == "states" || !document.contains_key(key) {
            document.remove(key);
            return Ok(());
        }
    }
    let item = document.entry(key).or_insert_with(|| Item::Table(Table::new()));
    let table = item.as_table_like_mut().ok_or(DraftError::Unusual { file, key })?;
    let before: Vec<String> = table.iter().map(|(name, _)| name.to_owned()).collect();
    let is_same = before.len() == wanted.len()
        && before
            .iter()
            .zip(wanted)
            .all(|(before, (was, name, _))| *was == Some(before.as_str()) && before == name);
    if !is_same {
        rebuild(table, &before, wanted)?;
    }
    for (_, name, content) in wanted {
        match content {
            Content::Text(text) => set(table, name, &(*text).into())?,
            Content::Keys(keys) => {
                let line = table.get_mut(name).and_then(Item::as_table_like_mut);
                update(line.ok_or(DraftError::Unusual { file, key })?, keys)?;
            }
        }
    }
    Ok(())
}

/// The same lines under the names and in the order that are wanted.
fn rebuild(
    table: &mut dyn toml_edit::TableLike,
    before: &[String],
    wanted: &[Line<'_>],
) -> Result<(), DraftError> {
    let mut kept: Vec<(Key, Item)> = Vec::new();
    for name in before {
        let key = table.key(name).cloned();
        if let (Some(key), Some(item)) = (key, table.remove(name)) {
            kept.push((key, item));
        }
    }
    for (was, name, content) in wanted {
        let found = was.map(|was| kept.iter().position(|(key, _)| key.get() == was));
        let (old, item) = match found {
            Some(Some(at)) => {
                let (key, item) = kept.swap_remove(at);
                (Some(key), item)
            }
            Some(None) => {
                return Err(DraftError::NotInFile { what: format!("{:?}", was.unwrap_or_default()) });
            }
            None => (
                None,
                Item::Value(match content {
                    Content::Text(_) => Value::from(""),
                    Content::Keys(_) => Value::InlineTable(InlineTable::new()),
                }),
            ),
        };
        let key = match old {
            Some(key) if key.get() == *name => key,
            Some(key) => Key::new(*name).with_leaf_decor(key.leaf_decor().clone()),
            None => Key::new(*name),
        };
        let entry = table.entry_format(&key);
        entry.or_insert(item);
    }
    Ok(())
}

/// The tables of a list: each that was there keeps its comments, and all stand in the draft's order.
fn list(document: &mut DocumentMut, key: &'static str, wanted: &[Entry]) -> Result<(), DraftError> {
    let before = match document.get(key) {
        None if wanted.is_empty() => return Ok(()),
        None => ArrayOfTables::new(),
        Some(item) => item.as_array_of_tables().cloned().ok_or(DraftError::Unusual { file: BOARD, key })?,
    };
    let mut kept: Vec<Option<Table>> = before.iter().cloned().map(Some).collect();
    let mut tables = Vec::with_capacity(wanted.len());
    for entry in wanted {
        let mut table = match entry.was {
            None => spaced(),
            Some(was) => kept
                .get_mut(was)
                .and_then(Option::take)
                .ok_or_else(|| DraftError::NotInFile { what: format!("{key} {}", was.saturating_add(1)) })?,
        };
        update(&mut table, &entry.keys)?;
        tables.push(table);
    }
    // Tables are written by their positions: those of the file, in the order of the draft.
    let mut positions: Vec<_> = tables.iter().filter_map(Table::position).collect();
    positions.sort_unstable();
    let mut positions = positions.into_iter();
    let mut list = ArrayOfTables::new();
    for mut table in tables {
        if table.position().is_some() {
            table.set_position(positions.next());
        }
        list.push(table);
    }
    match (list.is_empty(), document.get_mut(key)) {
        (true, _) => drop(document.remove(key)),
        (false, Some(item)) => *item = Item::ArrayOfTables(list),
        (false, None) => drop(document.insert(key, Item::ArrayOfTables(list))),
    }
    Ok(())
}

/// A new table, with an empty line before it.
fn spaced() -> Table {
    let mut table = Table::new();
    table.decor_mut().set_prefix("\n");
    table
}
