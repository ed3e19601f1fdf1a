//! Whole runs: order of codes, waits, closures, and the reasons for their end.

use copperwalk_core::Instant;
use copperwalk_wire::{
    Contacts, FromBench, Gain, Input, Method, Ratio, Settle, Shot, Source, Stop, ToBench,
    hardware::{BIAS_VOLTS, wait},
    message::{Fault, RunEnd, ShotEnd},
};

use crate::{
    fake::{Setup, code},
    shots::{ENDS, RATIO, RESIDUAL, SETTLE, STOP, contacts, ratio, sample, watch},
};

fn why(ended: FromBench) -> RunEnd {
    let FromBench::Ended { why, .. } = ended else { panic!("{ended:?}") };
    why
}

fn shot_end(setup: &Setup, wanted: u16) -> Option<(u16, ShotEnd)> {
    setup.heard.iter().find_map(|packet| match packet.body {
        FromBench::Shot { shot, codes, why, .. } if shot == wanted => Some((codes, why)),
        _ => None,
    })
}

#[test]
fn each_method_streams_its_codes_in_the_stated_order() {
    let mut setup = Setup::greeted();
    setup.world.borrow_mut().offset_a = 10;
    let plan = [
        RESIDUAL,
        sample(ENDS, Source::Dry, Input::Sense, 3),
        ratio(
            ENDS,
            Source::Load,
            Ratio { contact_check: true, ends: true, triples_max: 2, triples_min: 2, ..RATIO },
        ),
        Shot { contacts: ENDS, source: Source::Off, method: Method::Bleed { millis: 20 } },
        Shot { contacts: ENDS, source: Source::Isolation, method: Method::Settle(SETTLE) },
        watch(Source::Dry, 3),
    ];
    let FromBench::Ended { why, shots, closures, device_us } = setup.run(&plan) else { panic!() };
    assert_eq!((why, shots), (RunEnd::Complete, 6));
    // Four contacts once, and the bleed relay.
    assert_eq!(closures, 5);

    let (bias, alone) = (code(BIAS_VOLTS), code(BIAS_VOLTS + 1e-4));
    assert_eq!(setup.codes(0), [bias, alone, alone, 0]);
    assert_eq!(setup.codes(1), [1_010, 1_010, 1_010]);
    // Proofs, ends, and six half-cycles of A and B, alternating without a break.
    let forward = [1_010, 100_000];
    let reversed = [-990, -100_000];
    let halves = [forward, reversed, forward, reversed, forward, reversed].concat();
    assert_eq!(setup.codes(2), [vec![alone, alone, 42, 42], halves].concat());
    assert!(setup.codes(3).is_empty());
    // Proofs, zeros, two windows of three pairs: the current stands still.
    let pairs = [1_010, 100_000].repeat(6);
    assert_eq!(setup.codes(4), [vec![alone, alone, 3, 3, 3, 3], pairs].concat());
    assert_eq!(shot_end(&setup, 2), Some((16, ShotEnd::Complete)));
    assert_eq!(shot_end(&setup, 4), Some((18, ShotEnd::Decided)));
    // One polarity, A and B in turn.
    assert_eq!(setup.codes(5), forward.repeat(3));
    assert_eq!(shot_end(&setup, 5), Some((6, ShotEnd::Complete)));

    // What the converter was told, by register: multiplexer and gain, burn-out, current source.
    let world = setup.world.borrow();
    let settings: Vec<_> = world
        .conversions
        .iter()
        .map(|[zero, one, two, three]| (zero >> 4, zero >> 1 & 7, one & 1, two & 7, three >> 5))
        .collect();
    assert_eq!(settings[..4], [(0xB, 0, 0, 0, 0), (8, 0, 1, 0, 0), (9, 0, 1, 0, 0), (0, 0, 0, 0, 0)]);
    assert_eq!(settings[4], (0, 0, 0, 6, 5), "dry: the ADC's own source");
    assert_eq!(
        settings[7..13],
        [
            (8, 0, 1, 0, 0),
            (9, 0, 1, 0, 0),
            (3, 4, 0, 0, 0),
            (1, 4, 0, 0, 0),
            (0, 7, 0, 0, 0),
            (5, 2, 0, 0, 0)
        ]
    );
    assert!(u64::from(device_us) < world.now);
}

