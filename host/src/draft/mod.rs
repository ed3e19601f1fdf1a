//! A board being drawn: board and fixture file as data that a page can change, and back into the files.
//!
//! A file that a person wrote has comments, an order and perhaps keys that a later program knows. So a [`Draft`] carries every
//! key of what it shows, each thing remembers where in the file it [`was`](Entry::was), and [`merge`] changes in the text only what differs. What
//! is merged unchanged is the same to the byte. [`open`] reads; [`assign`] gives points their pins; [`findings`] is what `check` says,
//! each with the place it belongs to.

mod assign;
mod error;
mod findings;
mod merge;
mod model;
mod open;
mod photos;
mod place;
#[cfg(test)]
mod tests;
mod value;

pub use assign::assign;
pub use error::DraftError;
pub use findings::{Finding, Grade, findings};
pub use merge::{Texts, merge};
pub use model::{Draft, Entry, Keys, PointEntry, StateEntry};
pub use open::{BOARD, FIXTURE, open};
pub use photos::{PHOTOS, Photos, photo_file};
pub use place::Place;
