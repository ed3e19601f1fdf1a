//! Gerber files: a folder of X2 or X3 layers with net and component attributes, and drill files beside them.
//!
//! Facts are from memory of Ucamco's open Gerber layer format specification. Own readers: most of the work is in macros,
//! blocks, repeats and clear polarity, and every one of them needs a bound against hostile files. Read [`read_folder`] first, then in the order data flows:
//! `command` (the notation), `macros` and `aperture`, `image` (objects), `plot` (commands to objects), `polarity` (clear from dark), and
//! `assemble` (objects and holes to a layout). What a file holds is told by its attributes and never by its name.

mod aperture;
mod assemble;
mod command;
mod image;
mod macros;
mod plot;
mod polarity;
#[cfg(test)]
pub(super) mod tests;

use std::io::Read;
use std::path::{Path, PathBuf};

use super::drill::{self, Hole, MOST_HOLES, is_drilled};
use super::edge::Stroke;
use super::error::ImportError;
use super::layout::Layout;
use super::region::Region;
use super::sexpr::{SyntaxError, line_of};
use super::{MOST_MIB, shown_name};
use assemble::Assembly;
use image::{Budget, Mark, Object};
use plot::Plot;

/// Files of a folder that are looked at.
const MOST_FILES: usize = 500;
/// Copper layers of a board.
const MOST_LAYERS: usize = 64;

/// What the folder is read into before it becomes a layout.
#[derive(Default)]
struct Set {
    /// Copper by layer, from 1, with what the file calls its place (`Top`, `Inr`, `Bot`).
    copper: Vec<(usize, String, Vec<Object>)>,
    edge: Vec<Stroke>,
    holes: Vec<Hole>,
    /// Objects of component layers.
    components: Vec<Object>,
    /// Gerber files that do not say what they hold.
    nameless: Vec<String>,
    title: String,
    revision: String,
}

/// Reads all files of a folder that are Gerber or drill files.
///
/// # Errors
/// A file cannot be read or understood, or the files do not tell layers, nets and parts.
pub fn read_folder(folder: &Path) -> Result<Layout, ImportError> {
    let mut left = MOST_MIB << 20;
    let texts =
        files(folder)?.into_iter().map(|path| text(folder, &path, &mut left).map(|text| (path, text)));
    read(folder, texts)
}

/// Reads the files of a folder.
fn read(
    folder: &Path,
    files: impl IntoIterator<Item = Result<(PathBuf, String), ImportError>>,
) -> Result<Layout, ImportError> {
    let (mut set, mut budget) = (Set::default(), Budget::new());
    for file in files {
        let (path, text) = file?;
        set.file(&path, &text, &mut budget).map_err(|error| ImportError::Malformed {
            line: line_of(&text, error.at),
            what: error.what,
            path,
        })?;
    }
    set.layout(folder)
}

/// The plain files of a folder by name.
fn files(folder: &Path) -> Result<Vec<PathBuf>, ImportError> {
    let unreadable = |error| ImportError::Read { path: folder.to_owned(), error };
    let mut paths = Vec::new();
    for entry in std::fs::read_dir(folder).map_err(unreadable)? {
        let path = entry.map_err(unreadable)?.path();
        if std::fs::metadata(&path).is_ok_and(|data| data.is_file()) {
            paths.push(path);
        }
        if paths.len() > MOST_FILES {
            return Err(ImportError::ManyFiles { path: folder.to_owned(), most: MOST_FILES });
        }
    }
    paths.sort();
    Ok(paths)
}

/// The text of a file; empty for what is none, such as a picture or an archive beside the layers.
fn text(folder: &Path, path: &Path, left: &mut u64) -> Result<String, ImportError> {
    let unreadable = |error| ImportError::Read { path: path.to_owned(), error };
    let mut file = std::fs::File::open(path).map_err(unreadable)?;
    let mut bytes = Vec::new();
    // The first bytes tell what is not a text, however large.
    (&mut file).take(512).read_to_end(&mut bytes).map_err(unreadable)?;
    if bytes.contains(&0) || bytes.starts_with(b"%PDF") {
        return Ok(String::new());
    }
    file.take(*left + 1).read_to_end(&mut bytes).map_err(unreadable)?;
    *left = left
        .checked_sub(bytes.len() as u64)
        .ok_or_else(|| ImportError::TooLarge { path: folder.to_owned() })?;
    Ok(String::from_utf8_lossy(&bytes).into_owned())
}

