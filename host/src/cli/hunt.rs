//! `copperwalk hunt`: find what is wrong with one unit by the fewest readings that tell, record it, then show it: on a bed, or by
//! hand (`by_hand.rs`).

use std::path::PathBuf;

use super::{
    Failure, Status, by_daemon,
    by_hand::{self, ByHandArgs},
    form::Form,
    interrupt,
    output::Output,
    records, slip,
    sweep::{BenchArgs, Round},
};
use crate::{
    board::Board,
    fixture,
    hypothesis::Rates,
    plan::{self, Sampling},
    records::{Records, text},
};

#[derive(clap::Args)]
#[command(
    group(clap::ArgGroup::new("line").args(["port", "modelled", "by_hand"]).required(true).multiple(true)),
    after_long_help = by_hand::HELP
)]
pub struct Args {
    /// The fixture file; by hand the board file, without a bed.
    #[arg(value_name = "FIXTURE|BOARD")]
    pub file: PathBuf,
    /// Serial number of the unit.
    #[arg(long, value_name = "SN")]
    pub serial: String,
    /// Lot the unit came in. What its units have shown so far counts for where the hunt looks first.
    #[arg(long, value_name = "LOT")]
    pub lot: Option<String>,
    #[command(flatten)]
    pub by_hand: ByHandArgs,
    #[command(flatten)]
    pub bench: BenchArgs,
    /// Sweep the unit afterwards: the hunt tells what is wrong, the sweep is the complete record.
    #[arg(long, conflicts_with = "by_hand")]
    then_sweep: bool,
    /// Hunt although the records speak of a slip: a serial number or a lot in other capitals, another lot, another board.
    #[arg(long)]
    pub yes: bool,
    #[command(flatten)]
    pub form: Form,
}

pub fn run(args: Args, store: Option<PathBuf>, output: &mut Output) -> Result<Status, Failure> {
    if args.by_hand.by_hand {
        return by_hand::run(args, store, output);
    }
    let serial = text::serial(&args.serial)?;
    let lot = args.lot.as_deref().map(text::lot).transpose()?;
    let fixture = fixture::read(&args.file)?;
    let plan = plan::compile(&fixture, &fixture.limits, Sampling::Quick)?;
    if let Some(port) = args.bench.port() {
        by_daemon::has_not(port, store.as_ref(), "a unit is hunted")?;
    }
    let records = records::open(store)?;
    let form = args.form.ready(records.path())?;
    slip::none_or_meant(&records, &serial, lot.as_deref(), &fixture.board, args.yes)?;
    let rates = lot.as_deref().map_or_else(Rates::table, |lot| of_lot(&records, &fixture.board, lot));
    let cancel = interrupt::token();
    let (mut session, mut operator) = args.bench.open(&fixture, &cancel)?;
    let round = Round {
        fixture: &fixture,
        file: &args.file,
        plan: &plan,
        daemon: None,
        records: &records,
        lot,
        form: &form,
    };
    round.hunt(serial, rates, args.then_sweep, &mut session, operator.as_mut(), output)
}

/// What the lot's units of this board have shown; the table alone where the lot is new.
pub fn of_lot(records: &Records, board: &Board, lot: &str) -> Rates {
    let Ok(lot) = records.lot(lot) else { return Rates::table() };
    let places = lot.pareto.iter().filter(|row| row.board == board.name);
    let places = places.map(|row| (row.place.as_str(), row.class, row.units));
    Rates::of_lot(board, places, lot.first.fail, lot.first.judged())
}
