//! `copperwalk unit`, `lot`, `note`, `repair`: what the record store knows, and what people add to it.

use std::path::PathBuf;

use super::{
    Failure, Status,
    deliver::{Kind, Place},
    form::{Form, Views, csv_failure},
    output::{Output, complain},
    paper::Print,
    trade,
};
use crate::{
    proposed::Proposed,
    quantity::Money,
    records::{self, Records, SweepId, now_us, text},
    report::{csv, html, json, pdf, terminal},
    trade::{Assessed, Terms, assess, worth::MOST_UNITS},
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
    /// What an hour of your work costs, such as "20.00 EUR": repairs that are not worth it are not proposed, and it says when to stop.
    #[arg(long, value_name = "AMOUNT", value_parser = trade::amount, allow_hyphen_values = true)]
    hour: Option<Money>,
    /// Hours that there are for repairs: the units that are worth them come first.
    #[arg(long, value_name = "N", value_parser = trade::hours, allow_hyphen_values = true)]
    hours: Option<f64>,
    /// Units of the next such lot, to say what it is worth. Without it, as many as this one has.
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u32).range(1..=i64::from(MOST_UNITS)), allow_negative_numbers = true)]
    next: Option<u32>,
    /// Also write the figures of trade as comma-separated values: a row for each unit, for a spreadsheet.
    #[arg(long, value_name = "FILE")]
    trade: Option<PathBuf>,
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
    let force = args.form.force();
    let print = args.print.ready(records.path(), force)?;
    let table =
        args.trade.map(|path| Place::new(&path, Kind::Table, force, Some(records.path()))).transpose()?;
    let form = args.form.ready(records.path())?;
    let (summary, book) = (records.lot(&name)?, records.book(&name)?);
    let terms = Terms { hour: args.hour, hours: args.hours, next_units: args.next };
    let found = assess(&book, &terms);
    let mut failures = form.show(
        output,
        &Views {
            json: &|| json::lot(&summary, &found),
            text: &|screen| terminal::lot(&summary, screen) + &terminal::trade(&found, screen),
            csv: &|out| csv::lot(&summary, out),
            html: &|| html::lot(&summary, &found, &html::Links::NONE),
        },
    );
    failures.extend(print.write(|paper| pdf::lot(&summary, paper)));
    if let Some(place) = table {
        failures.extend(write_table(&place, &name, &found).err());
    }
    Failure::undelivered(failures).map_or(Ok(Status::Pass), Err)
}

/// The figures of trade as a table. In two currencies there is none.
fn write_table(place: &Place, lot: &str, found: &Assessed) -> Result<(), Failure> {
    let found = found.as_ref().map_err(|error| records::Error::Currencies(error.clone()))?;
    let mut bytes = Vec::new();
    csv::trade(lot, found, &mut bytes).map_err(csv_failure)?;
    Ok(place.write(bytes)?)
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
