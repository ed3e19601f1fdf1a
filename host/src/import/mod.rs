//! Imports of open layout formats: from a layout file and the ends of the supply to the `board.toml` a person would write.
//!
//! Read [`layout`] first (what every format is read into), then in the order data flows: [`sexpr`] and [`kicad`], [`ipc356`],
//! [`attribute`] and [`coordinate`] with [`drill`] and [`gerber`] (readers), [`edge`] (the outline),
//! [`parts`] and [`path`] (which parts the supply passes), [`net`] (the copper of a net as a graph over [`region`]s), [`cut`]
//! (where it is cut into segments), [`sheet`] and `pours` (what its copper reads), [`draft`] (the board), [`text`] (the file). What
//! a layout does not tell is asked at the end of the file and never guessed. `docs/importing-a-board.md` explains it to those who use it.

pub mod attribute;
pub mod coordinate;
pub mod cut;
pub mod draft;
pub mod drill;
pub mod edge;
pub mod error;
pub mod gerber;
pub mod ipc356;
pub mod kicad;
pub mod layout;
pub mod net;
pub mod parts;
pub mod path;
mod pours;
pub mod region;
pub mod sexpr;
pub mod sheet;
#[cfg(test)]
mod tests;
pub mod text;

use std::io::Read;
use std::path::Path;

use crate::board::graph::Graph;
use crate::board::{self, Board, SegmentKind};
use crate::plain_file::not_plain;
use crate::quantity::{Ohms, Volts};
pub use draft::Request;
pub use error::ImportError;
use layout::Layout;

/// Largest layout file, MiB. A large board with many filled zones has ten.
pub const MOST_MIB: u64 = 64;

/// A board that was imported.
#[derive(Clone, PartialEq, Debug)]
pub struct Imported {
    /// The board file.
    pub text: String,
    /// The same, read; none where copper could not be worked out, which leaves the file without a figure that `check` names.
    pub board: Option<Board>,
    /// What the layout leaves open.
    pub questions: Vec<String>,
}

/// Reads a layout, whatever its format. A folder holds Gerber and drill files.
///
/// # Errors
/// See [`ImportError`].
pub fn read(path: &Path) -> Result<Layout, ImportError> {
    let unreadable = |error| ImportError::Read { path: path.to_owned(), error };
    let kind = std::fs::metadata(path).map_err(unreadable)?.file_type();
    if kind.is_dir() {
        return gerber::read_folder(path);
    }
    if let Some(what) = not_plain(kind) {
        return Err(ImportError::NotPlain { path: path.to_owned(), what });
    }
    let mut bytes = Vec::new();
    let file = std::fs::File::open(path).map_err(unreadable)?;
    file.take((MOST_MIB << 20) + 1).read_to_end(&mut bytes).map_err(unreadable)?;
    if bytes.len() as u64 > MOST_MIB << 20 {
        return Err(ImportError::TooLarge { path: path.to_owned() });
    }
    // Names in another encoding lose letters; figures do not.
    let text = String::from_utf8_lossy(&bytes);
    let malformed = |error: sexpr::SyntaxError| ImportError::Malformed {
        path: path.to_owned(),
        line: sexpr::line_of(&text, error.at),
        what: error.what,
    };
    if kicad::is_board(&text) {
        return kicad::read(&text).map_err(malformed);
    }
    if ipc356::is_netlist(&text) {
        return ipc356::read(&text).map_err(malformed);
    }
    Err(ImportError::Unknown { path: path.to_owned() })
}

/// The name of a file without its folders.
fn shown_name(path: &Path) -> String {
    path.file_name().unwrap_or_default().to_string_lossy().into_owned()
}

/// Imports a board.
///
/// # Errors
/// See [`ImportError`].
pub fn import(path: &Path, request: &Request) -> Result<Imported, ImportError> {
    let layout = read(path)?;
    finish(&layout, &shown_name(path), request)
}

/// Makes the board file of a layout that was read.
///
/// # Errors
/// See [`ImportError`].
pub fn finish(layout: &Layout, source: &str, request: &Request) -> Result<Imported, ImportError> {
    let draft = draft::draft(layout, request)?;
    let parse = |max_drop| {
        let text = text::text(&draft, layout, source, Some(max_drop));
        let board = board::parse("board.toml", &text);
        board
            .map(|board| (text, board))
            .map_err(|problems| ImportError::Unsound { problems: problems.to_string() })
    };
    let questions = text::questions(&draft, layout);
    if !draft.is_whole() {
        return Ok(Imported { text: text::text(&draft, layout, source, None), board: None, questions });
    }
    // First under a budget that nothing overdraws, to learn what healthy segments take.
    let (_, board) = parse(Volts(60.0))?;
    let (text, board) = parse(drop_of(&board))?;
    Ok(Imported { text, board: Some(board), questions })
}

/// A drop budget of about twice what healthy segments take on the costliest way there and back: 1, 2 or 5 and zeros.
fn drop_of(board: &Board) -> Volts {
    const MARGIN: f64 = 1.8;
    let high = |id| -> Ohms {
        let segment = board.segment(id);
        match segment.kind {
            SegmentKind::Diode { max_forward, .. } => {
                board::parts::diode(max_forward, board.supply.load).high
            }
            _ => segment.expected.high,
        }
    };
    let graph = Graph::of(board);
    let sum = |ids: Vec<_>| -> Ohms { ids.into_iter().map(high).sum() };
    let there =
        board.supply.to.iter().map(|load| sum(graph.path(board.supply.from, *load).unwrap_or_default()));
    let reach = graph.reach(board.supply.ret, None);
    let back = reach.points().filter_map(|point| reach.path(point)).map(sum);
    let most = |all: &mut dyn Iterator<Item = Ohms>| all.fold(0.0, |most: f64, ohms| most.max(ohms.0));
    let whole = most(&mut { there }) + most(&mut { back });
    let wanted = (whole * MARGIN * board.supply.load.0).clamp(10e-3, 59.0);
    let decade = 10f64.powf(wanted.log10().floor());
    let step = [1.0, 2.0, 5.0, 10.0].into_iter().find(|step| step * decade >= wanted * 0.999);
    Volts((step.unwrap_or(10.0) * decade).min(60.0))
}
