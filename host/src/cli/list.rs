//! `copperwalk units` and `copperwalk lots`: what is in the records.

use std::path::PathBuf;

use super::{Failure, Status, output::Output, records};
use crate::report::{json, terminal};

#[derive(clap::Args)]
pub struct Args {
    /// One JSON array on standard output, and nothing else there.
    #[arg(long)]
    json: bool,
}

pub fn units(args: Args, store: Option<PathBuf>, output: &mut Output) -> Result<Status, Failure> {
    let units = records::open_to_read(store)?.units()?;
    let text = if args.json {
        json::object(&units).map_err(|error| Failure::Output(error.into()))?
    } else {
        terminal::units(&units, output.screen())
    };
    output.text(&text)?;
    Ok(Status::Pass)
}

pub fn lots(args: Args, store: Option<PathBuf>, output: &mut Output) -> Result<Status, Failure> {
    let lots = records::open_to_read(store)?.lots()?;
    let text = if args.json {
        json::object(&lots).map_err(|error| Failure::Output(error.into()))?
    } else {
        terminal::lots(&lots, output.screen())
    };
    output.text(&text)?;
    Ok(Status::Pass)
}
