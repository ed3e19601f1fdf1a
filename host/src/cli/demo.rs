//! `copperwalk demo`: a whole invented job lot on the modelled bench, from the first sweep to the re-sweep after repair.

use std::{
    fs,
    path::{Path, PathBuf},
};

use indicatif::{ProgressBar, ProgressStyle};

use super::{
    Failure, Status,
    deliver::{Kind, Place},
    output::Output,
    records,
    start::{keep, start_modelled},
};
use crate::{
    board::Power,
    fault::method::Method,
    fitted::Wire,
    fixture::{
        Fixture,
        examples::{Example, GREENHOUSE_VALVE_DRIVER, TIDE_GAUGE_HEAD, TRAIL_COUNTER},
    },
    job::{Job, JobError, Subject},
    link::{CancelToken, Session},
    plan::{self, Plan, Sampling},
    proposed::{NoRemedy, Proposed},
    quantity::Money,
    records::{Records, SweepId, now_us},
    report::{self, html, remedies::Sheet, terminal},
    start::{self, Window, Within},
    trade::{Dealing, Terms, assess, book::SaidOfLot},
    virtual_bench::{Spec, VirtualBench, spec},
    visible::path as shown,
};

#[derive(clap::Args)]
pub struct Args {
    /// Where records and reports go.
    #[arg(long, value_name = "FOLDER", default_value = "demo-report")]
    out: PathBuf,
}

/// Name of the lot.
const LOT: &str = "demo lot";

/// Units that are sold, by their number: price and fees, invented like all else.
const SOLD: [(u64, f64, f64); 3] = [(1, 26.0, 2.6), (2, 24.5, 2.45), (9, 21.0, 2.1)];

/// An amount of the demo's.
fn euros(amount: f64) -> Money {
    Money::about(amount, "EUR")
}

/// The beds, and how serial numbers of their units begin.
const BEDS: [(&str, Example); 3] =
    [("TG", TIDE_GAUGE_HEAD), ("TC", TRAIL_COUNTER), ("GV", GREENHOUSE_VALVE_DRIVER)];

/// A unit of the lot: which bed, what is wrong with it, and by which method that is put right, if it is.
struct Unit {
    bed: usize,
    fault: Option<&'static str>,
    repair: Option<Method>,
}

const fn good(bed: usize) -> Unit {
    Unit { bed, fault: None, repair: None }
}

const fn faulty(bed: usize, fault: &'static str) -> Unit {
    Unit { bed, fault: Some(fault), repair: None }
}

const fn repaired(bed: usize, fault: &'static str, method: Method) -> Unit {
    Unit { bed, fault: Some(fault), repair: Some(method) }
}

/// Twenty-four invented units: what a job lot of faulty boards looks like.
fn lot() -> Vec<Unit> {
    const GAUGE: usize = 0;
    const COUNTER: usize = 1;
    const VALVE: usize = 2;
    vec![
        repaired(GAUGE, "via pair 1=open", Method::RebuildVia),
        good(GAUGE),
        faulty(GAUGE, "power switch=film"),
        faulty(GAUGE, "via pair 2=one barrel open"),
        repaired(GAUGE, "cell fuse=open", Method::Replace),
        good(GAUGE),
        faulty(GAUGE, "reg.in~cell-=2 ohm"),
        faulty(GAUGE, "cell terminal joint=flaky"),
        repaired(GAUGE, "cross trace=open", Method::WireAround),
        good(COUNTER),
        repaired(COUNTER, "wake key=330 ohm", Method::Clean),
        faulty(COUNTER, "resettable fuse=6 ohm"),
        faulty(COUNTER, "mcu.in~bat-=6 kohm"),
        good(COUNTER),
        faulty(COUNTER, "single via=open"),
        faulty(COUNTER, "battery plug -=film"),
        good(COUNTER),
        good(VALVE),
        faulty(VALVE, "radio fuse=open"),
        faulty(VALVE, "valve via pair 1=open"),
        good(VALVE),
        faulty(VALVE, "via group 1=one barrel open"),
        repaired(VALVE, "valve plug=flaky", Method::Clean),
        good(VALVE),
    ]
}

