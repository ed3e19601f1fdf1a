//! Reports to keep on paper, as PDF: the certificate of a unit, the report of a lot, and the packing list of its spares. Text can be selected and searched,
//! the fonts come with the file, and nothing in it acts: it opens anywhere, in ten years too.
//!
//! Read `flow` (text down the pages) and `certificate` first. Under them `paper` has the sizes, `page` draws, `font`
//! measures text and carries the fonts, `sign` has the shapes of the verdicts, `table` and `facts` lay out, and
//! `document` makes the file.

mod bed;
mod certificate;
mod document;
mod facts;
mod flow;
pub(super) mod font;
mod lot;
mod packing;
pub(super) mod page;
mod paper;
mod sign;
mod table;

pub use bed::bed;
pub use certificate::certificate;
pub use document::MARK;
pub(super) use document::document;
pub use lot::lot;
pub use packing::packing;
pub use paper::{MM, Paper};

#[cfg(test)]
mod tests;
