//! `copperwalk start FIXTURE --serial SN`: first power for a unit that passed without it, kept in its history.

use std::{
    io::{Write, stderr},
    path::{Path, PathBuf},
    time::{Duration, Instant},
};

use super::{
    Failure, Status, interrupt,
    output::{Output, complain, status_of},
    records,
};
use crate::{
    board::{self, Board},
    check::{self, Kind},
    document::Sheet,
    fixture,
    link::CancelToken,
    operator::{TerminalOperator, Unattended},
    records::{Records, now_us, text},
    report::{json, terminal},
    start::{
        Attendant, Machine, Modelled, NotAllowed, Plan, Question, Started, Starter, Window, Within, allowed,
        rule::End,
        verdict::Subject,
        within::{OfMeter, OfSupply},
    },
    supply::{Choice, Scpi, Supply},
    virtual_bench::VirtualSupply,
    visible::clean,
};

/// What stands below the long help of the command.
const HELP: &str = "FIRST POWER\n  Only a unit whose last sweep or hunt passed, after its last repair, is started. Every cell stays out: the supply is\n  \
                    joined in its place, and nothing is charged. Current limit, over-voltage and over-current trip are set and read back\n  \
                    before the output goes on; the voltage then rises in steps. Whatever the question is, these answers end it:\n    \
                    hot, smell, smoke   something is wrong with the unit: it fails\n    \
                    stop                it ends, for no fault of the unit\n  \
                    If contact with the supply is lost, the bell rings: switch it off by hand.";

/// How often the bell is rung until somebody has switched the supply off.
const BELL: Duration = Duration::from_secs(1);

#[derive(clap::Args)]
#[command(
    group(clap::ArgGroup::new("source").args(["supply", "modelled"]).required(true)),
    after_long_help = HELP
)]
pub struct Args {
    /// The fixture file, or the board file alone; the board needs a table [power].
    #[arg(value_name = "FIXTURE|BOARD")]
    file: PathBuf,
    /// Serial number of the unit.
    #[arg(long, value_name = "SN")]
    serial: String,
    /// The bench supply: "scpi:HOST" or "scpi:HOST:PORT" (on the network, port 5025 unless named), "serial:DEVICE" or "serial:DEVICE@BAUD" (9600 baud unless
    /// named), "usbtmc:DEVICE" (as /dev/usbtmc0), "typed" (a person sets it and types what it shows).
    #[arg(long, value_name = "SUPPLY")]
    supply: Option<Choice>,
    /// Of a supply with several outputs, the number of the one that is used; without it the one that the supply has chosen.
    #[arg(long, value_parser = clap::value_parser!(u8).range(1..=99), requires = "supply", value_name = "N")]
    supply_output: Option<u8>,
    /// A modelled supply, unit and person.
    #[arg(long = "virtual")]
    modelled: bool,
    /// Seed of the modelled unit.
    #[arg(long, default_value_t = 1, requires = "modelled", conflicts_with = "supply", value_name = "N")]
    seed: u64,
    /// A fault of the modelled unit or supply; may be given more than once: "short=2 ohm", "load=open", "load=7 mA", "load=latch-up", "supply=silent",
    /// "supply=error", "supply=deaf", "supply=+0.3 V", "RAIL=2.9 V", "CHECK=no", "nose=smoke".
    #[arg(long = "fault", requires = "modelled", conflicts_with = "supply", value_name = "SPEC")]
    faults: Vec<String>,
    /// The unit is known to be good: what it draws counts for the window of its board.
    #[arg(long)]
    golden: bool,
    /// How accurate the supply's current is, as its manual states it: "0.5 % + 1 mA" unless given.
    #[arg(long, value_name = "ACCURACY")]
    supply_within: Option<OfSupply>,
    /// How accurate the meter is that rails are read with, such as "0.5 % + 2 mV"; asked for unless given.
    #[arg(long, value_name = "ACCURACY")]
    meter_within: Option<OfMeter>,
    /// One JSON object on standard output, and nothing else there.
    #[arg(long)]
    json: bool,
}

pub fn run(args: Args, store: Option<PathBuf>, output: &mut Output) -> Result<Status, Failure> {
    let serial = text::serial(&args.serial)?;
    let board = board_of(&args.file)?;
    let records = records::open(store)?;
    allowed(&records.unit(&serial)?, &board, args.golden)?;
    let power = board.power.as_ref().ok_or_else(|| NotAllowed::NoPower { board: board.name.clone() })?;
    let window = match Window::stated(power) {
        Some(window) => Some(window),
        None => Window::learnt(&records, &board, power.nominal)?,
    };
    let within = args.supply_within.map_or(Within::SUPPLY, |OfSupply(within)| within);
    let mut plan = Plan::of(&board, power, window, within);
    plan.meter_within = args.meter_within.map(|OfMeter(within)| within);
    let subject = Subject {
        serial: serial.clone(),
        board: board.name.clone(),
        revision: board.revision.clone(),
        golden: args.golden,
    };
    let cancel = interrupt::token_of_every_end();
    let mut person = AtTerminal(TerminalOperator::new(&cancel));
    let started = match &args.supply {
        Some(choice) => {
            let mut supply = choice.reach(args.supply_output)?;
            start(supply.as_mut(), &mut person, plan, &cancel, subject)
        }
        None => {
            let modelled = (args.seed, args.faults.as_slice());
            start_modelled(&board, modelled, plan, &cancel, subject, &mut |text| person.tell(text))?
        }
    };
    if !started.was_on {
        return Err(not_started(started));
    }
    let object = keep(&records, &serial, &started)?;
    let status = status(&started);
    output.settle(status);
    if args.json {
        output.text(&object)?;
    } else {
        output.text(&terminal::start(&started.sheet, true, output.screen()))?;
    }
    if !started.is_off {
        person.ring();
    }
    Ok(status)
}

