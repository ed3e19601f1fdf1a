//! Whoever answers at the serial port, the program comes to an end in a stated time and in plain words, in little memory, with
//! nothing booked on the unit.
//!
//! Each row is a peer on a pseudo-terminal that is honest up to some point and then misbehaves; the program is the real one, run
//! as a person runs it. The table with every row's time and memory is printed: run with `--no-capture`.
#![cfg(target_os = "linux")]
#![allow(clippy::expect_used, clippy::panic, reason = "a failed expectation is the message")]

use std::{
    fs,
    io::{BufRead, BufReader, Read},
    path::{Path, PathBuf},
    process::{Command, Stdio},
    sync::{
        Mutex,
        atomic::{AtomicUsize, Ordering},
    },
    thread,
    time::{Duration, Instant},
};

use copperwalk::{
    fixture::{self, Fixture},
    limits::LimitSet,
    link::deadline,
    plan::{self, Sampling},
};
use copperwalk_core::timing::Before;
use copperwalk_tests::{
    boards::ladder_text,
    peer::{Do, Peer, Script, frame},
    program,
};
use copperwalk_wire::{
    FromBench, PROTOCOL, Packet, Shot, ToBench,
    message::{CODES_PER_FRAME, Fault, Identity, Refusal, Rule, RunEnd, ShotEnd, Status},
};
use tempfile::TempDir;

/// Rows at the same time: most of them wait.
const AT_ONCE: usize = 12;
/// Memory the program may take against any peer, KiB.
const MEMORY_KIB: u64 = 100 * 1024;
/// A peer that chatters says something 20 times a second.
const CHATTER: Duration = Duration::from_millis(50);
/// As fast as the line takes it.
const FLOOD: Duration = Duration::ZERO;
/// Exit status after Ctrl-C.
const CANCELLED: i32 = 130;
/// Beyond every deadline.
const FOR_EVER: Duration = Duration::from_secs(3_600);

/// How long the program may take, by what it waits for.
#[derive(Clone, Copy, Debug)]
enum Stated {
    /// An answer.
    Answer,
    /// The start of a run.
    Start,
    /// The first shot.
    Shot,
    /// The whole run.
    Run,
}

/// What a peer does, and what the program makes of it.
struct Row {
    name: String,
    script: Script,
    stated: Stated,
    /// Exit status.
    status: i32,
    /// What the program says, in part.
    words: &'static str,
}

type Answers = Vec<Packet<FromBench>>;

fn row(name: impl Into<String>, stated: Stated, words: &'static str, script: Script) -> Row {
    Row { name: name.into(), script, stated, status: 3, words }
}

/// Honest, but for what it does when `is` so.
fn when(
    is: impl Fn(&ToBench) -> bool + Send + 'static,
    mut act: impl FnMut(&Packet<ToBench>, Answers) -> Vec<Do> + Send + 'static,
) -> Script {
    Box::new(move |packet, answers| if is(&packet.body) { act(packet, answers) } else { say(answers) })
}

fn say(answers: Answers) -> Vec<Do> {
    answers.into_iter().map(Do::Say).collect()
}

fn hello(message: &ToBench) -> bool {
    matches!(message, ToBench::Hello { .. })
}

fn load(message: &ToBench) -> bool {
    matches!(message, ToBench::Plan { .. })
}

fn shot(message: &ToBench) -> bool {
    matches!(message, ToBench::Shot { index: 1, .. })
}

fn run(message: &ToBench) -> bool {
    matches!(message, ToBench::Run)
}

/// Answers with something else, once, and is honest afterwards.
fn instead(is: fn(&ToBench) -> bool, body: FromBench) -> Script {
    when(is, move |packet, _| vec![Do::Say(Packet { seq: packet.seq, body: body.clone() })])
}

/// Does something else instead of an answer.
fn does(is: fn(&ToBench) -> bool, what: Vec<Do>) -> Script {
    when(is, move |_, _| what.clone())
}

/// Introduces itself as somebody else.
fn identity(alter: fn(&mut Identity)) -> Script {
    when(hello, move |_, mut answers| {
        for answer in &mut answers {
            if let FromBench::Hello(identity) = &mut answer.body {
                alter(identity);
            }
        }
        say(answers)
    })
}

/// Alters what a run streams: `Done`, then codes and ends of shots, then the end of the run.
fn stream(alter: impl Fn(Answers) -> Vec<Do> + Send + 'static) -> Script {
    when(run, move |_, answers| alter(answers))
}

