//! The host's half of the protocol: greet, load a plan, run it, collect the codes.
//!
//! Between the first and the last shot nothing is asked and nothing is answered: the plan lies in the controller and
//! the codes stream back. Lost or doubled frames show in the counters and make the run invalid.

use std::time::Duration;

use copperwalk_wire::{
    FromBench, PROTOCOL, Shot, ToBench,
    message::{Identity, Refusal, RunEnd, ShotEnd, Status},
};

use super::{Link, LinkError};

/// An answer takes milliseconds; this long means that nobody is there.
const ANSWER: Duration = Duration::from_secs(1);
/// The longest a healthy run is silent: one bleed shot of ten seconds.
const STREAM: Duration = Duration::from_secs(12);

/// What a run gave.
#[derive(Clone, PartialEq, Debug)]
pub struct RunReport {
    /// The shots that were run, in order.
    pub shots: Vec<RanShot>,
    /// Why it ended.
    pub end: RunEnd,
    /// Relays closed.
    pub closures: u32,
    /// Device time, µs.
    pub device_us: u32,
}

/// One shot that was run.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct RanShot {
    /// Raw codes.
    pub codes: Vec<i32>,
    /// Why its sampling stopped.
    pub why: ShotEnd,
    /// Device time at its start and end since the run began, µs.
    pub span_us: (u32, u32),
}

/// Why no run could be had.
#[derive(Debug, thiserror::Error)]
pub enum ClientError {
    /// The line.
    #[error(transparent)]
    Link(#[from] LinkError),
    /// The two ends speak different versions.
    #[error(
        "the controller speaks protocol {theirs}, this program {PROTOCOL}: {}",
        if *theirs < PROTOCOL { "flash the firmware that came with this program" } else { "update this program" }
    )]
    Version {
        /// The controller's version.
        theirs: u16,
    },
    /// The controller said no.
    #[error("the controller refused: {}", refusal_words(.0))]
    Refused(Refusal),
    /// An answer that fits no question.
    #[error("the controller answered out of turn ({0}); frames were lost or mixed up on the line")]
    OutOfTurn(&'static str),
}

/// A refusal in words.
fn refusal_words(refusal: &Refusal) -> String {
    match refusal {
        Refusal::Protocol { mine } => format!("it speaks protocol {mine}"),
        Refusal::NoHello => "it was restarted and has not been greeted".into(),
        Refusal::Busy => "a plan is running".into(),
        Refusal::PlanTooLong { capacity } => format!("it holds {capacity} shots at most"),
        Refusal::ShotMissing { expected } => format!("shot {expected} of the plan did not arrive"),
        Refusal::Rule { index, rule } => format!("shot {index} breaks its safety rule {rule:?}"),
        Refusal::LidOpen => "the lid is open; close it".into(),
        Refusal::Broken(fault) => format!("it found itself broken ({fault:?})"),
    }
}

/// Says hello and returns who answers. Anything running there stops.
pub fn greet(link: &mut dyn Link) -> Result<Identity, ClientError> {
    let seq = link.send(ToBench::Hello { protocol: PROTOCOL })?;
    match answer(link, seq)? {
        FromBench::Hello(identity) if identity.protocol == PROTOCOL => Ok(identity),
        FromBench::Hello(Identity { protocol, .. })
        | FromBench::Refused(Refusal::Protocol { mine: protocol }) => {
            Err(ClientError::Version { theirs: protocol })
        }
        FromBench::Refused(refusal) => Err(ClientError::Refused(refusal)),
        _ => Err(ClientError::OutOfTurn("no hello")),
    }
}

/// Asks how it stands.
pub fn status(link: &mut dyn Link) -> Result<Status, ClientError> {
    let seq = link.send(ToBench::Status)?;
    match answer(link, seq)? {
        FromBench::Status(status) => Ok(status),
        FromBench::Refused(refusal) => Err(ClientError::Refused(refusal)),
        _ => Err(ClientError::OutOfTurn("no status")),
    }
}

/// Loads `shots` and runs them to whatever end.
pub fn run(link: &mut dyn Link, shots: &[Shot]) -> Result<RunReport, ClientError> {
    let count = u16::try_from(shots.len())
        .map_err(|_| ClientError::Refused(Refusal::PlanTooLong { capacity: u16::MAX }))?;
    let seq = link.send(ToBench::Plan { shots: count })?;
    expect_done(answer(link, seq)?)?;
    for (index, shot) in (0..count).zip(shots) {
        link.send(ToBench::Shot { index, shot: *shot })?;
    }
    let seq = link.send(ToBench::Run)?;
    // A refused shot answers under its own number; whatever is refused before `Run` ends it.
    loop {
        let packet = link.receive(ANSWER)?;
        match packet.body {
            FromBench::Refused(refusal) => return Err(ClientError::Refused(refusal)),
            FromBench::Done if packet.seq == seq => break,
            _ => {}
        }
    }
    collect(link, seq)
}

fn collect(link: &mut dyn Link, seq: u16) -> Result<RunReport, ClientError> {
    let mut shots = Vec::new();
    let mut codes: Vec<i32> = Vec::new();
    loop {
        let packet = link.receive(STREAM)?;
        if packet.seq != seq {
            // Heartbeats are answered under their own numbers.
            continue;
        }
        match packet.body {
            FromBench::Codes { shot, first, codes: more } => {
                if usize::from(shot) != shots.len() || usize::from(first) != codes.len() {
                    return Err(ClientError::OutOfTurn("codes are missing"));
                }
                codes.extend_from_slice(&more);
            }
            FromBench::Shot { shot, codes: count, why, from_us, to_us } => {
                if usize::from(shot) != shots.len() || usize::from(count) != codes.len() {
                    return Err(ClientError::OutOfTurn("codes are missing at the end of a shot"));
                }
                shots.push(RanShot { codes: std::mem::take(&mut codes), why, span_us: (from_us, to_us) });
            }
            FromBench::Ended { why, shots: count, closures, device_us } => {
                if usize::from(count) != shots.len() {
                    return Err(ClientError::OutOfTurn("shots are missing at the end of the run"));
                }
                return Ok(RunReport { shots, end: why, closures, device_us });
            }
            FromBench::Refused(refusal) => return Err(ClientError::Refused(refusal)),
            _ => return Err(ClientError::OutOfTurn("a stray answer in the stream")),
        }
    }
}

fn expect_done(body: FromBench) -> Result<(), ClientError> {
    match body {
        FromBench::Done => Ok(()),
        FromBench::Refused(refusal) => Err(ClientError::Refused(refusal)),
        _ => Err(ClientError::OutOfTurn("no yes and no no")),
    }
}

/// The answer to request `seq`; older stragglers are passed over.
fn answer(link: &mut dyn Link, seq: u16) -> Result<FromBench, ClientError> {
    loop {
        let packet = link.receive(ANSWER)?;
        if packet.seq == seq {
            return Ok(packet.body);
        }
    }
}
