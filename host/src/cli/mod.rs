//! The command line. One file per command; what they share stands here: arguments, exit status, where output goes.
//!
//! Exit status: 0 pass · 1 fail or unproven · 2 bad input · 3 void (the bench was at fault).

mod bed;
mod bench;
mod by_daemon;
mod by_hand;
mod check;
mod cost;
mod deliver;
mod demo;
mod drop;
mod each;
mod files;
mod folder;
mod form;
mod hunt;
mod import;
mod interrupt;
mod judge;
mod keep;
mod labels;
mod learn;
mod list;
mod manual;
mod output;
mod paper;
mod photo;
mod plan;
mod progress;
mod prove;
mod receive;
mod records;
mod remedy;
mod serve;
mod slip;
mod sold;
mod spares;
mod spent;
mod start;
mod sweep;
mod tick;
mod token;
mod trade;
mod watch;

use std::{ffi::OsString, path::PathBuf, process::ExitCode};

use clap::{Parser, Subcommand};

use crate::{
    bed::{BedError, files::FileError},
    by_hand::JudgeError,
    hand_meter::MeterError,
    import::ImportError,
    job::JobError,
    learn::{LearnError, LeftOut},
    plan::PlanError,
    problem::Problems,
    proposed::{NoRemedy, ProposedError},
    prove::ProveError,
    records as store,
    rejudge::RejudgeError,
    report::{label::LabelError, words},
    start::NotAllowed,
    supply::SupplyError,
    virtual_bench::{SpecError, SupplySpecError},
    visible::{clean_lines, first_hidden, path as shown},
    watch::{TaskError, WatchError},
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
    /// Make a board file of a layout: finds the supply path and cuts it into segments.
    Import(import::Args),
    /// Show what a sweep will measure, how long it takes, and what an open would hide.
    Plan(plan::Args),
    /// Show what the supply path costs: the voltage left at each load in the worst case, and what takes how much of the rest.
    Drop(drop::Args),
    /// Propose a bed of pins for a board, and write what it takes to make it.
    ///
    /// Every segment gets measured with the fewest pins; force channels that are left over go where they uncover most behind likely
    /// breaks. Of a fixture that is there the pins are kept.
    Bed(bed::Args),
    /// Prove a bench before it judges anything: empty bed, standards, every contact, what it can judge.
    Prove(prove::Args),
    /// Sweep one unit, record it, and show the result.
    Sweep(sweep::Args),
    /// Hunt for what is wrong with one unit: the fewest readings that tell, then the proof.
    /// Find the fault of one unit with few questions, by hand with two tips and any meter.
    Hunt(hunt::Args),
    /// Watch one segment without a pause while it is tapped, bent or wiggled: dropouts, steps, noise.
    Watch(watch::Args),
    /// Give a unit that passed its first power: limited, in steps, judged by what it draws.
    Start(start::Args),
    /// Write down that units have come in, before they are swept.
    Receive(receive::ReceiveArgs),
    /// List the controllers that are plugged in, and how they stand.
    Bench(bench::Args),
    /// Show the history of one unit, before and after repairs.
    Unit(records::UnitArgs),
    /// Show one lot: counts, yield, where its units failed.
    Lot(records::LotArgs),
    /// Write something down about a unit.
    Note(records::NoteArgs),
    /// Say what to do about a unit's faults: repairs by what they promise and cost, with the wire and its way.
    Remedy(remedy::Args),
    /// Write down a repair of a unit.
    Repair(records::RepairArgs),
    /// Say where a unit stands in the work: received, in repair, scrapped, sold.
    Status(receive::StatusArgs),
    /// Say what a lot cost, how many units it has, and what they may bring.
    Cost(cost::Args),
    /// Write down minutes and parts that went into a unit.
    Spent(spent::Args),
    /// Write down that a unit was sold, and for how much.
    Sold(sold::SoldArgs),
    /// Write down that a buyer gave a unit back.
    Returned(sold::ReturnedArgs),
    /// Write down that a part was taken off a unit, or put back.
    Spares(spares::SparesArgs),
    /// List the spares that were taken off the units of a lot, to go with them.
    Packing(spares::PackingArgs),
    /// Keep a photo of a unit.
    Photo(photo::Args),
    /// Answer a check of the unit's board.
    Tick(tick::Args),
    /// Declare a sweep void: it stays in the records, and counts no more.
    Void(records::VoidArgs),
    /// List the units in the records.
    Units(list::Args),
    /// List the lots in the records.
    Lots(list::Args),
    /// Print labels with serial numbers to be read and scanned.
    Labels(labels::Args),
    /// Judge stored measurements again: what today's program, or other limits, would make of them.
    Judge(judge::Args),
    /// Learn limits from what golden units read.
    Learn(learn::Args),
    /// Run the daemon: the bench, its page, and the same for scripts.
    Serve(serve::Args),
    /// Make a token for a daemon that other computers may use.
    Token(token::Args),
    /// Write what belongs beside the program: manual pages, completions, the rule for the port, a service.
    Files(files::Args),
    /// Check, save or restore the record store itself.
    Records(keep::Args),
}

