//! Tables: which keys are there, which are missing, which nobody knows.

use std::ops::Range;

use toml::Spanned;
use toml::de::DeTable;

use super::{Item, Sheet, Told};
use crate::quantity::clip;

/// A table of the document, with a title that messages call it by.
pub struct Table<'d> {
    sheet: &'d Sheet,
    entries: &'d DeTable<'d>,
    /// Where it stands: the header, or the inline table.
    pub span: Range<usize>,
    /// `[supply]`, `segment "tail trace"` …
    pub title: String,
}

impl<'d> Table<'d> {
    pub(super) fn new(sheet: &'d Sheet, entries: &'d DeTable<'d>, span: Range<usize>, title: String) -> Self {
        Self { sheet, entries, span, title }
    }

    /// The whole document as a table.
    pub fn root(sheet: &'d Sheet, document: &'d Spanned<DeTable<'d>>) -> Self {
        Self::new(sheet, document.get_ref(), 0..0, "the file".into())
    }

    /// Reads `format`, which says how everything else is to be read.
    ///
    /// # Errors
    /// Missing, or another one than this program reads: then nothing else can be judged.
    pub fn format(&self, known: u32) -> Result<(), Told> {
        let item = self.must("format", &format!("`format = {known}` as the first line"))?;
        match item.whole(0, u32::MAX)? {
            format if format == known => Ok(()),
            format => Err(item.refuse(
                format!("format {format} is not known to this program, which reads format {known}"),
                "use a program as new as the file, or bring the file to the format this one reads",
            )),
        }
    }

    /// The tables of a `[[key]]` list, in order; empty if there are none.
    pub fn tables(&self, key: &'static str) -> Result<Vec<Item<'d>>, Told> {
        self.item(key).map_or(Ok(Vec::new()), |item| item.list(&format!("write each as `[[{key}]]`")))
    }

    /// The value under a key, if it is there.
    pub fn item(&self, key: &'static str) -> Option<Item<'d>> {
        let value = self.entries.get(key)?;
        Some(Item::new(self.sheet, &self.title, key, value))
    }

    /// The value under a key that must be there; `example` shows how it is written.
    pub fn must(&self, key: &'static str, example: &str) -> Result<Item<'d>, Told> {
        self.item(key).ok_or_else(|| {
            let message = format!("{} lacks `{key}`", self.title);
            self.refuse(message, format!("add {example}"))
        })
    }

    /// Every key, with where it stands, and its value, in the order of the file.
    pub fn items(&self) -> Vec<(&'d str, Range<usize>, Item<'d>)> {
        let mut items: Vec<_> = self
            .entries
            .iter()
            .map(|(key, value)| {
                let name: &'d str = key.get_ref();
                (name, key.span(), Item::new(self.sheet, &self.title, name, value))
            })
            .collect();
        items.sort_by_key(|(_, span, _)| span.start);
        items
    }

    /// Notes every key that is not one of these, with the nearest one that is.
    pub fn only(&self, keys: &[&str]) {
        for (key, span, _) in self.items() {
            if keys.contains(&key) {
                continue;
            }
            let message = format!("{} has no key `{}`", self.title, clip(key));
            self.sheet.refuse(Some(span), message, self.sheet.suggest(key, keys));
        }
    }

    /// Notes a key that names nothing that is known.
    pub fn unknown(&self, kind: &str, key: &str, span: Range<usize>, known: &[&str]) -> Told {
        let message = format!("{} names the {kind} `{}`, which does not exist", self.title, clip(key));
        self.sheet.refuse(Some(span), message, self.sheet.suggest(key, known))
    }

    /// Notes an error about the table as a whole.
    pub fn refuse(&self, message: String, help: impl Into<String>) -> Told {
        self.sheet.refuse(Some(self.span.clone()), message, help)
    }
}
