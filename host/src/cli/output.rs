//! Where output goes. Standard output carries results only; progress and complaints go to standard error.

use std::io::{self, IsTerminal, Write};

use terminal_size::{Width, terminal_size};

use super::Status;
use crate::{
    problem::{self, Problems},
    report::terminal::Screen,
    verdict::Verdict,
    visible::clean,
};

/// Standard output, and the status to leave with if its reader goes away.
pub struct Output {
    writer: Box<dyn Write>,
    status: Status,
    screen: Screen,
}

impl Output {
    /// The process's own.
    pub fn stdout() -> Self {
        let colour = io::stdout().is_terminal() && std::env::var_os("NO_COLOR").is_none();
        let screen = Screen { width: width(), colour };
        Self { writer: Box::new(io::stdout().lock()), status: Status::Pass, screen }
    }

    /// What tables are laid out for.
    pub fn screen(&self) -> Screen {
        self.screen
    }

    /// The verdict is settled, whatever becomes of the output.
    pub fn settle(&mut self, status: Status) {
        self.status = status;
    }

    /// The status settled so far.
    pub fn status(&self) -> Status {
        self.status
    }

    /// Writes a text, and its last line's end if it has none.
    pub fn text(&mut self, text: &str) -> io::Result<()> {
        self.writer.write_all(text.as_bytes())?;
        if !text.ends_with('\n') {
            self.writer.write_all(b"\n")?;
        }
        self.writer.flush()
    }
}

impl Write for Output {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.writer.write(bytes)
    }

    fn flush(&mut self) -> io::Result<()> {
        self.writer.flush()
    }
}

/// The exit status a verdict leads to.
pub fn status_of(verdict: Verdict) -> Status {
    match verdict {
        Verdict::Pass => Status::Pass,
        Verdict::Fail | Verdict::Unproven => Status::Fail,
        Verdict::Void => Status::Void,
    }
}

/// Columns nothing is laid out for less than: a table would fall apart.
const NARROWEST: usize = 60;

/// Columns that standard output is laid out for: what `$COLUMNS` says, else the terminal's own; 80 for pipes and files.
fn width() -> usize {
    columns(&io::stdout())
}

/// The same for whatever a text goes to.
fn columns(stream: &impl IsTerminal) -> usize {
    let said = std::env::var("COLUMNS").ok().and_then(|text| text.parse().ok());
    let own = || {
        let (Width(columns), _) = stream.is_terminal().then(terminal_size)??;
        Some(columns.into())
    };
    said.or_else(own).unwrap_or(Screen::PLAIN.width).max(NARROWEST)
}

/// Columns that standard error is laid out for.
pub fn stderr_columns() -> usize {
    columns(&io::stderr())
}

/// May standard error be coloured?
pub fn colour_on_stderr() -> bool {
    io::stderr().is_terminal() && std::env::var_os("NO_COLOR").is_none()
}

/// Says one thing on standard error. A closed standard error is nobody's problem any more.
pub fn complain(text: &str) {
    let _ = writeln!(io::stderr(), "copperwalk: {}", clean(text.trim_end()));
}

/// The same with a text that comes laid out in lines, hidden characters written out already.
pub fn complain_laid_out(text: &str) {
    let _ = writeln!(io::stderr(), "{}", text.trim_end());
}

/// Shows problems of a file on standard error: the line, the text underlined, the remedy.
pub fn complain_of(problems: &Problems) {
    complain_laid_out(&problem::render(problems, columns(&io::stderr()), colour_on_stderr()));
}