/// An honest stream up to its answer `count`, then this.
fn after(count: usize, what: impl Fn(u16) -> Vec<Do> + Send + 'static) -> Script {
    stream(move |mut answers| {
        let seq = answers[0].seq;
        answers.truncate(count);
        [say(answers), what(seq)].concat()
    })
}

/// An honest stream up to its answer `count`, then this message under the run's number, then the rest.
fn insert(count: usize, body: FromBench) -> Script {
    stream(move |mut answers| {
        let seq = answers[0].seq;
        answers.insert(count, Packet { seq, body: body.clone() });
        say(answers)
    })
}

/// Alters one message of an honest stream.
fn altered(index: usize, alter: fn(&mut FromBench)) -> Script {
    stream(move |mut answers| {
        alter(&mut answers[index].body);
        say(answers)
    })
}

/// The first answers of every stream: `Done`, the codes of the residual check, its end, then codes of the next shot.
const DONE: usize = 0;
const CODES: usize = 1;
const END_OF_SHOT: usize = 2;

fn foreign(body: FromBench) -> Vec<u8> {
    frame(&Packet { seq: 40_000, body })
}

fn status() -> FromBench {
    FromBench::Status(Status { running: true, lid_open: false, fault: None, watchdog_reset: false })
}

fn codes(shot: u16, first: u16, count: usize) -> FromBench {
    FromBench::Codes { shot, first, codes: std::iter::repeat_n(1, count).collect() }
}

fn ended(why: RunEnd, shots: u16, closures: u32) -> FromBench {
    FromBench::Ended { why, shots, closures, device_us: 1_000_000 }
}

/// Every refusal there is.
fn refusals() -> Vec<Refusal> {
    vec![
        Refusal::Protocol { mine: PROTOCOL },
        Refusal::NoHello,
        Refusal::Busy,
        Refusal::PlanTooLong { capacity: 0 },
        Refusal::ShotMissing { expected: u16::MAX },
        Refusal::Rule { index: u16::MAX, rule: Rule::NotFinite },
        Refusal::LidOpen,
        Refusal::Broken(Fault::Matrix),
    ]
}

fn greeting() -> Vec<Row> {
    const SILENT: &str = "the controller did not answer the greeting within 3.0 s";
    const IMPOSSIBLE: &str = "the controller gave an impossible answer: expected ";
    use Stated::Answer;
    let version = |name: &str, words, script| Row { status: 2, ..row(name, Answer, words, script) };
    let half = |packet: &Packet<ToBench>, answers: Answers| {
        assert!(hello(&packet.body));
        let bytes = frame(&answers[0]);
        vec![Do::Bytes(bytes[..bytes.len() / 2].to_vec())]
    };
    let flipped = |_: &Packet<ToBench>, answers: Answers| {
        let mut bytes = frame(&answers[0]);
        bytes[5] ^= 0x04;
        vec![Do::Bytes(bytes)]
    };
    vec![
        row("greeting: silence", Answer, SILENT, does(hello, vec![])),
        row("greeting: half a frame", Answer, SILENT, when(hello, half)),
        row("greeting: a flipped bit", Answer, SILENT, when(hello, flipped)),
        row(
            "greeting: ten seconds late",
            Answer,
            SILENT,
            when(hello, |_, answers| [vec![Do::Pause(Duration::from_secs(10))], say(answers)].concat()),
        ),
        row("greeting: reads nothing", Answer, SILENT, does(hello, vec![Do::Deaf])),
        row(
            "greeting: foreign numbers, 20 a second",
            Answer,
            "messages came that answer no question",
            does(hello, vec![Do::Repeat(foreign(FromBench::Done), CHATTER)]),
        ),
        row(
            "greeting: status, 20 a second",
            Answer,
            SILENT,
            does(hello, vec![Do::Repeat(foreign(status()), CHATTER)]),
        ),
        row(
            "greeting: flood of zeros",
            Answer,
            "the controller",
            does(hello, vec![Do::Repeat(vec![0; 4096], FLOOD)]),
        ),
        row(
            "greeting: flood of bytes without an end",
            Answer,
            "the controller",
            does(hello, vec![Do::Repeat(vec![0x55; 4096], FLOOD)]),
        ),
        row(
            "greeting: flood of valid frames",
            Answer,
            "the controller",
            does(hello, vec![Do::Repeat(foreign(FromBench::Done), FLOOD)]),
        ),
        row("greeting: \"done\"", Answer, IMPOSSIBLE, instead(hello, FromBench::Done)),
        row("greeting: a status", Answer, IMPOSSIBLE, instead(hello, status())),
        row("greeting: the end of a run", Answer, IMPOSSIBLE, instead(hello, ended(RunEnd::Complete, 0, 0))),
        row("greeting: refused as busy", Answer, "the controller refused: a plan is running", {
            instead(hello, FromBench::Refused(Refusal::Busy))
        }),
        row("greeting: no force channels", Answer, IMPOSSIBLE, identity(|who| who.force_channels = 0)),
        row("greeting: no sense channels", Answer, IMPOSSIBLE, identity(|who| who.sense_channels = 0)),
        row("greeting: room for no shots", Answer, IMPOSSIBLE, identity(|who| who.plan_capacity = 0)),
        row(
            "greeting: room for one shot",
            Answer,
            "it holds 1 readings at most",
            identity(|who| who.plan_capacity = 1),
        ),
        row("greeting: unplugged", Answer, "unplugged", does(hello, vec![Do::Unplug])),
        version("greeting: an older version", "flash the firmware that came with this program", {
            instead(hello, FromBench::Refused(Refusal::Protocol { mine: PROTOCOL - 1 }))
        }),
        version("greeting: a newer version", "update this program", identity(|who| who.protocol = u16::MAX)),
        version("greeting: too few channels", "this controller has 1 and 1", {
            identity(|who| (who.force_channels, who.sense_channels) = (1, 1))
        }),
    ]
}

