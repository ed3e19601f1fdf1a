//! `copperwalk drop FIXTURE [SN]`: what the supply path costs, and what voltage is left at the loads.

use std::path::{Path, PathBuf};

use super::{
    Failure, Status,
    deliver::{Kind, Place},
    output::{Output, status_of},
    records,
};
use crate::{
    board::{self, Board},
    check,
    document::Sheet,
    fixture,
    limits::LimitSet,
    records::{self as store, text},
    report::{html, json, terminal},
    voltage_drop::{self, Conditions, DropSheet, UnitRead},
};

#[derive(clap::Args)]
pub struct Args {
    /// The fixture file, or the board file.
    #[arg(value_name = "FIXTURE|BOARD")]
    file: PathBuf,
    /// A unit: its last sweep counts, and limits only for what was not read. Without it: what limits allow any unit.
    #[arg(value_name = "SN")]
    serial: Option<String>,
    /// Coldest and warmest that the board works at, °C.
    #[arg(long, value_name = "RANGE", default_value = "0 to 40", allow_hyphen_values = true)]
    temperature: Conditions,
    /// One JSON object on standard output, and nothing else there.
    #[arg(long)]
    json: bool,
    /// Also write a self-contained HTML page.
    #[arg(long, value_name = "FILE")]
    html: Option<PathBuf>,
    /// Replace the file of that name even if copperwalk did not make it. A record store is never replaced.
    #[arg(long)]
    force: bool,
}

pub fn run(args: Args, records: Option<PathBuf>, output: &mut Output) -> Result<Status, Failure> {
    let serial = args.serial.as_deref().map(text::serial).transpose()?;
    let (board, limits) = read(&args.file)?;
    let kept = store::path(records.clone());
    let place = |path: &Path| Place::new(path, Kind::Page, args.force, kept.as_deref().ok());
    let page = args.html.as_deref().map(place).transpose()?;
    let sheet = match &serial {
        None => voltage_drop::by_limits(&board, &limits, args.temperature),
        Some(serial) => of_unit(&board, &limits, serial, args.temperature, records)?,
    };
    let status = status_of(sheet.verdict);
    output.settle(status);
    let text = match args.json {
        true => json::object(&sheet).map_err(|error| Failure::Output(error.into()))?,
        false => terminal::drop(&sheet, output.screen()),
    };
    let shown = output.text(&text).map_err(Failure::Output);
    let written = page.map_or(Ok(()), |place| place.write(html::drop(&sheet)).map_err(Failure::Place));
    Failure::undelivered([shown, written].into_iter().filter_map(Result::err).collect())
        .map_or(Ok(status), Err)
}

/// The board and its limits.
fn read(path: &Path) -> Result<(Board, LimitSet), Failure> {
    let sheet = Sheet::open(path)?;
    match check::kind(&sheet) {
        Ok(check::Kind::Board) => {
            let board = board::read(path)?;
            let limits = LimitSet::of_board(&board);
            Ok((board, limits))
        }
        Ok(check::Kind::Fixture) => {
            let fixture = fixture::read(path)?;
            Ok((fixture.board, fixture.limits))
        }
        Err(_) => Err(sheet.into_problems().into()),
    }
}

/// By the last sweep of a unit that says something about it.
fn of_unit(
    board: &Board,
    limits: &LimitSet,
    serial: &str,
    conditions: Conditions,
    store: Option<PathBuf>,
) -> Result<DropSheet, Failure> {
    let history = records::open_to_read(store)?.unit(serial)?;
    let sweep =
        history.judged().next_back().ok_or_else(|| Failure::NeverJudged { serial: serial.to_owned() })?;
    let whole = |name: &str, revision: &str| format!("{name}, revision {revision}");
    let (was, is) = (whole(&sweep.basis.board, &sweep.basis.revision), whole(&board.name, &board.revision));
    if was != is {
        return Err(Failure::OtherBoard { serial: serial.to_owned(), was, is });
    }
    let unit = UnitRead { serial: serial.to_owned(), sweep: Some(sweep.id.0) };
    let rows = &sweep.judgement.segments;
    let mut sheet = voltage_drop::by_readings(board, limits, unit, rows, conditions);
    if sweep.basis.board_hash != board.hash {
        sheet.notes.push(format!(
            "the board file has changed since sweep {}: readings are taken by the names of their segments",
            sweep.id
        ));
    }
    if history.repaired_before(i64::MAX).is_some_and(|at_us| at_us > sweep.started_us) {
        sheet.notes.push(format!("a repair was written down after sweep {}: sweep the unit again", sweep.id));
    }
    Ok(sheet)
}
