//! `copperwalk tick`: the answer to a check of the unit's board.

use std::path::PathBuf;

use clap::ValueEnum;

use super::{Failure, Status, output::Output, records};
use crate::records::{now_us, text};

#[derive(clap::Args)]
pub struct Args {
    /// Serial number.
    #[arg(value_name = "SN")]
    serial: String,
    /// The check, as the board file names it.
    #[arg(value_name = "CHECK")]
    check: String,
    /// Is it so?
    #[arg(value_name = "ANSWER")]
    answer: Answer,
    /// Anything else worth keeping.
    #[arg(long, value_name = "TEXT", default_value = "")]
    note: String,
}

#[derive(Clone, Copy, PartialEq, Eq, ValueEnum)]
enum Answer {
    Yes,
    No,
}

pub fn run(args: Args, store: Option<PathBuf>, output: &mut Output) -> Result<Status, Failure> {
    let serial = text::serial(&args.serial)?;
    let records = records::open(store)?;
    let check = records.check_named(&serial, &args.check)?;
    records.tick(&serial, now_us(), &check, args.answer == Answer::Yes, &args.note)?;
    output.text("written down")?;
    Ok(Status::Pass)
}