pub fn run(args: Args, store: Option<PathBuf>, output: &mut Output) -> Result<Status, Failure> {
    let folder = args.out;
    fs::create_dir_all(&folder).map_err(|error| Failure::Write { path: folder.clone(), error })?;
    let (records, is_own) = match store {
        Some(path) => (records::open(Some(path))?, false),
        None => (fresh_records(&folder)?, true),
    };
    let beds = BEDS
        .iter()
        .map(|(_, example)| {
            let fixture = example.read()?;
            let plan = plan::compile(&fixture, &fixture.limits, Sampling::Quick)?;
            Ok((fixture, plan))
        })
        .collect::<Result<Vec<_>, Failure>>()?;

    let units = lot();
    let progress = progress_bar(units.len());
    for (number, unit) in (1..).zip(&units) {
        let (fixture, plan) = &beds[unit.bed];
        let serial = format!("{}-{number:02}", BEDS[unit.bed].0);
        progress.set_message(serial.clone());
        let bed = Bed { fixture, plan, records: &records, folder: &folder };
        let faults: Vec<String> = unit.fault.into_iter().map(str::to_owned).collect();
        bed.sweep(&serial, number, &faults)?;
        let mut passes = unit.fault.is_none();
        if let Some(method) = unit.repair {
            let left = bed.repair(&serial, &faults, method)?;
            bed.sweep(&serial, number, &left)?;
            passes = true;
        }
        if passes && let Some(power) = &fixture.board.power {
            bed.start(&serial, number, power)?;
        }
        if let Some((_, price, fees)) = SOLD.iter().find(|(sold, ..)| *sold == number) {
            let sale = Dealing::Sale { price: euros(*price), fees: Some(euros(*fees)), instead: false };
            records.deal(&serial, now_us(), &sale)?;
        }
        progress.inc(1);
    }
    progress.finish_and_clear();
    let cost = [
        SaidOfLot::Paid(euros(96.00)),
        SaidOfLot::Freight(euros(11.50)),
        SaidOfLot::Price(euros(22.00)),
        SaidOfLot::Spares(euros(2.00)),
    ];
    records.say_of_lot(LOT, now_us(), &cost)?;

    let summary = records.lot(LOT)?;
    for unit in &summary.units {
        let history = records.unit(&unit.serial)?;
        let page = html::unit(&history, &LINKS);
        write(&records, &folder.join(unit_page(&unit.serial)), &page)?;
    }
    let index = folder.join(INDEX);
    let found = assess(&records.book(LOT)?, &Terms::default());
    write(&records, &index, &html::lot(&summary, &found, &LINKS))?;
    let store = if is_own { rename_records(records, &folder)? } else { records.path().to_owned() };
    output.text(&terminal::lot(&summary, output.screen()))?;
    output.text(&format!(
        "\nInvented units on a modelled bench; {} sweeps. Open the report: {}\nLook one up: copperwalk --records {} unit {}",
        units.len() + units.iter().filter(|unit| unit.repair.is_some()).count(),
        shown(&index),
        shown(&store),
        summary.units.first().map(|unit| unit.serial.as_str()).unwrap_or("SN"),
    ))?;
    Ok(Status::Pass)
}

/// A bed with a modelled bench under it, and where results go.
struct Bed<'d> {
    fixture: &'d Fixture,
    plan: &'d Plan,
    records: &'d Records,
    folder: &'d Path,
}

