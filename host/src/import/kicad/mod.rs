//! KiCad boards: `.kicad_pcb`, the S-expression format of versions 4 to 9 (file versions 4 to 20241229).
//!
//! Read [`read`] first. The differences between versions are handled where they occur: `layers` (names, aliases, ordinals,
//! stack-up), `part` (`module` became `footprint`, texts became properties), `copper` (fills with a pen or without, drills left to
//! the net class), `Reader::net_of` (nets by number or by name). The format is described at dev-docs.kicad.org; what is not
//! described there is from memory, and the demonstration boards in `tests/` hold it to real files.

mod copper;
mod layers;
mod part;
mod shape;
#[cfg(test)]
mod tests;
mod values;

use std::collections::HashMap;

use super::edge::{self, Stroke};
use super::layout::{Layout, NetId};
use super::sexpr::{Expr, SyntaxError, Tree};
use layers::Layers;
use values::{bad, head, length_of, plain_name};

/// Oldest format: that of version 4.
const OLDEST: u32 = 4;
/// Newest format that is known: that of version 9.
const NEWEST: u32 = 20_241_229;

/// A board file while it is read.
pub struct Reader<'t> {
    board: Expr<'t>,
    version: u32,
    layers: Layers,
    by_number: HashMap<String, NetId>,
    by_name: HashMap<String, NetId>,
    edge: Vec<Stroke>,
    /// Pieces of copper that belong to no net.
    netless: usize,
    layout: Layout,
}

/// Does a text begin like one?
pub fn is_board(text: &str) -> bool {
    text.trim_start().strip_prefix('(').is_some_and(|rest| rest.trim_start().starts_with("kicad_pcb"))
}

/// Reads a board.
///
/// # Errors
/// The notation is broken, the version is too old, or something that matters cannot be understood.
pub fn read(text: &str) -> Result<Layout, SyntaxError> {
    let tree = Tree::read(text)?;
    let board = tree.root();
    let version = version(board)?;
    let thickness_mm = layers::thickness(board)?;
    let layers = Layers::read(board, thickness_mm)?;
    let layout = Layout {
        format: format!("KiCad board, format {version}"),
        layers: layers.copper.clone(),
        stacked: layers.stacked,
        thickness_mm,
        has_copper: true,
        ..Layout::default()
    };
    let mut reader = Reader {
        board,
        version,
        layers,
        by_number: HashMap::new(),
        by_name: HashMap::new(),
        edge: Vec::new(),
        netless: 0,
        layout,
    };
    reader.title();
    reader.nets();
    for item in board.items() {
        match item.head().as_deref() {
            Some("footprint" | "module") => part::read(&mut reader, item)?,
            Some("segment" | "arc") => copper::track(&mut reader, item)?,
            Some("via") => copper::via(&mut reader, item)?,
            Some("zone") => copper::zone(&mut reader, item)?,
            Some(head) if head.starts_with("gr_") => copper::graphic(&mut reader, item)?,
            _ => {}
        }
    }
    Ok(reader.finish())
}

fn version(board: Expr<'_>) -> Result<u32, SyntaxError> {
    let stated =
        board.find("version").ok_or_else(|| bad(board, "the board does not state its format's version"))?;
    let number = stated.numbers().next().unwrap_or(0.0);
    if number < f64::from(OLDEST) || number > 99_999_999.0 || number.fract() != 0.0 {
        let what = format!(
            "formats from {OLDEST} on are known, and this is none; open the board in KiCad and save it anew"
        );
        return Err(bad(stated, what));
    }
    Ok(number as u32)
}

impl Reader<'_> {
    fn title(&mut self) {
        let block = self.board.find("title_block");
        let said = |name| block.and_then(|block| block.text_of(name)).unwrap_or_default().into_owned();
        (self.layout.title, self.layout.revision) = (said("title"), said("rev"));
    }

    /// The list of nets; formats that name nets where they are used have none.
    fn nets(&mut self) {
        for net in self.board.items().filter(|item| item.is("net")) {
            let mut words = net.values().filter_map(Expr::word);
            if let (Some(number), Some(name)) = (words.next(), words.next()) {
                let id = self.net_named(&name);
                self.by_number.insert(number.into_owned(), id);
            }
        }
    }

    fn net_named(&mut self, name: &str) -> NetId {
        let next = self.layout.nets.len();
        let id = *self.by_name.entry(name.to_owned()).or_insert(next);
        if id == next {
            self.layout.nets.push(plain_name(name));
        }
        id
    }

    /// The net of a pad, a track, a zone: `(net 3)`, `(net 3 "GND")` or `(net "GND")`. The net without a name is none.
    ///
    /// # Errors
    /// A number is not in the list of nets.
    fn net_of(&mut self, item: Expr<'_>) -> Result<Option<NetId>, SyntaxError> {
        let Some(net) = item.find("net") else { return Ok(None) };
        let mut values = net.values();
        let Some(first) = values.next() else { return Ok(None) };
        let word = first.word().unwrap_or_default();
        let is_number = !first.is_quoted() && word.parse::<u32>().is_ok();
        let id = match (is_number, self.by_number.get(&*word)) {
            (true, Some(&id)) => id,
            // Net 0 is none, listed or not.
            (true, None) if word == "0" => return Ok(None),
            (true, None) => {
                return Err(bad(
                    net,
                    format!("`{}` is on net {word}, which the board does not list", head(item)),
                ));
            }
            (false, _) => self.net_named(&word),
        };
        Ok(Some(id).filter(|&id| !self.layout.net_name(id).is_empty()))
    }

    /// Drill of vias that state none: that of the net classes' default, or of the setup (versions 4 and 5).
    fn usual_drill(&self, micro: bool) -> Option<f64> {
        let name = if micro { "uvia_drill" } else { "via_drill" };
        let classes = self.board.items().filter(|item| item.is("net_class"));
        let from = classes.chain(self.board.find("setup"));
        from.filter_map(|place| length_of(place, name).ok().flatten()).find(|drill| *drill > 0.0)
    }

    fn finish(mut self) -> Layout {
        let strokes = std::mem::take(&mut self.edge);
        self.layout.outline = edge::outline(strokes);
        if self.version > NEWEST {
            let note = format!(
                "the board's format {} is newer than {NEWEST}, the newest that is known: compare a few widths and places",
                self.version
            );
            self.layout.notes.push(note);
        }
        if self.netless > 0 {
            let note = format!(
                "{} pieces of copper belong to no net (drawings, texts) and are left out",
                self.netless
            );
            self.layout.notes.push(note);
        }
        if !self.layers.stacked {
            let note = "the file states no stack-up: copper of 35 µm is assumed, and layers that lie evenly through the board";
            self.layout.notes.push(note.into());
        }
        self.layout.settle();
        self.layout
    }
}