#[test]
fn a_walk_costs_its_waits_and_conversions_and_little_more() {
    let mut setup = Setup::greeted();
    // Twelve segments, the sense pair leapfrogging: one new relay per segment.
    let mut plan = vec![Shot { contacts: contacts(0, 3, 0, 11), ..RESIDUAL }];
    for segment in 0..11_u16 {
        let (even, odd) = (segment.next_multiple_of(2), segment / 2 * 2 + 1);
        plan.push(ratio(contacts(0, 3, even, odd), Source::Load, Ratio { contact_check: true, ..RATIO }));
    }
    let FromBench::Ended { why, closures, device_us, .. } = setup.run(&plan) else { panic!() };
    assert_eq!(why, RunEnd::Complete);
    // 2 force, 2 sense ends; then 0–1 adds 1, 2–1 adds 2 …
    assert_eq!(closures, 4 + 11);
    let conversion = u64::from(copperwalk_wire::Rate::Sps1000.micros());
    let conversions = setup.world.borrow().conversions.len() as u64;
    assert_eq!(conversions, 4 + 11 * (2 + 6));
    let relays = u64::from(wait::OPERATE_US + wait::QUIET_US)
        + 11 * u64::from(wait::QUIET_US + wait::RELEASE_US + wait::OPERATE_US);
    // The contact check of each waits for what the moving relays left of the load current of the one before.
    let relays_us = wait::QUIET_US + wait::RELEASE_US + wait::OPERATE_US;
    let round = wait::LOAD_TURN_US + wait::TURN_US + wait::SETTLE_US;
    let settling =
        10 * u64::from(wait::LOAD_QUIET_US - relays_us) + 11 * u64::from(2 * wait::SETTLE_US + 2 * round);
    let needed = conversions * conversion + relays + settling;
    let spent = u64::from(device_us);
    println!("12-shot walk: {spent} µs spent, {needed} µs needed, {:.3}", spent as f64 / needed as f64);
    assert!(spent * 100 <= needed * 102, "{spent} of {needed}");
}

#[test]
fn unchanged_relays_are_not_touched_and_not_waited_for() {
    let mut setup = Setup::greeted();
    let quick = sample(ENDS, Source::Off, Input::Zero, 1);
    setup.run(&[quick, quick, quick, quick]);
    let world = setup.world.borrow();
    // Closed once, opened once.
    assert_eq!(world.relay_log.len(), 2);
    assert_eq!(world.relay_log[0].1, [0, 7, 8, 8 + 2 * 11 + 1]);
}

#[test]
fn break_comes_before_make_and_shared_contacts_stay() {
    let mut setup = Setup::greeted();
    let plan = [
        sample(contacts(0, 3, 0, 1), Source::Off, Input::Zero, 1),
        sample(contacts(0, 3, 2, 1), Source::Off, Input::Zero, 1),
        sample(Contacts { sense_plus: None, ..contacts(0, 3, 2, 1) }, Source::Off, Input::Zero, 1),
        sample(Contacts::default(), Source::Off, Input::Zero, 1),
    ];
    setup.run(&plan);
    let world = setup.world.borrow();
    let states: Vec<_> = world.relay_log.iter().map(|(_, closed)| closed.clone()).collect();
    let expected: [&[usize]; 5] = [&[0, 7, 8, 11], &[0, 7, 11], &[0, 7, 11, 12], &[0, 7, 11], &[]];
    assert_eq!(states, expected);
    let released_to_closed = world.relay_log[2].0 - world.relay_log[1].0;
    // The wait counts from the call after the one that released.
    assert_eq!(released_to_closed, u64::from(wait::RELEASE_US) + 1);
}

#[test]
fn sampling_stops_when_it_is_decided_and_not_before() {
    for (stop, gate, triples, end) in [
        (None, None, 5, ShotEnd::Complete),
        (Some(STOP), None, 2, ShotEnd::Decided),
        // Close only after n triples: U = k·σ·√(3/8)/(B·√n), 4.24e-6 for n = 3 with σ = 0.6.
        (
            Some(Stop { sigma_a: 0.6, sigma_b: 0.0, rel: 0.0, close: 4.3e-6, ..STOP }),
            None,
            3,
            ShotEnd::Decided,
        ),
        (Some(Stop { close: 1e-9, ..STOP }), None, 5, ShotEnd::Budget),
        (Some(Stop { hi: 0.01, ..STOP }), Some(1.0), 5, ShotEnd::Budget),
    ] {
        let mut setup = Setup::greeted();
        let measured = Ratio { triples_min: 2, triples_max: 5, stop, gate, ..RATIO };
        let ended = setup.run(&[RESIDUAL, ratio(ENDS, Source::Dry, measured)]);
        assert_eq!(why(ended), RunEnd::Complete);
        assert_eq!(shot_end(&setup, 1), Some((6 * triples, end)), "{stop:?}");
    }
}

