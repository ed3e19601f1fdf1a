//! TOML documents read without stopping at the first mistake.
//!
//! A [`Sheet`] is one file being read together with what was found wrong in it. Every question that can be
//! put to it ([`Table`], [`Item`]) answers `Result<_, Told>`: a [`Told`] exists only after a problem was
//! noted, so whoever passes it on with `?` need not report again, and a reader that ends with `Err(Told)`
//! certainly has something to show. Read [`crate::problem`] first.

mod item;
mod names;
mod sheet;
mod table;

pub use item::Item;
pub use names::{NAME_LONGEST, check_name, suggestion};
pub use sheet::{MAX_BYTES, Sheet, Told};
pub use table::Table;
