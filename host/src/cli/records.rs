//! `copperwalk unit`, `lot`, `note`, `repair`: what the record store knows, and what people add to it.

use std::path::PathBuf;

use super::{
    Failure, Status,
    form::{Form, Views},
    output::Output,
};
use crate::{
    records::{self, Records, text},
    report::{csv, html, json, terminal},
};

#[derive(clap::Args)]
pub struct UnitArgs {
    /// Serial number.
    #[arg(value_name = "SN")]
    serial: String,
    #[command(flatten)]
    form: Form,
}

#[derive(clap::Args)]
pub struct LotArgs {
    /// Name of the lot.
    #[arg(value_name = "LOT")]
    lot: String,
    #[command(flatten)]
    form: Form,
}

#[derive(clap::Args)]
pub struct NoteArgs {
    /// Serial number.
    #[arg(value_name = "SN")]
    serial: String,
    /// What to write down.
    text: String,
}

#[derive(clap::Args)]
pub struct RepairArgs {
    /// Serial number.
    #[arg(value_name = "SN")]
    serial: String,
    /// The segment or the two points that were repaired, as the report names them.
    #[arg(long = "at", value_name = "WHERE")]
    place: String,
    /// What was done: cleaned, reflowed, replaced, rebuilt, wired …
    #[arg(long, value_name = "ACTION")]
    action: String,
    /// Anything else worth keeping.
    #[arg(default_value = "")]
    text: String,
}

pub fn unit(args: UnitArgs, store: Option<PathBuf>, output: &mut Output) -> Result<Status, Failure> {
    let serial = text::serial(&args.serial)?;
    let records = open(store)?;
    let form = args.form.ready(records.path())?;
    let history = records.unit(&serial)?;
    let failures = form.show(
        output,
        &Views {
            json: &|| json::object(&history),
            text: &|screen| terminal::unit(&history, screen),
            csv: &|out| csv::unit(&history, out),
            html: &|| html::unit(&history, |_| None),
        },
    );
    Failure::undelivered(failures).map_or(Ok(Status::Pass), Err)
}

pub fn lot(args: LotArgs, store: Option<PathBuf>, output: &mut Output) -> Result<Status, Failure> {
    let name = text::lot(&args.lot)?;
    let records = open(store)?;
    let form = args.form.ready(records.path())?;
    let summary = records.lot(&name)?;
    let failures = form.show(
        output,
        &Views {
            json: &|| json::object(&summary),
            text: &|screen| terminal::lot(&summary, screen),
            csv: &|out| csv::lot(&summary, out),
            html: &|| html::lot(&summary, |_| None),
        },
    );
    Failure::undelivered(failures).map_or(Ok(Status::Pass), Err)
}

pub fn note(args: NoteArgs, store: Option<PathBuf>, output: &mut Output) -> Result<Status, Failure> {
    let serial = text::serial(&args.serial)?;
    open(store)?.note(&serial, now_us(), &args.text)?;
    output.text("written down")?;
    Ok(Status::Pass)
}

pub fn repair(args: RepairArgs, store: Option<PathBuf>, output: &mut Output) -> Result<Status, Failure> {
    let serial = text::serial(&args.serial)?;
    open(store)?.repair(&serial, now_us(), &args.place, &args.action, &args.text)?;
    output.text("written down; sweep the unit again to prove the repair")?;
    Ok(Status::Pass)
}

/// Opens the store that the arguments and the environment name.
pub fn open(store: Option<PathBuf>) -> Result<Records, Failure> {
    Ok(Records::open(&records::path(store)?)?)
}

/// Now, microseconds since 1970-01-01 UTC.
pub fn now_us() -> i64 {
    jiff::Timestamp::now().as_microsecond()
}
