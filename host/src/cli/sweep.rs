//! `copperwalk sweep FIXTURE --serial SN`: sweep one unit, record it, then show it.

use std::path::PathBuf;

use super::{
    Failure, Status,
    form::{Form, Views},
    interrupt,
    output::{Output, status_of},
    progress::Progress,
    records, slip,
};
use crate::{
    fixture::{self, Fixture},
    job::{Job, JobError, Subject},
    limits::LimitSet,
    link::{CancelToken, Session, Transport, serial::SerialLink},
    operator::{Operator, TerminalOperator},
    plan::{self, Sampling},
    records::{now_us, text},
    report::{csv, html, json, terminal, words},
    virtual_bench::{Spec, VirtualBench},
};

#[derive(clap::Args)]
pub struct Args {
    /// The fixture file.
    #[arg(value_name = "FIXTURE")]
    fixture: PathBuf,
    /// Serial number of the unit.
    #[arg(long, value_name = "SN")]
    serial: String,
    /// Lot the unit came in.
    #[arg(long, value_name = "LOT")]
    lot: Option<String>,
    #[command(flatten)]
    bench: BenchArgs,
    /// Take the full number of samples for every reading, also where the verdict is clear after a few.
    #[arg(long)]
    full: bool,
    /// Sweep although the records speak of a slip: a serial number or a lot in other capitals, another lot, another board.
    #[arg(long)]
    yes: bool,
    #[command(flatten)]
    form: Form,
}

/// A conversation with the controller, and whoever puts the unit into its states.
type Bench = (Session<Box<dyn Transport>>, Box<dyn Operator>);

/// Which bench.
#[derive(clap::Args)]
#[group(required = true, multiple = true)]
pub struct BenchArgs {
    /// Sweep on the bench whose controller is at this serial port; `copperwalk bench` lists them.
    #[arg(long, value_name = "DEV", conflicts_with = "modelled")]
    port: Option<String>,
    /// Sweep on the modelled bench.
    #[arg(long = "virtual")]
    modelled: bool,
    /// Seed of the modelled bench and unit.
    #[arg(long, default_value_t = 1, requires = "modelled", value_name = "N")]
    seed: u64,
    /// A fault of the modelled unit or bench; may be given more than once.
    ///
    /// Of the unit: "NAME=open", "NAME=330 ohm", "NAME=flaky", "NAME=film", "NAME=one barrel open",
    /// "POINT~POINT=2 ohm" (a short). "One barrel open" is of several parallel plated holes (vias) one whose copper sleeve is
    /// broken. Of the bench: "POINT:force=5 kohm" or "POINT:sense=open" (a dirty pin),
    /// "POINT:sense+=welded", "POINT:force-=never closes", "battery=3.0 V", "charge=5 V".
    #[arg(long = "fault", requires = "modelled", value_name = "SPEC")]
    faults: Vec<String>,
}

impl BenchArgs {
    fn open(self, fixture: &Fixture, cancel: &CancelToken) -> Result<Bench, Failure> {
        let (line, operator): (Box<dyn Transport>, Box<dyn Operator>) = match self.port {
            Some(port) => {
                let line = SerialLink::open(&port).map_err(JobError::from)?;
                (Box::new(line), Box::new(TerminalOperator::new(cancel)))
            }
            None => {
                let spec = self.faults.into_iter().fold(Spec::new(self.seed), Spec::fault);
                let bench = VirtualBench::new(fixture, &spec)?;
                let operator = bench.operator();
                (Box::new(bench), Box::new(operator))
            }
        };
        let session = Session::open_cancellable(line, cancel).map_err(JobError::from)?;
        Ok((session, operator))
    }
}

pub fn run(args: Args, store: Option<PathBuf>, output: &mut Output) -> Result<Status, Failure> {
    let serial = text::serial(&args.serial)?;
    let lot = args.lot.as_deref().map(text::lot).transpose()?;
    let fixture = fixture::read(&args.fixture)?;
    let sampling = if args.full { Sampling::Full } else { Sampling::Quick };
    let plan = plan::compile(&fixture, &LimitSet::of_board(&fixture.board), sampling)?;
    // Before the sweep: a store that cannot be written to would lose it, a page without a folder be missed.
    let records = records::open(store)?;
    let form = args.form.ready(records.path())?;
    slip::none_or_meant(&records, &serial, lot.as_deref(), &fixture.board, args.yes)?;
    let cancel = interrupt::token();
    let (mut session, mut operator) = args.bench.open(&fixture, &cancel)?;

    let subject = Subject { serial, lot, started_us: now_us() };
    let mut job = Job { session: &mut session, operator: operator.as_mut(), fixture: &fixture, plan: &plan };
    let mut progress = Progress::new();
    let (id, sweep) = job.record(subject, &records, &mut |event| progress.take(event))?;

    let status = status_of(sweep.judgement.verdict);
    output.settle(status);
    let failures = form.show(
        output,
        &Views {
            json: &|| json::sweep(&sweep),
            text: &|screen| terminal::sweep(&sweep, Some(id), screen),
            csv: &|out| csv::sweep(&sweep, out),
            html: &|| html::sweep(&sweep, &fixture.board, &html::Links::NONE),
        },
    );
    match Failure::undelivered(failures) {
        None => Ok(status),
        Some(undelivered) => {
            Err(Failure::Kept { said: words::in_short(&sweep), id, undelivered: undelivered.into() })
        }
    }
}
