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
};
use crate::{
    fixture::{
        Fixture,
        examples::{Example, GREENHOUSE_VALVE_DRIVER, TIDE_GAUGE_HEAD, TRAIL_COUNTER},
    },
    job::{Job, JobError, Subject},
    link::Session,
    plan::{self, Plan, Sampling},
    records::{Records, SweepId, now_us},
    report::{self, html, terminal},
    sweep::Sweep,
    trade::{Terms, assess},
    virtual_bench::{Spec, VirtualBench},
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

/// The beds, and how serial numbers of their units begin.
const BEDS: [(&str, Example); 3] =
    [("TG", TIDE_GAUGE_HEAD), ("TC", TRAIL_COUNTER), ("GV", GREENHOUSE_VALVE_DRIVER)];

/// A unit of the lot: which bed, what is wrong with it, and how that is put right, if it is.
struct Unit {
    bed: usize,
    fault: Option<&'static str>,
    repair: Option<(&'static str, &'static str)>,
}

const fn good(bed: usize) -> Unit {
    Unit { bed, fault: None, repair: None }
}

const fn faulty(bed: usize, fault: &'static str) -> Unit {
    Unit { bed, fault: Some(fault), repair: None }
}

const fn repaired(bed: usize, fault: &'static str, place: &'static str, action: &'static str) -> Unit {
    Unit { bed, fault: Some(fault), repair: Some((place, action)) }
}

/// Twenty-four invented units: what a job lot of faulty boards looks like.
fn lot() -> Vec<Unit> {
    const GAUGE: usize = 0;
    const COUNTER: usize = 1;
    const VALVE: usize = 2;
    vec![
        repaired(GAUGE, "via pair 1=open", "via pair 1", "rebuilt"),
        good(GAUGE),
        faulty(GAUGE, "power switch=film"),
        faulty(GAUGE, "via pair 2=one barrel open"),
        repaired(GAUGE, "cell fuse=open", "cell fuse", "replaced"),
        good(GAUGE),
        faulty(GAUGE, "reg.in~cell-=2 ohm"),
        faulty(GAUGE, "cell terminal joint=flaky"),
        good(GAUGE),
        good(COUNTER),
        repaired(COUNTER, "wake key=330 ohm", "wake key", "cleaned"),
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
        repaired(VALVE, "valve plug=flaky", "valve plug", "reseated"),
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
        let sweep = sweep_one(fixture, plan, &serial, number, unit.fault)?;
        keep(&records, &folder, fixture, &sweep)?;
        if let Some((place, action)) = unit.repair {
            records.repair(&serial, now_us(), place, action, "invented for the demo")?;
            let again = sweep_one(fixture, plan, &serial, number, None)?;
            keep(&records, &folder, fixture, &again)?;
        }
        progress.inc(1);
    }
    progress.finish_and_clear();

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

fn sweep_one(
    fixture: &Fixture,
    plan: &Plan,
    serial: &str,
    seed: u64,
    fault: Option<&str>,
) -> Result<Sweep, Failure> {
    let spec = fault.into_iter().fold(Spec::new(seed), |spec, fault| spec.fault(fault));
    let bench = VirtualBench::new(fixture, &spec)?;
    let mut operator = bench.operator();
    let mut session = Session::open(bench).map_err(JobError::from)?;
    let subject =
        Subject { serial: serial.into(), lot: Some(LOT.into()), started_us: now_us(), repaired_us: None };
    let mut job = Job { session: &mut session, operator: &mut operator, fixture, plan };
    Ok(job.sweep(subject, None, &mut |_| {})?)
}

/// The record first, then the page.
fn keep(records: &Records, folder: &Path, fixture: &Fixture, sweep: &Sweep) -> Result<(), Failure> {
    let id = records.store(sweep, fixture)?;
    let page = folder.join(sweep_page(&sweep.measurement.serial, id));
    write(records, &page, &html::sweep(sweep, &fixture.board, &LINKS))
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

/// The page of the lot.
const INDEX: &str = "index.html";

/// How the pages of the folder lead to each other.
const LINKS: html::Links<'static> = html::Links {
    lot: &|_| Some(INDEX.into()),
    unit: &|serial| Some(unit_page(serial)),
    sweep: &|serial, id| Some(sweep_page(serial, id)),
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
