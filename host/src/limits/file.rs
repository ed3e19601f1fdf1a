//! A file of limits over a board:
//!
//! ```toml
//! format = 1
//! [limits]
//! "cell fuse" = { min = "200 mohm", max = "900 mohm" }
//! ```
//!
//! What it does not name keeps the board file's limit. A file that `copperwalk learn` wrote also says what the limits
//! were learned from: all of them in a table `[learned]`, each beside its limit. That is for people and records; only
//! the board it names is looked at.

use std::path::Path;

use super::{LimitOrigin, LimitSet, Limits};
use crate::{
    board::{Board, SegmentId, SegmentKind},
    document::{Item, Sheet, Table, Told},
    problem::Problems,
    quantity::{Ohms, clip},
};

/// Format this program reads.
const FORMAT: u32 = 1;
/// No limit is above this: the range of the meter.
const MOST: Ohms = Ohms(1e6);

/// Reads a file of limits for a board.
///
/// # Errors
/// Everything wrong with the file, all at once: unknown segments, wrong units, a `min` above its `max`.
pub fn read(path: &Path, board: &Board) -> Result<LimitSet, Problems> {
    of_sheet(Sheet::open(path)?, board)
}

/// The same with the file's text, for the record.
///
/// # Errors
/// As [`read`].
pub fn read_kept(path: &Path, board: &Board) -> Result<(LimitSet, String), Problems> {
    let sheet = Sheet::open(path)?;
    let text = sheet.text().to_owned();
    Ok((of_sheet(sheet, board)?, text))
}

/// Reads the text of such a file, which problems call `name`.
///
/// # Errors
/// As [`read`].
pub fn parse(name: &str, text: &str, board: &Board) -> Result<LimitSet, Problems> {
    of_sheet(Sheet::new(name, text), board)
}

fn of_sheet(sheet: Sheet, board: &Board) -> Result<LimitSet, Problems> {
    let usual = LimitSet::of_board(board);
    match limits(&sheet, board, &usual) {
        Ok((origin, stated)) => Ok(usual.overridden(stated, origin, sheet.text())),
        Err(_) => Err(sheet.into_problems()),
    }
}