#[test]
fn a_gate_ends_the_run_before_anything_else_is_excited() {
    // The ratio is 0.01; an open has no current.
    for (pair_b, gate, expected, shots) in [
        (100_000, 0.02, RunEnd::Complete, 3),
        (100_000, 0.005, RunEnd::Gate, 2),
        (-100_000, 0.005, RunEnd::Gate, 2),
        (0, 1e9, RunEnd::Gate, 2),
    ] {
        let mut setup = Setup::greeted();
        setup.world.borrow_mut().pair_b = pair_b;
        let gated = ratio(ENDS, Source::Dry, Ratio { gate: Some(gate), ..RATIO });
        let ended = setup.run(&[RESIDUAL, gated, ratio(ENDS, Source::Load, RATIO)]);
        assert!(
            matches!(ended, FromBench::Ended { why, shots: done, .. } if (why, done) == (expected, shots)),
            "{ended:?}"
        );
    }
}

#[test]
fn a_live_or_untouched_unit_is_never_excited() {
    for (volts, contacts, expected) in [
        (3.0, (true, true), RunEnd::Residual),
        (-0.051, (true, true), RunEnd::Residual),
        (0.049, (true, true), RunEnd::Complete),
        (0.0, (false, true), RunEnd::NoContact),
        (0.0, (true, false), RunEnd::NoContact),
        (2.0, (false, false), RunEnd::NoContact),
    ] {
        let mut setup = Setup::greeted();
        setup.world.borrow_mut().residual_volts = volts;
        setup.world.borrow_mut().contacts = contacts;
        let ended = setup.run(&[RESIDUAL, ratio(ENDS, Source::Load, RATIO)]);
        assert_eq!(why(ended), expected, "{volts} V, {contacts:?}");
        let excited = setup.heard.iter().any(|packet| matches!(packet.body, FromBench::Shot { shot: 1, .. }));
        assert_eq!(excited, expected == RunEnd::Complete);
        assert_eq!(setup.codes(0).len(), 4, "the host gets what was seen");
    }
}

#[test]
fn a_charging_capacitor_is_watched_to_the_last_window() {
    let mut setup = Setup::greeted();
    let restless = Settle { slope: 0.0, floor: -1.0, ..SETTLE };
    setup.run(&[
        RESIDUAL,
        Shot { contacts: ENDS, source: Source::Isolation, method: Method::Settle(restless) },
    ]);
    assert_eq!(shot_end(&setup, 1), Some((2 + 4 + 5 * 2 * 3, ShotEnd::Budget)));
}

#[test]
fn a_bleed_holds_for_its_time() {
    let mut setup = Setup::greeted();
    let bleed = Shot {
        contacts: Contacts { sense_plus: None, sense_minus: None, ..ENDS },
        source: Source::Off,
        method: Method::Bleed { millis: 700 },
    };
    setup.run(&[bleed, bleed]);
    let world = setup.world.borrow();
    let [closed, opened] = &world.relay_log[..] else { panic!("{:?}", world.relay_log) };
    assert_eq!(closed.1, [0, 7, 32]);
    let held = opened.0 - closed.0;
    assert!((1_401_000..1_403_500).contains(&held), "{held} µs");
}

#[test]
fn a_long_shot_streams_in_pieces_without_a_gap() {
    let mut setup = Setup::greeted();
    setup.run(&[sample(ENDS, Source::Off, Input::Zero, 200)]);
    assert_eq!(setup.codes(0), [3; 200]);
    assert_eq!(setup.heard.iter().filter(|packet| matches!(packet.body, FromBench::Codes { .. })).count(), 5);
}

#[test]
fn stop_opens_at_once() {
    let mut setup = Setup::greeted();
    setup.load(&[RESIDUAL, sample(ENDS, Source::Load, Input::Sense, 255)]);
    setup.say(ToBench::Run);
    setup.pass(20_000);
    assert!(setup.world.borrow().current());
    assert_eq!(setup.ask(ToBench::Stop), Some(FromBench::Done));
    assert!(!setup.world.borrow().current());
    setup.pass(u64::from(wait::LOAD_QUIET_US) + 1);
    assert!(setup.world.borrow().safe());
    assert_eq!(why(setup.finish()), RunEnd::Stopped);
    // With nothing running it is only acknowledged.
    assert_eq!(setup.ask(ToBench::Stop), Some(FromBench::Done));
}

