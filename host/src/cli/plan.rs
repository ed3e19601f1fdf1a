//! `copperwalk plan FIXTURE`: what will be measured, how long it takes, how many relays close, what stays hidden.

use std::path::PathBuf;

use super::{Failure, Status, output::Output};
use crate::{
    fixture,
    plan::{self, Sampling},
    report::{json, plan::plan_sheet, terminal},
};

#[derive(clap::Args)]
pub struct Args {
    /// The fixture file.
    #[arg(value_name = "FIXTURE")]
    fixture: PathBuf,
    /// Plan the full number of samples for every reading.
    #[arg(long)]
    full: bool,
    /// One JSON object instead of text.
    #[arg(long)]
    json: bool,
}

pub fn run(args: Args, output: &mut Output) -> Result<Status, Failure> {
    let fixture = fixture::read(&args.fixture)?;
    let sampling = if args.full { Sampling::Full } else { Sampling::Quick };
    let sheet = plan_sheet(&plan::compile(&fixture, &fixture.limits, sampling)?, &fixture);
    let text = if args.json {
        json::object(&sheet).map_err(|error| Failure::Output(error.into()))?
    } else {
        terminal::plan(&sheet, output.screen())
    };
    output.text(&text)?;
    Ok(Status::Pass)
}
