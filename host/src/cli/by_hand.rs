//! `copperwalk hunt BOARD --by-hand`: ask a person for one touch after the other, record what was read, then show it.

use std::{
    io::{self, Write},
    path::PathBuf,
};

use serde::Serialize;

use super::{
    Failure, Status, by_daemon,
    form::{Ready, Views},
    hunt::{self, Args},
    interrupt,
    output::{Output, complain, status_of},
    records, slip,
};
use crate::{
    board::{self, Board},
    by_hand::{
        self, AnswerError, Hold, Next, Said, Session,
        answer::Instrument,
        drawing::drawing,
        judge::in_words,
        place::{Face, landmark},
        session::{Asking, Outcome},
    },
    hand_meter::{Channels, Choice, MeterError, Reached, Stable, Tips, scpi::Reading},
    hypothesis::Rates,
    job::JobError,
    limits::LimitSet,
    link::{CancelToken, Session as LinkSession, Transport, serial::SerialLink},
    measurement::{Basis, ByHand, Manner, Measurement, Touch},
    operator::{TerminalOperator, Unattended},
    plan::Sampling,
    quantity::{Ohms, si},
    records::{Records, SweepId, now_us, summary::Event, text},
    report::{caution, csv, html, json, terminal, words},
    sweep::Sweep,
};

/// What stands below the long help of the command.
pub const HELP: &str = "BY HAND\n  Take the battery out first. The program says where the two tips go: the point, the side and where on it the\n  \
                        point lies, and draws it. On the back, left and right are exchanged. Answers:\n    \
                        0.4 ohm      a number with its unit, as the meter shows it; \"12 kohm\", \"2 Mohm\"\n    \
                        ol           an overload; \"ol 20 Mohm\" where the meter's range is known, which insulation needs\n    \
                        beep, none   continuity: it beeps, or it does not\n    \
                        skip         these points cannot be reached; \"skip NAME\" for one of them, for good\n    \
                        again        the answer before was wrong: ask it again\n    \
                        zero         hold the tips together once more\n  \
                        Ctrl-C keeps what was answered; --resume goes on from there.";

/// How a hunt is made by hand.
#[derive(clap::Args)]
#[group(skip)]
pub struct ByHandArgs {
    /// Hunt with two tips held by hand, without a bed.
    #[arg(long)]
    pub by_hand: bool,
    /// What reads the tips: "typed" (a person types what the meter shows), "tcp:HOST" or "tcp:HOST:PORT" (a SCPI meter on the network,
    /// port 5025 unless named), "serial:DEVICE" or "serial:DEVICE@BAUD" (9600 baud unless named), "usbtmc:DEVICE" (as /dev/usbtmc0), "bench" (the bench at --port, by way of two Kelvin tips on the channels that --tips names).
    #[arg(long, value_name = "METER", default_value = "typed", requires = "by_hand")]
    meter: Choice,
    /// Of "bench": force and sense channel of tip A, then those of tip B, as 14,46,15,47.
    #[arg(long, value_name = "CHANNELS", requires = "by_hand")]
    tips: Option<Channels>,
    /// The meter's tips are Kelvin tips: read with four wires. Needs a meter that the program reaches.
    #[arg(long, requires = "by_hand")]
    kelvin: bool,
    /// Compare with a known-good unit, point by point: what it read in the records, else it is asked for.
    #[arg(long, value_name = "SN", requires = "by_hand")]
    good_unit: Option<String>,
    /// The unit lies with its back up.
    #[arg(long, requires = "by_hand")]
    flipped: bool,
    /// Go on with the hunt that was ended before it was decided.
    #[arg(long, requires = "by_hand")]
    resume: bool,
}

