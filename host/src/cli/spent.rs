//! `copperwalk spent`: minutes and parts that went into a unit.

use std::path::PathBuf;

use clap::builder::{PossibleValuesParser, TypedValueParser};

use super::{Failure, Status, output::Output, records, trade};
use crate::{
    fault::method::Method,
    quantity::Money,
    records::{now_us, text},
    trade::Dealing,
};

#[derive(clap::Args)]
pub struct Args {
    /// Serial number.
    #[arg(value_name = "SN")]
    serial: String,
    /// Minutes worked.
    #[arg(long, value_name = "N", value_parser = trade::minutes, allow_hyphen_values = true)]
    minutes: u32,
    /// Cost of the parts that were used up, such as "1.20 EUR".
    #[arg(long, value_name = "AMOUNT", value_parser = trade::amount, allow_hyphen_values = true)]
    parts: Option<Money>,
    /// What the time went into. Without it, the latest repair of the unit.
    #[arg(long, value_name = "METHOD", value_parser = method())]
    method: Option<Method>,
    /// A correction: this counts in place of all work written down of the unit before.
    #[arg(long)]
    instead: bool,
}

fn method() -> impl TypedValueParser<Value = Method> {
    PossibleValuesParser::new(Method::ALL.map(Method::word))
        .map(|word| Method::of_action(&word).unwrap_or(Method::Leave))
}

pub fn run(args: Args, store: Option<PathBuf>, output: &mut Output) -> Result<Status, Failure> {
    let serial = text::serial(&args.serial)?;
    let Args { minutes, parts, method, instead, .. } = args;
    records::open(store)?.deal(&serial, now_us(), &Dealing::Work { minutes, parts, method, instead })?;
    output.text("written down")?;
    Ok(Status::Pass)
}
