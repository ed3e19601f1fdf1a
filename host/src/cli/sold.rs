//! `copperwalk sold` and `copperwalk returned`: a unit goes to a buyer, and comes back.

use std::path::PathBuf;

use super::{Failure, Status, output::Output, records, trade};
use crate::{
    quantity::Money,
    records::{now_us, text},
    trade::Dealing,
};

#[derive(clap::Args)]
pub struct SoldArgs {
    /// Serial number.
    #[arg(value_name = "SN")]
    serial: String,
    /// What the buyer paid, such as "45.00 EUR".
    #[arg(value_name = "PRICE", value_parser = trade::amount, allow_hyphen_values = true)]
    price: Money,
    /// What selling it cost: fees, postage that you paid.
    #[arg(long, value_name = "AMOUNT", value_parser = trade::amount, allow_hyphen_values = true)]
    fees: Option<Money>,
    /// A correction: this counts in place of the sale written down before.
    #[arg(long)]
    instead: bool,
}

#[derive(clap::Args)]
pub struct ReturnedArgs {
    /// Serial number.
    #[arg(value_name = "SN")]
    serial: String,
    /// What the buyer got back.
    #[arg(value_name = "REFUND", value_parser = trade::amount, allow_hyphen_values = true)]
    refund: Option<Money>,
    /// Why it came back.
    #[arg(long, value_name = "TEXT", default_value = "")]
    because: String,
}

pub fn sold(args: SoldArgs, store: Option<PathBuf>, output: &mut Output) -> Result<Status, Failure> {
    let serial = text::serial(&args.serial)?;
    let SoldArgs { price, fees, instead, .. } = args;
    let said = format!("written down; {serial} is sold for {price}");
    records::open(store)?.deal(&serial, now_us(), &Dealing::Sale { price, fees, instead })?;
    output.text(&said)?;
    Ok(Status::Pass)
}

pub fn returned(args: ReturnedArgs, store: Option<PathBuf>, output: &mut Output) -> Result<Status, Failure> {
    let serial = text::serial(&args.serial)?;
    let dealing = Dealing::Return { refund: args.refund, because: args.because };
    records::open(store)?.deal(&serial, now_us(), &dealing)?;
    output.text(&format!("written down; {serial} is here again, sweep it before it is sold once more"))?;
    Ok(Status::Pass)
}
