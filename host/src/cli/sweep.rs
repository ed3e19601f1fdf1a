//! `copperwalk sweep FIXTURE --serial SN`: sweep one unit, record it, then show it.

use std::path::{Path, PathBuf};

use super::{
    Failure, Status, by_daemon, each,
    form::{Form, Ready, Views},
    interrupt,
    output::{Output, status_of},
    progress::Progress,
    records, slip,
};
use crate::{
    board::Board,
    client::{Daemon, seen::Asked},
    fixture::{self, Fixture},
    hypothesis::Rates,
    job::{Job, JobError, Subject},
    link::{CancelToken, Session, Transport, serial::SerialLink},
    operator::{Operator, TerminalOperator},
    plan::{self, Plan, Sampling},
    records::{Records, SweepId, now_us, text},
    report::{csv, html, json, terminal, words},
    sweep::Sweep,
    virtual_bench::{Parts, Spec, VirtualBench, VirtualOperator},
};

#[derive(clap::Args)]
#[command(group(clap::ArgGroup::new("line").args(["port", "modelled"]).required(true)))]
pub struct Args {
    /// The fixture file.
    #[arg(value_name = "FIXTURE")]
    fixture: PathBuf,
    /// Serial number of the unit.
    #[arg(long, value_name = "SN", required_unless_present = "each", conflicts_with = "each")]
    serial: Option<String>,
    /// Sweep one unit after the other: each line of standard input is a serial number, as a scanner types it. On a bench a sweep
    /// starts when the lid is closed, or with an empty line. Ends with the input.
    #[arg(long, conflicts_with_all = ["csv", "html"])]
    each: bool,
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
type Bench = (AnySession, Box<dyn Operator>);
/// A conversation over whatever line.
pub type AnySession = Session<Box<dyn Transport>>;

/// Which bench.
#[derive(clap::Args)]
#[group(skip)]
pub struct BenchArgs {
    /// Sweep on the bench whose controller is at this serial port; `copperwalk bench` lists them.
    /// A daemon that has it is asked for the sweep.
    #[arg(long, value_name = "DEV", conflicts_with = "modelled")]
    port: Option<String>,
    /// Sweep on the modelled bench.
    #[arg(long = "virtual")]
    modelled: bool,
    /// Seed of the modelled bench and unit.
    #[arg(long, default_value_t = 1, requires = "modelled", value_name = "N")]
    seed: u64,
    /// What the modelled bench and unit are made of: "usual" parts, or "hostile": every part drawn over its published worst
    /// case, with hum, thermal voltages, worn pins, and units over their whole healthy band.
    #[arg(long = "bench", value_enum, default_value_t, requires = "modelled", value_name = "PARTS")]
    parts: Parts,
    /// A fault of the modelled unit or bench; may be given more than once.
    ///
    /// Of the unit: "NAME=open", "NAME=330 ohm", "NAME=flaky", "NAME=drops 2 ms" (opens for so long, about once a second), "NAME=film", "NAME=one barrel open",
    /// "POINT~POINT=2 ohm" (a short), "POINT~POINT=schottky", "silicon" or "body diode" (a diode, anode first),
    /// "absorption=4 %" (so much of the bulk capacitance charges slowly). "One barrel open" is of several parallel plated holes (vias) one whose copper sleeve is
    /// broken. Of the bench: "POINT:force=5 kohm" or "POINT:sense=open" (a dirty pin),
    /// "POINT:sense+=welded", "POINT:force-=never closes", "battery=3.0 V", "charge=5 V". Single effects: "hum=2 uV",
    /// "unit=+5 K" (warmer than the air), "unit=just soldered", "noise=1.5" (times the usual), "gain 16=+0.05 %", "Rm=+0.08 %", "USB=4.4 V",
    /// "CMRR=90 dB", "pin POINT=0.3 mm" (the sense pin stands so far off), "POINT:sense~POINT:sense=touching" (two pins).
    #[arg(long = "fault", requires = "modelled", value_name = "SPEC")]
    faults: Vec<String>,
}

/// What every unit of a command is swept with.
pub struct Round<'r> {
    pub fixture: &'r Fixture,
    /// Its file, beside which photos of the board may lie.
    pub file: &'r Path,
    pub plan: &'r Plan,
    /// The daemon that has the controller, if one does.
    pub daemon: Option<&'r Daemon>,
    /// Its records, to read, or our own.
    pub records: &'r Records,
    pub lot: Option<String>,
    pub form: &'r Ready,
}

