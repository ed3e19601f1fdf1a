//! `copperwalk labels`: sheets of labels for units.

use std::num::NonZeroU16;
use std::path::PathBuf;

use clap::builder::{PossibleValuesParser, TypedValueParser};

use super::{
    Failure, Status,
    deliver::{Kind, Place},
    output::Output,
    paper::paper,
    records::open_to_read,
};
use crate::{
    quantity::{self, Unit},
    records::text,
    report::{
        label::{Code, Sheet, labels},
        pdf::Paper,
        words,
    },
};

#[derive(clap::Args)]
#[command(group = clap::ArgGroup::new("which").required(true).args(["serials", "lot"]))]
pub struct Args {
    /// Serial numbers. They need not be in the records yet.
    #[arg(value_name = "SN")]
    serials: Vec<String>,
    /// Every unit of this lot instead.
    #[arg(long, value_name = "LOT")]
    lot: Option<String>,
    /// The PDF to write.
    #[arg(long, value_name = "FILE")]
    pdf: PathBuf,
    /// Labels from top to bottom of a sheet.
    #[arg(long, value_name = "N", default_value = "8")]
    rows: NonZeroU16,
    /// Labels from left to right.
    #[arg(long, value_name = "N", default_value = "3")]
    columns: NonZeroU16,
    /// Blank edge of the sheet.
    #[arg(long, value_name = "LENGTH", default_value = "10 mm", value_parser = millimetres, allow_hyphen_values = true)]
    margin: f32,
    /// How the serial number is coded.
    #[arg(long, value_parser = code(), default_value = "qr")]
    code: Code,
    /// Paper.
    #[arg(long, value_parser = paper(), default_value = "a4")]
    paper: Paper,
    /// Replace the file of that name even if copperwalk did not make it. A record store is never replaced.
    #[arg(long)]
    force: bool,
}

pub fn run(args: Args, store: Option<PathBuf>, output: &mut Output) -> Result<Status, Failure> {
    let (place, serials) = match &args.lot {
        Some(lot) => {
            let lot = text::lot(lot)?;
            let records = open_to_read(store)?;
            let place = Place::new(&args.pdf, Kind::Print, args.force, Some(records.path()))?;
            (place, records.lot(&lot)?.units.into_iter().map(|unit| unit.serial).collect())
        }
        None => {
            let store = crate::records::path(store)?;
            let place = Place::new(&args.pdf, Kind::Print, args.force, Some(&store))?;
            (place, args.serials.iter().map(|serial| text::serial(serial)).collect::<Result<Vec<_>, _>>()?)
        }
    };
    let sheet = Sheet { paper: args.paper, rows: args.rows, columns: args.columns, margin_mm: args.margin };
    place.write(labels(&serials, &sheet, args.code)?)?;
    output.text(&format!("{} written", words::counted(serials.len(), "label", "labels")))?;
    Ok(Status::Pass)
}

fn millimetres(text: &str) -> Result<f32, String> {
    quantity::parse(text, Unit::Millimetre)
        .map(|millimetres| millimetres as f32)
        .map_err(|error| format!("{}: {}", error.what, error.help))
}

fn code() -> impl TypedValueParser<Value = Code> {
    PossibleValuesParser::new(["qr", "code-128"]).map(|word| match word.as_str() {
        "code-128" => Code::Code128,
        _ => Code::Qr,
    })
}