pub fn run(args: Args, store: Option<PathBuf>, output: &mut Output) -> Result<Status, Failure> {
    let serial = text::serial(&args.serial)?;
    let lot = args.lot.as_deref().map(text::lot).transpose()?;
    let how = args.by_hand;
    let good_unit = how.good_unit.as_deref().map(text::serial).transpose()?;
    let board = board::read(&args.file)?;
    let photos = html::Backdrop::beside(&args.file);
    let limits = LimitSet::of_board(&board);
    let store_path = store.clone();
    let records = records::open(store)?;
    let as_json = args.form.json();
    let form = args.form.ready(records.path())?;
    if !how.resume {
        slip::none_or_meant(&records, &serial, lot.as_deref(), &board, args.yes)?;
    }
    let earlier = if how.resume { stopped(&records, &serial, &board)? } else { Vec::new() };
    let known = match &good_unit {
        Some(good) => read_of(&records, good, &board)?,
        None => Vec::new(),
    };
    let rates = lot.as_deref().map_or_else(Rates::table, |lot| hunt::of_lot(&records, &board, lot));
    let cancel = interrupt::token();
    let meter = match (&how.meter, args.bench.port(), how.tips) {
        (Choice::Bench, Some(port), Some(tips)) => Some(of_bench(port, tips, store_path, &cancel)?),
        (meter, ..) => meter.reach(how.kelvin).map_err(Failure::Meter)?,
    };
    let instrument = match &meter {
        Some(meter) => Instrument {
            name: meter.name().into(),
            four_wire: meter.four_wire(),
            within: Some(meter.within()),
        },
        None => Instrument::typed(),
    };
    let bench_name = instrument.name.clone();
    let mut session = Session::new(&board, &limits, rates.clone(), instrument, good_unit.is_some());
    if how.flipped {
        session.lies(Hold::Face(Face::Back));
    }
    session.know_good(known);
    session.resume(earlier);
    let started_us = now_us();
    let mut talk = Conversation {
        board: &board,
        session,
        person: TerminalOperator::new(&cancel),
        meter,
        stable: Stable::lifted(),
        good_unit,
        form: &form,
        photos: &photos,
        output: as_json.then_some(&mut *output),
    };
    let ended = talk.hold();
    let by_hand = talk.session.finish(ended.is_err());
    if by_hand.touches.iter().all(|touch| touch.on_good_unit) {
        return match ended {
            Err(Ended::Meter(error)) => Err(Failure::Meter(error)),
            _ => {
                complain("nothing was answered; nothing was recorded");
                Ok(Status::Cancelled)
            }
        };
    }
    let sweep =
        judged(&board, &limits, Subject { serial, lot, started_us, bench_name, rates }, &records, by_hand)?;
    let id = records.store_by_hand(&sweep, &board)?;
    let status = status_of(sweep.judgement.verdict);
    output.settle(status);
    let mut failures = form.show(
        output,
        &Views {
            json: &|| json::sweep_line(&sweep),
            text: &|screen| terminal::sweep(&sweep, Some(id), screen),
            csv: &|out| csv::sweep(&sweep, out),
            html: &|| {
                let photos = |_: &Board| photos.clone();
                html::sweep(&sweep, &board, &html::Links { photos: &photos, ..html::Links::NONE })
            },
        },
    );
    if let Err(Ended::Meter(error)) = ended {
        failures.push(Failure::Meter(error));
    }
    match Failure::undelivered(failures) {
        None => Ok(status),
        Some(undelivered) => {
            Err(Failure::Kept { said: words::in_short(&sweep), id, undelivered: undelivered.into() })
        }
    }
}

/// The meter of the bench at a port, through two tips on these channels.
fn of_bench(
    port: &str,
    tips: Channels,
    store: Option<PathBuf>,
    cancel: &CancelToken,
) -> Result<Reached, Failure> {
    by_daemon::has_not(port, store.as_ref(), "a unit is hunted")?;
    let line: Box<dyn Transport> = Box::new(SerialLink::open(port).map_err(JobError::from)?);
    let session = LinkSession::open_cancellable(line, cancel).map_err(JobError::from)?;
    let tips = Tips::new(session, tips).map_err(Failure::Meter)?;
    Ok(Reached::Bench(Box::new(tips)))
}

/// What a measurement is of.
struct Subject {
    serial: String,
    lot: Option<String>,
    started_us: i64,
    bench_name: String,
    rates: Rates,
}

