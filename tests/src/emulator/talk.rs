//! Words with a controller, step by step, for tests that interfere in the middle. Whole runs are the host's own business.

use std::time::Duration;

use copperwalk::{
    fixture::Fixture,
    link::{Session, Transport},
};
use copperwalk_wire::{
    Contacts, FromBench, Gain, Method, Packet, Rate, Ratio, Shot, Source, ToBench, message::RunEnd,
};

/// Longer than any answer takes.
pub const PATIENCE: Duration = Duration::from_secs(5);

/// The answer to a request; whatever else is heard before is dropped.
///
/// # Panics
/// If there is none.
pub fn ask(session: &mut Session<impl Transport>, request: ToBench) -> FromBench {
    let seq = session.say(request).expect("the line is there");
    answer(session, seq).body
}

/// The next packet under a number.
///
/// # Panics
/// If there is none.
pub fn answer(session: &mut Session<impl Transport>, seq: u16) -> Packet<FromBench> {
    loop {
        let packet = session.hear(PATIENCE).expect("the line is there").expect("an answer");
        if packet.seq == seq {
            return packet;
        }
    }
}

/// Loads a plan and starts it, after a greeting. Returns the number under which it streams.
///
/// # Panics
/// If the controller does not take it.
pub fn start(session: &mut Session<impl Transport>, shots: &[Shot]) -> u16 {
    session.greet().expect("a controller of our version");
    let count = u16::try_from(shots.len()).expect("a plan that fits");
    assert_eq!(ask(session, ToBench::Plan { shots: count }), FromBench::Done);
    for (index, shot) in (0..).zip(shots) {
        session.say(ToBench::Shot { index, shot: *shot }).expect("the line is there");
    }
    let seq = session.say(ToBench::Run).expect("the line is there");
    assert_eq!(answer(session, seq).body, FromBench::Done);
    seq
}

/// What a run gave.
#[derive(Clone, PartialEq, Debug, Default)]
pub struct Gave {
    /// The codes of each shot.
    pub codes: Vec<Vec<i32>>,
    /// Device time of each shot, µs.
    pub lasted_us: Vec<u32>,
    /// Relays closed.
    pub closures: u32,
    /// Device time of the run, µs.
    pub device_us: u32,
}

/// Collects a run that was [`start`]ed, to its end.
///
/// # Panics
/// If the stream has gaps or stops.
pub fn collect(session: &mut Session<impl Transport>, seq: u16) -> (Gave, RunEnd) {
    let mut gave = Gave::default();
    let mut codes = Vec::new();
    loop {
        match answer(session, seq).body {
            FromBench::Codes { shot, first, codes: more } => {
                assert_eq!((usize::from(shot), usize::from(first)), (gave.codes.len(), codes.len()));
                codes.extend_from_slice(&more);
            }
            FromBench::Shot { shot, codes: count, from_us, to_us, .. } => {
                assert_eq!((usize::from(shot), usize::from(count)), (gave.codes.len(), codes.len()));
                gave.codes.push(std::mem::take(&mut codes));
                gave.lasted_us.push(to_us - from_us);
            }
            FromBench::Ended { why, shots, closures, device_us } => {
                assert_eq!(usize::from(shots), gave.codes.len());
                return (Gave { closures, device_us, ..gave }, why);
            }
            other => panic!("a stray answer in the stream: {other:?}"),
        }
    }
}

/// A plain plan for a fixture: the residual check over its supply, then each of its first `segments` segments whose points
/// have sense pins, dry and under load in turn, with the supply's ends forced.
///
/// # Panics
/// If the fixture cannot force its supply.
pub fn walk(fixture: &Fixture, segments: usize) -> Vec<Shot> {
    let board = &fixture.board;
    let supply = fixture.pins(board.supply.from);
    let back = fixture.pins(board.supply.ret);
    let load = fixture.pins(board.supply.to[0]);
    let residual = Contacts {
        force_plus: supply.force,
        force_minus: back.force,
        sense_plus: supply.sense,
        sense_minus: back.sense,
    };
    let residual = Shot { contacts: residual, source: Source::Off, method: Method::Residual };
    let ratio = |(index, (plus, minus)): (usize, (u16, u16))| Shot {
        contacts: Contacts {
            force_plus: supply.force,
            force_minus: load.force,
            sense_plus: Some(plus),
            sense_minus: Some(minus),
        },
        source: if index % 2 == 0 { Source::Dry } else { Source::Load },
        method: Method::Ratio(Ratio {
            gain_a: Gain::X8,
            gain_b: if index % 2 == 0 { Gain::X32 } else { Gain::X2 },
            rate: Rate::Sps1000,
            contact_check: true,
            ends: false,
            triples_min: 1,
            wait_us: 0,
            triples_max: 2,
            stop: None,
            gate: None,
        }),
    };
    let senses = board
        .segments
        .iter()
        .filter_map(|segment| Some((fixture.pins(segment.from).sense?, fixture.pins(segment.to).sense?)));
    let shots = std::iter::once(residual).chain(senses.take(segments).enumerate().map(ratio)).collect();
    assert!(supply.force.is_some() && back.force.is_some() && load.force.is_some(), "{}", fixture.name);
    shots
}
