//! Self-contained HTML pages: one per sweep, per unit and per lot. No script, no font, no image from elsewhere; a page
//! can be mailed, printed and opened in ten years.
//!
//! [`page`] is the sheet every page is printed on, [`mark`] the shapes of the verdicts. The sweep page draws the
//! supply path as strips ([`path`] lays it out, [`strip`] draws it, [`gauge`] is the scale in each cell) and the
//! board from both sides ([`drawing`], with [`place`] finding room for the lettering). All text goes through
//! `maud`, which escapes it.

mod drawing;
mod gauge;
mod lot;
mod mark;
mod page;
mod path;
mod place;
mod strip;
mod sweep;
mod symbol;
mod unit;

pub use lot::lot;
pub use sweep::sweep;
pub use unit::unit;