impl Round<'_> {
    /// Sweeps one unit, records it, then shows it.
    pub fn sweep(
        &self,
        serial: String,
        session: &mut AnySession,
        operator: &mut dyn Operator,
        output: &mut Output,
    ) -> Result<Status, Failure> {
        let subject = Subject::new(serial, self.lot.clone(), now_us());
        let mut job = Job { session, operator, fixture: self.fixture, plan: self.plan };
        let mut progress = Progress::new();
        let (id, sweep) = job.record(subject, self.records, &mut |event| progress.take(event))?;
        self.show(id, &sweep, output)
    }

    /// Hunts for what is wrong with one unit by these rates and records it; then shows it, or, if asked for, sweeps the unit and
    /// shows the sweep with the hunt's path of questions.
    pub fn hunt(
        &self,
        serial: String,
        rates: Rates,
        then_sweep: bool,
        session: &mut AnySession,
        operator: &mut dyn Operator,
        output: &mut Output,
    ) -> Result<Status, Failure> {
        let subject = |serial| Subject::new(serial, self.lot.clone(), now_us());
        let mut job = Job { session, operator, fixture: self.fixture, plan: self.plan };
        let mut progress = Progress::new();
        let (id, hunt) = job.record_hunt(subject(serial.clone()), rates, self.records, &mut |event| {
            progress.take(event);
        })?;
        if !then_sweep {
            return self.show(id, &hunt, output);
        }
        let (id, mut sweep) = job.record(subject(serial), self.records, &mut |event| progress.take(event))?;
        sweep.judgement.steps = hunt.judgement.steps;
        Ok(self.show(id, &sweep, output)?.max(status_of(hunt.judgement.verdict)))
    }

    /// Has one unit swept by a daemon, then shows it. `lies_there`: it is on the pins already.
    pub fn ask(
        &self,
        daemon: &Daemon,
        serial: &str,
        lies_there: bool,
        person: &mut TerminalOperator,
        cancel: &CancelToken,
        output: &mut Output,
    ) -> Result<Status, Failure> {
        let full = self.plan.sampling == Sampling::Full;
        // What looks like a slip was asked about before.
        let (lot, fixture, yes) = (self.lot.as_deref(), self.fixture.name.as_str(), true);
        let asked = Asked { serial, lot, fixture, full, yes };
        let id = by_daemon::sweep(daemon, &asked, lies_there, person, cancel)?;
        self.show(id, &self.records.sweep(id)?, output)
    }

    fn show(&self, id: SweepId, sweep: &Sweep, output: &mut Output) -> Result<Status, Failure> {
        let status = status_of(sweep.judgement.verdict);
        output.settle(status);
        let failures = self.form.show(
            output,
            &Views {
                json: &|| json::sweep(sweep),
                text: &|screen| terminal::sweep(sweep, Some(id), screen),
                csv: &|out| csv::sweep(sweep, out),
                html: &|| {
                    let photos = |_: &Board| html::Backdrop::beside(self.file);
                    html::sweep(
                        sweep,
                        &self.fixture.board,
                        &html::Links { photos: &photos, ..html::Links::NONE },
                    )
                },
            },
        );
        match Failure::undelivered(failures) {
            None => Ok(status),
            Some(undelivered) => {
                Err(Failure::Kept { said: words::in_short(sweep), id, undelivered: undelivered.into() })
            }
        }
    }
}

impl BenchArgs {
    /// The port, or the modelled unit of this number among those of one command.
    pub fn line(
        &self,
        fixture: &Fixture,
        number: u64,
    ) -> Result<(Box<dyn Transport>, Option<VirtualOperator>), Failure> {
        if let Some(port) = &self.port {
            return Ok((Box::new(SerialLink::open(port).map_err(JobError::from)?), None));
        }
        let drawn = Spec { parts: self.parts, ..Spec::new(self.seed.wrapping_add(number)) };
        let spec = self.faults.iter().fold(drawn, |spec, fault| spec.fault(fault));
        let bench = VirtualBench::new(fixture, &spec)?;
        let operator = bench.operator();
        Ok((Box::new(bench), Some(operator)))
    }

    /// The serial port, if it is not the modelled bench.
    pub fn port(&self) -> Option<&str> {
        self.port.as_deref()
    }

    /// Opens the line.
    pub fn open(&self, fixture: &Fixture, cancel: &CancelToken) -> Result<Bench, Failure> {
        let (line, modelled) = self.line(fixture, 0)?;
        let operator: Box<dyn Operator> = match modelled {
            Some(operator) => Box::new(operator),
            None => Box::new(TerminalOperator::new(cancel)),
        };
        let session = Session::open_cancellable(line, cancel).map_err(JobError::from)?;
        Ok((session, operator))
    }
}

pub fn run(args: Args, store: Option<PathBuf>, output: &mut Output) -> Result<Status, Failure> {
    let serial = args.serial.as_deref().map(text::serial).transpose()?;
    let lot = args.lot.as_deref().map(text::lot).transpose()?;
    let fixture = fixture::read(&args.fixture)?;
    let sampling = if args.full { Sampling::Full } else { Sampling::Quick };
    let plan = plan::compile(&fixture, &fixture.limits, sampling)?;
    let daemon = match &args.bench.port {
        Some(port) => by_daemon::holding(port, store.as_ref())?,
        None => None,
    };
    // Before the sweep: a store that cannot be written to would lose it, a page without a folder be missed.
    let records = match &daemon {
        Some(daemon) => {
            by_daemon::agree(daemon, &fixture, &args.fixture, store)?;
            Records::open_to_read(daemon.records())?
        }
        None => records::open(store)?,
    };
    let form = args.form.ready(records.path())?;
    let daemon = daemon.as_ref();
    let round = Round {
        fixture: &fixture,
        file: &args.fixture,
        plan: &plan,
        daemon,
        records: &records,
        lot,
        form: &form,
    };
    let Some(serial) = serial else { return each::run(&round, &args.bench, args.yes, output) };
    slip::none_or_meant(&records, &serial, round.lot.as_deref(), &fixture.board, args.yes)?;
    let cancel = interrupt::token();
    if let Some(daemon) = daemon {
        return round.ask(daemon, &serial, true, &mut TerminalOperator::new(&cancel), &cancel, output);
    }
    let (mut session, mut operator) = args.bench.open(&fixture, &cancel)?;
    round.sweep(serial, &mut session, operator.as_mut(), output)
}