fn judged(
    board: &Board,
    limits: &LimitSet,
    subject: Subject,
    records: &Records,
    by_hand: ByHand,
) -> Result<Sweep, Failure> {
    let unit = records.unit(&subject.serial).ok();
    let measurement = Measurement {
        repaired_us: unit.as_ref().and_then(|unit| unit.repaired_before(subject.started_us)),
        wires: unit.map(|unit| unit.wires_before(subject.started_us)).unwrap_or_default(),
        serial: subject.serial,
        lot: subject.lot,
        started_us: subject.started_us,
        bench_name: subject.bench_name,
        manner: Manner::ByHand,
        rates: subject.rates,
        basis: Basis::of(board, None),
        sampling: Sampling::Quick,
        proof: None,
        runs: Vec::new(),
        by_hand: Some(by_hand),
    };
    let judgement = by_hand::judge(board, limits, &measurement)?;
    Ok(Sweep { measurement, judgement })
}

/// The touches of the unit's last measurement, if that is a hunt by hand on this board which was ended.
fn stopped(records: &Records, serial: &str, board: &Board) -> Result<Vec<Touch>, Failure> {
    let last = sweeps_of(records, serial)?.pop();
    let nothing = || Failure::NothingToResume { serial: serial.into() };
    let read = records.read(&[last.ok_or_else(nothing)?])?.pop().ok_or_else(nothing)??;
    let by_hand = read.measurement.by_hand.filter(|by_hand| by_hand.stopped).ok_or_else(nothing)?;
    if read.measurement.basis.board_hash != board.hash {
        return Err(Failure::OtherBoardFile { serial: serial.into() });
    }
    Ok(by_hand.touches)
}

/// Everything that was read by hand of a good unit of this board, the latest last.
fn read_of(records: &Records, serial: &str, board: &Board) -> Result<Vec<Touch>, Failure> {
    // A unit that nothing is known of yet is read at the same time.
    let ids = sweeps_of(records, serial).unwrap_or_default();
    let mut touches = Vec::new();
    for read in records.read(&ids)?.into_iter().flatten() {
        if read.measurement.basis.board_hash == board.hash {
            let by_hand = read.measurement.by_hand.unwrap_or_default();
            touches.extend(by_hand.touches.into_iter().filter(|touch| !touch.on_good_unit));
        }
    }
    touches.reverse();
    Ok(touches)
}

fn sweeps_of(records: &Records, serial: &str) -> Result<Vec<SweepId>, Failure> {
    let events = records.unit(serial)?.events;
    let by_hand = events.into_iter().filter_map(|event| match event {
        Event::Sweep(sweep) if sweep.manner == Manner::ByHand => Some(sweep.id),
        _ => None,
    });
    Ok(by_hand.collect())
}

/// Why a conversation ended before the hunt was decided.
enum Ended {
    /// By the person, or because nobody answers any more.
    Left,
    /// The meter gives nothing more.
    Meter(MeterError),
}

impl From<Unattended> for Ended {
    fn from(_: Unattended) -> Self {
        Self::Left
    }
}

impl From<MeterError> for Ended {
    fn from(error: MeterError) -> Self {
        Self::Meter(error)
    }
}

/// Question and answer, at a terminal or line by line in JSON.
struct Conversation<'c, 'b> {
    board: &'b Board,
    session: Session<'b>,
    person: TerminalOperator,
    meter: Option<Reached>,
    stable: Stable,
    good_unit: Option<String>,
    form: &'c Ready,
    /// Photos of the board, behind its drawing.
    photos: &'c html::Backdrop,
    /// Where questions go as JSON; `None`: to standard error, for a person.
    output: Option<&'c mut Output>,
}

/// A question for a script.
#[derive(Serialize)]
struct AskLine<'a> {
    ask: AskObject<'a>,
}

#[derive(Serialize)]
#[serde(untagged)]
enum AskObject<'a> {
    Zero {
        zero: bool,
    },
    Points {
        from: &'a str,
        to: &'a str,
        side: &'static str,
        state: &'a str,
        #[serde(skip_serializing_if = "Option::is_none")]
        good_unit: Option<&'a str>,
    },
}

/// Why an answer was not taken, for a script.
#[derive(Serialize)]
struct RefusedLine<'a> {
    refused: &'a str,
}