/// Keeps what came of it in the unit's history, the answers to the checks beside it; gives it as JSON.
pub(super) fn keep(records: &Records, serial: &str, started: &Started) -> Result<String, Failure> {
    for check in &started.sheet.checks {
        if let Some(done) = check.answer {
            records.tick(serial, now_us(), &check.name, done, "at first power")?;
        }
    }
    let object = json::object(&started.sheet).map_err(|error| Failure::Output(error.into()))?;
    records.keep_start(serial, &started.sheet.entry(now_us(), object.clone()))?;
    Ok(object)
}

/// Starts a modelled unit on a modelled supply: its seed, and what is wrong with either.
pub(super) fn start_modelled(
    board: &Board,
    (seed, faults): (u64, &[String]),
    plan: Plan,
    cancel: &CancelToken,
    subject: Subject,
    tell: &mut dyn FnMut(&str),
) -> Result<Started, Failure> {
    let (line, bystander) = VirtualSupply::new(board, seed, faults)?;
    let mut attendant = Modelled::new(bystander, tell);
    let mut supply = Scpi::open(line, "modelled supply", None)?;
    Ok(start(&mut supply, &mut attendant, plan, cancel, subject))
}

fn start(
    supply: &mut dyn Supply,
    attendant: &mut dyn Attendant,
    plan: Plan,
    cancel: &CancelToken,
    subject: Subject,
) -> Started {
    let machine = Machine::new(plan);
    Starter { supply, attendant, machine, cancel: cancel.clone() }.run(subject)
}

/// The board that a file describes, or the board of a fixture.
fn board_of(path: &Path) -> Result<Board, Failure> {
    let sheet = Sheet::open(path)?;
    match check::kind(&sheet) {
        Ok(Kind::Board) => Ok(board::read(path)?),
        Ok(Kind::Fixture) => Ok(fixture::read(path)?.board),
        Err(_) => Err(Failure::Files(sheet.into_problems())),
    }
}

/// Void weighs more than whatever was seen before: the unit may be under power still.
fn status(started: &Started) -> Status {
    match &started.end {
        _ if !started.is_off || started.sheet.alarm.is_some() => Status::Void,
        Some(End::Nobody { cancelled: true, .. }) => Status::Cancelled,
        _ => status_of(started.sheet.verdict),
    }
}

/// It ended before the output was on.
fn not_started(started: Started) -> Failure {
    let (why, status) = match started.end {
        Some(End::Supply { why, lost: true }) => (why, Status::Void),
        Some(End::Nobody { why, cancelled: true }) => (why, Status::Cancelled),
        Some(end @ End::Asked) => (end.in_words(), Status::Cancelled),
        Some(end) => (end.in_words(), Status::Input),
        None => ("it ended".into(), Status::Input),
    };
    Failure::NotStarted { why, status }
}

/// A person at the terminal.
struct AtTerminal(TerminalOperator);

impl AtTerminal {
    /// Rings until somebody says that the supply is off, or until nobody can.
    fn ring(&mut self) {
        const QUESTION: &str = "Is the supply off? Press Enter once it is";
        let mut rung: Option<Instant> = None;
        loop {
            if rung.is_none_or(|rung| rung.elapsed() >= BELL) {
                rung = Some(Instant::now());
                self.tell(&format!("\u{7}{QUESTION}"));
            }
            match self.0.line(QUESTION) {
                Ok(None) => {}
                Ok(Some(_)) | Err(_) => return,
            }
        }
    }
}

impl Attendant for AtTerminal {
    fn ask(&mut self, question: &Question) {
        self.tell(&format!("\n{}", question.in_words()));
    }

    fn answer(&mut self, question: &Question) -> Result<Option<String>, Unattended> {
        self.0.line(&question.in_words())
    }

    fn refuse(&mut self, why: &str) {
        complain(why);
    }

    fn tell(&mut self, text: &str) {
        // If nobody can read it, nobody answers, and that is noticed.
        let _ = writeln!(stderr(), "{text}");
    }

    fn alarm(&mut self, text: &str) {
        let _ = writeln!(stderr(), "\u{7}\u{7}\u{7}\n*** ALARM: {}\u{7}", clean(text));
    }
}
