//! What is answered, and what is refused.

use copperwalk_core::Instant;
use copperwalk_wire::{
    FrameReader, FromBench, Input, PROTOCOL, Packet, Source, ToBench,
    hardware::PLAN_CAPACITY,
    message::{Fault, Identity, Refusal, Rule, RunEnd, Status},
};

use crate::{
    fake::Setup,
    shots::{ENDS, RATIO, RESIDUAL, contacts, ratio, sample},
};

fn refused(refusal: Refusal) -> Option<FromBench> {
    Some(FromBench::Refused(refusal))
}

#[test]
fn before_the_handshake_only_the_line_can_be_tested() {
    let mut setup = Setup::new();
    for early in [
        ToBench::Status,
        ToBench::Plan { shots: 1 },
        ToBench::Shot { index: 0, shot: RESIDUAL },
        ToBench::Run,
        ToBench::Stop,
    ] {
        assert_eq!(setup.ask(early), refused(Refusal::NoHello));
    }
    let bytes = heapless::Vec::from([0, 255, 0, 7]);
    assert_eq!(setup.ask(ToBench::Echo { bytes: bytes.clone() }), Some(FromBench::Echo { bytes }));
}

#[test]
fn the_handshake_names_the_controller_and_refuses_other_versions() {
    let mut setup = Setup::new();
    for protocol in [0, PROTOCOL - 1, PROTOCOL + 1, u16::MAX] {
        assert_eq!(setup.ask(ToBench::Hello { protocol }), refused(Refusal::Protocol { mine: PROTOCOL }));
        assert_eq!(setup.ask(ToBench::Status), refused(Refusal::NoHello));
    }
    let identity = Identity {
        protocol: PROTOCOL,
        firmware: (1, 2, 3),
        serial: *b"12345678",
        force_channels: 4,
        sense_channels: 12,
        plan_capacity: PLAN_CAPACITY,
    };
    assert_eq!(setup.ask(ToBench::Hello { protocol: PROTOCOL }), Some(FromBench::Hello(identity)));
}

#[test]
fn a_watchdog_restart_is_told_to_the_first_host_only() {
    let mut setup = Setup::greeted();
    let status = |watchdog_reset| {
        Some(FromBench::Status(Status { running: false, lid_open: false, fault: None, watchdog_reset }))
    };
    assert_eq!(setup.ask(ToBench::Status), status(true));
    setup.ask(ToBench::Hello { protocol: PROTOCOL });
    assert_eq!(setup.ask(ToBench::Status), status(false));
}

#[test]
fn a_plan_must_fit_be_whole_and_keep_the_rules() {
    let mut setup = Setup::greeted();
    let too_long = Refusal::PlanTooLong { capacity: PLAN_CAPACITY };
    assert_eq!(setup.ask(ToBench::Plan { shots: PLAN_CAPACITY + 1 }), refused(too_long));
    assert_eq!(setup.ask(ToBench::Run), refused(Refusal::ShotMissing { expected: 0 }));

    assert_eq!(setup.ask(ToBench::Plan { shots: 3 }), Some(FromBench::Done));
    assert_eq!(setup.ask(ToBench::Shot { index: 0, shot: RESIDUAL }), None);
    let excited = ratio(ENDS, Source::Load, RATIO);
    // One was lost; the refusal is said once, and the missing one may still come.
    assert_eq!(
        setup.ask(ToBench::Shot { index: 2, shot: excited }),
        refused(Refusal::ShotMissing { expected: 1 })
    );
    assert_eq!(setup.ask(ToBench::Shot { index: 2, shot: excited }), None);
    assert_eq!(setup.ask(ToBench::Run), refused(Refusal::ShotMissing { expected: 1 }));
    assert_eq!(setup.ask(ToBench::Shot { index: 1, shot: excited }), None);
    // An echo of the line is no harm, another shot in its place is.
    assert_eq!(setup.ask(ToBench::Shot { index: 0, shot: RESIDUAL }), None);
    assert_eq!(
        setup.ask(ToBench::Shot { index: 0, shot: excited }),
        refused(Refusal::ShotMissing { expected: 2 })
    );
    let bad = sample(contacts(9, 3, 0, 1), Source::Off, Input::Sense, 1);
    assert_eq!(
        setup.ask(ToBench::Shot { index: 2, shot: bad }),
        refused(Refusal::Rule { index: 2, rule: Rule::ChannelRange })
    );
    // Those already on their way behind it are not complained of one by one.
    assert_eq!(setup.ask(ToBench::Shot { index: 3, shot: excited }), None);
    assert_eq!(setup.ask(ToBench::Shot { index: 2, shot: RESIDUAL }), None);
    // More than announced.
    assert_eq!(
        setup.ask(ToBench::Shot { index: 3, shot: RESIDUAL }),
        refused(Refusal::ShotMissing { expected: 3 })
    );
    assert_eq!(setup.ask(ToBench::Run), Some(FromBench::Done));
}

#[test]
fn excitation_before_a_residual_check_is_refused_whatever_the_host_says() {
    let mut setup = Setup::greeted();
    setup.load(&[sample(ENDS, Source::Off, Input::Sense, 1), ratio(ENDS, Source::Dry, RATIO), RESIDUAL]);
    assert_eq!(setup.ask(ToBench::Run), refused(Refusal::Rule { index: 1, rule: Rule::ResidualFirst }));
    assert!(setup.world.borrow().relay_log.is_empty());
}

