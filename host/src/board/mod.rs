//! Board files: read, validated as a whole, and turned into a [`Board`] that later modules may trust.
//!
//! Read [`Board`] (the outcome) first; then in the order a file passes through: `file` (every value with its
//! place), [`assumed`] (what it may leave out), [`expected`] and [`parts`] (what healthy segments read), [`thermal`] and [`placement`] (what shifts a reading of them), `rules` (the board as a whole, over
//! [`graph`]), [`drop_budget`] (what the loads may lose), `assemble`. `docs/board-files.md` explains the files
//! to those who write them.

mod assemble;
pub mod assumed;
pub mod drop_budget;
pub mod expected;
#[warn(clippy::indexing_slicing)]
mod file;
pub mod graph;
mod known;
mod model;
pub mod outline;
pub mod parts;
pub mod placement;
mod rules;
pub mod thermal;

use std::path::Path;

use crate::document::Sheet;
use crate::problem::Problems;

pub use assumed::Assumed;
pub(crate) use known::{Known, KnownPoint};
pub use model::*;

/// Reads a board file.
///
/// # Errors
/// Everything wrong with the file, all at once.
pub fn read(path: &Path) -> Result<Board, Problems> {
    examine(Sheet::open(path)?).usable().map(|(board, _)| board)
}

/// Reads a board from a text; `name` is what problems call the file.
///
/// # Errors
/// Everything wrong with the text, all at once.
pub fn parse(name: &str, text: &str) -> Result<Board, Problems> {
    examine(Sheet::new(name, text)).usable().map(|(board, _)| board)
}

/// A board file as far as it could be read.
pub(crate) struct Examined {
    /// The board, if the file can be used.
    pub board: Option<Board>,
    /// What of it a fixture can be checked against.
    pub known: Known,
    /// What is wrong with the file, or should be looked at.
    pub problems: Problems,
}

impl Examined {
    /// The board with what should be looked at although it can be used; or everything that is wrong.
    pub fn usable(self) -> Result<(Board, Problems), Problems> {
        match self.board {
            Some(board) => Ok((board, self.problems)),
            None => Err(self.problems),
        }
    }
}

