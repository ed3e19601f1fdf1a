//! Bytes that no honest host sends, and plans that no honest host makes, against the real firmware.
#![allow(clippy::expect_used, clippy::panic, reason = "a failed expectation is the message")]

use copperwalk::{
    link::{LinkError, Session},
    random::Rng,
    virtual_bench::Spec,
};
use copperwalk_tests::{
    boards::example,
    emulator::{
        bench::EmulatedBench,
        talk::{answer, ask, collect, start, walk},
        trace::{assert_cold_switching, dark_since},
    },
    frames::{below, frame},
};
use copperwalk_wire::{
    Contacts, FromBench, Gain, Input, MAX_FRAME, Method, PROTOCOL, Rate, Ratio, Shot, Source, ToBench,
    hardware::wait::HEARTBEAT_US,
    message::{ECHO_BYTES, Fault, Refusal, Rule, RunEnd},
};

fn bench() -> Session<EmulatedBench> {
    EmulatedBench::greeted(&example("tide-gauge-head"), &Spec::new(3))
}

fn shots() -> Vec<Shot> {
    walk(&example("tide-gauge-head"), 6)
}

fn bytes(rng: &mut Rng, count: usize) -> Vec<u8> {
    (0..count).map(|_| below(rng, 256) as u8).collect()
}

/// Garbage, torn, oversized and repeated frames between the honest ones of a run: each costs itself and nothing else.
#[test]
fn damaged_frames_do_not_disturb_a_run() {
    let mut bench = bench();
    let mut rng = Rng::new(1);
    let clean = {
        bench.greet().expect("an answer");
        bench.run(&shots()).expect("a run")
    };
    let seq = start(&mut bench, &shots());
    // The last word of an honest host was `Run`; the line may well repeat it.
    bench.transport_mut().send_raw(&frame(seq, ToBench::Run));
    for round in 0..10 {
        let status = frame(1_000 + round, ToBench::Status);
        bench.transport_mut().send_raw(&[&status[..status.len() / 2], &[0]].concat()); // torn
        bench.transport_mut().send_raw(&[&bytes(&mut rng, 70), &[0][..]].concat()); // garbage
        bench.transport_mut().send_raw(&[&vec![0x55; 3 * MAX_FRAME], &[0][..]].concat()); // oversized
        let mut altered = status.clone();
        altered[2] ^= 0x10;
        bench.transport_mut().send_raw(&altered); // one bit
        bench.transport_mut().send_raw(&[&[0, 0, 0], &*status].concat()); // an honest one again
        bench.transport_mut().pass(1_000);
    }
    let (gave, end) = collect(&mut bench, seq);
    assert_eq!(end, RunEnd::Complete);
    let counts = |codes: &[Vec<i32>]| codes.iter().map(Vec::len).collect::<Vec<_>>();
    let clean: Vec<_> = clean.shots.into_iter().map(|shot| shot.codes).collect();
    assert_eq!(counts(&gave.codes), counts(&clean));
    assert!(dark_since(bench.transport_mut().around.models.trace().events()).is_some());
    assert!(bench.transport().around.watchdog_resets.is_empty());
}

/// A host that has gone mad keeps no run alive: only whole messages count as a heartbeat.
#[test]
fn garbage_is_no_heartbeat() {
    let mut bench = bench();
    let mut rng = Rng::new(2);
    let mut plan = shots();
    for shot in &mut plan[1..] {
        let Method::Ratio(ratio) = &mut shot.method else { panic!("the walk measures ratios") };
        ratio.rate = Rate::Sps20;
    }
    let seq = start(&mut bench, &plan);
    let since = bench.transport().now_us();
    let until = since + u64::from(HEARTBEAT_US) + 100_000;
    while bench.transport().now_us() < until {
        bench.transport_mut().send_raw(&[&bytes(&mut rng, 40), &[0][..]].concat());
        bench.transport_mut().pass(5_000);
    }
    let dark = dark_since(bench.transport_mut().around.models.trace().events())
        .expect("a relay is driven, or current flows");
    assert!(dark <= until, "{dark} > {until}");
    assert_cold_switching(bench.transport_mut().around.models.trace().events());
    assert_eq!(collect(&mut bench, seq).1, RunEnd::Fault(Fault::Heartbeat));
}

