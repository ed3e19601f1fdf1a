//! What `check` says: everything wrong in board and fixture files, or a short word on what they hold.

use std::fmt::Write;
use std::path::Path;

use crate::board::network::Network;
use crate::board::{self, Board, LimitOrigin, PointId};
use crate::document::{Sheet, Table};
use crate::fixture::{self, Fixture};
use crate::problem::{Problems, render};
use crate::quantity::engineering;

/// What was found in some files.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Checked {
    /// For a person: a paragraph per file, problems with their places.
    pub report: String,
    /// Can every one of the files be used?
    pub ok: bool,
}

/// Checks board and fixture files, told apart by their tables. `width` and `colour` are those of the
/// terminal, see [`render`].
pub fn check<P: AsRef<Path>>(paths: &[P], width: usize, colour: bool) -> Checked {
    let mut checked = Checked { report: String::new(), ok: true };
    for path in paths {
        if !checked.report.is_empty() {
            checked.report.push('\n');
        }
        match examine(path.as_ref()) {
            Ok((summary, warnings)) => {
                let _ = write!(
                    checked.report,
                    "{}: {summary}{}",
                    path.as_ref().display(),
                    render(&warnings, width, colour)
                );
            }
            Err(problems) => {
                checked.ok = false;
                checked.report += &render(&problems, width, colour);
            }
        }
    }
    checked
}

/// A good file's summary and its warnings.
fn examine(path: &Path) -> Result<(String, Problems), Problems> {
    let sheet = Sheet::open(path)?;
    let kind = sheet.document().and_then(|document| {
        let root = Table::root(&sheet, &document);
        match (root.item("board"), root.item("fixture")) {
            (Some(_), None) => Ok(Kind::Board),
            (None, Some(_)) => Ok(Kind::Fixture),
            (Some(_), Some(fixture)) => {
                Err(fixture.refuse("this is a board and a fixture at once", "make two files of it"))
            }
            (None, None) => Err(sheet.refuse(
                None,
                format!("{} is neither a board nor a fixture", path.display()),
                "a board file has the table [board], a fixture file the table [fixture]",
            )),
        }
    });
    match kind {
        Ok(Kind::Board) => {
            board::examine(sheet).usable().map(|(board, warnings)| (board_summary(&board), warnings))
        }
        Ok(Kind::Fixture) => {
            fixture::examine(path).map(|(fixture, warnings)| (fixture_summary(&fixture), warnings))
        }
        Err(_) => Err(sheet.into_problems()),
    }
}

enum Kind {
    Board,
    Fixture,
}

fn board_summary(board: &Board) -> String {
    let count = |origin| board.segments.iter().filter(|segment| segment.limits.origin == origin).count();
    let mut text = format!(
        "board `{}`, revision {}\n  {}, {}, {}, {}\n  limits: {} stated, {} derived from the drop budget of {}\n",
        board.name,
        board.revision,
        counted(board.points.len(), "point"),
        counted(board.segments.len(), "segment"),
        counted(board.states.len(), "state"),
        counted(board.isolation.len(), "insulation"),
        count(LimitOrigin::Stated),
        count(LimitOrigin::Derived),
        engineering(board.supply.max_drop_volts / board.supply.load_amps),
    );
    let network = Network::of(board);
    let name = |point: PointId| &board.point(point).name;
    for load in &board.supply.to {
        let path = network.path(board.supply.from, *load).unwrap_or_default();
        let sum =
            |ohms: fn(&board::Segment) -> f64| path.iter().map(|id| ohms(board.segment(*id))).sum::<f64>();
        let _ = writeln!(
            text,
            "  {} → {}: {}, {} expected, {} with every segment at its limit",
            name(board.supply.from),
            name(*load),
            counted(path.len(), "segment"),
            engineering(sum(|segment| segment.expected.typical_ohms)),
            engineering(sum(|segment| segment.limits.max_ohms)),
        );
    }
    text
}

fn counted(count: usize, what: &str) -> String {
    format!("{count} {what}{}", if count == 1 { "" } else { "s" })
}

fn fixture_summary(fixture: &Fixture) -> String {
    let count = |channel: fn(&fixture::Pins) -> Option<u16>| fixture.pins.iter().filter_map(channel).count();
    format!(
        "fixture `{}` for board `{}`, revision {}\n  {} force and {} sense pins on {} + {} channels, {}\n",
        fixture.name,
        fixture.board.name,
        fixture.board.revision,
        count(|pins| pins.force),
        count(|pins| pins.sense),
        fixture.force_channels,
        fixture.sense_channels,
        counted(fixture.standards.len(), "check standard"),
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::path::PathBuf;

    fn example(folder: &str, file: &str) -> PathBuf {
        Path::new(env!("CARGO_MANIFEST_DIR")).join("../fixtures").join(folder).join(file)
    }

    fn without_path(report: &str, path: &Path) -> String {
        report.replace(&path.display().to_string(), "FILE")
    }

    #[test]
    fn a_good_board_is_summed_up() {
        let path = example("greenhouse-valve-driver", "board.toml");
        let checked = check(&[&path], 80, false);
        assert!(checked.ok);
        assert_eq!(
            without_path(&checked.report, &path),
            "FILE: board `greenhouse valve driver`, revision A2\n\
             \x20 37 points, 35 segments, 2 states, 3 insulations\n\
             \x20 limits: 32 stated, 3 derived from the drop budget of 2.00 Ω\n\
             \x20 in+ → drv.in: 20 segments, 321 mΩ expected, 928 mΩ with every segment at its limit\n\
             \x20 in+ → radio.in: 20 segments, 506 mΩ expected, 1.35 Ω with every segment at its limit\n"
        );
    }

    #[test]
    fn one_bad_file_among_good_ones_fails_the_check() {
        let good = example("trail-counter", "fixture.toml");
        let checked = check(&[good.as_path(), Path::new("nonesuch.toml")], 80, false);
        assert!(!checked.ok);
        assert_eq!(
            without_path(&checked.report, &good),
            "FILE: fixture `trail counter bed 1` for board `trail counter`, revision C\n\
             \x20 8 force and 16 sense pins on 16 + 48 channels, 1 check standard\n\
             \n\
             \x20 × nonesuch.toml cannot be read: No such file or directory (os error 2)\n\
             \x20 help: check the path\n"
        );
    }
}