#[test]
fn every_fault_ends_all_open_and_is_named() {
    type Break = fn(&mut Setup);
    let cases: [(Fault, Break); 10] = [
        (Fault::Lid, |setup| setup.world.borrow_mut().faults.lid_open = true),
        (Fault::Heartbeat, |setup| setup.heartbeat_us = 0),
        (Fault::AdcTimeout, |setup| setup.world.borrow_mut().faults.ready_stuck_high = true),
        (Fault::AdcTimeout, |setup| setup.world.borrow_mut().faults.ready_stuck_low = true),
        (Fault::AdcTimeout, |setup| setup.world.borrow_mut().adc_extra_us = 1_100),
        (Fault::AdcRegisters, |setup| setup.world.borrow_mut().faults.adc_reset = true),
        (Fault::AdcRegisters, |setup| setup.world.borrow_mut().faults.adc_bus = true),
        (Fault::Matrix, |setup| setup.world.borrow_mut().faults.matrix_bus = true),
        // The third of five: two behind it.
        (Fault::Register { behind: 2 }, |setup| setup.world.borrow_mut().faults.register_high = Some(2)),
        (Fault::Line, |setup| {
            let now = setup.now();
            setup.controller.hang_up(Instant(now));
        }),
    ];
    for (fault, happens) in cases {
        let mut setup = Setup::greeted();
        let walk = |sense| {
            ratio(
                contacts(0, 3, sense, 11),
                Source::Load,
                Ratio { triples_min: 20, triples_max: 20, ..RATIO },
            )
        };
        setup.load(&[RESIDUAL, walk(0), walk(1), walk(2), walk(3)]);
        setup.say(ToBench::Run);
        setup.pass(20_000);
        // Not while the current is off to be turned round.
        while !setup.world.borrow().current() {
            setup.pass(100);
        }
        let began = setup.now();
        happens(&mut setup);
        let ended = setup.finish();
        assert_eq!(why(ended), RunEnd::Fault(fault));
        let heartbeat = if fault == Fault::Heartbeat { u64::from(wait::HEARTBEAT_US) } else { 0 };
        // A matrix fault shows when relays are to move next.
        let moves = matches!(fault, Fault::Matrix | Fault::Register { .. });
        let next_move = if moves { 200_000 } else { 0 };
        assert!(setup.now() - began < 100_000 + heartbeat + next_move, "{fault:?}");
        let status = setup.ask(ToBench::Status);
        if fault == Fault::Line {
            assert!(matches!(status, Some(FromBench::Refused(_))), "a new handshake is due");
        } else {
            assert!(
                matches!(status, Some(FromBench::Status(status)) if status.fault == Some(fault)),
                "{status:?}"
            );
        }
    }
}

#[test]
fn a_host_that_does_not_read_stalls_sampling_and_then_breaks_the_line() {
    let mut setup = Setup::greeted();
    setup.load(&[sample(ENDS, Source::Off, Input::Sense, 255); 12]);
    setup.say(ToBench::Run);
    setup.reads = false;
    // Its heartbeat goes on, so only the stall can end it.
    setup.pass(3_500_000);
    assert!(setup.world.borrow().safe());
    setup.reads = true;
    assert_eq!(why(setup.finish()), RunEnd::Fault(Fault::Line));

    // A host that only dawdles loses nothing, though sampling has to wait for it time and again.
    let mut setup = Setup::greeted();
    setup.world.borrow_mut().residual_volts = 2.0;
    setup.load(&[sample(ENDS, Source::Off, Input::Sense, 255); 12]);
    setup.say(ToBench::Run);
    let began = setup.now();
    for _ in 0..12 {
        setup.reads = false;
        setup.pass(1_100_000);
        setup.reads = true;
        setup.pass(1);
    }
    assert_eq!(why(setup.finish()), RunEnd::Complete);
    assert!(setup.now() - began > 4_000_000, "it never had to wait");
    (0..12).for_each(|shot| assert_eq!(setup.codes(shot).len(), 255));
}

#[test]
fn gains_and_rates_reach_the_converter() {
    let mut setup = Setup::greeted();
    let mut plan = vec![];
    for gain in Gain::ALL {
        for rate in copperwalk_wire::Rate::ALL {
            let method =
                Method::Sample { input: Input::Zero, reversed: false, burnout: false, gain, rate, count: 1 };
            plan.push(Shot { contacts: Contacts::default(), source: Source::Off, method });
        }
    }
    setup.run(&plan);
    let world = setup.world.borrow();
    for (index, registers) in world.conversions.iter().enumerate() {
        let (gain, rate) = ((index / 7) as u8, (index % 7) as u8);
        let filter = if rate == 0 { 0x10 } else { 0 };
        assert_eq!(*registers, [0xE0 | gain << 1, rate << 5, filter, 0]);
    }
    assert!(world.relay_log.is_empty());
}

#[test]
fn the_controller_fits_the_microcontroller() {
    use copperwalk_core::Controller;
    type Small = Controller<crate::fake::Bus, crate::fake::Bus, crate::fake::Pin, crate::fake::Pin>;
    let (shot, whole) = (size_of::<Shot>(), size_of::<Small>());
    println!("Shot {shot} bytes, Controller {whole} bytes");
    assert!(whole - 512 * shot < 6 * 1024, "{whole}");
    assert!(whole <= 48 * 1024, "{whole}");
}
