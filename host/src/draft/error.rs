//! Why a draft is not read or written.

use crate::document::MAX_BYTES;

/// Why a draft is not read or written.
#[derive(Clone, PartialEq, Eq, Debug, thiserror::Error)]
#[allow(missing_docs)] // each says it
pub enum DraftError {
    #[error("{file} is not TOML, so that it cannot be edited here: {detail}; correct it with a text editor")]
    NotToml { file: &'static str, detail: String },
    #[error(
        "`{key}` of {file} is not written as it is usual, so that it cannot be edited here: correct it with a text editor"
    )]
    Unusual { file: &'static str, key: &'static str },
    #[error("the draft has {count} {what}, and {most} are the most that there may be: leave some out")]
    TooMany { what: &'static str, count: usize, most: usize },
    #[error("the draft names {what} that the file does not have, or names it twice: open the board again")]
    NotInFile { what: String },
    #[error("two things of the draft are called {name:?}: give each a name of its own")]
    Twice { name: String },
    #[error(
        "the value of `{key}` is none that a file can hold: write a text, a number, true or false, or a list of these"
    )]
    NoValue { key: String },
    #[error("the board would make a file of more than {} KiB: leave something out", MAX_BYTES / 1024)]
    TooLong,
}
