//! Reports: what a sweep, a unit and a lot look like to a person (terminal, HTML, PDF) and to a program (JSON, CSV).
//!
//! Everything here is a pure function from plain data ([`Sweep`](crate::sweep::Sweep), the
//! [`Board`](crate::board::Board) it was judged by, the summaries of the record store) to text: no clock, no
//! files, no randomness, so the same sweep gives the same bytes for ever. Read [`words`] and [`figures`] first: they
//! fix how a verdict is said and how a value with its uncertainty is written, once, for every report.
//!
//! A verdict is always carried by a word and a shape; colour only ever repeats what they say.

pub mod bed;
pub mod caution;
pub mod csv;
pub mod drop;
pub mod figures;
mod file_stem;
pub mod health;
pub mod html;
pub mod json;
pub mod label;
pub mod pdf;
pub mod plan;
pub mod remedies;
pub mod spread;
pub mod start;
pub mod terminal;
pub(crate) mod text;
pub mod trade;
pub mod unreadable;
pub mod watch;
pub mod words;

#[cfg(test)]
pub(crate) mod sample;
#[cfg(test)]
mod snapshot;

pub use file_stem::file_stem;
