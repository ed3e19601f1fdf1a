//! Whatever goes wrong in the middle of a shot, the real firmware opens every relay and stops the current within 100 ms of
//! device time, and says what happened. Seen on the relays and the current themselves, not in the firmware's words.
#![allow(clippy::expect_used, clippy::panic, reason = "a failed expectation is the message")]

use copperwalk::{
    link::{LinkError, Session},
    virtual_bench::Spec,
};
use copperwalk_tests::{
    boards::example,
    emulator::{
        bench::{AdcFailure, EmulatedBench},
        process::Break,
        talk::{ask, collect, start, walk},
        trace::{assert_cold_switching, dark_since, driven, excited},
    },
};
use copperwalk_wire::{
    FromBench, Method, PROTOCOL, Rate, Shot, Source, ToBench,
    hardware::wait::HEARTBEAT_US,
    message::{Fault, Refusal, RunEnd},
};

/// Everything must be dark so soon after the fault, µs.
const DARK_WITHIN_US: u64 = 100_000;

/// A plan whose second shot lasts for seconds under `source`.
fn long_plan(source: Source) -> Vec<Shot> {
    let mut shots = walk(&example("tide-gauge-head"), 1);
    shots[1].source = source;
    let Method::Ratio(ratio) = &mut shots[1].method else { panic!("the walk measures ratios") };
    (ratio.rate, ratio.triples_min, ratio.triples_max) = (Rate::Sps20, 20, 20);
    shots
}

/// A bench in the middle of a long shot: four relays driven, current on. Returns the run's number too.
fn in_the_middle(source: Source) -> (Session<EmulatedBench>, u16) {
    let mut bench = EmulatedBench::greeted(&example("tide-gauge-head"), &Spec::new(5));
    let seq = start(&mut bench, &long_plan(source));
    bench.transport_mut().pass(60_000);
    let events = bench.transport_mut().around.models.trace().events();
    assert!(excited(events), "no current in the middle of a shot");
    assert_eq!(driven(events).len(), 4, "four contacts make a four-wire shot");
    (bench, seq)
}

/// Everything is dark since at most [`DARK_WITHIN_US`] after `fault_us`, and stays so.
fn assert_dark(bench: &mut Session<EmulatedBench>, fault_us: u64) {
    let until = fault_us + DARK_WITHIN_US;
    let bench = bench.transport_mut();
    bench.pass(until.saturating_sub(bench.now_us()));
    let since =
        dark_since(bench.around.models.trace().events()).expect("a relay is driven, or current flows");
    assert!(since <= until, "dark only after {} µs", since - fault_us);
    println!("dark {} µs after the fault", since.saturating_sub(fault_us));
}

fn assert_dark_and_cold(bench: &mut Session<EmulatedBench>, fault_us: u64) {
    assert_dark(bench, fault_us);
    assert_cold_switching(bench.transport_mut().around.models.trace().events());
}

/// The run's own last words.
fn end(bench: &mut Session<EmulatedBench>, seq: u16) -> RunEnd {
    collect(bench, seq).1
}

/// The controller works as before.
fn assert_usable(bench: &mut Session<EmulatedBench>) {
    bench.greet().expect("an answer");
    let report = bench.run(&walk(&example("tide-gauge-head"), 2)).expect("a run");
    assert_eq!(report.end, RunEnd::Complete);
}

#[test]
fn the_lid_is_opened() {
    let (mut bench, seq) = in_the_middle(Source::Load);
    let now = bench.transport().now_us();
    bench.transport_mut().around.lid_open = true;
    assert_dark_and_cold(&mut bench, now);
    assert_eq!(end(&mut bench, seq), RunEnd::Fault(Fault::Lid));
    let now = bench.status().expect("an answer");
    assert!(now.lid_open && now.fault == Some(Fault::Lid), "{now:?}");
    // No plan runs under an open lid.
    let refused = bench.run(&walk(&example("tide-gauge-head"), 1)).expect_err("the lid is open");
    assert_eq!(refused.to_string(), "the controller refused: the lid is open; close it");
    bench.transport_mut().around.lid_open = false;
    assert_usable(&mut bench);
}

#[test]
fn the_host_falls_silent() {
    let (mut bench, seq) = in_the_middle(Source::Load);
    let silent_since = bench.transport().now_us();
    bench.transport_mut().pass(u64::from(HEARTBEAT_US));
    assert_dark_and_cold(&mut bench, silent_since + u64::from(HEARTBEAT_US));
    assert_eq!(end(&mut bench, seq), RunEnd::Fault(Fault::Heartbeat));
    assert_usable(&mut bench);
}

#[test]
fn the_cable_is_pulled() {
    let (mut bench, _) = in_the_middle(Source::Dry);
    let pulled = bench.transport().now_us();
    bench.transport_mut().plug(false);
    assert_dark_and_cold(&mut bench, pulled);
    bench.transport_mut().plug(true);
    bench.transport_mut().open(true);
    // What the operating system kept of the old conversation is gone with the old device.
    bench.greet().expect("an answer");
    let now = bench.status().expect("an answer");
    assert_eq!((now.running, now.fault, now.watchdog_reset), (false, Some(Fault::Line), false));
    assert_usable(&mut bench);
}

#[test]
fn the_program_on_the_host_dies_and_its_port_closes() {
    let (mut bench, _) = in_the_middle(Source::Load);
    let closed = bench.transport().now_us();
    bench.transport_mut().open(false);
    assert_dark_and_cold(&mut bench, closed);
    bench.transport_mut().open(true);
    bench.greet().expect("an answer");
    assert_eq!(bench.status().expect("an answer").fault, Some(Fault::Line));
    assert_usable(&mut bench);
}

