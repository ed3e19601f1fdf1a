//! `copperwalk sweep --each`: the round at the bench in a terminal. A scanner types serial numbers, closing the lid starts, each unit
//! ends with its verdict.

use std::io::{Write, stderr};

use super::{
    Failure, Status, interrupt,
    output::{Output, complain},
    sweep::{AnySession, BenchArgs, Round},
};
use crate::{
    job::JobError,
    link::{CancelToken, Session},
    operator::{TerminalOperator, Unattended},
    records::text,
};

/// What is asked for between two units.
const NEXT: &str = "serial number of the next unit";
/// What is asked for before a sweep.
const LID: &str = "lay the unit on the pins and close the lid";

/// Sweeps until the input ends. The status is that of the worst unit.
pub fn run(round: &Round<'_>, bench: &BenchArgs, yes: bool, output: &mut Output) -> Result<Status, Failure> {
    let cancel = interrupt::token();
    let mut person = TerminalOperator::scanning(&cancel);
    let mut line: Option<AnySession> = None;
    let (mut worst, mut number, mut doubted) = (Status::Pass, 0, None);
    loop {
        let typed = match scanned(&mut person) {
            Ok(typed) => typed,
            Err(Unattended::Nobody(_)) => return Ok(worst),
            Err(error) => return Err(JobError::from(error).into()),
        };
        let serial = match text::serial(typed.trim()) {
            Ok(serial) => serial,
            Err(error) => {
                complain(&error.to_string());
                continue;
            }
        };
        let doubts = round.records.doubts(&serial, round.lot.as_deref(), &round.fixture.board);
        if !yes && !doubts.is_empty() && doubted.as_ref() != Some(&serial) {
            doubts.iter().for_each(|doubt| complain(doubt));
            complain("scan it again if that is meant");
            doubted = Some(serial);
            continue;
        }
        doubted = None;
        let swept = one(round, bench, serial, number, &cancel, &mut person, &mut line, output);
        number += 1;
        match swept {
            Ok(status) => worst = worst.max(status),
            // What could not be done for one unit is said, and the next one may be scanned.
            Err(Failure::Sweep(error)) if !error.is_cancelled() => {
                complain(&format!("{error}; nothing was recorded"));
                line = None;
                worst = worst.max(Status::Void);
            }
            Err(Failure::Daemon(error)) if error.status() != Status::Cancelled => {
                complain(&error.to_string());
                worst = worst.max(error.status());
            }
            Err(other) => return Err(other),
        }
    }
}

/// The next line that has something on it.
fn scanned(person: &mut TerminalOperator) -> Result<String, Unattended> {
    let _ = writeln!(stderr(), "\n{NEXT}:");
    loop {
        match person.line(NEXT)? {
            Some(line) if !line.trim().is_empty() => return Ok(line),
            _ => {}
        }
    }
}

#[expect(clippy::too_many_arguments, reason = "what a round has, and one unit of it")]
fn one(
    round: &Round<'_>,
    bench: &BenchArgs,
    serial: String,
    number: u64,
    cancel: &CancelToken,
    person: &mut TerminalOperator,
    line: &mut Option<AnySession>,
    output: &mut Output,
) -> Result<Status, Failure> {
    if let Some(daemon) = round.daemon {
        return round.ask(daemon, &serial, false, person, cancel, output);
    }
    let mut session = match line.take() {
        Some(session) => session,
        None => match bench.line(round.fixture, number)? {
            // Each modelled unit comes with a bench of its own, and needs neither lid nor person.
            (modelled, Some(mut operator)) => {
                let mut session = Session::open_cancellable(modelled, cancel).map_err(JobError::from)?;
                return round.sweep(serial, &mut session, &mut operator, output);
            }
            (port, None) => Session::open_cancellable(port, cancel).map_err(JobError::from)?,
        },
    };
    loop {
        lid(&mut session, person).map_err(JobError::from)?;
        match round.sweep(serial.clone(), &mut session, person, output) {
            // It was opened again in the last moment.
            Err(Failure::Sweep(JobError::Link(error))) if error.is_open_lid() => {}
            swept => {
                *line = Some(session);
                return swept;
            }
        }
    }
}

/// Waits until the lid has been open and is closed, or somebody presses Enter: what lay there may be the unit before.
fn lid(session: &mut AnySession, person: &mut TerminalOperator) -> Result<(), Unattended> {
    let _ = writeln!(stderr(), "{LID}");
    let mut opened = false;
    loop {
        let open = session.status()?.lid_open;
        if opened && !open {
            return Ok(());
        }
        opened |= open;
        if person.said(LID)? {
            return Ok(());
        }
    }
}