fn loading() -> Vec<Row> {
    const SILENT: &str = "the controller did not answer within 3.0 s";
    const NO_START: &str = "the controller did not take the plan within 3.0 s";
    use Stated::{Answer, Start};
    let missing = FromBench::Refused(Refusal::ShotMissing { expected: u16::MAX });
    let rule = FromBench::Refused(Refusal::Rule { index: 1, rule: Rule::ChannelRange });
    vec![
        row("plan: silence", Answer, SILENT, does(load, vec![])),
        row("plan: reads nothing", Answer, SILENT, does(load, vec![Do::Deaf])),
        row("plan: unplugged", Answer, "unplugged", does(load, vec![Do::Unplug])),
        row("plan: greets again", Answer, "expected \"done\", got a status", instead(load, status())),
        row(
            "plan: refused as busy",
            Answer,
            "a plan is running",
            instead(load, FromBench::Refused(Refusal::Busy)),
        ),
        row(
            "plan: flood of status",
            Answer,
            "the controller",
            does(load, vec![Do::Repeat(foreign(status()), FLOOD)]),
        ),
        row(
            "shots: refused by number 65535",
            Start,
            "reading 65535 of the plan did not arrive",
            instead(shot, missing),
        ),
        row("shots: refused by a rule", Start, "its matrix has no such channel", instead(shot, rule)),
        row("shots: unplugged", Start, "unplugged", does(shot, vec![Do::Unplug])),
        row("start: silence", Start, NO_START, does(run, vec![])),
        row("start: refused, lid open", Start, "the lid is open; close it", {
            instead(run, FromBench::Refused(Refusal::LidOpen))
        }),
        row("start: refused, broken", Start, "the relay drivers cannot be written", {
            instead(run, FromBench::Refused(Refusal::Broken(Fault::Matrix)))
        }),
        row("start: the end before the start", Start, "expected \"done\", got the end of the run", {
            instead(run, ended(RunEnd::Complete, 0, 0))
        }),
        row(
            "start: codes before the start",
            Start,
            "expected \"done\", got 4 conversions",
            instead(run, codes(0, 0, 4)),
        ),
    ]
}

