//! `copperwalk receive` and `copperwalk status`: units come in, and where each stands in the work.

use std::{
    collections::BTreeSet,
    io::{Read, stdin},
    path::PathBuf,
};

use clap::ValueEnum;

use super::{Failure, Status, output::Output, records, slip};
use crate::{
    records::{Coming, now_us, status, text},
    report::words,
};

/// Longest list of serial numbers on standard input, byte: more units than come in on one day.
const LIST_BYTES: u64 = 1 << 20;

#[derive(clap::Args)]
pub struct ReceiveArgs {
    /// Serial numbers. Without any, standard input is read: one on each line, as a scanner types them.
    #[arg(value_name = "SN")]
    serials: Vec<String>,
    /// The lot that they come with.
    #[arg(long, value_name = "LOT")]
    lot: Option<String>,
    /// What looks like a slip is meant: a serial number in other capitals, a unit that moves to another lot.
    #[arg(long)]
    yes: bool,
}

#[derive(clap::Args)]
pub struct StatusArgs {
    /// Serial number.
    #[arg(value_name = "SN")]
    serial: String,
    /// Where it stands from now on. A later sweep or repair counts instead.
    #[arg(value_name = "STATUS")]
    status: Word,
}

#[derive(Clone, Copy, ValueEnum)]
enum Word {
    Received,
    // Completions of shells break a word at its blank.
    #[value(name = "in-repair", alias = "in repair")]
    InRepair,
    Scrapped,
    Sold,
}

impl From<Word> for status::Said {
    fn from(word: Word) -> Self {
        match word {
            Word::Received => Self::Received,
            Word::InRepair => Self::InRepair,
            Word::Scrapped => Self::Scrapped,
            Word::Sold => Self::Sold,
        }
    }
}

pub fn receive(args: ReceiveArgs, store: Option<PathBuf>, output: &mut Output) -> Result<Status, Failure> {
    let lot = args.lot.as_deref().map(text::lot).transpose()?;
    let listed = if args.serials.is_empty() { listed()? } else { args.serials };
    let listed = listed.iter().map(|serial| text::serial(serial)).collect::<Result<BTreeSet<_>, _>>()?;
    let records = records::open(store)?;
    let coming = Coming::of(listed, lot.as_deref(), &records.units()?, &records.lot_names()?);
    slip::refuse_unless_meant(coming.doubts, "receive", "received", args.yes)?;
    records.receive(&coming.new, lot.as_deref(), now_us())?;
    let mut said = format!("{} received", words::counted(coming.new.len(), "unit", "units"));
    if let Some(lot) = &lot {
        said += &format!(" with lot {lot}");
    }
    if coming.again > 0 {
        said += &format!("; {} were received before and are left as they are", coming.again);
    }
    output.text(&said)?;
    Ok(Status::Pass)
}

pub fn status(args: StatusArgs, store: Option<PathBuf>, output: &mut Output) -> Result<Status, Failure> {
    let serial = text::serial(&args.serial)?;
    let said = args.status.into();
    records::open(store)?.set_status(&serial, now_us(), said)?;
    output.text(&format!("written down; {serial} is {}", words::status(said.into())))?;
    Ok(Status::Pass)
}

/// Serial numbers on standard input.
fn listed() -> Result<Vec<String>, Failure> {
    let mut list = String::new();
    stdin().lock().take(LIST_BYTES + 1).read_to_string(&mut list).map_err(Failure::Input)?;
    if list.len() as u64 > LIST_BYTES {
        return Err(Failure::LongList { bytes: LIST_BYTES });
    }
    let serials: Vec<String> =
        list.lines().filter(|line| !line.trim().is_empty()).map(str::to_owned).collect();
    if serials.is_empty() { Err(Failure::NoSerials) } else { Ok(serials) }
}