/// How a command ended; of two the greater is the worse: void is worse than fail, since nothing is known.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub enum Status {
    /// As wished.
    Pass = 0,
    /// A unit failed or is unproven.
    Fail = 1,
    /// Bad input.
    Input = 2,
    /// The bench was at fault.
    Void = 3,
    /// Somebody pressed Ctrl-C: 128 and the signal's number, as shells have it (common practice).
    Cancelled = 130,
}

/// Why a command could not do its work.
#[derive(Debug, thiserror::Error)]
enum Failure {
    /// Watching a segment.
    #[error("{0}; nothing was recorded")]
    Watch(#[from] WatchError),
    /// A segment that cannot be watched.
    #[error("{0}")]
    Task(#[from] TaskError),
    /// A unit that is not put under power.
    #[error("{0}")]
    NotAllowed(#[from] NotAllowed),
    /// A supply that cannot be used.
    #[error("{0}; there was no power on the unit, and nothing was recorded")]
    Supply(#[from] SupplyError),
    /// A fault of the modelled supply or of what hangs on it.
    #[error("{0}")]
    SupplySpec(#[from] SupplySpecError),
    /// A first power that ended before there was any.
    #[error("{why}; there was no power on the unit, and nothing was recorded")]
    NotStarted {
        /// Why.
        why: String,
        /// The status to leave with.
        status: Status,
    },
    /// A name that neither board nor fixture file has.
    #[error("there is no {what} {name:?} on board {board:?}; {help}")]
    Unknown {
        /// What is named.
        what: &'static str,
        /// The name.
        name: String,
        /// The board.
        board: String,
        /// Which was meant.
        help: String,
    },
    /// Files people wrote.
    #[error("{0}")]
    Files(Problems),
    /// A layout that cannot be imported.
    #[error("{0}; nothing was written")]
    Import(#[from] ImportError),
    /// A file that cannot be planned for.
    #[error("{0}")]
    Plan(#[from] PlanError),
    /// Nothing can be proposed.
    #[error("{0}")]
    NoRemedy(#[from] NoRemedy),
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
    Sweep(#[from] JobError),
    /// Proving the bench.
    #[error("{0}; nothing was recorded")]
    Prove(#[from] ProveError),
    /// A controller that a daemon works with.
    #[error("the daemon at {address} has the controller at {port}: stop it while {work}")]
    Held {
        /// The port.
        port: String,
        /// Where the daemon listens.
        address: String,
        /// What it would be in the way of.
        work: &'static str,
    },
    /// A folder to be made, or a file of the demo's own to be removed.
    #[error("{}: {error}; check the folder and its free space", shown(path))]
    Write {
        /// Which.
        path: PathBuf,
        /// Why not.
        error: std::io::Error,
    },
    /// A bed that cannot be made.
    #[error("{0}; nothing was written")]
    Bed(#[from] BedError),
    /// A file of a bed.
    #[error("{0}")]
    BedFile(#[from] FileError),
    /// A folder of files.
    #[error("{0}")]
    Folder(#[from] folder::FolderError),
    /// A fixture file that cannot be written anew.
    #[error(
        "{}: its pins cannot be written anew: give them a table of their own, with the header [pins] on a line by itself",
        shown(path)
    )]
    NoPinsTable {
        /// The file.
        path: PathBuf,
    },
    /// A page, a table or a PDF.
    #[error("{0}")]
    Place(#[from] deliver::Refused),
    /// Labels that cannot be printed.
    #[error("{0}")]
    Labels(#[from] LabelError),
    /// Standard output.
    #[error("standard output: {0}; check where it leads, and the free space there")]
    Output(#[from] std::io::Error),
    /// Standard input.
    #[error("standard input: {0}; give the serial numbers as text, one on each line")]
    Input(std::io::Error),
    /// A list of serial numbers with nothing in it.
    #[error("no serial number was given; name units, or write one on each line of standard input")]
    NoSerials,
    /// A lot of which nothing is said.
    #[error(
        "nothing is said of the lot; give at least one of --paid, --freight, --other, --units, --price and --spares"
    )]
    NothingSaid,
    /// A list of serial numbers that is no such list.
    #[error("the list of serial numbers is longer than {bytes} bytes; receive the units in several parts")]
    LongList {
        /// The longest.
        bytes: u64,
    },
    /// A file that is to be read.
    #[error("{}: {error}; see that the name is right and the file may be read", shown(path))]
    Read {
        /// Which.
        path: PathBuf,
        /// Why not.
        error: std::io::Error,
    },
    /// What is no file.
    #[error("{} is {what}; name a file", shown(path))]
    NotPlain {
        /// Which.
        path: PathBuf,
        /// What it is.
        what: &'static str,
    },
    /// A store in the demo's place that the demo did not make.
    #[error("{} was not made by the demo and is left as it is; name another folder with --out", shown(path))]
    NotTheDemos {
        /// The store.
        path: PathBuf,
    },
    /// Several of these.
    #[error("{} failures", .0.len())]
    Several(Vec<Failure>),
    /// The daemon that this command is to be.
    #[error("{0}")]
    Serve(#[from] serve::ServeError),
    /// The daemon that has the controller.
    #[error("{0}")]
    Daemon(#[from] by_daemon::AskError),
    /// Learning limits.
    #[error("{0}; nothing was written")]
    Learn(#[from] LearnError),
    /// A meter that a person's tips hang on.
    #[error("{0}")]
    Meter(MeterError),
    /// What was read by hand and cannot be judged.
    #[error("{0}; nothing was recorded")]
    ByHand(#[from] JudgeError),
    /// No hunt that could go on.
    #[error("there is no hunt by hand of unit {serial:?} that was ended: leave --resume out to begin one")]
    NothingToResume {
        /// The unit.
        serial: String,
    },
    /// The board file has changed since.
    #[error(
        "the hunt of unit {serial:?} that was ended was made with another text of the board file: name that file, or leave --resume out"
    )]
    OtherBoardFile {
        /// The unit.
        serial: String,
    },
    /// Judging again.
    #[error("{0}")]
    Rejudge(#[from] RejudgeError),
    /// A unit about which no sweep says anything.
    #[error(
        "no sweep says anything about unit {serial:?} yet: sweep it first, or leave the serial number out to see what limits allow"
    )]
    NeverJudged {
        /// The unit.
        serial: String,
    },
    /// A unit of another board.
    #[error(
        "unit {serial:?} was swept as board {was:?}, and this file is of board {is:?}: name its own file"
    )]
    OtherBoard {
        /// The unit.
        serial: String,
        /// The board that its sweep names.
        was: String,
        /// The board of the file.
        is: String,
    },
    /// What looks like a slip, and nobody who says that it is meant.
    #[error("{}; nothing was {done}: say --yes if that is meant", doubts.join("; "))]
    Slip {
        /// What looks like one.
        doubts: Vec<String>,
        /// What was not done.
        done: &'static str,
    },
    /// A sweep was measured and recorded, but not everything asked for could be shown or written.
    #[error("{said}; recorded as sweep {id}")]
    Kept {
        /// Unit, verdict and what it comes to.
        said: String,
        /// Under which number.
        id: store::SweepId,
        /// What is missing.
        undelivered: Box<Failure>,
    },
}

impl From<ProposedError> for Failure {
    fn from(error: ProposedError) -> Self {
        match error {
            ProposedError::Records(error) => error.into(),
            ProposedError::NoRemedy(error) => error.into(),
        }
    }
}

impl Failure {
    /// Failures of which some may have happened: none, one, or all of them together.
    fn undelivered(mut failures: Vec<Self>) -> Option<Self> {
        match failures.len() {
            0 | 1 => failures.pop(),
            _ => Some(Self::Several(failures)),
        }
    }

    /// Has nothing happened but that whoever read the output has seen enough: `copperwalk … | head`?
    fn is_a_closed_pipe(&self) -> bool {
        match self {
            Self::Output(error) => error.kind() == std::io::ErrorKind::BrokenPipe,
            Self::Several(all) => all.iter().all(Self::is_a_closed_pipe),
            Self::Kept { undelivered, .. } => undelivered.is_a_closed_pipe(),
            _ => false,
        }
    }

    /// Says on standard error what went wrong, and of a sweep first what it found and that it is kept.
    fn complain(&self) {
        match self {
            Self::Files(problems) => output::complain_of(problems),
            Self::Rejudge(RejudgeError::Limits { problems, board }) => {
                output::complain_of(problems);
                if let Some(board) = board {
                    output::complain(&format!(
                        "the file must fit every board that is judged, and does not fit board {board:?}: name one \
                         unit, or a lot with --lot; nothing was judged"
                    ));
                }
            }
            Self::Output(_) if self.is_a_closed_pipe() => {}
            Self::Learn(LearnError::TooFew { left_out, .. }) => {
                for LeftOut { serial, why } in left_out {
                    output::complain(&format!("unit {serial:?} does not count: {why}"));
                }
                output::complain(&self.to_string());
            }
            Self::Sweep(JobError::Records { sweep, error }) => {
                output::complain(&words::in_short(sweep));
                output::complain(&error.to_string());
            }
            Self::Several(all) => all.iter().for_each(Self::complain),
            Self::Kept { said, id, undelivered } => {
                output::complain(said);
                output::complain(&format!("recorded as sweep {id}"));
                undelivered.complain();
                if !undelivered.is_a_closed_pipe() {
                    output::complain("the sweep itself is kept; `copperwalk unit` shows it");
                }
            }
            other => output::complain(&other.to_string()),
        }
    }

    fn status(&self) -> Status {
        match self {
            Self::Sweep(error) if error.is_input() => Status::Input,
            Self::Sweep(error) if error.is_cancelled() => Status::Cancelled,
            Self::Sweep(_) => Status::Void,
            Self::Prove(error) if error.is_input() => Status::Input,
            Self::Prove(ProveError::Job(error)) if error.is_cancelled() => Status::Cancelled,
            Self::Prove(_) => Status::Void,
            Self::Watch(error) if error.is_input() => Status::Input,
            Self::Watch(error) if error.is_unit() => Status::Fail,
            Self::Watch(error) if error.is_cancelled() => Status::Cancelled,
            Self::Watch(_) => Status::Void,
            Self::Supply(error) if error.is_lost() => Status::Void,
            Self::NotStarted { status, .. } => *status,
            Self::Daemon(error) => error.status(),
            Self::Rejudge(RejudgeError::Cancelled { .. }) => Status::Cancelled,
            _ => Status::Input,
        }
    }
}

impl From<Problems> for Failure {
    fn from(problems: Problems) -> Self {
        Self::Files(problems)
    }
}

/// The arguments, or the status to leave with after help or a complaint. What a person typed is repeated in complaints
/// only with its hidden characters written out.
fn arguments(given: impl Iterator<Item = OsString>) -> Result<Args, Status> {
    let given: Vec<_> = given.collect();
    let hides = given.iter().any(|argument| first_hidden(&argument.to_string_lossy()).is_some());
    Args::try_parse_from(given).map_err(|error| {
        // Help and complaints about plain arguments keep clap's layout and colours. Output that nobody takes is no
        // reason to complain about again.
        if hides && error.use_stderr() {
            output::complain_laid_out(&clean_lines(&error.render().to_string()));
        } else {
            let _ = error.print();
        }
        if error.use_stderr() { Status::Input } else { Status::Pass }
    })
}

/// Reads the arguments, does what they ask, and says how it went.
pub fn main() -> ExitCode {
    let args = match arguments(std::env::args_os()) {
        Ok(args) => args,
        Err(status) => return ExitCode::from(status as u8),
    };
    let mut output = Output::stdout();
    let done = match args.command {
        Command::Demo(command) => demo::run(command, args.records, &mut output),
        Command::Check(command) => check::run(command, &mut output),
        Command::Plan(command) => plan::run(command, &mut output),
        Command::Drop(command) => drop::run(command, args.records, &mut output),
        Command::Bed(command) => bed::run(command, &mut output),
        Command::Prove(command) => prove::run(command, args.records, &mut output),
        Command::Sweep(command) => sweep::run(command, args.records, &mut output),
        Command::Watch(command) => watch::run(command, args.records, &mut output),
        Command::Start(command) => start::run(command, args.records, &mut output),
        Command::Hunt(command) => hunt::run(command, args.records, &mut output),
        Command::Import(command) => import::run(command, &mut output),
        Command::Receive(command) => receive::receive(command, args.records, &mut output),
        Command::Bench(command) => bench::run(command, args.records, &mut output),
        Command::Unit(command) => records::unit(command, args.records, &mut output),
        Command::Lot(command) => records::lot(command, args.records, &mut output),
        Command::Note(command) => records::note(command, args.records, &mut output),
        Command::Remedy(command) => remedy::run(command, args.records, &mut output),
        Command::Repair(command) => records::repair(command, args.records, &mut output),
        Command::Status(command) => receive::status(command, args.records, &mut output),
        Command::Cost(command) => cost::run(command, args.records, &mut output),
        Command::Spent(command) => spent::run(command, args.records, &mut output),
        Command::Sold(command) => sold::sold(command, args.records, &mut output),
        Command::Returned(command) => sold::returned(command, args.records, &mut output),
        Command::Spares(command) => spares::spares(command, args.records, &mut output),
        Command::Packing(command) => spares::packing(command, args.records, &mut output),
        Command::Photo(command) => photo::run(command, args.records, &mut output),
        Command::Tick(command) => tick::run(command, args.records, &mut output),
        Command::Void(command) => records::void(command, args.records, &mut output),
        Command::Units(command) => list::units(command, args.records, &mut output),
        Command::Lots(command) => list::lots(command, args.records, &mut output),
        Command::Labels(command) => labels::run(command, args.records, &mut output),
        Command::Judge(command) => judge::run(command, args.records, &mut output),
        Command::Learn(command) => learn::run(command, args.records, &mut output),
        Command::Serve(command) => serve::run(command, args.records, &mut output),
        Command::Files(command) => files::run(command, &mut output),
        Command::Token(command) => token::run(command, &mut output),
        Command::Records(command) => keep::run(command, args.records, &mut output),
    };
    let status = done.unwrap_or_else(|failure| {
        failure.complain();
        if failure.is_a_closed_pipe() { output.status() } else { failure.status() }
    });
    ExitCode::from(status as u8)
}