fn running() -> Vec<Row> {
    const SILENT: &str = "the controller did not finish reading 1 of ";
    const IMPOSSIBLE: &str = "the controller gave an impossible answer at reading ";
    use Stated::{Run, Shot};
    let dawdle = |every: Duration| {
        stream(move |answers| {
            let slow = |answer: Packet<FromBench>| match answer.body {
                FromBench::Shot { .. } => vec![Do::Pause(every), Do::Say(answer)],
                _ => vec![Do::Say(answer)],
            };
            answers.into_iter().flat_map(slow).collect()
        })
    };
    let one_code_at_a_time = || {
        after(1, |seq| {
            let code = |first: u16| Do::Say(Packet { seq, body: codes(0, first, 1) });
            (0..100).flat_map(|first| [Do::Pause(Duration::from_secs(3)), code(first)]).collect()
        })
    };
    let many_codes = || {
        after(1, |seq| {
            let part = CODES_PER_FRAME as u16;
            let codes = |frame: u16| Do::Say(Packet { seq, body: codes(0, frame * part, CODES_PER_FRAME) });
            (0..65_000 / part).map(codes).collect()
        })
    };
    let many_shots = || {
        after(3, |seq| {
            let shot =
                |shot| FromBench::Shot { shot, codes: 0, why: ShotEnd::Complete, from_us: 0, to_us: 0 };
            (1..65_000).map(|number| Do::Say(Packet { seq, body: shot(number) })).collect()
        })
    };
    let mut rows = vec![
        row("run: silence", Shot, SILENT, after(1, |_| vec![])),
        row("run: silence in a shot", Shot, SILENT, after(2, |_| vec![])),
        row(
            "run: silence before the end",
            Shot,
            "the controller did not finish the run",
            stream(|mut answers| {
                answers.pop();
                say(answers)
            }),
        ),
        row("run: reads nothing, says nothing", Shot, SILENT, after(1, |_| vec![Do::Deaf])),
        row(
            "run: half a frame",
            Shot,
            SILENT,
            after(1, |seq| vec![Do::Bytes(frame(&Packet { seq, body: codes(0, 0, 4) })[..6].to_vec())]),
        ),
        row("run: one code every 3 s", Shot, SILENT, one_code_at_a_time()),
        row("run: every shot just in time", Run, "the controller did not finish the run within 1", {
            dawdle(Duration::from_millis(4_700))
        }),
        row(
            "run: status, 20 a second",
            Shot,
            SILENT,
            after(1, |_| vec![Do::Repeat(foreign(status()), CHATTER)]),
        ),
        row(
            "run: foreign numbers, 20 a second",
            Shot,
            "messages came that answer no question",
            after(1, |_| vec![Do::Repeat(foreign(codes(0, 0, 4)), CHATTER)]),
        ),
        row(
            "run: flood of status",
            Shot,
            "the controller",
            after(1, |_| vec![Do::Repeat(foreign(status()), FLOOD)]),
        ),
        row(
            "run: flood of bytes without an end",
            Shot,
            "the controller",
            after(1, |_| vec![Do::Repeat(vec![0x55; 4096], FLOOD)]),
        ),
        row(
            "run: flood of codes",
            Shot,
            IMPOSSIBLE,
            after(1, |seq| {
                vec![Do::Repeat(frame(&Packet { seq, body: codes(0, 0, CODES_PER_FRAME) }), FLOOD)]
            }),
        ),
        row("run: 65,000 codes in a shot", Shot, IMPOSSIBLE, many_codes()),
        row("run: 65,000 shots", Shot, IMPOSSIBLE, many_shots()),
        row(
            "run: codes twice",
            Shot,
            IMPOSSIBLE,
            stream(|mut answers| {
                answers.insert(CODES, answers[CODES].clone());
                say(answers)
            }),
        ),
        row(
            "run: codes missing",
            Shot,
            IMPOSSIBLE,
            stream(|mut answers| {
                answers.remove(CODES);
                say(answers)
            }),
        ),
        row(
            "run: a shot missing",
            Shot,
            IMPOSSIBLE,
            stream(|mut answers| {
                answers.drain(CODES..=END_OF_SHOT);
                say(answers)
            }),
        ),
        row(
            "run: shots out of order",
            Shot,
            IMPOSSIBLE,
            stream(|mut answers| {
                answers.swap(CODES, END_OF_SHOT);
                say(answers)
            }),
        ),
        row("run: codes of shot 65536", Shot, IMPOSSIBLE, insert(CODES, codes(u16::MAX, 0, 1))),
        row("run: codes from number 65535", Shot, IMPOSSIBLE, insert(CODES, codes(0, u16::MAX, 1))),
        row("run: no codes", Shot, IMPOSSIBLE, insert(CODES, codes(0, 0, 0))),
        row(
            "run: codes of 32 bits",
            Shot,
            "beyond the 24 bits of the converter",
            altered(CODES, |body| {
                if let FromBench::Codes { codes, .. } = body {
                    codes[0] = i32::MIN;
                }
            }),
        ),
        row(
            "run: one code too few",
            Shot,
            IMPOSSIBLE,
            altered(END_OF_SHOT, |body| {
                if let FromBench::Shot { codes, .. } = body {
                    *codes -= 1;
                }
            }),
        ),
        row(
            "run: an end that the shot cannot have",
            Shot,
            IMPOSSIBLE,
            altered(END_OF_SHOT, |body| {
                if let FromBench::Shot { why, .. } = body {
                    *why = ShotEnd::Decided;
                }
            }),
        ),
        row(
            "run: a shot of 71 minutes",
            Shot,
            "expected times from 0 to ",
            altered(END_OF_SHOT, |body| {
                if let FromBench::Shot { to_us, .. } = body {
                    *to_us = u32::MAX;
                }
            }),
        ),
        row(
            "run: time running backwards",
            Shot,
            "expected times from 0 to ",
            altered(END_OF_SHOT, |body| {
                if let FromBench::Shot { from_us, to_us, .. } = body {
                    (*from_us, *to_us) = (u32::MAX, 0);
                }
            }),
        ),
        row("run: voltage that its codes deny", Shot, IMPOSSIBLE, insert(3, ended(RunEnd::Residual, 1, 4))),
        row(
            "run: goes on though its check failed",
            Shot,
            "expected the end of the run for voltage on the unit",
            {
                altered(CODES, |body| {
                    if let FromBench::Codes { codes, .. } = body {
                        codes[3] = 1_000_000;
                    }
                })
            },
        ),
        row("run: a gate where none is", Shot, IMPOSSIBLE, insert(3, ended(RunEnd::Gate, 1, 4))),
        row("run: no contact, and no shots", Shot, IMPOSSIBLE, insert(1, ended(RunEnd::NoContact, 0, 0))),
        row("run: complete with no shots", Shot, IMPOSSIBLE, insert(1, ended(RunEnd::Complete, 0, 0))),
        row("run: complete after one shot", Shot, IMPOSSIBLE, insert(3, ended(RunEnd::Complete, 1, 4))),
        row("run: ended with 65535 shots", Shot, IMPOSSIBLE, insert(3, ended(RunEnd::Complete, u16::MAX, 4))),
        row(
            "run: four billion closures",
            Shot,
            "relays closed in the run",
            stream(|mut answers| {
                if let Some(FromBench::Ended { closures, .. }) =
                    answers.last_mut().map(|answer| &mut answer.body)
                {
                    *closures = u32::MAX;
                }
                say(answers)
            }),
        ),
        row("run: stopped by somebody else", Shot, "stopped by another program on the same port", {
            insert(3, ended(RunEnd::Stopped, 1, 4))
        }),
        row(
            "run: a greeting",
            Shot,
            IMPOSSIBLE,
            stream(|mut answers| {
                let who = Identity {
                    protocol: PROTOCOL,
                    firmware: (0, 0, 0),
                    serial: [0; 8],
                    force_channels: 1,
                    sense_channels: 1,
                    plan_capacity: 1,
                };
                answers.insert(CODES, Packet { seq: answers[DONE].seq, body: FromBench::Hello(who) });
                say(answers)
            }),
        ),
        row("run: a status under its own number", Shot, IMPOSSIBLE, insert(2, status())),
        row("run: an echo", Shot, IMPOSSIBLE, insert(2, FromBench::Echo { bytes: Default::default() })),
        row("run: \"done\" twice", Shot, IMPOSSIBLE, insert(1, FromBench::Done)),
        row("run: unplugged at the start", Shot, "unplugged", after(1, |_| vec![Do::Unplug])),
        row(
            "run: unplugged in a shot",
            Shot,
            "unplugged",
            after(2, |_| vec![Do::Pause(CHATTER), Do::Unplug]),
        ),
        row(
            "run: unplugged before the end",
            Shot,
            "unplugged",
            stream(|mut answers| {
                answers.pop();
                [say(answers), vec![Do::Pause(CHATTER), Do::Unplug]].concat()
            }),
        ),
        row("run: a pause without end", Shot, SILENT, after(1, |_| vec![Do::Pause(FOR_EVER)])),
    ];
    for refusal in refusals() {
        let name = format!("run: refused in the middle, {refusal:?}");
        rows.push(row(name, Shot, IMPOSSIBLE, insert(2, FromBench::Refused(refusal))));
    }
    rows
}

