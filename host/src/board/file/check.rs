//! `[[check]]`: what a person looks at on every unit and answers with yes or no.

use super::Placed;
use crate::document::{Item, Told};

/// A `[[check]]`.
pub(in crate::board) struct CheckDraft {
    pub name: Result<Placed<String>, Told>,
    pub help: Result<String, Told>,
}

/// Reads one check.
///
/// # Errors
/// It is not even a table.
pub(super) fn read(item: &Item<'_>) -> Result<CheckDraft, Told> {
    let table = item.table("a [[check]]", "write it as [[check]]")?;
    table.only(&["name", "help"]);
    let name = table.must("name", r#"name = "screen lights""#).and_then(|item| {
        let value = item.name()?.to_owned();
        Ok(Placed { value, span: item.span })
    });
    let help = table.item("help").map_or(Ok(String::new()), |item| item.text().map(str::to_owned));
    Ok(CheckDraft { name, help })
}
