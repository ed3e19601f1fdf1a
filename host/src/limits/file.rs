//! A file of limits over a board:
//!
//! ```toml
//! format = 1
//! [limits]
//! "cell fuse" = { min = "200 mohm", max = "900 mohm" }
//! ```
//!
//! What it does not name keeps the board file's limit.

use std::path::Path;

use super::{LimitOrigin, LimitSet, Limits};
use crate::{
    board::{Board, SegmentId},
    document::{Item, Sheet, Table, Told},
    problem::Problems,
    quantity::Ohms,
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
        Ok(stated) => Ok(usual.overridden(stated, sheet.text())),
        Err(_) => Err(sheet.into_problems()),
    }
}

fn limits(sheet: &Sheet, board: &Board, usual: &LimitSet) -> Result<Vec<(SegmentId, Limits)>, Told> {
    let document = sheet.document()?;
    let root = Table::root(sheet, &document);
    root.format(FORMAT)?;
    root.only(&["format", "limits"]);
    let table = root
        .must("limits", r#"the table `[limits]` with lines such as "cell fuse" = { max = "900 mohm" }"#)
        .and_then(|item| item.table("[limits]", "write it as a table"))?;
    let names: Vec<&str> = board.segments.iter().map(|segment| segment.name.as_str()).collect();
    let stated: Vec<_> = table
        .items()
        .into_iter()
        .map(|(name, span, item)| match board.segment_named(name) {
            Some(id) => limit(&item, name, usual.of(id)).map(|limits| (id, limits)),
            None => Err(table.unknown("segment", name, span, &names)),
        })
        .collect();
    sheet.sound()?;
    stated.into_iter().collect()
}

/// The limits of one segment; what is not given stays as it is.
fn limit(item: &Item<'_>, name: &str, usual: &Limits) -> Result<Limits, Told> {
    let table = item.table(
        format!("`{name}`"),
        r#"write { min = "200 mohm", max = "900 mohm" }, either of them or both"#,
    )?;
    table.only(&["min", "max"]);
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
    }
}