impl Set {
    /// Takes a file by what it begins like; others are left.
    fn file(&mut self, path: &Path, text: &str, budget: &mut Budget) -> Result<(), SyntaxError> {
        let error = |what| SyntaxError { at: 0, what };
        if drill::is_drill(text) {
            self.holes.extend(drill::read(text)?);
        } else if plot::is_gerber(text) {
            self.take(plot::read(text, budget)?, &shown_name(path)).map_err(error)?;
        }
        if self.holes.len() > MOST_HOLES {
            return Err(error(format!("with this file there are more than {MOST_HOLES} holes")));
        }
        Ok(())
    }

    /// Takes a Gerber file by what it says it holds.
    fn take(&mut self, plot: Plot, name: &str) -> Result<(), String> {
        let function = plot.attributes.of_file(".FileFunction");
        if let (true, [name, .., revision]) = (self.title.is_empty(), plot.attributes.of_file(".ProjectId")) {
            (self.title, self.revision) = (name.clone(), revision.clone());
        }
        let words: Vec<&str> = function.iter().map(String::as_str).collect();
        match words.as_slice() {
            ["Copper", layer, place, ..] => {
                let number = layer.strip_prefix('L').and_then(|n| n.parse().ok());
                let number = number.filter(|n| (1..=MOST_LAYERS).contains(n));
                let number = number.ok_or_else(|| {
                    format!("`{}` is no copper layer such as L1", crate::quantity::clip(layer))
                })?;
                if self.copper.iter().any(|(taken, ..)| *taken == number) {
                    return Err(format!(
                        "another file says too that it is copper layer L{number}; keep one of them"
                    ));
                }
                self.copper.push((number, (*place).to_owned(), polarity::resolve(plot.objects)?));
            }
            ["Profile", ..] => self.edge.extend(plot.objects.iter().flat_map(strokes)),
            ["Component", ..] => self.components.extend(plot.objects),
            _ if is_drilled(function) => {
                let holes = plot.objects.iter().filter(|object| object.dark && object.mark != Mark::Area);
                let holes = holes
                    .flat_map(|object| object.copper.iter().map(|copper| (copper, &object.tags.function)));
                self.holes.extend(holes.map(|(copper, tool)| Hole::new(copper.clone(), function, tool)));
            }
            [] => self.nameless.push(name.to_owned()),
            // Masks, legends and paste hold no copper.
            _ => {}
        }
        Ok(())
    }

    fn layout(mut self, folder: &Path) -> Result<Layout, ImportError> {
        self.copper.sort_by_key(|(number, ..)| *number);
        let at = || folder.to_owned();
        let Some((last, place, _)) = self.copper.last() else {
            return Err(ImportError::NoCopper { path: at() });
        };
        let missing = (1..=*last).find(|n| !self.copper.iter().any(|(number, ..)| number == n));
        // The last says that it is the last, unless the board has one layer.
        let missing = missing.or_else(|| (place != "Bot").then_some(last + 1));
        if let Some(missing) = missing {
            return Err(ImportError::NoLayer { path: at(), missing });
        }
        let objects = || self.copper.iter().flat_map(|(_, _, objects)| objects);
        if !objects().any(|object| !object.tags.nets.is_empty())
            || !objects().any(|object| object.tags.pin.is_some())
        {
            return Err(ImportError::NoNets { path: at() });
        }
        let drilled = |object: &Object| object.tags.is_for("ViaPad") || object.tags.is_for("ComponentPad");
        if objects().any(drilled) && !self.holes.iter().any(|hole| hole.plating != drill::Plating::Bare) {
            return Err(ImportError::NoHoles { path: at() });
        }
        Assembly::of(self).ok_or_else(|| ImportError::ManyHoles { path: at() })
    }
}

/// Lines and areas of the edge.
fn strokes(object: &Object) -> impl Iterator<Item = Stroke> + '_ {
    let drawn = object.copper.iter().filter(|copper| copper.points().len() > 1);
    drawn.map(|copper: &Region| {
        let points = copper.points().to_vec();
        let closed = copper.is_closed() || (points.len() > 3 && points.first() == points.last());
        Stroke { closed, points }
    })
}
