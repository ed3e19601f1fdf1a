//! In what form a result is shown: text for people, JSON or CSV for programs, and a page besides.

use std::io::Write;
use std::path::{Path, PathBuf};

use super::{
    Failure,
    deliver::{Kind, Place},
    output::Output,
};
use crate::report::terminal::Screen;

/// The form asked for.
#[derive(clap::Args)]
pub struct Form {
    /// One JSON object on standard output, and nothing else there.
    #[arg(long, conflicts_with = "csv")]
    json: bool,
    /// Comma-separated values on standard output, or in a file of this name beside the text.
    #[arg(long, value_name = "FILE", num_args = 0..=1, require_equals = true, default_missing_value = "-")]
    csv: Option<PathBuf>,
    /// Also write a self-contained HTML page.
    #[arg(long, value_name = "FILE")]
    html: Option<PathBuf>,
    /// Replace the file of that name even if copperwalk did not make it. A record store is never replaced.
    #[arg(long)]
    force: bool,
}

/// A result in all its forms; each is made only if it is asked for.
pub struct Views<'a> {
    /// One JSON object.
    pub json: &'a dyn Fn() -> serde_json::Result<String>,
    /// Text laid out for a screen.
    pub text: &'a dyn Fn(Screen) -> String,
    /// A table.
    pub csv: &'a dyn Fn(&mut dyn Write) -> csv::Result<()>,
    /// A page.
    pub html: &'a dyn Fn() -> String,
}

/// The form asked for, with every place that is to be written to looked at.
pub struct Ready {
    stdout: Stdout,
    table: Option<Place>,
    page: Option<Place>,
}

/// What stands on standard output.
enum Stdout {
    Text,
    Json,
    Table,
}

impl Form {
    /// Does standard output carry JSON only?
    pub fn json(&self) -> bool {
        self.json
    }

    /// May files be replaced that copperwalk did not make?
    pub fn force(&self) -> bool {
        self.force
    }

    /// Looks at every place before work begins. `store` is the record store in use.
    pub fn ready(self, store: &Path) -> Result<Ready, Failure> {
        let place = |path: &Path, kind| Place::new(path, kind, self.force, Some(store));
        let (stdout, table) = match &self.csv {
            Some(path) if path.as_os_str() == "-" => (Stdout::Table, None),
            path => {
                let stdout = if self.json { Stdout::Json } else { Stdout::Text };
                (stdout, path.as_deref().map(|path| place(path, Kind::Table)).transpose()?)
            }
        };
        let page = self.html.as_deref().map(|path| place(path, Kind::Page)).transpose()?;
        Ok(Ready { stdout, table, page })
    }
}

impl Ready {
    /// Where a page goes, if one was asked for.
    pub fn page(&self) -> Option<&Place> {
        self.page.as_ref()
    }

    /// Shows a result in every form asked for, and gives what could not be shown: one failure does not keep the
    /// other forms from coming.
    pub fn show(&self, output: &mut Output, views: &Views<'_>) -> Vec<Failure> {
        let stdout = match self.stdout {
            Stdout::Text => output.text(&(views.text)(output.screen())).map_err(Failure::Output),
            Stdout::Json => (views.json)()
                .map_err(|error| Failure::Output(error.into()))
                .and_then(|text| Ok(output.text(&text)?)),
            Stdout::Table => (views.csv)(output).map_err(csv_failure),
        };
        let page = self.page.as_ref().map(|place| Ok(place.write((views.html)())?));
        let table = self.table.as_ref().map(|place| {
            let mut bytes = Vec::new();
            (views.csv)(&mut bytes).map_err(csv_failure)?;
            Ok(place.write(bytes)?)
        });
        [Some(stdout), page, table].into_iter().flatten().filter_map(Result::err).collect()
    }
}

/// The csv crate wraps what standard output says.
pub fn csv_failure(error: csv::Error) -> Failure {
    match error.into_kind() {
        csv::ErrorKind::Io(error) => Failure::Output(error),
        other => Failure::Output(std::io::Error::other(format!("{other:?}"))),
    }
}
