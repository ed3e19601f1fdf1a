//! In what form a result is shown: text for people, JSON or CSV for programs, and a page besides.

use std::path::PathBuf;

use super::{Failure, output::Output};
use crate::report::terminal::Screen;

/// The form asked for.
#[derive(clap::Args)]
pub struct Form {
    /// One JSON object on standard output, and nothing else there.
    #[arg(long, conflicts_with = "csv")]
    json: bool,
    /// Comma-separated values on standard output.
    #[arg(long)]
    csv: bool,
    /// Also write a self-contained HTML page.
    #[arg(long, value_name = "FILE")]
    pub html: Option<PathBuf>,
}

impl Form {
    /// Shows a result in that form; the page is the caller's.
    pub fn show(
        &self,
        output: &mut Output,
        json: impl FnOnce() -> serde_json::Result<String>,
        text: impl FnOnce(Screen) -> String,
        csv: impl FnOnce(&mut Output) -> csv::Result<()>,
    ) -> Result<(), Failure> {
        if self.csv {
            return csv(output).map_err(csv_failure);
        }
        let text = match self.json {
            true => json().map_err(|error| Failure::Output(error.into()))?,
            false => text(output.screen()),
        };
        Ok(output.text(&text)?)
    }
}

/// The csv crate wraps what standard output says.
fn csv_failure(error: csv::Error) -> Failure {
    match error.into_kind() {
        csv::ErrorKind::Io(error) => Failure::Output(error),
        other => Failure::Output(std::io::Error::other(format!("{other:?}"))),
    }
}
