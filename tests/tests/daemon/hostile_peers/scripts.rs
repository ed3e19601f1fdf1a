//! What a peer does, told as where it leaves the honest way and how.

use std::time::Duration;

use copperwalk_tests::peer::{Do, Script, frame};
use copperwalk_wire::{
    FromBench, PROTOCOL, Packet, ToBench,
    message::{Fault, Identity, Refusal, Rule, RunEnd, Status},
};

/// A peer that chatters says something 20 times a second.
pub(super) const CHATTER: Duration = Duration::from_millis(50);
/// As fast as the line takes it.
pub(super) const FLOOD: Duration = Duration::ZERO;
/// Beyond every deadline.
pub(super) const FOR_EVER: Duration = Duration::from_secs(3_600);

/// How long the program may take, by what it waits for.
#[derive(Clone, Copy, Debug)]
pub(super) enum Stated {
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
pub(super) struct Row {
    pub name: String,
    pub script: Script,
    pub stated: Stated,
    /// Exit status.
    pub status: i32,
    /// What the program says, in part.
    pub words: &'static str,
}

pub(super) type Answers = Vec<Packet<FromBench>>;

pub(super) fn row(name: impl Into<String>, stated: Stated, words: &'static str, script: Script) -> Row {
    Row { name: name.into(), script, stated, status: 3, words }
}

/// Honest, but for what it does when `is` so.
pub(super) fn when(
    is: impl Fn(&ToBench) -> bool + Send + 'static,
    mut act: impl FnMut(&Packet<ToBench>, Answers) -> Vec<Do> + Send + 'static,
) -> Script {
    Box::new(move |packet, answers| if is(&packet.body) { act(packet, answers) } else { say(answers) })
}

pub(super) fn say(answers: Answers) -> Vec<Do> {
    answers.into_iter().map(Do::Say).collect()
}

pub(super) fn hello(message: &ToBench) -> bool {
    matches!(message, ToBench::Hello { .. })
}

pub(super) fn load(message: &ToBench) -> bool {
    matches!(message, ToBench::Plan { .. })
}

pub(super) fn shot(message: &ToBench) -> bool {
    matches!(message, ToBench::Shot { index: 1, .. })
}

pub(super) fn run(message: &ToBench) -> bool {
    matches!(message, ToBench::Run)
}

/// Answers with something else, once, and is honest afterwards.
pub(super) fn instead(is: fn(&ToBench) -> bool, body: FromBench) -> Script {
    when(is, move |packet, _| vec![Do::Say(Packet { seq: packet.seq, body: body.clone() })])
}

/// Does something else instead of an answer.
pub(super) fn does(is: fn(&ToBench) -> bool, what: Vec<Do>) -> Script {
    when(is, move |_, _| what.clone())
}

/// Introduces itself as somebody else.
pub(super) fn identity(alter: fn(&mut Identity)) -> Script {
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
pub(super) fn stream(alter: impl Fn(Answers) -> Vec<Do> + Send + 'static) -> Script {
    when(run, move |_, answers| alter(answers))
}

/// An honest stream up to its answer `count`, then this.
pub(super) fn after(count: usize, what: impl Fn(u16) -> Vec<Do> + Send + 'static) -> Script {
    stream(move |mut answers| {
        let seq = answers[0].seq;
        answers.truncate(count);
        [say(answers), what(seq)].concat()
    })
}

/// An honest stream up to its answer `count`, then this message under the run's number, then the rest.
pub(super) fn insert(count: usize, body: FromBench) -> Script {
    stream(move |mut answers| {
        let seq = answers[0].seq;
        answers.insert(count, Packet { seq, body: body.clone() });
        say(answers)
    })
}

/// Alters one message of an honest stream.
pub(super) fn altered(index: usize, alter: fn(&mut FromBench)) -> Script {
    stream(move |mut answers| {
        alter(&mut answers[index].body);
        say(answers)
    })
}

/// The first answers of every stream: `Done`, the codes of the residual check, its end, then codes of the next shot.
pub(super) const DONE: usize = 0;
pub(super) const CODES: usize = 1;
pub(super) const END_OF_SHOT: usize = 2;

pub(super) fn foreign(body: FromBench) -> Vec<u8> {
    frame(&Packet { seq: 40_000, body })
}

pub(super) fn status() -> FromBench {
    FromBench::Status(Status { running: true, lid_open: false, fault: None, watchdog_reset: false })
}

pub(super) fn codes(shot: u16, first: u16, count: usize) -> FromBench {
    FromBench::Codes { shot, first, codes: std::iter::repeat_n(1, count).collect() }
}

pub(super) fn ended(why: RunEnd, shots: u16, closures: u32) -> FromBench {
    FromBench::Ended { why, shots, closures, device_us: 1_000_000 }
}

/// Every refusal there is.
pub(super) fn refusals() -> Vec<Refusal> {
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