/// Shots that come twice are passed over, shots out of order are asked for again, and nothing runs until all are there.
#[test]
fn a_plan_that_arrives_mixed_up_is_not_run() {
    let mut bench = bench();
    let shots = shots();
    let count = u16::try_from(shots.len()).expect("few");
    let load = |bench: &mut Session<EmulatedBench>, order: &[usize]| {
        bench.greet().expect("an answer");
        assert_eq!(ask(bench, ToBench::Plan { shots: count }), FromBench::Done);
        let send = |index: &usize| {
            let shot = ToBench::Shot { index: *index as u16, shot: shots[*index] };
            bench.say(shot).expect("the line is there")
        };
        order.iter().map(send).collect::<Vec<_>>()
    };
    // Twice each.
    let order: Vec<_> = (0..shots.len()).flat_map(|index| [index, index]).collect();
    load(&mut bench, &order);
    let seq = bench.say(ToBench::Run).expect("the line is there");
    assert_eq!(answer(&mut bench, seq).body, FromBench::Done);
    assert_eq!(collect(&mut bench, seq).1, RunEnd::Complete);
    bench.transport_mut().around.models.trace().keep(true);
    // Two swapped: the second is refused, once, and the whole is not run.
    let numbers = load(&mut bench, &[0, 2, 1, 3, 4, 5, 6]);
    assert_eq!(answer(&mut bench, numbers[1]).body, FromBench::Refused(Refusal::ShotMissing { expected: 1 }));
    // One lost.
    load(&mut bench, &[0, 1, 2, 3, 4, 5]);
    let refused = ask(&mut bench, ToBench::Run);
    assert_eq!(refused, FromBench::Refused(Refusal::ShotMissing { expected: 6 }));
    assert_eq!(bench.transport_mut().around.models.trace().events(), [], "nothing moved");
}

#[test]
fn a_plan_that_breaks_a_safety_rule_is_refused_by_the_firmware_itself() {
    let mut bench = bench();
    let shots = shots();
    let (residual, honest) = (shots[0], shots[1]);
    let Method::Ratio(plain) = honest.method else { panic!("the walk measures ratios") };
    let contacts = honest.contacts;
    let with = |contacts: Contacts| vec![residual, Shot { contacts, ..honest }];
    let ratio = |ratio: Ratio| vec![residual, Shot { method: Method::Ratio(ratio), ..honest }];
    let look = Method::Sample {
        input: Input::Sense,
        reversed: false,
        burnout: false,
        gain: Gain::X1,
        rate: Rate::Sps1000,
        count: 1,
    };
    let cases: [(&str, Vec<Shot>, u16, Rule); 10] = [
        ("force channel", with(Contacts { force_plus: Some(16), ..contacts }), 1, Rule::ChannelRange),
        ("sense channel", with(Contacts { sense_minus: Some(48), ..contacts }), 1, Rule::ChannelRange),
        (
            "supply shorted through its own relays",
            with(Contacts { force_minus: contacts.force_plus, ..contacts }),
            1,
            Rule::SameChannelTwice,
        ),
        ("current without a residual check", vec![honest], 0, Rule::ResidualFirst),
        (
            "a look with current before the check",
            vec![Shot { method: look, ..honest }, residual],
            0,
            Rule::ResidualFirst,
        ),
        ("a check under current", vec![Shot { source: Source::Load, ..residual }], 0, Rule::SourceForMethod),
        (
            "a bleed under current",
            { vec![residual, Shot { method: Method::Bleed { millis: 5 }, ..honest }] },
            1,
            Rule::SourceForMethod,
        ),
        (
            "current into one contact",
            with(Contacts { force_minus: None, ..contacts }),
            1,
            Rule::ContactMissing,
        ),
        ("no samples", ratio(Ratio { triples_min: 0, ..plain }), 1, Rule::Counts),
        ("a gate that is no number", ratio(Ratio { gate: Some(f32::NAN), ..plain }), 1, Rule::NotFinite),
    ];
    bench.greet().expect("an answer");
    for (name, plan, index, rule) in cases {
        match bench.run(&plan) {
            Err(LinkError::Refused(refusal)) => {
                assert_eq!(refusal, Refusal::Rule { index, rule }, "{name}")
            }
            other => panic!("{name}: {other:?}"),
        }
    }
    assert_eq!(
        dark_since(bench.transport_mut().around.models.trace().events()),
        Some(0),
        "no relay ever moved"
    );
    assert_eq!(bench.run(&shots).expect("an honest plan").end, RunEnd::Complete);
}

