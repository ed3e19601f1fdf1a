//! `copperwalk learn FIXTURE --lot L -o limits.toml`: limits from what golden units read.

use std::path::PathBuf;

use super::{
    Failure, Status,
    deliver::{Kind, Place},
    output::Output,
    records,
};
use crate::{
    fixture,
    learn::{self, Claim, Of},
    records::text,
    report::{json, terminal},
};

#[derive(clap::Args)]
#[command(group(clap::ArgGroup::new("which").required(true).args(["lot", "serials"])))]
pub struct Args {
    /// The fixture file; its board is the one that limits are learned for.
    #[arg(value_name = "FIXTURE")]
    fixture: PathBuf,
    /// Learn from the golden units of this lot: their last sweep passed, and no repair was written down for them.
    #[arg(long, value_name = "L")]
    lot: Option<String>,
    /// Learn from the golden ones among these units.
    #[arg(long, value_name = "SN,SN…", value_delimiter = ',')]
    serials: Vec<String>,
    /// Share of good units that the limits of a segment are to hold, 0.5 to 0.9999.
    #[arg(long, default_value_t = 0.99, value_name = "SHARE", value_parser = share)]
    coverage: f64,
    /// Probability with which they are to, 0.5 to 0.9999.
    #[arg(long, default_value_t = 0.95, value_name = "SHARE", value_parser = share)]
    confidence: f64,
    /// The file that the limits are written to: for `limits = "limits.toml"` in the fixture file, and for `copperwalk
    /// judge --limits`.
    #[arg(short, long, value_name = "FILE")]
    out: PathBuf,
    /// Replace the file of that name even if copperwalk did not make it. A record store is never replaced.
    #[arg(long)]
    force: bool,
    /// One JSON object on standard output, and nothing else there.
    #[arg(long)]
    json: bool,
}

/// A share that tolerance limits can be asked for. Below a half there is nothing to hold; beyond, no number of units is
/// enough.
fn share(text: &str) -> Result<f64, String> {
    let share = text.parse().ok().filter(|share| (0.5..=0.9999).contains(share));
    share.ok_or_else(|| "a number from 0.5 to 0.9999 belongs here".into())
}

pub fn run(args: Args, store: Option<PathBuf>, output: &mut Output) -> Result<Status, Failure> {
    let lot = args.lot.as_deref().map(text::lot).transpose()?;
    let mut serials =
        args.serials.iter().map(|serial| text::serial(serial)).collect::<Result<Vec<_>, _>>()?;
    // A unit that is named twice is one unit.
    serials.sort();
    serials.dedup();
    let fixture = fixture::read(&args.fixture)?;
    let records = records::open_to_read(store)?;
    let place = Place::new(&args.out, Kind::Limits, args.force, Some(records.path()))?;
    let of = lot.as_deref().map_or(Of::Units(&serials), Of::Lot);
    let claim = Claim { coverage: args.coverage, confidence: args.confidence };
    let learned = learn::learn(&records, &fixture.board, of, claim)?;
    place.write(learn::text(&learned))?;
    if args.json {
        output.text(&json::object(&learned).map_err(|error| Failure::Output(error.into()))?)?;
    } else {
        output.text(&terminal::learned(&learned, &fixture.board, &args.out, output.screen()))?;
    }
    Ok(Status::Pass)
}
