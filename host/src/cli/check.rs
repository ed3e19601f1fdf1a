//! `copperwalk check FILE...`

use std::path::PathBuf;

use super::{Failure, Status, output::Output};
use crate::check;

#[derive(clap::Args)]
pub struct Args {
    /// Board and fixture files. A fixture file brings its board file with it.
    #[arg(required = true, value_name = "FILE")]
    files: Vec<PathBuf>,
}

pub fn run(args: Args, output: &mut Output) -> Result<Status, Failure> {
    let screen = output.screen();
    let checked = check::check(&args.files, screen.width, screen.colour);
    let status = if checked.ok { Status::Pass } else { Status::Input };
    output.settle(status);
    output.text(&checked.report)?;
    Ok(status)
}
