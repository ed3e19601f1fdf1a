//! Raw codes as bytes, in formats that are frozen once they have been written: records outlive the program.
//!
//! A format is a module of plain structs of its own, [`v2`] today. It names points, segments, isolations and
//! standards as the files do, so that a later program, whose lists may be ordered otherwise, still reads it. `live`
//! converts between those structs and the types that the rest of the program works with; a change there never
//! changes the bytes.

pub(crate) mod live;
pub mod touches_v1;
pub mod v2;

use copperwalk_wire::Shot;

use crate::{fixture::Fixture, role::Role};

/// The word kept beside bytes in format [`v2`].
pub const FORMAT: &str = "raw/v2";
/// Words beside bytes that [`v2`] reads: its own, and that of the format it only added to.
pub const READ: [&str; 2] = ["raw/v1", FORMAT];

/// Why bytes are no raw codes of this fixture.
#[derive(Clone, PartialEq, Eq, Debug, thiserror::Error)]
pub enum RawError {
    /// Kept in a format that this program does not know.
    #[error(
        "they are in format {found:?}, this program reads up to {FORMAT:?}: use the copperwalk that wrote them"
    )]
    Format {
        /// The word beside them.
        found: String,
    },
    /// Torn, padded or altered.
    #[error("the bytes are no {FORMAT}: {0}")]
    Bytes(#[from] postcard::Error),
    /// A name that stands in neither file.
    #[error("they name the {what} {name:?}, which is not in the board and fixture files kept with them")]
    Unknown {
        /// Point, segment …
        what: &'static str,
        /// Its name.
        name: String,
    },
    /// A number that nothing can have.
    #[error("{what} {number} is out of range")]
    Range {
        /// What is numbered.
        what: &'static str,
        /// The number.
        number: usize,
    },
}

/// The bytes of shots with what they are for, codes left out: what a plan's hash is made over.
///
/// # Errors
/// A role that the fixture has no name for.
pub fn shots<'s>(
    fixture: &Fixture,
    shots: impl IntoIterator<Item = (&'s Role, &'s Shot)>,
) -> Result<Vec<u8>, RawError> {
    let mut names = v2::Names::default();
    let shots = shots
        .into_iter()
        .map(|(role, shot)| Ok((live::role(fixture, &mut names, role)?, live::shot(shot))))
        .collect::<Result<Vec<_>, RawError>>()?;
    Ok(postcard::to_allocvec(&(names, shots))?)
}
