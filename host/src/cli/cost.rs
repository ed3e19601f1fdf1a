//! `copperwalk cost`: what a lot cost, how many units it has, and what they may bring.

use std::path::PathBuf;

use super::{Failure, Status, output::Output, records, trade};
use crate::{
    quantity::Money,
    records::{now_us, text},
    trade::book::SaidOfLot,
};

#[derive(clap::Args)]
pub struct Args {
    /// Name of the lot. Receive its units first.
    #[arg(value_name = "LOT")]
    lot: String,
    /// Paid for it, such as "120.00 EUR". Of everything here the latest statement counts.
    #[arg(long, value_name = "AMOUNT", value_parser = trade::amount, allow_hyphen_values = true)]
    paid: Option<Money>,
    /// Paid to bring it here.
    #[arg(long, value_name = "AMOUNT", value_parser = trade::amount, allow_hyphen_values = true)]
    freight: Option<Money>,
    /// Another cost with its name, such as "customs=4.00 EUR"; may be given several times.
    #[arg(long, value_name = "NAME=AMOUNT", value_parser = trade::named_amount, allow_hyphen_values = true)]
    other: Vec<(String, Money)>,
    /// Units that were bought, if more than have been received.
    #[arg(long, value_name = "N", allow_negative_numbers = true)]
    units: Option<u32>,
    /// What a good unit is thought to sell for, fees taken off. Sales outweigh it as they come in.
    #[arg(long, value_name = "AMOUNT", value_parser = trade::amount, allow_hyphen_values = true)]
    price: Option<Money>,
    /// What the spares of a unit are worth that is not repaired.
    #[arg(long, value_name = "AMOUNT", value_parser = trade::amount, allow_hyphen_values = true)]
    spares: Option<Money>,
}

pub fn run(args: Args, store: Option<PathBuf>, output: &mut Output) -> Result<Status, Failure> {
    let lot = text::lot(&args.lot)?;
    let amounts = [
        args.paid.map(SaidOfLot::Paid),
        args.freight.map(SaidOfLot::Freight),
        args.units.map(SaidOfLot::Units),
        args.price.map(SaidOfLot::Price),
        args.spares.map(SaidOfLot::Spares),
    ];
    let others = args.other.into_iter().map(|(name, money)| SaidOfLot::Other(name, money));
    let said: Vec<SaidOfLot> = amounts.into_iter().flatten().chain(others).collect();
    if said.is_empty() {
        return Err(Failure::NothingSaid);
    }
    records::open(store)?.say_of_lot(&lot, now_us(), &said)?;
    output.text("written down; `copperwalk lot` shows what the lot comes to")?;
    Ok(Status::Pass)
}