#[test]
fn while_a_plan_runs_it_cannot_be_changed() {
    let mut setup = Setup::greeted();
    setup.load(&[sample(ENDS, Source::Off, Input::Sense, 100)]);
    let run = setup.say(ToBench::Run);
    setup.pass(5_000);
    assert!(!setup.world.borrow().closed().is_empty());
    assert_eq!(setup.ask(ToBench::Plan { shots: 1 }), refused(Refusal::Busy));
    assert_eq!(setup.ask(ToBench::Shot { index: 0, shot: RESIDUAL }), refused(Refusal::Busy));
    assert_eq!(setup.ask(ToBench::Run), refused(Refusal::Busy));
    let Some(FromBench::Status(status)) = setup.ask(ToBench::Status) else { panic!("no status") };
    assert!(status.running);
    // An echo of the `Run` itself is passed over, now and after the run.
    let answers = setup.heard.len();
    setup.say_as(run, ToBench::Run);
    setup.finish();
    setup.say_as(run, ToBench::Run);
    setup.pass(10_000);
    assert!(setup.world.borrow().safe());
    let under_run = setup.heard[answers..].iter().filter(|packet| packet.seq == run);
    assert!(under_run.clone().all(|packet| {
        matches!(packet.body, FromBench::Codes { .. } | FromBench::Shot { .. } | FromBench::Ended { .. })
    }));
    assert_eq!(under_run.filter(|packet| matches!(packet.body, FromBench::Ended { .. })).count(), 1);
}

#[test]
fn nothing_starts_under_an_open_lid_or_with_a_broken_bench() {
    let mut setup = Setup::greeted();
    setup.load(&[RESIDUAL]);
    setup.world.borrow_mut().faults.lid_open = true;
    assert_eq!(setup.ask(ToBench::Run), refused(Refusal::LidOpen));
    setup.world.borrow_mut().faults.lid_open = false;

    setup.world.borrow_mut().faults.adc_bus = true;
    assert_eq!(setup.ask(ToBench::Run), refused(Refusal::Broken(Fault::AdcRegisters)));
    let Some(FromBench::Status(status)) = setup.ask(ToBench::Status) else { panic!("no status") };
    assert_eq!(status.fault, Some(Fault::AdcRegisters));
    setup.world.borrow_mut().faults.adc_bus = false;

    setup.world.borrow_mut().faults.matrix_bus = true;
    assert_eq!(setup.ask(ToBench::Run), refused(Refusal::Broken(Fault::Matrix)));
    setup.world.borrow_mut().faults.matrix_bus = false;
    // Mended, though the converter has lost its registers meanwhile: it runs.
    setup.world.borrow_mut().faults.adc_reset = true;
    assert_eq!(setup.ask(ToBench::Run), Some(FromBench::Done));
    assert!(matches!(setup.finish(), FromBench::Ended { why: RunEnd::Complete, .. }));
}

#[test]
fn a_second_host_finds_a_free_controller() {
    let mut setup = Setup::greeted();
    setup.load(&[sample(ENDS, Source::Off, Input::Sense, 100)]);
    let run = setup.say(ToBench::Run);
    setup.pass(5_000);
    setup.world.borrow_mut().strict = false;
    setup.heard.clear();
    let answer = setup.ask(ToBench::Hello { protocol: PROTOCOL });
    assert!(matches!(answer, Some(FromBench::Hello(_))));
    assert!(setup.world.borrow().safe());
    let ended = &setup.heard[setup.heard.len() - 2];
    assert_eq!(ended.seq, run);
    assert!(matches!(ended.body, FromBench::Ended { why: RunEnd::Stopped, shots: 0, .. }));
    setup.world.borrow_mut().strict = true;
    // The old plan is gone, and a new one runs at once.
    assert_eq!(setup.ask(ToBench::Run), refused(Refusal::ShotMissing { expected: 0 }));
    setup.heard.clear();
    let other = sample(contacts(1, 2, 3, 4), Source::Off, Input::Sense, 1);
    assert!(matches!(setup.run(&[other]), FromBench::Ended { why: RunEnd::Complete, .. }));
}

#[test]
fn a_host_that_asks_without_reading_is_held_back_and_loses_nothing() {
    let mut setup = Setup::greeted();
    setup.reads = false;
    let mut asked = 0;
    while setup.controller.can_receive() {
        setup.say(ToBench::Echo { bytes: [asked; 60].into() });
        asked += 1;
    }
    setup.reads = true;
    setup.pass(1);
    assert!(asked > 20, "{asked}");
    assert_eq!(setup.heard.len(), usize::from(asked));
}

#[test]
fn after_a_torn_line_the_next_host_starts_on_a_clean_frame() {
    let mut setup = Setup::greeted();
    setup.reads = false;
    for _ in 0..10 {
        setup.say(ToBench::Echo { bytes: [7; 100].into() });
    }
    // The cable goes in the middle of a frame each way.
    setup.controller.sent(50);
    setup.say_bytes(&[5, 1, 2]);
    let now = setup.now();
    setup.controller.hang_up(Instant(now));
    setup.reads = true;
    let answer = setup.say(ToBench::Hello { protocol: PROTOCOL });
    let bytes = setup.controller.outgoing().to_vec();
    let mut reader = FrameReader::new();
    let frames: Vec<_> = bytes.iter().filter_map(|byte| reader.push::<Packet<FromBench>>(*byte)).collect();
    let [Ok(packet)] = &frames[..] else { panic!("{frames:?}") };
    assert_eq!(packet.seq, answer);
    assert!(matches!(packet.body, FromBench::Hello(_)));
}