/// The board everything is tried on: the shortest there is, so that deadlines are short.
struct Bed {
    folder: TempDir,
    fixture: Fixture,
    plan: Vec<Shot>,
}

impl Bed {
    fn new() -> Self {
        let (board, text) = ladder_text(2);
        Self::of(&board, &text)
    }

    /// The same board with a switch position to ask for.
    fn attended() -> Self {
        let (board, text) = ladder_text(2);
        Self::of(&board.replace("[points]", "[states]\non = \"Turn it on\"\n[points]"), &text)
    }

    fn of(board: &str, text: &str) -> Self {
        let folder = tempfile::tempdir().expect("a temporary folder");
        fs::write(folder.path().join("board.toml"), board).expect("written");
        fs::write(folder.path().join("fixture.toml"), text).expect("written");
        let fixture = fixture::read(&folder.path().join("fixture.toml")).expect("a sound fixture");
        let stages = plan::compile(&fixture, &LimitSet::of_board(&fixture.board), Sampling::Quick)
            .expect("a plan")
            .stages;
        let legs = stages.iter().flat_map(|stage| &stage.legs);
        let plan = legs.flat_map(|leg| &leg.shots).map(|planned| planned.shot).collect();
        Self { folder, fixture, plan }
    }

    fn stated(&self, stated: Stated) -> Duration {
        match stated {
            Stated::Answer => deadline::ANSWER,
            Stated::Start => deadline::start(self.plan.len() as u16),
            Stated::Shot => deadline::shot(&mut { Before::OPEN }, &self.plan[0]),
            Stated::Run => deadline::run(&self.plan),
        }
    }

