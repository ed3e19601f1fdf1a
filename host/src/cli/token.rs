//! `copperwalk token FILE --name NAME`: makes a token for a daemon that other computers may use.

use std::{
    fs::OpenOptions,
    io::Write,
    path::{Path, PathBuf},
};

use super::{Failure, Status, output::Output};
use crate::{records::text, web::token};

#[derive(clap::Args)]
pub struct Args {
    /// The token file; made if it is not there. It holds hashes, never tokens.
    #[arg(value_name = "FILE")]
    file: PathBuf,
    /// Whose token it is.
    #[arg(long, value_name = "NAME")]
    name: String,
}

pub fn run(args: Args, output: &mut Output) -> Result<Status, Failure> {
    let name = text::serial(&args.name)?;
    let (token, line) = token::new_token(&name).map_err(super::serve::ServeError::from)?;
    append(&args.file, &line).map_err(|error| Failure::Write { path: args.file.clone(), error })?;
    output.text(&format!("{token}\n\nThis is the token of {name:?}; it is shown once and kept nowhere."))?;
    Ok(Status::Pass)
}

/// Readable by its owner alone from the first byte.
fn append(path: &Path, line: &str) -> std::io::Result<()> {
    let mut options = OpenOptions::new();
    options.append(true).create(true);
    #[cfg(unix)]
    std::os::unix::fs::OpenOptionsExt::mode(&mut options, 0o600);
    let mut file = options.open(path)?;
    file.write_all(line.as_bytes())?;
    file.sync_all()
}
