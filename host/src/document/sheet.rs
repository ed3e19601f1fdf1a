//! One file being read, and what was found wrong in it so far.

use std::cell::RefCell;
use std::io::Read;
use std::ops::Range;
use std::path::Path;
use std::sync::Arc;

use toml::Spanned;
use toml::de::DeTable;

use super::suggestion;
use crate::hash;
use crate::plain_file::not_plain;
use crate::problem::{Grade, Problem, Problems, SourceText};
use crate::visible::{clean, path as shown};

/// Largest file that is read. A board of 1,000 segments takes a tenth of this.
pub const MAX_BYTES: u64 = 1 << 20;

/// Proof that a problem has been noted.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Told(());

/// A file being read, and what was found wrong in it so far.
pub struct Sheet {
    text: String,
    shown: Arc<SourceText>,
    problems: RefCell<Vec<Problem>>,
}

impl Sheet {
    /// A text that is already in memory.
    pub fn new(name: &str, text: &str) -> Self {
        Self {
            text: text.to_owned(),
            shown: Arc::new(SourceText::new(name, text)),
            problems: RefCell::default(),
        }
    }

    /// A file.
    ///
    /// # Errors
    /// Missing, no plain file (opening a pipe would wait for whoever writes to it), not readable, larger than
    /// [`MAX_BYTES`], or not UTF-8.
    pub fn open(path: &Path) -> Result<Self, Problems> {
        let name = shown(path);
        let refuse = |message: String, help: &str| {
            let sheet = Self::new(&name, "");
            sheet.refuse(None, message, help);
            sheet.into_problems()
        };
        let unreadable = |error: std::io::Error| {
            let help = match error.kind() {
                std::io::ErrorKind::NotFound => "check the path",
                _ => "check the file and its permissions",
            };
            refuse(format!("{name} cannot be read: {error}"), help)
        };
        if let Some(what) = not_plain(std::fs::metadata(path).map_err(unreadable)?.file_type()) {
            let help = match what {
                "a folder" => "name the file inside the folder",
                _ => "board and fixture are read from plain files: save the text as one",
            };
            return Err(refuse(format!("{name} is {what}"), help));
        }
        let file = std::fs::File::open(path).map_err(unreadable)?;
        let mut bytes = Vec::new();
        file.take(MAX_BYTES + 1).read_to_end(&mut bytes).map_err(unreadable)?;
        if bytes.len() as u64 > MAX_BYTES {
            let message = format!("{name} is larger than {} KiB", MAX_BYTES / 1024);
            return Err(refuse(
                message,
                "no board or fixture file is that large; check that it is the right file",
            ));
        }
        let text = String::from_utf8(bytes).map_err(|error| {
            let at = error.utf8_error().valid_up_to();
            refuse(format!("{name} is not UTF-8 text: byte {at} does not belong"), "save the file as UTF-8")
        })?;
        Ok(Self::new(&name, &text))
    }

    /// The file's name, as it is shown.
    pub fn name(&self) -> &str {
        self.shown.name()
    }

    /// The file's text.
    pub fn text(&self) -> &str {
        &self.text
    }

    /// SHA-256 of the file's bytes, lower-case hex: what a record names the file by.
    pub fn hash(&self) -> String {
        hash::of(&self.text)
    }

    /// Notes an error.
    pub fn refuse(
        &self,
        span: Option<Range<usize>>,
        message: impl Into<String>,
        help: impl Into<String>,
    ) -> Told {
        self.note(Grade::Error, span, message.into(), help.into())
    }

    /// Notes a warning.
    pub fn warn(&self, span: Option<Range<usize>>, message: impl Into<String>, help: impl Into<String>) {
        self.note(Grade::Warning, span, message.into(), help.into());
    }

    fn note(&self, grade: Grade, span: Option<Range<usize>>, message: String, help: String) -> Told {
        self.problems.borrow_mut().push(Problem {
            file: Arc::clone(&self.shown),
            span,
            grade,
            message: clean(&message).into_owned(),
            help: clean(&help).into_owned(),
        });
        Told(())
    }

    /// The known name that was meant, or the known names. Looking for it costs time, and a file can ask for a
    /// thousand names among a thousand: beyond the problems that anybody reads, the question is not worth it.
    pub(super) fn suggest(&self, word: &str, known: &[&str]) -> String {
        const WORTH_IT: usize = 200;
        match self.problems.borrow().len() {
            few if few < WORTH_IT => suggestion(word, known),
            _ => "correct the problems before this one first".into(),
        }
    }

    /// Fails if anything noted so far makes the file unusable.
    ///
    /// # Errors
    /// An error was noted.
    pub fn sound(&self) -> Result<(), Told> {
        match self.problems.borrow().iter().any(|problem| problem.grade == Grade::Error) {
            true => Err(Told(())),
            false => Ok(()),
        }
    }

    /// Everything noted, in the order of the text.
    pub fn into_problems(self) -> Problems {
        let mut problems = self.problems.into_inner();
        problems.sort_by_key(|problem| problem.span.as_ref().map_or(0, |span| span.start));
        Problems(problems)
    }

    /// Parses the text. Slips of syntax are all noted at once; what they leave is not worth judging.
    ///
    /// # Errors
    /// The text is empty or not TOML.
    pub fn document(&self) -> Result<Spanned<DeTable<'_>>, Told> {
        if self.text.trim().is_empty() {
            return Err(self.refuse(
                None,
                format!("{} is empty", self.shown.name()),
                "start with `format = 1`",
            ));
        }
        let (document, errors) = DeTable::parse_recoverable(&self.text);
        let told = errors.iter().map(|error| {
            let message = format!("this is not TOML: {}", error.message());
            self.refuse(error.span().or(Some(0..0)), message, "see https://toml.io for the notation")
        });
        told.last().map_or(Ok(document), Err)
    }
}
