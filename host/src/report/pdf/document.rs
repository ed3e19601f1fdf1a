//! Pages put together to a file: ISO 32000-1, written by `pdf-writer`.
//!
//! The file has no date and no random number in it: the same report gives the same bytes for ever.

use miniz_oxide::deflate::compress_to_vec_zlib;
use pdf_writer::{Filter, Finish, Name, Pdf, Rect, Ref, Str, TextStr};
use sha2::{Digest, Sha256};

use super::font::{FONT_OBJECTS, Fonts};
use super::page::Page;
use super::paper::Paper;
use crate::visible::clean;

/// Near the beginning of every PDF of this program, whatever its version: by this a file is known again.
pub const MARK: &[u8] = b"/Producer (copperwalk ";

/// How hard streams are squeezed: the usual middle way.
const LEVEL: u8 = 6;

/// Bytes for a stream with the filter `FlateDecode`.
pub fn squeezed(bytes: &[u8]) -> Vec<u8> {
    compress_to_vec_zlib(bytes, LEVEL)
}

/// Puts pages together. `title` is what a viewer's window and a list of files show.
pub fn document(pages: Vec<Page>, fonts: &Fonts, paper: Paper, title: &str) -> Vec<u8> {
    let [info, catalog, tree] = [1, 2, 3].map(Ref::new);
    const FIRST_FONT: i32 = 4;
    const FIRST_PAGE: i32 = FIRST_FONT + FONT_OBJECTS;
    // Every page is two objects: itself, and what is drawn on it.
    let numbers: Vec<[Ref; 2]> = (FIRST_PAGE..)
        .step_by(2)
        .take(pages.len())
        .map(|number| [Ref::new(number), Ref::new(number + 1)])
        .collect();

    let mut pdf = Pdf::new();
    let program = format!("copperwalk {}", env!("CARGO_PKG_VERSION"));
    // The mark comes first in the file.
    pdf.document_info(info)
        .pair(Name(b"Producer"), Str(program.as_bytes()))
        .pair(Name(b"Title"), TextStr(&clean(title)));
    let mut root = pdf.catalog(catalog);
    root.pages(tree).lang(TextStr("en"));
    root.viewer_preferences().display_doc_title(true);
    root.finish();
    pdf.pages(tree)
        .kids(numbers.iter().map(|[page, _]| *page))
        .count(numbers.len().try_into().unwrap_or(i32::MAX));
    let [width, height] = paper.points();
    for ([number, drawn], page) in numbers.iter().zip(pages) {
        let mut object = pdf.page(*number);
        object.parent(tree).media_box(Rect::new(0.0, 0.0, width, height)).contents(*drawn);
        let mut resources = object.resources();
        let mut names = resources.fonts();
        for (name, font) in Fonts::resources(FIRST_FONT) {
            names.pair(name, font);
        }
        names.finish();
        resources.finish();
        object.finish();
        pdf.stream(*drawn, &squeezed(&page.finish())).filter(Filter::FlateDecode);
    }
    fonts.write(&mut pdf, FIRST_FONT);
    // An identifier is wanted that other files do not have (ISO 32000-1, 14.4): the hash of the content.
    let identifier = Sha256::digest(pdf.as_bytes())[..16].to_vec();
    pdf.set_file_id((identifier.clone(), identifier));
    pdf.finish()
}
