//! `copperwalk prove FIXTURE`: prove a bench with its bed, record what was found, then show it.

use std::{
    io::{IsTerminal, Write, stderr},
    path::PathBuf,
};

use jiff::Timestamp;

use super::{Failure, Status, by_daemon, interrupt, output::Output, records, sweep::BenchArgs};
use crate::{
    fixture,
    plan::{self, Sampling},
    prove::{Event, LEAST_SEATINGS, Prover, Wanted},
    report::{json, terminal},
};

#[derive(clap::Args)]
#[command(group(clap::ArgGroup::new("line").args(["port", "modelled"]).required(true)))]
pub struct Args {
    /// The fixture file.
    #[arg(value_name = "FIXTURE")]
    fixture: PathBuf,
    #[command(flatten)]
    bench: BenchArgs,
    /// Also every pin by way of both of its relays, on a sheet of bare copper.
    #[arg(long)]
    plate: bool,
    /// Also what the bed can judge, by a golden unit that is seated so many times, three or more.
    #[arg(long, value_name = "N", value_parser = seatings)]
    golden: Option<usize>,
    /// One JSON object on standard output, and nothing else there.
    #[arg(long)]
    json: bool,
}

/// Seatings of a golden unit.
fn seatings(text: &str) -> Result<usize, String> {
    let count = text.parse().ok().filter(|count| (LEAST_SEATINGS..=100).contains(count));
    count.ok_or_else(|| format!("a number from {LEAST_SEATINGS} to 100 belongs here"))
}

pub fn run(args: Args, store: Option<PathBuf>, output: &mut Output) -> Result<Status, Failure> {
    let fixture = fixture::read(&args.fixture)?;
    let plan = plan::compile(&fixture, &fixture.limits, Sampling::Quick)?;
    if let Some(port) = args.bench.port() {
        by_daemon::has_not(port, store.as_ref(), "the bench is proven")?;
    }
    // Before anything is measured: a store that cannot be written to would lose it.
    let records = records::open(store)?;
    let cancel = interrupt::token();
    let (mut session, mut operator) = args.bench.open(&fixture, &cancel)?;
    let wanted = Wanted { plate: args.plate, seatings: args.golden.unwrap_or(0) };
    let mut prover =
        Prover { session: &mut session, operator: operator.as_mut(), fixture: &fixture, plan: &plan };
    let proof = prover.prove(wanted, Timestamp::now(), &mut progress)?;
    records.keep_proof(&proof)?;
    let status = if proof.figures().faults.is_empty() { Status::Pass } else { Status::Void };
    output.settle(status);
    if args.json {
        output.text(&json::object(proof.figures()).map_err(|error| Failure::Output(error.into()))?)?;
    } else {
        output.text(&terminal::proof(&proof, &fixture, output.screen()))?;
    }
    Ok(status)
}

/// Says where the work stands, to a person who watches.
fn progress(event: Event<'_>) {
    let mut stderr = stderr();
    if let (Event::Shots(part, made, of), true) = (event, stderr.is_terminal()) {
        let end = if made == of { "\n" } else { "" };
        // Whoever closed standard error does not want to see it.
        let _ = write!(stderr, "\r  {part}: {made} of {of}{end}");
    }
}