/// Reads a board file as far as that goes.
pub(crate) fn examine(sheet: Sheet) -> Examined {
    let mut known = Known::default();
    let board = file::read(&sheet).and_then(|draft| {
        let (graph, complete) = rules::judge(&sheet, &draft);
        known = Known::of_draft(&draft, &graph, complete);
        assemble::assemble(&sheet, draft)
    });
    Examined { board: board.ok(), known, problems: sheet.into_problems() }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fixture;
    use crate::problem::render;
    use proptest::prelude::*;

    const BOARD: &str = include_str!("../../../fixtures/trail-counter/board.toml");
    const FIXTURE: &str = include_str!("../../../fixtures/trail-counter/fixture.toml");

    /// What a slip of the hand or a bad disk does to a text: a stretch cut out, doubled, or written over.
    fn damaged(text: &'static str) -> impl Strategy<Value = String> {
        let length = text.len();
        let scraps = prop_oneof![
            Just(String::new()),
            "[\\[\\]{}\"=.,0-9a-z \n]{1,6}",
            "\\PC{1,4}",
            Just("1e999 ohm".into()),
            Just("\"x\"".repeat(3000)),
            Just("[".repeat(200)),
        ];
        prop::collection::vec((0..length, 0..40usize, scraps, any::<bool>()), 1..6).prop_map(move |wounds| {
            let mut text = text.to_owned();
            for (at, cut, scrap, double) in wounds {
                let from = text.floor_char_boundary(at.min(text.len()));
                let to = text.floor_char_boundary((from + cut).min(text.len()));
                let kept = if double { text[from..to].repeat(2) } else { String::new() };
                text.replace_range(from..to, &(kept + &scrap));
            }
            text
        })
    }

    proptest! {
        /// No text makes reading panic; what is refused has something to show, and every span lies in the
        /// text.
        #[test]
        fn no_board_file_makes_it_panic(text in damaged(BOARD)) {
            if let Err(problems) = parse("board.toml", &text) {
                prop_assert!(problems.any_error());
                for problem in &problems.0 {
                    prop_assert!(problem.span.as_ref().is_none_or(|span| text.get(span.clone()).is_some()));
                }
                prop_assert!(!render(&problems, 80, false).is_empty() && !problems.to_string().is_empty());
            }
        }

        #[test]
        fn no_fixture_file_makes_it_panic(text in damaged(FIXTURE)) {
            let board = parse("board.toml", BOARD).unwrap();
            if let Err(problems) = fixture::parse("fixture.toml", &text, board) {
                prop_assert!(problems.any_error());
                prop_assert!(!render(&problems, 80, false).is_empty());
            }
        }
    }

    #[test]
    fn without_states_there_is_the_one_a_unit_lies_in() {
        let from = BOARD.find("[states]").unwrap();
        let to = BOARD.find("[points]").unwrap();
        let text = format!("{}{}", &BOARD[..from], &BOARD[to..])
            .replace("closed = [\"pressed\"]", "closed = [\"as placed\"]")
            .replace("state = \"released\"\n", "")
            .replace("state = \"pressed\"\n", "");
        let board = parse("board.toml", &text).unwrap();
        assert_eq!(board.states, [State { name: "as placed".into(), prompt: String::new() }]);
        assert_eq!(board.isolation[1].state, StateId::new(0));
    }

    #[test]
    fn states_are_walked_in_the_order_of_the_file() {
        let text = BOARD.replace("released =", "zz =").replace("\"released\"", "\"zz\"");
        let board = parse("board.toml", &text).unwrap();
        assert_eq!(
            board.states.iter().map(|state| state.name.as_str()).collect::<Vec<_>>(),
            ["zz", "pressed"]
        );
        let key = board.segment(board.segment_named("wake key").unwrap());
        assert_eq!(key.closed, Some(vec![StateId::new(1)]));
        assert_eq!(key.open_min, Some(crate::quantity::Ohms(100e3)));
    }

    #[test]
    fn the_file_is_kept_with_its_hash() {
        // SHA-256 of "abc": FIPS 180-4, example B.1.
        let sheet = Sheet::new("abc", "abc");
        assert_eq!(sheet.hash(), "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
        let board = parse("board.toml", BOARD).unwrap();
        assert_eq!(board.source, BOARD);
        assert_eq!(board.hash, Sheet::new("", BOARD).hash());
    }

    #[test]
    fn what_can_be_used_but_should_be_looked_at_is_a_warning() {
        for (from, to, message) in [
            (
                "length = \"8 mm\"",
                "length = \"3 mm\"",
                "segment `plug trace` is 3 mm long, but its ends lie 7.1 mm apart",
            ),
            (
                "at = [13.0, 25.0], side = \"front\"",
                "at = [13.0, 25.0], side = \"back\"",
                "segment `plug trace` leads from one side to the other",
            ),
            (
                "load = \"60 mA\"\nmax_drop = \"300 mV\"",
                "load = \"2 A\"\nmax_drop = \"10 V\"",
                "segment `load trace` carries 1.65 A at a rise of 10 K (IPC-2221); the load is 2.00 A",
            ),
            (
                "max = \"80 mohm\"\n\n[[segment]]\nname = \"plug",
                "max = \"30 mohm\"\n\n[[segment]]\nname = \"plug",
                "`max` of segment `battery plug +` is below the 40.0 mΩ a healthy one may read",
            ),
        ] {
            assert!(BOARD.contains(from), "{from}");
            let (_, warnings) = examine(Sheet::new("board.toml", &BOARD.replace(from, to))).usable().unwrap();
            assert!(!warnings.any_error());
            let messages: Vec<_> = warnings.0.iter().map(|warning| warning.message.as_str()).collect();
            assert!(messages.contains(&message), "{messages:?} lack `{message}`");
        }
        let (_, warnings) = examine(Sheet::new("board.toml", BOARD)).usable().unwrap();
        assert_eq!(warnings.to_string(), "");
    }
}
