//! The command line. One file per command; what they share stands here: arguments, exit status, where output goes.
//!
//! Exit status: 0 pass · 1 fail or unproven · 2 bad input · 3 void (the bench was at fault).

mod bench;
mod check;
mod demo;
mod form;
mod output;
mod plan;
mod records;
mod sweep;

use std::{path::PathBuf, process::ExitCode};

use clap::{Parser, Subcommand};

use crate::{
    link::client::ClientError, plan::PlanError, problem::Problems, records as store, sweep::SweepError,
    virtual_bench::SpecError,
};
use output::Output;

/// Finds the dead spot in a board's supply path.
///
/// A board lies on a bed of spring pins. Copperwalk sends a current along its supply path, reads every segment of it
/// four-wire through a relay matrix, marks each against its limits with the uncertainty of the reading, names
/// the faulty one and the fitting repair, and keeps the record under the unit's serial number.
#[derive(Parser)]
#[command(
    name = "copperwalk",
    version,
    max_term_width = 100,
    after_help = "Exit status: 0 pass, 1 fail or unproven, 2 bad input, 3 void (the bench was at fault).\n\
                  Take the battery out of a unit before it goes on the bed.",
    after_long_help = "EXIT STATUS\n  0  every unit passed, or the command did what was asked\n  \
                       1  a unit failed, or is unproven\n  2  bad input: arguments, files, record store\n  \
                       3  void: the bench, not the unit, was at fault\n\n\
                       CAUTION\n  Take the battery out of a unit before it goes on the bed. Never charge or heat a \
                       damaged lithium\n  cell. Follow your local rules; leave mains-powered work to licensed people."
)]
struct Args {
    /// The record store. Without it: $COPPERWALK_RECORDS, else the platform's data folder.
    #[arg(long, global = true, value_name = "PATH")]
    records: Option<PathBuf>,
    #[command(subcommand)]
    command: Command,
}

#[derive(Subcommand)]
enum Command {
    /// Sweep a whole invented job lot on the modelled bench: records and reports included.
    Demo(demo::Args),
    /// Check board and fixture files: every problem at once, with its line and its remedy.
    Check(check::Args),
    /// Show what a sweep will measure, how long it takes, and what an open would hide.
    Plan(plan::Args),
    /// Sweep one unit, record it, and show the result.
    Sweep(sweep::Args),
    /// List the controllers that are plugged in, and how they stand.
    Bench(bench::Args),
    /// Show the history of one unit, before and after repairs.
    Unit(records::UnitArgs),
    /// Show one lot: counts, yield, where its units failed.
    Lot(records::LotArgs),
    /// Write something down about a unit.
    Note(records::NoteArgs),
    /// Write down a repair of a unit.
    Repair(records::RepairArgs),
}

/// How a command ended.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Status {
    /// As wished.
    Pass = 0,
    /// A unit failed or is unproven.
    Fail = 1,
    /// Bad input.
    Input = 2,
    /// The bench was at fault.
    Void = 3,
}

/// Why a command could not do its work.
#[derive(Debug, thiserror::Error)]
enum Failure {
    /// Files people wrote.
    #[error("{}", crate::problem::render(.0, output::width(), output::colour_on_stderr()))]
    Files(Problems),
    /// A file that cannot be planned for.
    #[error("{0}")]
    Plan(#[from] PlanError),
    /// A fault specification.
    #[error("{0}")]
    Spec(#[from] SpecError),
    /// A serial number, a lot, a note.
    #[error("{0}")]
    Text(#[from] store::text::TextError),
    /// The record store.
    #[error("{0}")]
    Store(#[from] store::Error),
    /// The bench.
    #[error("{0}; nothing was recorded")]
    Sweep(#[from] SweepError),
    /// A fixture made for a larger bench.
    #[error(
        "the fixture needs {} force and {} sense channels, this controller has {} and {}; use the bench it was made for",
        needed[0], needed[1], here[0], here[1]
    )]
    Channels {
        /// Force and sense channels of the controller.
        here: [u8; 2],
        /// Of the fixture.
        needed: [u8; 2],
    },
    /// A file to be written.
    #[error("{}: {error}; check the folder and its free space", path.display())]
    Write {
        /// Which.
        path: PathBuf,
        /// Why not.
        error: std::io::Error,
    },
    /// Standard output.
    #[error("standard output: {0}")]
    Output(#[from] std::io::Error),
}

impl Failure {
    fn status(&self) -> Status {
        match self {
            Self::Sweep(SweepError::Client(ClientError::Version { .. })) => Status::Input,
            Self::Sweep(_) => Status::Void,
            _ => Status::Input,
        }
    }
}

impl From<Problems> for Failure {
    fn from(problems: Problems) -> Self {
        Self::Files(problems)
    }
}

/// Reads the arguments, does what they ask, and says how it went.
pub fn main() -> ExitCode {
    let args = Args::parse();
    let mut output = Output::stdout();
    let done = match args.command {
        Command::Demo(command) => demo::run(command, args.records, &mut output),
        Command::Check(command) => check::run(command, &mut output),
        Command::Plan(command) => plan::run(command, &mut output),
        Command::Sweep(command) => sweep::run(command, args.records, &mut output),
        Command::Bench(command) => bench::run(command, &mut output),
        Command::Unit(command) => records::unit(command, args.records, &mut output),
        Command::Lot(command) => records::lot(command, args.records, &mut output),
        Command::Note(command) => records::note(command, args.records, &mut output),
        Command::Repair(command) => records::repair(command, args.records, &mut output),
    };
    let status = match done {
        Ok(status) => status,
        // Whoever read the output has seen enough: `copperwalk … | head`.
        Err(Failure::Output(error)) if error.kind() == std::io::ErrorKind::BrokenPipe => output.status(),
        Err(failure) => {
            output::complain(&failure.to_string());
            failure.status()
        }
    };
    ExitCode::from(status as u8)
}
