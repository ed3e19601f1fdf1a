//! `copperwalk unit`, `lot`, `note`, `repair`: what the record store knows, and what people add to it.

use std::path::PathBuf;

use super::{
    Failure, Status,
    form::{Form, Views},
    output::{Output, complain},
    paper::Print,
};
use crate::{
    proposed::Proposed,
    records::{self, Records, SweepId, now_us, text},
    report::{csv, html, json, pdf, terminal},
    visible::path as shown,
};

#[derive(clap::Args)]
pub struct UnitArgs {
    /// Serial number.
    #[arg(value_name = "SN")]
    serial: String,
    #[command(flatten)]
    form: Form,
    #[command(flatten)]
    print: Print,
}

#[derive(clap::Args)]
pub struct LotArgs {
    /// Name of the lot.
    #[arg(value_name = "LOT")]
    lot: String,
    #[command(flatten)]
    form: Form,
    #[command(flatten)]
    print: Print,
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
    /// Take the proposal of this number from `copperwalk remedy SN`: the place, the method, the predicted reading and the wire come
    /// from there.
    #[arg(long, value_name = "N", conflicts_with_all = ["place", "action"])]
    remedy: Option<usize>,
    /// The segment, the two points or the fitted wire that was repaired, as the report names them.
    #[arg(long = "at", value_name = "WHERE", required_unless_present = "remedy")]
    place: Option<String>,
    /// What was done: cleaned, reflowed, replaced, rebuilt, wired, or, of a wire fitted before, removed.
    #[arg(long, value_name = "ACTION", required_unless_present = "remedy")]
    action: Option<String>,
    /// Anything else worth keeping.
    #[arg(default_value = "")]
    text: String,
}

#[derive(clap::Args)]
pub struct VoidArgs {
    /// Serial number.
    #[arg(value_name = "SN")]
    serial: String,
    /// Number of the sweep, as `copperwalk unit` shows it.
    #[arg(long, value_name = "N")]
    sweep: i64,
    /// Why it says nothing about the unit.
    #[arg(long, value_name = "TEXT")]
    because: String,
}

pub fn unit(args: UnitArgs, store: Option<PathBuf>, output: &mut Output) -> Result<Status, Failure> {
    let serial = text::serial(&args.serial)?;
    let records = open_to_read(store)?;
    let print = args.print.ready(records.path(), args.form.force())?;
    let form = args.form.ready(records.path())?;
    for file in records.aside(&serial)? {
        complain(&format!(
            "a finished sweep of unit {serial:?} lies in {}: it is not shown here, and goes into the records by itself the next \
             time something is written to them",
            shown(&file)
        ));
    }
    let history = records.unit(&serial)?;
    let mut failures = form.show(
        output,
        &Views {
            json: &|| json::object(&history),
            text: &|screen| terminal::unit(&history, screen),
            csv: &|out| csv::unit(&history, out),
            html: &|| html::unit(&history, &html::Links::NONE),
        },
    );
    failures.extend(print.write(|paper| pdf::certificate(&history, paper)));
    Failure::undelivered(failures).map_or(Ok(Status::Pass), Err)
}

pub fn lot(args: LotArgs, store: Option<PathBuf>, output: &mut Output) -> Result<Status, Failure> {
    let name = text::lot(&args.lot)?;
    let records = open_to_read(store)?;
    let print = args.print.ready(records.path(), args.form.force())?;
    let form = args.form.ready(records.path())?;
    let summary = records.lot(&name)?;
    let mut failures = form.show(
        output,
        &Views {
            json: &|| json::object(&summary),
            text: &|screen| terminal::lot(&summary, screen),
            csv: &|out| csv::lot(&summary, out),
            html: &|| html::lot(&summary, &html::Links::NONE),
        },
    );
    failures.extend(print.write(|paper| pdf::lot(&summary, paper)));
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
    let records = open(store)?;
    match args.remedy {
        Some(number) => {
            let proposal = Proposed::from(&records, &serial)?.numbered(number)?;
            records.take(&serial, now_us(), &proposal.taken(), &args.text)?;
        }
        None => {
            let place = records.place(&serial, &args.place.unwrap_or_default())?;
            records.repair(&serial, now_us(), &place, &args.action.unwrap_or_default(), &args.text)?;
        }
    }
    output.text("written down; sweep the unit again to prove the repair")?;
    Ok(Status::Pass)
}

pub fn void(args: VoidArgs, store: Option<PathBuf>, output: &mut Output) -> Result<Status, Failure> {
    let serial = text::serial(&args.serial)?;
    open(store)?.void(&serial, SweepId(args.sweep), now_us(), &args.because)?;
    output.text(&format!("written down; sweep {} counts as void from now on", args.sweep))?;
    Ok(Status::Pass)
}

/// Opens the store that the arguments and the environment name, to write to; says what else that did.
pub fn open(store: Option<PathBuf>) -> Result<Records, Failure> {
    let records = Records::open(&records::path(store)?)?;
    records.news().iter().for_each(|news| complain(news));
    Ok(records)
}

/// Opens the same to read only.
pub fn open_to_read(store: Option<PathBuf>) -> Result<Records, Failure> {
    Ok(Records::open_to_read(&records::path(store)?)?)
}
