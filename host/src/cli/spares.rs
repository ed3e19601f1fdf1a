//! `copperwalk spares` and `copperwalk packing`: parts taken off units, and the list that goes with them.

use std::path::PathBuf;

use super::{Failure, Status, output::Output, paper::Print, records};
use crate::{
    records::{now_us, text},
    report::{pdf, terminal},
    trade::Dealing,
};

#[derive(clap::Args)]
pub struct SparesArgs {
    /// Serial number of the unit that the part comes from.
    #[arg(value_name = "SN")]
    serial: String,
    /// The part.
    #[arg(value_name = "PART")]
    part: String,
    /// Serial number of the unit that it is for.
    #[arg(long = "for", value_name = "SN")]
    unit: Option<String>,
    /// It was put back: the latest such part of the unit counts as never taken.
    #[arg(long, conflicts_with = "unit")]
    put_back: bool,
}

#[derive(clap::Args)]
pub struct PackingArgs {
    /// Name of the lot.
    #[arg(value_name = "LOT")]
    lot: String,
    /// Replace the file of that name even if copperwalk did not make it. A record store is never replaced.
    #[arg(long)]
    force: bool,
    #[command(flatten)]
    print: Print,
}

pub fn spares(args: SparesArgs, store: Option<PathBuf>, output: &mut Output) -> Result<Status, Failure> {
    let serial = text::serial(&args.serial)?;
    let unit = args.unit.as_deref().map(text::serial).transpose()?;
    let dealing = Dealing::Spare { part: args.part, unit, put_back: args.put_back };
    records::open(store)?.deal(&serial, now_us(), &dealing)?;
    output.text("written down; `copperwalk packing` lists the spares of a lot")?;
    Ok(Status::Pass)
}

pub fn packing(args: PackingArgs, store: Option<PathBuf>, output: &mut Output) -> Result<Status, Failure> {
    let lot = text::lot(&args.lot)?;
    let records = records::open_to_read(store)?;
    let print = args.print.ready(records.path(), args.force)?;
    let book = records.book(&lot)?;
    let shown = output.text(&terminal::packing(&book, output.screen())).map_err(Failure::Output);
    let failures = shown.err().into_iter().chain(print.write(|paper| pdf::packing(&book, paper)));
    Failure::undelivered(failures.collect()).map_or(Ok(Status::Pass), Err)
}
