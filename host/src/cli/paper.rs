//! What is printed: on which paper, and into which file.

use std::path::{Path, PathBuf};

use clap::builder::{PossibleValuesParser, TypedValueParser};

use super::{
    Failure,
    deliver::{Kind, Place},
};
use crate::report::pdf::Paper;

/// A report as a PDF beside what is shown.
#[derive(clap::Args)]
pub struct Print {
    /// Also write a PDF to print and to hand on.
    #[arg(long, value_name = "FILE")]
    pdf: Option<PathBuf>,
    /// Paper of the PDF.
    #[arg(long, value_parser = paper(), default_value = "a4", requires = "pdf")]
    paper: Paper,
}

/// Reads the name of a paper.
pub fn paper() -> impl TypedValueParser<Value = Paper> {
    PossibleValuesParser::new(["a4", "letter"]).map(|word| match word.as_str() {
        "letter" => Paper::Letter,
        _ => Paper::A4,
    })
}

impl Print {
    /// Looks at the place before work begins. `store` is the record store in use.
    pub fn ready(self, store: &Path, force: bool) -> Result<ToPrint, Failure> {
        let place = self.pdf.map(|path| Place::new(&path, Kind::Print, force, Some(store))).transpose()?;
        Ok(ToPrint { place, paper: self.paper })
    }
}

/// A PDF asked for, or none.
pub struct ToPrint {
    place: Option<Place>,
    paper: Paper,
}

impl ToPrint {
    /// Writes it, if it was asked for; gives what kept it from being written.
    pub fn write(&self, make: impl FnOnce(Paper) -> Vec<u8>) -> Option<Failure> {
        let place = self.place.as_ref()?;
        place.write(make(self.paper)).err().map(Failure::Place)
    }
}