    fn sweep(&self, port: &Path, records: &Path) -> Command {
        let mut command = program(records);
        let fixture: PathBuf = self.folder.path().join("fixture.toml");
        command.arg("sweep").arg(fixture).args(["--serial", "U-1", "--port"]).arg(port);
        command
    }
}

fn program(records: &Path) -> Command {
    let mut command = Command::new(program::program());
    command.arg("--records").arg(records).stdin(Stdio::null()).stdout(Stdio::piped()).stderr(Stdio::piped());
    command
}

/// How the program fared against one peer.
struct Outcome {
    status: Option<i32>,
    said: String,
    took: Duration,
    /// Most memory it ever had resident, KiB.
    peak_kib: u64,
    /// Sweeps on record afterwards.
    recorded: usize,
}

/// Sweeps against a peer, for at most so long.
fn fare(bed: &Bed, script: Script, patience: Duration) -> Outcome {
    fare_with(bed, script, patience, |_| {})
}

/// The same, doing something to the program once it has started.
fn fare_with(bed: &Bed, script: Script, patience: Duration, act: impl FnOnce(u32)) -> Outcome {
    let peer = Peer::start(&bed.fixture, script);
    let folder = tempfile::tempdir().expect("a temporary folder");
    let records = folder.path().join("records.sqlite");
    let began = Instant::now();
    let mut child = bed.sweep(&peer.port(), &records).spawn().expect("the program starts");
    act(child.id());
    let mut peak_kib = 0;
    let status = loop {
        peak_kib = peak_kib.max(peak(child.id()));
        match child.try_wait().expect("our child") {
            Some(status) => break status.code(),
            None if began.elapsed() > patience => {
                child.kill().expect("our child");
                child.wait().expect("our child");
                break None;
            }
            None => thread::sleep(Duration::from_millis(5)),
        }
    };
    let took = began.elapsed();
    let mut said = String::new();
    for pipe in [child.stdout.take().map(read), child.stderr.take().map(read)] {
        said += &pipe.unwrap_or_default();
    }
    let history = program(&records).args(["unit", "U-1", "--json"]).output().expect("the program starts");
    let history: serde_json::Value = serde_json::from_slice(&history.stdout).unwrap_or_default();
    let events = history["events"].as_array().cloned().unwrap_or_default();
    let recorded = events.iter().filter(|event| event["event"] == "sweep").count();
    Outcome { status, said, took, peak_kib, recorded }
}

fn read(mut pipe: impl Read) -> String {
    let mut text = String::new();
    pipe.read_to_string(&mut text).expect("UTF-8");
    text
}