/// Two touches that contradict each other, for a script.
#[derive(Serialize)]
struct ContradictsLine {
    contradicts: [String; 2],
}

impl Conversation<'_, '_> {
    /// Asks until it is decided.
    fn hold(&mut self) -> Result<(), Ended> {
        if self.output.is_none() {
            tell(&format!("Before the tips touch anything: {}.", caution::CAUTIONS[0].short));
            let how = "Answer with what the meter shows (\"0.4 ohm\", ol, beep, none), or skip, again, zero.\nCtrl-C keeps what was \
                       answered.";
            tell(how);
        }
        loop {
            match self.session.next() {
                Next::Zero => self.zero()?,
                Next::Ask(asking) => self.ask(&asking)?,
                Next::Done(_) => return Ok(()),
            }
        }
    }

    fn zero(&mut self) -> Result<(), Ended> {
        self.script(&AskLine { ask: AskObject::Zero { zero: true } })?;
        if self.output.is_none() {
            tell("\nHold the two tips together. What does the meter show? (\"beep\" if it shows no number)");
        }
        loop {
            let (said, _) = self.heard(false)?;
            match self.session.zeroed(said) {
                Ok(()) => return Ok(()),
                Err(error) => self.refuse(&error)?,
            }
        }
    }

    fn ask(&mut self, asking: &Asking) -> Result<(), Ended> {
        let board = self.board;
        let [from, to] = asking.probe.points.map(|point| board.point(point).name.as_str());
        let state = &board.state(asking.probe.state).name;
        let good = self.good_unit.clone().filter(|_| asking.on_good_unit);
        let side = asking.probe.hold.word();
        self.script(&AskLine {
            ask: AskObject::Points { from, to, side, state, good_unit: good.as_deref() },
        })?;
        if let Some(page) = self.form.page() {
            // A drawing that cannot be written is told of when the report is to stand there.
            let _ = page.write(html::question(
                board,
                asking.probe.points,
                asking.probe.hold,
                &sentence(board, asking),
                self.photos,
            ));
        }
        if self.output.is_none() {
            self.put_into_state(asking)?;
            self.show(asking, good.as_deref());
        }
        loop {
            let (said, text) = self.heard(true)?;
            if text == "zero" {
                self.session.zero_again();
                return Ok(());
            }
            match self.session.answered(asking, said, &text) {
                Ok(outcome) => return self.came_of(&outcome),
                Err(error) => self.refuse(&error)?,
            }
        }
    }

    fn put_into_state(&mut self, asking: &Asking) -> Result<(), Ended> {
        let state = self.board.state(asking.probe.state);
        if self.session.stance().state == Some(asking.probe.state) || state.prompt.is_empty() {
            return Ok(());
        }
        let prompt = format!("\n{}, then press Enter", state.prompt);
        tell(&prompt);
        while !self.person.said(&prompt)? {}
        Ok(())
    }

    fn show(&self, asking: &Asking, good: Option<&str>) {
        let board = self.board;
        let mut lines = vec![String::new()];
        if let Some(good) = good {
            lines.push(format!("Now the same points on the good unit {good}:"));
        } else if asking.again {
            lines.push("Once more, because two answers contradict each other:".into());
        }
        match self.session.turn(&asking.probe) {
            Some(Hold::Face(face)) => lines.push(format!("Turn the board over: {} up.", face.word())),
            Some(Hold::Edge) => lines.push("Hold the board on its edge: one tip on each side.".into()),
            None => {}
        }
        let faces = faces(board, asking);
        for ((point, face), letter) in asking.probe.points.into_iter().zip(faces).zip(['A', 'B']) {
            lines.push(format!("  {letter}  {}: {}", board.point(point).name, landmark(board, point, face)));
        }
        let drawn = match asking.probe.hold {
            Hold::Face(face) => face,
            Hold::Edge => Face::Front,
        };
        if asking.probe.hold == Hold::Edge {
            lines.push("     seen from the front; a small letter lies on the back".into());
        }
        lines.extend(
            drawing(board, asking.probe.points, drawn).into_iter().map(|line| format!("     {line}")),
        );
        lines.push(match self.meter {
            Some(_) => {
                "Hold the tips there until the bell; where none comes, press Enter while you hold them."
                    .into()
            }
            None => "What does the meter show?".into(),
        });
        tell(&lines.join("\n"));
    }

