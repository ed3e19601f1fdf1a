//! `copperwalk judge`: stored measurements judged again.

use std::path::PathBuf;

use super::{Failure, Status, interrupt, output::Output, records};
use crate::{
    board::Board,
    limits,
    records::{Of, now_us, text},
    rejudge::{self, StatedLimits},
    report::{json, terminal},
};

#[derive(clap::Args)]
#[command(group(clap::ArgGroup::new("which").required(true).args(["serial", "lot", "all"])))]
pub struct Args {
    /// Every sweep of this unit.
    #[arg(value_name = "SN")]
    serial: Option<String>,
    /// Every sweep of the units of this lot.
    #[arg(long, value_name = "L")]
    lot: Option<String>,
    /// Every sweep in the records.
    #[arg(long)]
    all: bool,
    /// Judge by the limits in this file where it states some, and by the board file's for the rest.
    ///
    /// The file has `format = 1` and a table [limits] with lines such as "cell fuse" = { min = "200 mohm", max = "900 mohm" }.
    #[arg(long, value_name = "FILE")]
    limits: Option<PathBuf>,
    /// Add the new judgements to the records; the old ones stay.
    #[arg(long)]
    keep: bool,
    /// One JSON object on standard output, and nothing else there.
    #[arg(long)]
    json: bool,
}

pub fn run(args: Args, store: Option<PathBuf>, output: &mut Output) -> Result<Status, Failure> {
    let serial = args.serial.as_deref().map(text::serial).transpose()?;
    let lot = args.lot.as_deref().map(text::lot).transpose()?;
    let records = if args.keep { records::open(store)? } else { records::open_to_read(store)? };
    let of = match (&serial, &lot) {
        (Some(serial), _) => Of::Unit(serial),
        (None, Some(lot)) => Of::Lot(lot),
        (None, None) => Of::All,
    };
    let sweeps = records.numbers(of)?;
    let made_us = args.keep.then(now_us);
    let cancel = interrupt::token();
    let limits = args.limits.as_deref().map(|file| move |board: &Board| limits::read(file, board));
    let limits = limits.as_ref().map(|limits| limits as &StatedLimits<'_>);
    let outcome = rejudge::again(&records, &sweeps, limits, made_us, &cancel)?;
    let status = if outcome.skipped.is_empty() { Status::Pass } else { Status::Input };
    output.settle(status);
    if args.json {
        output.text(&json::object(&outcome).map_err(|error| Failure::Output(error.into()))?)?;
    } else {
        output.text(&terminal::rejudged(&outcome, output.screen()))?;
    }
    Ok(status)
}
