//! What `check` found, on a terminal: a good file in a few lines, of a bad one everything that is wrong.

use super::Screen;
use super::layout::paragraph;
use crate::check::{BoardSummary, Checked, FileSummary, Finding, FixtureSummary};
use crate::problem::render;
use crate::quantity::engineering;
use crate::report::words::counted;
use crate::visible::path as shown;

/// All files checked, one paragraph each.
pub fn check(checked: &[Checked], screen: Screen) -> String {
    checked.iter().map(|file| one(file, screen)).collect::<Vec<_>>().join("\n")
}

fn one(file: &Checked, screen: Screen) -> String {
    match &file.finding {
        Finding::Unusable(problems) => render(problems, screen.width, screen.colour),
        Finding::Usable { summary, warnings } => {
            let mut out = String::new();
            paragraph(&mut out, "✓ ", &shown(&file.path), screen.width);
            match summary {
                FileSummary::Board(board) => self::board(&mut out, board, screen),
                FileSummary::Fixture(fixture) => self::fixture(&mut out, fixture, screen),
            }
            out + &render(warnings, screen.width, screen.colour)
        }
    }
}

fn board(out: &mut String, board: &BoardSummary, screen: Screen) {
    let mut line = |text: String| paragraph(out, "  ", &text, screen.width);
    line(format!("board `{}`, revision {}", board.name, board.revision));
    line(
        [
            counted(board.points, "point", "points"),
            counted(board.segments, "segment", "segments"),
            counted(board.states, "state", "states"),
            counted(board.isolations, "isolation", "isolations"),
        ]
        .join(", "),
    );
    line(format!(
        "limits: {} stated, {} derived from the drop budget of {}",
        board.stated,
        board.derived,
        engineering(board.budget)
    ));
    if !board.assumed.is_empty() {
        line(format!("assumed, since the file does not say it: {}", board.assumed.join(", ")));
    }
    for way in &board.ways {
        line(format!(
            "{} → {}: {}, {} expected, {} with every segment at its limit",
            way.from,
            way.to,
            counted(way.segments, "segment", "segments"),
            engineering(way.expected),
            engineering(way.limit),
        ));
    }
}

fn fixture(out: &mut String, fixture: &FixtureSummary, screen: Screen) {
    let mut line = |text: String| paragraph(out, "  ", &text, screen.width);
    line(format!("fixture `{}` for board `{}`, revision {}", fixture.name, fixture.board, fixture.revision));
    line(format!(
        "{} force and {} sense pins on {} + {} channels, {}",
        fixture.pins[0],
        fixture.pins[1],
        fixture.channels[0],
        fixture.channels[1],
        counted(fixture.standards, "check standard", "check standards"),
    ));
    if fixture.standards == 0 {
        line("without a check standard no sweep on it can check the meter".into());
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::path::{Path, PathBuf};

    fn example(folder: &str, file: &str) -> PathBuf {
        Path::new(env!("CARGO_MANIFEST_DIR")).join("../fixtures").join(folder).join(file)
    }

    /// What is said of some files, their folders left out.
    fn said(paths: &[PathBuf]) -> String {
        let text = check(&crate::check::check(paths), Screen { width: 200, colour: false });
        let folders =
            paths.iter().filter_map(|path| path.parent()?.to_str()).filter(|folder| !folder.is_empty());
        folders.fold(text, |text, folder| text.replace(folder, "."))
    }

    #[test]
    fn a_good_board_is_summed_up() {
        assert_eq!(
            said(&[example("greenhouse-valve-driver", "board.toml")]),
            "✓ ./board.toml\n\
             \x20 board `greenhouse valve driver`, revision A2\n\
             \x20 37 points, 35 segments, 2 states, 3 isolations\n\
             \x20 limits: 32 stated, 3 derived from the drop budget of 2.00 Ω\n\
             \x20 in+ → drv.in: 20 segments, 321 mΩ expected, 929 mΩ with every segment at its limit\n\
             \x20 in+ → radio.in: 20 segments, 506 mΩ expected, 1.35 Ω with every segment at its limit\n"
        );
    }

    #[test]
    fn good_and_bad_files_stand_below_each_other() {
        assert_eq!(
            said(&[example("trail-counter", "fixture.toml"), "nonesuch.toml".into()]),
            "✓ ./fixture.toml\n\
             \x20 fixture `trail counter bed 1` for board `trail counter`, revision C\n\
             \x20 8 force and 16 sense pins on 16 + 48 channels, 1 check standard\n\
             \n\
             \x20 × nonesuch.toml cannot be read: No such file or directory (os error 2)\n\
             \x20 help: check the path\n"
        );
    }
}