/// 10,000 frames: honest messages in any order with any content, torn, altered and made-up ones. The controller answers or
/// keeps quiet, its watchdog never resets it, no relay moves under current, and afterwards everything works.
#[test]
fn ten_thousand_random_frames() {
    let mut bench = bench();
    let mut rng = Rng::new(3);
    let shots = shots();
    for number in 0..10_000_u32 {
        let honest = frame(number as u16, message(&mut rng, &shots));
        let wire = match below(&mut rng, 10) {
            0 => [&bytes(&mut rng, 80), &[0][..]].concat(),
            1 => honest[..below(&mut rng, honest.len())].to_vec(), // torn: runs into the next one
            2 => {
                let mut altered = honest;
                let at = below(&mut rng, altered.len());
                altered[at] ^= 1 << below(&mut rng, 8);
                altered
            }
            _ => honest,
        };
        bench.transport_mut().send_raw(&wire);
        if number % 16 == 0 {
            bench.transport_mut().pass(below(&mut rng, 8_000) as u64);
        }
    }
    // Whatever is still in the buffers, and then silence.
    bench.transport_mut().pass(3_000_000);
    assert!(
        bench.transport().around.watchdog_resets.is_empty(),
        "the watchdog bit at {:?} µs",
        bench.transport().around.watchdog_resets
    );
    let events = bench.transport_mut().around.models.trace().events();
    let changes = assert_cold_switching(events);
    let dark = dark_since(events).expect("everything is open in the end");
    assert!(changes > 100, "only {changes} changes of relays: too tame a test");
    println!("{changes} changes of relays, dark since {dark} µs of {} µs", bench.transport().now_us());
    bench.greet().expect("an answer");
    assert_eq!(bench.run(&shots).expect("a run").end, RunEnd::Complete);
}

/// Any message, with a liking for sequences that get somewhere.
fn message(rng: &mut Rng, shots: &[Shot]) -> ToBench {
    let any = |rng: &mut Rng| below(rng, 65_536) as u16;
    match below(rng, 16) {
        0 => ToBench::Hello { protocol: if below(rng, 8) == 0 { any(rng) } else { PROTOCOL } },
        1 => ToBench::Stop,
        2 => ToBench::Plan { shots: any(rng) },
        3 | 4 => ToBench::Plan { shots: 1 + below(rng, 2) as u16 },
        5..=8 => {
            let index = below(rng, 2);
            ToBench::Shot { index: index as u16, shot: shots[index] }
        }
        9 => ToBench::Shot { index: any(rng), shot: strange(rng) },
        10 | 11 => ToBench::Run,
        12 => ToBench::Echo { bytes: bytes(rng, ECHO_BYTES).into_iter().collect() },
        _ => ToBench::Status,
    }
}

/// A shot with anything in it.
fn strange(rng: &mut Rng) -> Shot {
    let mut channel = || (below(rng, 4) > 0).then(|| below(rng, 1 << 16) as u16);
    let contacts = Contacts {
        force_plus: channel(),
        force_minus: channel(),
        sense_plus: channel(),
        sense_minus: channel(),
    };
    let sources = [Source::Off, Source::Dry, Source::Load, Source::Wide, Source::Isolation];
    let method = match below(rng, 3) {
        0 => Method::Residual,
        1 => Method::Bleed { millis: below(rng, 65_536) as u16 },
        _ => Method::Sample {
            input: Input::Temperature,
            reversed: below(rng, 2) == 0,
            burnout: below(rng, 2) == 0,
            gain: Gain::ALL[below(rng, 8)],
            rate: Rate::ALL[below(rng, 7)],
            count: below(rng, 256) as u8,
        },
    };
    Shot { contacts, source: sources[below(rng, 5)], method }
}