/// Where they come from, in a word or two, and the limits that are stated.
type Stated = (&'static str, Vec<(SegmentId, Limits)>);

fn limits(sheet: &Sheet, board: &Board, usual: &LimitSet) -> Result<Stated, Told> {
    let document = sheet.document()?;
    let root = Table::root(sheet, &document);
    root.format(FORMAT)?;
    root.only(&["format", "learned", "limits"]);
    let origin = match root.item("learned") {
        Some(learned) => {
            of_this_board(&learned, board)?;
            "learned limits"
        }
        None => "limits file",
    };
    let table = root
        .must("limits", r#"the table `[limits]` with lines such as "cell fuse" = { max = "900 mohm" }"#)
        .and_then(|item| item.table("[limits]", "write it as a table"))?;
    let names: Vec<&str> = board.segments.iter().map(|segment| segment.name.as_str()).collect();
    let stated: Vec<_> = table
        .items()
        .into_iter()
        .map(|(name, span, item)| match board.segment_named(name) {
            Some(id) if matches!(board.segment(id).kind, SegmentKind::Diode { .. }) => Err(item.refuse(
                format!("`{name}` is a diode, whose limit is a voltage"),
                "state `max_forward` in the board file, and leave it out here",
            )),
            Some(id) => limit(&item, name, usual.of(id)).map(|limits| (id, limits)),
            None => Err(table.unknown("segment", name, span, &names)),
        })
        .collect();
    sheet.sound()?;
    Ok((origin, stated.into_iter().collect::<Result<_, _>>()?))
}

/// Were the limits learned on units of this board?
fn of_this_board(learned: &Item<'_>, board: &Board) -> Result<(), Told> {
    let table = learned.table("[learned]", "write it as a table, or leave it out")?;
    table.only(&[
        "board",
        "revision",
        "lot",
        "units",
        "serials",
        "first",
        "last",
        "coverage",
        "confidence",
        "basis",
    ]);
    let name = table.must("board", r#"board = "…", the name in the board file"#)?.text()?;
    let revision = table.must("revision", r#"revision = "…", that in the board file"#)?.text()?;
    if (name, revision) == (board.name.as_str(), board.revision.as_str()) {
        return Ok(());
    }
    Err(table.refuse(
        format!(
            "these limits were learned on board `{}`, revision `{}`, and this is board `{}`, revision `{}`",
            clip(name),
            clip(revision),
            board.name,
            board.revision
        ),
        "name the limits of this board, or learn them with `copperwalk learn`",
    ))
}

/// The limits of one segment; what is not given stays as it is.
fn limit(item: &Item<'_>, name: &str, usual: &Limits) -> Result<Limits, Told> {
    let table = item.table(
        format!("`{name}`"),
        r#"write { min = "200 mohm", max = "900 mohm" }, either of them or both"#,
    )?;
    // The rest is what `copperwalk learn` had it from.
    table.only(&["min", "max", "mean", "deviation", "factor"]);
    let ohms = |key| table.item(key).map(|item| item.ohms(Ohms::ZERO, MOST)).transpose();
    let (min, max) = (ohms("min")?, ohms("max")?);
    if min.is_none() && max.is_none() {
        return Err(table.refuse(
            format!("`{name}` states no limit"),
            r#"give min = "…", max = "…", or both, or take the line out"#,
        ));
    }
    let origin = if max.is_some() { LimitOrigin::Stated } else { usual.origin };
    let limits = Limits { min: min.or(usual.min), max: max.unwrap_or(usual.max), origin };
    match limits.min {
        Some(min) if min > limits.max => Err(table.refuse(
            format!("`min` of `{name}` is above its `max`"),
            format!(
                "the two are {} and {}; the one that is not stated here is the board file's",
                crate::quantity::engineering(min),
                crate::quantity::engineering(limits.max)
            ),
        )),
        _ => Ok(limits),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn board() -> Board {
        crate::board::parse("board.toml", include_str!("../../../fixtures/tide-gauge-head/board.toml"))
            .unwrap()
    }

    fn said(text: &str) -> String {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("limits.toml");
        std::fs::write(&path, text).unwrap();
        match read(&path, &board()) {
            Ok(_) => "read".into(),
            Err(problems) => problems.to_string(),
        }
    }

    #[test]
    fn a_file_replaces_what_it_names_and_nothing_else() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("limits.toml");
        std::fs::write(&path, "format = 1\n[limits]\n\"cell fuse\" = { max = \"600 mohm\" }\n").unwrap();
        let (board, set) = (board(), read(&path, &board()).unwrap());
        let usual = LimitSet::of_board(&board);
        for id in board.segment_ids() {
            let expected = if board.segment(id).name == "cell fuse" { Ohms(0.6) } else { usual.of(id).max };
            assert_eq!(set.of(id).max, expected, "{}", board.segment(id).name);
            assert_eq!(set.of(id).min, usual.of(id).min);
        }
        assert_eq!((set.origin(), usual.origin()), ("limits file", "board file"));
        assert_ne!(set.hash(), usual.hash());
    }

    #[test]
    fn what_cannot_be_meant_is_refused_with_a_remedy() {
        for (line, message) in [
            (
                "\"cell fues\" = { max = \"1 ohm\" }",
                "names the segment `cell fues`, which does not exist; did you mean `cell fuse`?",
            ),
            ("\"cell fuse\" = { max = \"1 V\" }", "1 V"),
            ("\"cell fuse\" = { max = 1 }", "cell fuse"),
            (
                "\"cell fuse\" = { min = \"2 ohm\", max = \"1 ohm\" }",
                "`min` of `cell fuse` is above its `max`",
            ),
            ("\"cell fuse\" = { min = \"2 ohm\" }", "`min` of `cell fuse` is above its `max`"),
            ("\"cell fuse\" = {}", "states no limit"),
        ] {
            let said = said(&format!("format = 1\n[limits]\n{line}\n"));
            assert!(said.contains(message), "{line}: {said}");
        }
        assert!(said("format = 1\n").contains("[limits]"));
        let learned = |board: &str| {
            said(&format!(
                "format = 1\n[learned]\nboard = \"{board}\"\nrevision = \"B\"\n[limits]\n\"cell fuse\" = {{ max = \"0.4 ohm\" }}\n"
            ))
        };
        let other = learned("trail counter");
        assert!(
            other.contains("learned on board `trail counter`, revision `B`, and this is board"),
            "{other}"
        );
    }
}