    /// The next answer, typed or read.
    fn heard(&mut self, words: bool) -> Result<(Said, String), Ended> {
        loop {
            let mut latest = None;
            if let Some(meter) = &mut self.meter {
                let reading = meter.read()?;
                latest = Some(reading);
                if let Some(resistance) = self.stable.take(reading) {
                    if self.output.is_none() {
                        // The bell: whoever holds two tips does not look at the screen.
                        tell(&format!("\u{7}{}", si(resistance.0, 4, "Ω")));
                    }
                    return Ok(read(Reading::Reads(resistance), meter.top()));
                }
            }
            let Some(line) = self.person.line("what the meter shows")? else { continue };
            let line = line.trim();
            match (line, latest) {
                ("zero", _) if words => return Ok((Said::Again, "zero".into())),
                ("", Some(reading)) => {
                    self.stable = Stable::resting();
                    let top = self.meter.as_ref().map_or(Ohms::ZERO, Reached::top);
                    return Ok(read(reading, top));
                }
                ("", None) => {}
                _ => match Said::parse(line) {
                    Ok(said) => return Ok((said, line.into())),
                    Err(error) => self.refuse(&error)?,
                },
            }
        }
    }

    fn came_of(&mut self, outcome: &Outcome) -> Result<(), Ended> {
        match outcome {
            Outcome::Taken => {}
            Outcome::Contradicts(pair) => {
                let touches = self.session.touches();
                let both = pair.map(|number| touches.get(number).map(in_words).unwrap_or_default());
                self.script(&ContradictsLine { contradicts: both.clone() })?;
                if self.output.is_none() {
                    let [later, earlier] = &both;
                    tell(&format!(
                        "Two answers contradict each other: {later}; and before it {earlier}. A tip may have slipped, or a contact \
                         comes and goes: both are asked again."
                    ));
                }
            }
            Outcome::TakenBack if self.output.is_none() => tell("Taken back."),
            Outcome::NothingToTakeBack if self.output.is_none() => tell("Nothing was answered yet."),
            Outcome::TakenBack | Outcome::NothingToTakeBack => {}
        }
        Ok(())
    }

    fn refuse(&mut self, error: &AnswerError) -> Result<(), Ended> {
        let why = error.to_string();
        self.script(&RefusedLine { refused: &why })?;
        if self.output.is_none() {
            complain(&why);
        }
        Ok(())
    }

    /// A line for a script, if one listens.
    fn script(&mut self, line: &impl Serialize) -> Result<(), Ended> {
        let Some(output) = &mut self.output else { return Ok(()) };
        let told = json::line(line).map_err(io::Error::from).and_then(|text| output.text(&text));
        told.map_err(|_| Ended::Left)
    }
}

/// A reading as an answer, of a meter whose range ends there.
fn read(reading: Reading, top: Ohms) -> (Said, String) {
    match reading {
        Reading::Reads(resistance) => {
            (Said::Reads { resistance, digit: Ohms::ZERO }, si(resistance.0, 4, "Ω"))
        }
        Reading::Overload => (Said::Overload(Some(top)), "overload".into()),
    }
}

/// On which face each tip stands.
fn faces(board: &Board, asking: &Asking) -> [Face; 2] {
    asking.probe.points.map(|point| match asking.probe.hold {
        Hold::Face(face) => face,
        Hold::Edge if Face::Front.reaches(board.point(point)) => Face::Front,
        Hold::Edge => Face::Back,
    })
}

/// The question in one sentence.
fn sentence(board: &Board, asking: &Asking) -> String {
    let [a, b] = asking.probe.points.map(|point| &board.point(point).name);
    let [at_a, at_b] = faces(board, asking);
    let [from, to] = asking.probe.points;
    format!("A on {a} ({}), B on {b} ({})", landmark(board, from, at_a), landmark(board, to, at_b))
}

/// For a person, on standard error. If nobody can read it, nobody answers, and that is noticed.
fn tell(text: &str) {
    let _ = writeln!(io::stderr(), "{text}");
}
