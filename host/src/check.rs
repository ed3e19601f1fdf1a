//! What `check` finds: everything wrong in board and fixture files, or what they hold. How it is shown stands in
//! [`crate::report::terminal`].

use std::path::{Path, PathBuf};

use crate::board::graph::Graph;
use crate::board::{self, Board, assumed};
use crate::document::{Sheet, Table, Told};
use crate::fixture::{self, Fixture, Pins};
use crate::limits::{LimitOrigin, LimitSet};
use crate::problem::Problems;
use crate::quantity::Ohms;

/// One file and what was found in it.
#[derive(Clone, PartialEq, Debug)]
pub struct Checked {
    /// The file.
    pub path: PathBuf,
    /// What was found.
    pub finding: Finding,
}

impl Checked {
    /// Can the file be used?
    pub fn usable(&self) -> bool {
        matches!(self.finding, Finding::Usable { .. })
    }
}

/// What was found in a file.
#[derive(Clone, PartialEq, Debug)]
pub enum Finding {
    /// It can be used.
    Usable {
        /// What it holds.
        summary: FileSummary,
        /// What should be looked at.
        warnings: Problems,
    },
    /// It cannot be used: why.
    Unusable(Problems),
}

/// What a good file holds.
#[derive(Clone, PartialEq, Debug)]
pub enum FileSummary {
    /// A board file.
    Board(BoardSummary),
    /// A fixture file.
    Fixture(FixtureSummary),
}

/// A board in figures.
#[derive(Clone, PartialEq, Debug)]
#[allow(missing_docs)] // counts of what their names say
pub struct BoardSummary {
    pub name: String,
    pub revision: String,
    pub points: usize,
    pub segments: usize,
    pub states: usize,
    pub isolations: usize,
    /// Upper limits that the file states.
    pub stated: usize,
    /// Upper limits that are a share of the drop budget.
    pub derived: usize,
    /// The drop budget.
    pub budget: Ohms,
    /// What the file does not say, with the values taken for it.
    pub assumed: Vec<String>,
    /// The way to each load.
    pub ways: Vec<WaySummary>,
}

/// The way from the supply to one load.
#[derive(Clone, PartialEq, Debug)]
pub struct WaySummary {
    /// Point the supply comes in at.
    pub from: String,
    /// Point the load is at.
    pub to: String,
    /// Segments on the way.
    pub segments: usize,
    /// Sum of what healthy segments read.
    pub expected: Ohms,
    /// Sum of the upper limits.
    pub limit: Ohms,
}

/// A fixture in figures.
#[derive(Clone, PartialEq, Debug)]
pub struct FixtureSummary {
    /// Name.
    pub name: String,
    /// Name of its board.
    pub board: String,
    /// Revision of its board.
    pub revision: String,
    /// Force and sense pins.
    pub pins: [usize; 2],
    /// Force and sense channels of the matrix it is made for.
    pub channels: [usize; 2],
    /// Check standards.
    pub standards: usize,
}

/// Checks board and fixture files, told apart by their tables.
pub fn check<P: AsRef<Path>>(paths: &[P]) -> Vec<Checked> {
    let checked = |path: &P| {
        let path = path.as_ref();
        let finding = match examine(path) {
            Ok((summary, warnings)) => Finding::Usable { summary, warnings },
            Err(problems) => Finding::Unusable(problems),
        };
        Checked { path: path.to_owned(), finding }
    };
    paths.iter().map(checked).collect()
}

/// A good file's summary and its warnings.
fn examine(path: &Path) -> Result<(FileSummary, Problems), Problems> {
    let sheet = Sheet::open(path)?;
    match kind(&sheet) {
        Ok(Kind::Board) => board::examine(sheet)
            .usable()
            .map(|(board, warnings)| (FileSummary::Board(board_summary(&board)), warnings)),
        Ok(Kind::Fixture) => fixture::examine(path)
            .map(|(fixture, warnings)| (FileSummary::Fixture(fixture_summary(&fixture)), warnings)),
        Err(_) => Err(sheet.into_problems()),
    }
}

/// What a file describes, told by its tables.
///
/// # Errors
/// It is no TOML, or both or neither of the two.
pub fn kind(sheet: &Sheet) -> Result<Kind, Told> {
    sheet.document().and_then(|document| {
        let root = Table::root(sheet, &document);
        match (root.item("board"), root.item("fixture")) {
            (Some(_), None) => Ok(Kind::Board),
            (None, Some(_)) => Ok(Kind::Fixture),
            (Some(_), Some(fixture)) => {
                Err(fixture.refuse("this is a board and a fixture at once", "make two files of it"))
            }
            (None, None) => Err(sheet.refuse(
                None,
                format!("{} is neither a board nor a fixture", sheet.name()),
                "a board file has the table [board], a fixture file the table [fixture]",
            )),
        }
    })
}

/// What a file describes.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[allow(missing_docs)]
pub enum Kind {
    Board,
    Fixture,
}

fn board_summary(board: &Board) -> BoardSummary {
    let limits = LimitSet::of_board(board);
    let count = |origin| board.segment_ids().filter(|&id| limits.of(id).origin == origin).count();
    let graph = Graph::of(board);
    let way = |&load| {
        let path = graph.path(board.supply.from, load).unwrap_or_default();
        WaySummary {
            from: board.point(board.supply.from).name.clone(),
            to: board.point(load).name.clone(),
            segments: path.len(),
            expected: path.iter().map(|&id| board.segment(id).expected.typical).sum(),
            limit: path.iter().map(|&id| limits.of(id).max).sum(),
        }
    };
    BoardSummary {
        name: board.name.clone(),
        revision: board.revision.clone(),
        points: board.points.len(),
        segments: board.segments.len(),
        states: board.states.len(),
        isolations: board.isolation.len(),
        stated: count(LimitOrigin::Stated),
        derived: count(LimitOrigin::Derived),
        budget: board.supply.max_drop / board.supply.load,
        assumed: board.assumed.iter().map(|&what| assumed::in_words(what, &board.supply)).collect(),
        ways: board.supply.to.iter().map(way).collect(),
    }
}

fn fixture_summary(fixture: &Fixture) -> FixtureSummary {
    FixtureSummary {
        name: fixture.name.clone(),
        board: fixture.board.name.clone(),
        revision: fixture.board.revision.clone(),
        pins: [
            fixture.pins.iter().filter_map(|pins: &Pins| pins.force).count(),
            fixture.pins.iter().filter_map(|pins: &Pins| pins.sense).count(),
        ],
        channels: [fixture.force_channels.into(), fixture.sense_channels.into()],
        standards: fixture.standards.len(),
    }
}