/// Most memory a process ever had resident, KiB; 0 once it is gone.
fn peak(process: u32) -> u64 {
    let status = fs::read_to_string(format!("/proc/{process}/status")).unwrap_or_default();
    let line = status.lines().find_map(|line| line.strip_prefix("VmHWM:"));
    line.and_then(|line| line.split_whitespace().next()?.parse().ok()).unwrap_or(0)
}

/// What is wrong with how a row ended, if something is.
fn complaint(row: &Row, outcome: &Outcome, allowed: Duration) -> Option<String> {
    let Outcome { status, said, took, peak_kib, recorded } = outcome;
    let plain = !said.contains("panicked") && !said.contains('{') && said.lines().count() <= 4;
    let faults = [
        (*took > allowed, format!("took {took:.1?}, allowed are {allowed:.1?}")),
        (*status != Some(row.status), format!("exit status {status:?}, not {}", row.status)),
        (!said.contains(row.words), format!("does not say \"{}\"", row.words)),
        (!plain, "does not say it plainly".into()),
        (*peak_kib > MEMORY_KIB, format!("{peak_kib} KiB")),
        (*recorded > 0, format!("{recorded} sweeps recorded")),
    ];
    let wrong: Vec<_> = faults.into_iter().filter_map(|(is, what)| is.then_some(what)).collect();
    (!wrong.is_empty()).then(|| format!("{}: {}\n    {said}", row.name, wrong.join("; ")))
}

/// What a machine that is busy with something else may add: to start the program, to open the records.
const BUSY: Duration = Duration::from_secs(5);

/// The rig itself: an honest peer is swept, passed and recorded.
#[test]
fn an_honest_peer_is_swept_and_recorded() {
    let bed = Bed::new();
    let outcome = fare(&bed, Box::new(|_, answers| say(answers)), Duration::from_secs(60));
    assert_eq!((outcome.status, outcome.recorded), (Some(0), 1), "{}", outcome.said);
    println!("honest: {:.2?}, {} KiB at most", outcome.took, outcome.peak_kib);
}

