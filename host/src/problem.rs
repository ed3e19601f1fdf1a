//! Problems in files people write: all of them at once, each with its place and its remedy.
//!
//! A [`Problem`] knows its file, the bytes it is about, what is wrong and what would be right. Readers gather
//! them into [`Problems`]; [`render`] shows them with the offending text underlined, and `Display` gives one
//! line each for logs.

use std::fmt::{self, Write as _};
use std::ops::Range;
use std::sync::Arc;

use miette::{Diagnostic, GraphicalReportHandler, GraphicalTheme, LabeledSpan, MietteSpanContents, Severity};

use crate::visible::{clean, same_length};

/// A file as it is shown: byte for byte where it was, but without characters that would move a terminal's
/// cursor.
#[derive(PartialEq, Eq, Debug)]
pub struct SourceText {
    name: String,
    text: String,
}

/// How bad it is.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Grade {
    /// The file cannot be used.
    Error,
    /// The file can be used, and somebody should look at this.
    Warning,
}

/// One thing wrong in one file.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Problem {
    /// The file.
    pub file: Arc<SourceText>,
    /// The bytes it is about; `None` when it is about the whole file.
    pub span: Option<Range<usize>>,
    /// How bad it is.
    pub grade: Grade,
    /// What is wrong.
    pub message: String,
    /// What would be right.
    pub help: String,
}

impl Problem {
    /// The line it is on, from 1; `None` when it is about the whole file.
    pub fn line(&self) -> Option<usize> {
        let before = self.file.text.get(..self.span.as_ref()?.start)?;
        Some(before.matches('\n').count() + 1)
    }

    /// The text it is about.
    pub fn text(&self) -> &str {
        self.span.clone().and_then(|span| self.file.text.get(span)).unwrap_or("")
    }
}

impl fmt::Display for Problem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.message)
    }
}

impl std::error::Error for Problem {}

impl Diagnostic for Problem {
    fn severity(&self) -> Option<Severity> {
        Some(match self.grade {
            Grade::Error => Severity::Error,
            Grade::Warning => Severity::Warning,
        })
    }

    fn help<'a>(&'a self) -> Option<Box<dyn fmt::Display + 'a>> {
        Some(Box::new(&self.help))
    }

    fn source_code(&self) -> Option<&dyn miette::SourceCode> {
        self.span.as_ref().map(|_| &*self.file as &dyn miette::SourceCode)
    }

    fn labels(&self) -> Option<Box<dyn Iterator<Item = LabeledSpan> + '_>> {
        let span = self.file.on_one_line(self.span.as_ref()?);
        Some(Box::new(std::iter::once(LabeledSpan::new(None, span.start, span.len()))))
    }
}

impl SourceText {
    /// A file by its name and its text; the text is empty when it could not be read.
    pub fn new(name: &str, text: &str) -> Self {
        // As long as what is replaced, so that spans keep their places.
        Self { name: clean(name).into_owned(), text: same_length(text) }
    }

    /// Name as it was given.
    pub fn name(&self) -> &str {
        &self.name
    }

    /// The part of a span that stands on its first line and is short enough to show.
    fn on_one_line(&self, span: &Range<usize>) -> Range<usize> {
        let start = span.start.min(self.text.len());
        start..span.end.clamp(start, self.window(start).end.max(start))
    }

    /// The line around a byte, cut to what fits a terminal: a file may be one line of a megabyte.
    fn window(&self, at: usize) -> Range<usize> {
        const BEFORE: usize = 60;
        const AFTER: usize = 90;
        let text = self.text.as_bytes();
        let start = text[..at].iter().rposition(|&b| b == b'\n').map_or(0, |i| i + 1);
        let end = text[at..].iter().position(|&b| b == b'\n').map_or(text.len(), |i| at + i);
        let start = self.text.ceil_char_boundary(start.max(at.saturating_sub(BEFORE)));
        let end = self.text.floor_char_boundary(end.min(at + AFTER));
        start..end.max(start)
    }
}

/// Shows one line, cut to a window; more context would only push the next problem off the screen.
impl miette::SourceCode for SourceText {
    fn read_span<'a>(
        &'a self,
        span: &miette::SourceSpan,
        _lines_before: usize,
        _lines_after: usize,
    ) -> Result<Box<dyn miette::SpanContents<'a> + 'a>, miette::MietteError> {
        let at = span.offset().min(self.text.len());
        let window = self.window(at);
        let line = self.text.as_bytes()[..at].iter().filter(|&&b| b == b'\n').count();
        let column = self.text[window.start..at].chars().count();
        Ok(Box::new(MietteSpanContents::new_named(
            self.name.clone(),
            &self.text.as_bytes()[window.clone()],
            (window.start, window.len()).into(),
            line,
            column,
            1,
        )))
    }
}

/// Everything found wrong, in the order of the files read and of the places in them. Never empty when it is
/// an error.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Problems(pub Vec<Problem>);

/// Problems shown at most: whoever has more is reading the wrong file.
const MOST_SHOWN: usize = 50;

impl Problems {
    fn left_out(&self) -> usize {
        self.0.len().saturating_sub(MOST_SHOWN)
    }

    /// Is a file unusable?
    pub fn any_error(&self) -> bool {
        self.0.iter().any(|problem| problem.grade == Grade::Error)
    }
}

/// One line per problem: `board.toml:12: what is wrong; what would be right`.
impl fmt::Display for Problems {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (i, problem) in self.0.iter().take(MOST_SHOWN).enumerate() {
            let newline = if i == 0 { "" } else { "\n" };
            let line = problem.line().map_or(String::new(), |line| format!(":{line}"));
            write!(f, "{newline}{}{line}: {}; {}", problem.file.name, problem.message, problem.help)?;
        }
        match self.left_out() {
            0 => Ok(()),
            more => write!(f, "\n… and {more} more"),
        }
    }
}

impl std::error::Error for Problems {}

/// Problems for a person: file, line, the offending text underlined, and the remedy. `width` is the
/// terminal's width in columns; `colour` only where somebody looks at it.
pub fn render(problems: &Problems, width: usize, colour: bool) -> String {
    let theme = if colour { GraphicalTheme::unicode() } else { GraphicalTheme::unicode_nocolor() };
    let handler = GraphicalReportHandler::new_themed(theme)
        .with_width(width.max(40))
        .with_context_lines(0)
        .without_syntax_highlighting()
        .with_links(false);
    let mut shown = String::new();
    for problem in problems.0.iter().take(MOST_SHOWN) {
        if !shown.is_empty() {
            shown.push('\n');
        }
        // Writing to a string fails only if a diagnostic's own source does; then the plain line still says
        // it.
        if handler.render_report(&mut shown, problem).is_err() {
            let _ = writeln!(shown, "{}: {}", problem.file.name, problem.message);
        }
    }
    if problems.left_out() > 0 {
        let _ = writeln!(shown, "\n  … and {} more", problems.left_out());
    }
    shown
}