/// A host that asks and asks and never reads: the queue for it fills, sampling waits, and in the end the run is over.
#[test]
fn the_host_stops_reading() {
    /// The queue holds two seconds of small codes; then the run waits as long as for a heartbeat.
    const PATIENCE_US: u64 = 3_000_000;
    let mut bench = EmulatedBench::greeted(&example("tide-gauge-head"), &Spec::new(5));
    let mut shots = long_plan(Source::Dry);
    let Method::Ratio(ratio) = &mut shots[1].method else { panic!("the walk measures ratios") };
    (ratio.rate, ratio.triples_min, ratio.triples_max) = (Rate::Sps1000, 255, 255);
    shots.extend(vec![shots[1]; 3]);
    start(&mut bench, &shots);
    bench.transport_mut().reading(false);
    let since = bench.transport().now_us();
    while bench.transport().now_us() < since + PATIENCE_US {
        bench.say(ToBench::Status).expect("the line is there");
        bench.transport_mut().pass(50_000);
    }
    assert_dark_and_cold(&mut bench, since + PATIENCE_US);
    bench.transport_mut().reading(true);
    bench.greet().expect("an answer");
    let fault = bench.status().expect("an answer").fault;
    assert!(matches!(fault, Some(Fault::Line | Fault::Heartbeat)), "{fault:?}");
    assert_usable(&mut bench);
}

#[test]
fn the_converter_falls_mute() {
    let (mut bench, seq) = in_the_middle(Source::Load);
    let now = bench.transport().now_us();
    bench.transport_mut().around.adc_failure = AdcFailure::Mute;
    assert_dark(&mut bench, now);
    assert_eq!(end(&mut bench, seq), RunEnd::Fault(Fault::AdcRegisters));
    let refused = bench.run(&walk(&example("tide-gauge-head"), 1)).expect_err("it is broken");
    assert!(matches!(refused, LinkError::Refused(Refusal::Broken(Fault::AdcRegisters))), "{refused}");
    bench.transport_mut().around.adc_failure = AdcFailure::None;
    assert_usable(&mut bench);
}

#[test]
fn the_ready_line_sticks() {
    for failure in [AdcFailure::ReadyStuckHigh, AdcFailure::ReadyStuckLow] {
        let (mut bench, seq) = in_the_middle(Source::Load);
        let now = bench.transport().now_us();
        bench.transport_mut().around.adc_failure = failure;
        // A conversion at 20 SPS takes 50 ms and is given twice that: the fault shows by then.
        let shows =
            now + if failure == AdcFailure::ReadyStuckHigh { 2 * u64::from(Rate::Sps20.micros()) } else { 0 };
        assert_dark_and_cold(&mut bench, shows);
        assert_eq!(end(&mut bench, seq), RunEnd::Fault(Fault::AdcTimeout), "{failure:?}");
        bench.transport_mut().around.adc_failure = AdcFailure::None;
        assert_usable(&mut bench);
    }
}

#[test]
fn the_firmware_panics_hangs_or_faults() {
    for how in [Break::Panic, Break::HardFault, Break::Hang] {
        for source in [Source::Load, Source::Dry] {
            let (mut bench, _) = in_the_middle(source);
            let broken = bench.transport().now_us();
            bench.transport_mut().break_firmware(how);
            bench.transport_mut().step(broken + 100);
            let left = driven(bench.transport_mut().around.models.trace().events());
            // A handler that still runs opens everything at once; for a hang the watchdog has to reset it.
            assert_eq!(left.is_empty(), how != Break::Hang, "{how:?} under {source:?}: {left:?}");
            if source == Source::Load {
                assert_dark_and_cold(&mut bench, broken);
            } else {
                // The milliampere comes from the converter, which nobody commands any more before the restart.
                assert_dark(&mut bench, broken);
            }
            assert_eq!(
                bench.transport().around.watchdog_resets.len(),
                1,
                "{how:?}: the watchdog resets it once"
            );
            // The chip starts anew and so does its USB device.
            bench.transport_mut().pass(50_000);
            bench.greet().expect("an answer");
            assert!(bench.status().expect("an answer").watchdog_reset, "{how:?}");
            assert_usable(&mut bench);
        }
    }
}

#[test]
fn the_power_fails_for_a_moment() {
    let (mut bench, _) = in_the_middle(Source::Load);
    let failed = bench.transport().now_us();
    bench.transport_mut().power_cycle();
    assert_dark(&mut bench, failed);
    bench.greet().expect("an answer");
    assert!(!bench.status().expect("an answer").watchdog_reset);
    assert_usable(&mut bench);
}

#[test]
fn a_host_of_another_version_comes() {
    for protocol in [PROTOCOL - 1, PROTOCOL + 1] {
        let (mut bench, _) = in_the_middle(Source::Load);
        let now = bench.transport().now_us();
        let answer = ask(&mut bench, ToBench::Hello { protocol });
        assert_eq!(answer, FromBench::Refused(Refusal::Protocol { mine: PROTOCOL }));
        assert_dark(&mut bench, now);
        // It gets nothing else until it speaks the right one.
        assert_eq!(ask(&mut bench, ToBench::Run), FromBench::Refused(Refusal::NoHello));
        assert_usable(&mut bench);
    }
}