#[test]
fn no_peer_hangs_the_program_or_gets_anything_recorded() {
    let bed = Bed::new();
    let rows: Vec<Row> = [greeting(), loading(), running()].into_iter().flatten().collect();
    assert!(rows.len() >= 40, "{}", rows.len());
    let count = rows.len();
    let rows: Vec<_> = rows.into_iter().map(|row| Mutex::new(Some(row))).collect();
    let (next, results) = (AtomicUsize::new(0), Mutex::new(Vec::new()));
    let began = Instant::now();
    thread::scope(|scope| {
        for _ in 0..AT_ONCE {
            scope.spawn(|| {
                while let Some(cell) = rows.get(next.fetch_add(1, Ordering::Relaxed)) {
                    let mut row = cell.lock().expect("no panics").take().expect("each row once");
                    let stated = bed.stated(row.stated);
                    let script = std::mem::replace(&mut row.script, Box::new(|_, _| vec![]));
                    let outcome = fare(&bed, script, 4 * stated + BUSY);
                    let wrong = complaint(&row, &outcome, 2 * stated + BUSY);
                    results.lock().expect("no panics").push((row.name, stated, outcome, wrong));
                }
            });
        }
    });
    let mut results = results.into_inner().expect("no panics");
    results.sort_by(|one, other| one.0.cmp(&other.0));
    println!("{:<55} {:>9} {:>8} {:>10} {:>6}", "peer", "stated s", "took s", "peak KiB", "status");
    for (name, stated, Outcome { took, peak_kib, status, .. }, _) in &results {
        let status = status.map_or_else(|| "none".into(), |status| status.to_string());
        let (stated, took) = (stated.as_secs_f64(), took.as_secs_f64());
        println!("{name:<55} {stated:>9.1} {took:>8.1} {peak_kib:>10} {status:>6}");
    }
    let wrong: Vec<_> = results.iter().filter_map(|(.., wrong)| wrong.clone()).collect();
    println!("{count} peers in {:.0?}, {} of them not as they should", began.elapsed(), wrong.len());
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

/// Ctrl-C while a plan runs: the controller is told, and its word that all is open is waited for and passed on.
#[test]
fn ctrl_c_stops_the_run_and_records_nothing() {
    let bed = Bed::new();
    for (confirms, words) in [
        (true, "cancelled; the controller confirms that every relay is open; nothing was recorded"),
        (
            false,
            "cancelled; the controller did not confirm that its relays are open: unplug it; nothing was recorded",
        ),
    ] {
        let (running, started) = std::sync::mpsc::channel();
        let mut number = 0;
        let script: Script = Box::new(move |packet, mut answers| match packet.body {
            ToBench::Run => {
                number = packet.seq;
                answers.truncate(1);
                let _ = running.send(());
                say(answers)
            }
            ToBench::Stop if confirms => {
                let end = Packet { seq: number, body: ended(RunEnd::Stopped, 0, 0) };
                [say(answers), vec![Do::Say(end)]].concat()
            }
            _ => say(answers),
        });
        let interrupt = |process: u32| {
            started.recv_timeout(Duration::from_secs(60)).expect("a run");
            let kill = Command::new("kill").args(["-INT", &process.to_string()]).status();
            assert!(kill.expect("kill").success());
        };
        let outcome = fare_with(&bed, script, Duration::from_secs(60), interrupt);
        assert_eq!((outcome.status, outcome.recorded), (Some(CANCELLED), 0), "{}", outcome.said);
        assert!(outcome.said.contains(words), "{}", outcome.said);
    }
}

/// Ctrl-C at every stage of a sweep over a line: while the controller is greeted, while the plan is loaded, before the run
/// is acknowledged, and after its last shot but before its end. The controller says nothing more from there on.
#[test]
fn ctrl_c_at_every_stage_ends_the_sweep_and_records_nothing() {
    let bed = Bed::new();
    for (stage, reached) in
        [("greeting", hello as fn(&ToBench) -> bool), ("loading", shot), ("starting", run)]
    {
        let outcome = interrupted(&bed, reached, |_| vec![]);
        assert_eq!((outcome.status, outcome.recorded), (Some(CANCELLED), 0), "{stage}: {}", outcome.said);
        assert!(outcome.said.contains("nothing was recorded"), "{stage}: {}", outcome.said);
    }
    let before_the_end = |mut answers: Answers| {
        answers.pop();
        say(answers)
    };
    let outcome = interrupted(&bed, run, before_the_end);
    assert_eq!((outcome.status, outcome.recorded), (Some(CANCELLED), 0), "{}", outcome.said);
}

/// Sweeps against a peer that answers like an honest one until a message comes, then as `last` says and never again;
/// presses Ctrl-C at that message.
fn interrupted(
    bed: &Bed,
    reached: fn(&ToBench) -> bool,
    last: impl Fn(Answers) -> Vec<Do> + Send + 'static,
) -> Outcome {
    let (tell, told) = std::sync::mpsc::channel();
    let mut silent = false;
    let script: Script = Box::new(move |packet, answers| {
        if silent {
            return vec![];
        }
        silent = reached(&packet.body);
        if silent {
            let _ = tell.send(());
            return last(answers);
        }
        say(answers)
    });
    fare_with(bed, script, Duration::from_secs(60), |process| {
        told.recv_timeout(Duration::from_secs(60)).expect("the stage is reached");
        program::interrupt(process);
    })
}

#[test]
fn a_question_that_nobody_can_answer_is_told() {
    let bed = Bed::attended();
    let outcome = fare(&bed, Box::new(|_, answers| say(answers)), Duration::from_secs(60));
    assert_eq!((outcome.status, outcome.recorded), (Some(3), 0), "{}", outcome.said);
    assert!(
        outcome.said.contains("nobody answered \"Turn it on\"; a bench needs a person"),
        "{}",
        outcome.said
    );
}

#[test]
fn ctrl_c_withdraws_a_question() {
    let bed = Bed::attended();
    let peer = Peer::start(&bed.fixture, Box::new(|_, answers| say(answers)));
    let records = bed.folder.path().join("records.sqlite");
    let mut child = bed.sweep(&peer.port(), &records).stdin(Stdio::piped()).spawn().expect("it starts");
    let mut lines = BufReader::new(child.stderr.take().expect("piped")).lines();
    let question = lines.next().expect("a question").expect("UTF-8");
    assert_eq!(question, "Turn it on, close the lid, then press Enter");
    let kill = Command::new("kill").args(["-INT", &child.id().to_string()]).status();
    assert!(kill.expect("kill").success());
    let said: Vec<_> = lines.map(|line| line.expect("UTF-8")).collect();
    assert_eq!(child.wait().expect("our child").code(), Some(CANCELLED), "{said:?}");
    assert!(said.concat().contains("cancelled; nothing was recorded"), "{said:?}");
}
