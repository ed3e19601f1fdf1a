//! Sweeps that were to be looked at and cannot be read: counted, and told with the reason.

use serde::Serialize;
use utoipa::ToSchema;

use super::words;
use crate::records::{Numbered, SweepId};

/// A sweep that cannot be read.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, ToSchema)]
pub struct Unreadable {
    /// Its number.
    pub sweep: SweepId,
    /// Why not, in words.
    pub why: String,
}

/// Parts what could be read from what could not.
pub fn part<T>(all: impl IntoIterator<Item = Numbered<T>>) -> (Vec<T>, Vec<Unreadable>) {
    let (mut read, mut left_out) = (Vec::new(), Vec::new());
    for (sweep, one) in all {
        match one {
            Ok(one) => read.push(one),
            Err(error) => left_out.push(Unreadable { sweep, why: error.to_string() }),
        }
    }
    (read, left_out)
}

/// `2 sweeps were left out, because they cannot be read:`; `None` if there is none.
pub fn in_words(left_out: &[Unreadable]) -> Option<String> {
    let (verb, they) = if left_out.len() == 1 { ("was", "it") } else { ("were", "they") };
    let count = words::counted(left_out.len(), "sweep", "sweeps");
    (!left_out.is_empty()).then(|| format!("{count} {verb} left out, because {they} cannot be read:"))
}
