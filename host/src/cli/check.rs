//! `copperwalk check FILE...`

use std::path::PathBuf;

use super::{Failure, Status, output::Output};
use crate::{
    check::{self, Checked},
    report::terminal,
};

#[derive(clap::Args)]
pub struct Args {
    /// Board and fixture files. A fixture file brings its board file with it.
    #[arg(required = true, value_name = "FILE")]
    files: Vec<PathBuf>,
}

pub fn run(args: Args, output: &mut Output) -> Result<Status, Failure> {
    let checked = check::check(&args.files);
    let status = if checked.iter().all(Checked::usable) { Status::Pass } else { Status::Input };
    output.settle(status);
    output.text(&terminal::check(&checked, output.screen()))?;
    Ok(status)
}