impl Bed<'_> {
    /// Sweeps a unit with these faults: the record first, then the page.
    fn sweep(&self, serial: &str, seed: u64, faults: &[String]) -> Result<(), Failure> {
        let spec = faults.iter().fold(Spec::new(seed), |spec, fault| spec.fault(fault));
        let bench = VirtualBench::new(self.fixture, &spec)?;
        let mut operator = bench.operator();
        let mut session = Session::open(bench).map_err(JobError::from)?;
        let subject = Subject::new(serial, Some(LOT.into()), now_us());
        let (fixture, plan) = (self.fixture, self.plan);
        let mut job = Job { session: &mut session, operator: &mut operator, fixture, plan };
        let (id, sweep) = job.record(subject, self.records, &mut |_| {})?;
        let page = self.folder.join(sweep_page(serial, id));
        write(self.records, &page, &html::sweep(&sweep, &fixture.board, &LINKS))
    }

    /// Gives a unit that passed its first power, on a modelled supply.
    fn start(&self, serial: &str, seed: u64, power: &Power) -> Result<(), Failure> {
        let board = &self.fixture.board;
        let plan = start::Plan::of(board, power, Window::stated(power), Within::SUPPLY);
        let subject = start::verdict::Subject {
            serial: serial.into(),
            board: board.name.clone(),
            revision: board.revision.clone(),
            golden: false,
        };
        let cancel = CancelToken::default();
        let started = start_modelled(board, (seed, &[]), plan, &cancel, subject, &mut |_| {})?;
        keep(self.records, serial, &started).map(drop)
    }

    /// Repairs a unit by the first proposal of a method, with a page of all proposals; gives the faults that it has left.
    fn repair(&self, serial: &str, faults: &[String], method: Method) -> Result<Vec<String>, Failure> {
        let proposed = Proposed::from(self.records, serial)?;
        let page = html::remedies(&Sheet::of(&proposed), &proposed.board, &LINKS);
        write(self.records, &self.folder.join(remedies_page(serial)), &page)?;
        let most = proposed.remedies.proposals.len();
        let taken = proposed.remedies.proposals.into_iter().find(|proposal| proposal.method == method);
        let taken = taken.ok_or(NoRemedy::NoSuchNumber { serial: serial.into(), number: 0, most })?;
        self.records.take(serial, now_us(), &taken.taken(), "invented for the demo")?;
        let minutes = taken.minutes.usual as u32;
        let work = Dealing::Work { minutes, parts: Some(euros(0.40)), method: Some(method), instead: false };
        self.records.deal(serial, now_us(), &work)?;
        Ok(match &taken.wire {
            // What a wire leads round is still broken.
            Some(wiring) => {
                let Wire { from, to, awg, length_mm, .. } = &wiring.wire;
                let soldered = spec::wire([from, to], *awg, *length_mm);
                faults.iter().cloned().chain([soldered]).collect()
            }
            None if method == Method::RebuildVia => vec![format!("{}=rebuilt", taken.place)],
            None => Vec::new(),
        })
    }
}

fn write(records: &Records, path: &Path, page: &str) -> Result<(), Failure> {
    Ok(Place::new(path, Kind::Page, false, Some(records.path()))?.write(page)?)
}

fn unit_page(serial: &str) -> String {
    format!("{}.html", report::file_stem(serial))
}

fn sweep_page(serial: &str, id: SweepId) -> String {
    format!("{}-sweep-{id}.html", report::file_stem(serial))
}

fn remedies_page(serial: &str) -> String {
    format!("{}-remedies.html", report::file_stem(serial))
}

/// The page of the lot.
const INDEX: &str = "index.html";

/// How the pages of the folder lead to each other.
const LINKS: html::Links<'static> = html::Links {
    lot: &|_| Some(INDEX.into()),
    unit: &|serial| Some(unit_page(serial)),
    sweep: &|serial, id| Some(sweep_page(serial, id)),
    remedies: &|serial| Some(remedies_page(serial)),
    ..html::Links::NONE
};

/// Marks a store that the demo made and may clear away.
const MARK: &str = "demo";

/// The demo's own store begins empty each time; any other is left alone. It is cleared away only after it is known to
/// be the demo's, and made whole under another name first, so that several demos in one folder each find the one or
/// the other, and each goes on with the store it opened.
fn fresh_records(folder: &Path) -> Result<Records, Failure> {
    let path = folder.join("records.sqlite");
    if path.symlink_metadata().is_ok() {
        let records = Records::open_to_read(&path)?;
        if !records.is_marked(MARK)? {
            return Err(Failure::NotTheDemos { path });
        }
    }
    let own = folder.join(format!("records-{}.sqlite", std::process::id()));
    let records = Records::open(&own)?;
    records.mark(MARK)?;
    Ok(records)
}

/// Gives the demo's finished store its usual name, in place of the one an earlier demo left; says where it lies.
fn rename_records(records: Records, folder: &Path) -> Result<PathBuf, Failure> {
    let own = records.path().to_owned();
    // Closing leaves one file.
    drop(records);
    let path = folder.join("records.sqlite");
    // Somebody has the earlier one open: let them, and leave this one under its own name.
    if ["-wal", "-shm"].iter().any(|ending| folder.join(format!("records.sqlite{ending}")).exists()) {
        return Ok(own);
    }
    fs::rename(&own, &path).map_err(|error| Failure::Write { path: path.clone(), error })?;
    Ok(path)
}

fn progress_bar(units: usize) -> ProgressBar {
    let bar = ProgressBar::new(units as u64);
    // The template is a constant; should it ever be wrong, the bar's own default does.
    if let Ok(style) = ProgressStyle::with_template("sweeping {msg:8} {bar:40} {pos}/{len}") {
        bar.set_style(style);
    }
    bar
}
