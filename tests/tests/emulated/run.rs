//! Whole sweeps on the real firmware: what the virtual bench gives, in hardly more time than the physics takes, and relays
//! that only ever move in the dark.
#![allow(clippy::expect_used, clippy::panic, reason = "a failed expectation is the message")]

use std::time::Instant;

use copperwalk::{
    fixture::Fixture,
    job::{Job, Subject},
    limits::LimitSet,
    link::{Session, Transport},
    measurement::{Run, RunShot},
    meter::noise::noise_codes,
    operator::Operator,
    plan::{self, Plan, Sampling},
    quantity::Seconds,
    sweep::Sweep,
    verdict::Verdict,
    virtual_bench::{Spec, VirtualBench},
    watch::{End, Task, Watcher},
};
use copperwalk_core::timing::Before;
use copperwalk_tests::{
    attack::times,
    boards::example,
    emulator::{bench::EmulatedBench, trace},
};
use copperwalk_wire::{
    Method,
    codes::Counts,
    hardware::wait::{OPERATE_US, QUIET_US, RELEASE_US},
};

/// Sweeps the unit on a bench.
fn swept<T: Transport>(
    session: &mut Session<T>,
    mut operator: impl Operator,
    fixture: &Fixture,
    plan: &Plan,
) -> Sweep {
    let subject = Subject::new("E-1", None, 0);
    let mut job = Job { session, operator: &mut operator, fixture, plan };
    job.sweep(subject, None, &mut |_| {}).expect("a sweep")
}

/// Sweeps a unit on the emulated bench.
fn emulated(session: &mut Session<EmulatedBench>, fixture: &Fixture, plan: &Plan) -> Sweep {
    let operator = session.transport().operator();
    swept(session, operator, fixture, plan)
}

fn compiled(fixture: &Fixture) -> Plan {
    plan::compile(fixture, &LimitSet::of_board(&fixture.board), Sampling::Quick)
        .expect("the example compiles")
}

/// What a person is told, without the numbers.
fn said(sweep: &Sweep) -> Vec<String> {
    let segments = sweep
        .judgement
        .segments
        .iter()
        .map(|row| format!("{} {}: {:?} {:?}", row.state, row.name, row.verdict, row.class));
    let isolation = sweep
        .judgement
        .isolation
        .iter()
        .map(|row| format!("{} {}: {:?} {:?}", row.state, row.name, row.verdict, row.class));
    let faults = sweep.judgement.faults.iter().map(|fault| format!("{}: {:?}", fault.place, fault.class));
    let bench = sweep.judgement.bench_faults.iter().map(|fault| format!("{fault:?}"));
    let verdict = [format!("{:?}", sweep.judgement.verdict)];
    verdict.into_iter().chain(segments).chain(isolation).chain(faults).chain(bench).collect()
}

/// Compares raw codes one by one; returns how far the farthest pair is apart, as a multiple of one conversion's noise.
/// Isolation is left out: how long a capacitor has charged is a matter of time.
fn farthest(name: &str, here: &[Run], there: &[Run]) -> f64 {
    let (mut total, mut equal, mut farthest, mut multiple) = (0, 0, 0, 0.0_f64);
    assert_eq!(here.len(), there.len(), "{name}");
    for (here, there) in here.iter().zip(there) {
        assert_eq!((here.end, here.shots.len()), (there.end, there.shots.len()), "{name}");
        for (here, there) in here.shots.iter().zip(&there.shots) {
            assert_eq!(here.shot, there.shot, "{name}");
            if !matches!(here.shot.method, Method::Settle(_)) {
                assert_eq!(here.codes.len(), there.codes.len(), "{name}: {:?}", here.shot);
                let pairs = here.codes.iter().zip(&there.codes);
                total += pairs.len();
                equal += pairs.clone().filter(|(a, b)| a == b).count();
                let apart = pairs.map(|(a, b)| a.abs_diff(*b)).max().unwrap_or(0);
                farthest = farthest.max(apart);
                if let Method::Ratio(ratio) = here.shot.method {
                    multiple = multiple.max(f64::from(apart) / noise_codes(ratio.gain_a, ratio.rate));
                }
            }
        }
    }
    println!(
        "{name}: {equal} of {total} codes equal, the others at most {farthest} apart, {multiple:.2} of a conversion's noise"
    );
    multiple
}

/// Codes of a good unit here and there are at most this far apart, in standard deviations of one conversion's noise.
const MOST_APART: f64 = 2.0;

/// Each example board, good and with faults, gives on the real firmware what it gives on the virtual bench.
fn same_as_on_the_virtual_bench(name: &str, fault_sets: &[&[&str]]) {
    let fixture = example(name);
    let plan = compiled(&fixture);
    for faults in fault_sets {
        let spec = faults.iter().fold(Spec::new(11), |spec, fault| spec.fault(*fault));
        let label = format!("{name} {faults:?}");
        let wall = Instant::now();
        let here = emulated(&mut EmulatedBench::greeted(&fixture, &spec), &fixture, &plan);
        let wall = wall.elapsed().as_secs_f64();
        let modelled = VirtualBench::new(&fixture, &spec).expect("a spec for this fixture");
        let operator = modelled.operator();
        let mut session = Session::open(modelled).expect("an answer");
        let there = swept(&mut session, operator, &fixture, &plan);
        println!(
            "{label}: {:?}, {} µs here, {} µs there, {wall:.1} s of wall time",
            here.judgement.verdict,
            here.measurement.work().device_us,
            there.measurement.work().device_us
        );
        assert_eq!(said(&here), said(&there), "{label}");
        // Time enters where a coil warms its contact, so that the thermal EMF drifts, and where a capacitor charges: not
        // in the first look at the unit, and in a good unit by some of the 8 million codes only.
        assert_eq!(
            here.measurement.runs[0].shots[0].codes, there.measurement.runs[0].shots[0].codes,
            "{label}"
        );
        let apart = farthest(&label, &here.measurement.runs, &there.measurement.runs);
        if faults.is_empty() {
            assert_eq!(here.judgement.verdict, Verdict::Pass, "{label}");
            // The chip's transfers delay each half-cycle by some 70 µs, in which bulk capacitors settle further.
            assert!(apart <= MOST_APART, "{label}: {apart:.2} of {MOST_APART}");
        }
    }
}

#[test]
fn tide_gauge_heads_are_judged_as_on_the_virtual_bench() {
    let faults: [&[&str]; 5] = [
        &[],
        &["cell fuse=open"],
        &["power switch=330 ohm"],
        &["via pair 2=one barrel open"],
        &["battery=3.0 V"],
    ];
    same_as_on_the_virtual_bench("tide-gauge-head", &faults);
}

#[test]
fn trail_counters_are_judged_as_on_the_virtual_bench() {
    let faults: [&[&str]; 3] = [&[], &["single via=open"], &["gauge shunt=3 ohm", "wake key=40 ohm"]];
    same_as_on_the_virtual_bench("trail-counter", &faults);
}

#[test]
fn valve_drivers_are_judged_as_on_the_virtual_bench() {
    let faults: [&[&str]; 2] = [&[], &["valve fuse=open"]];
    same_as_on_the_virtual_bench("greenhouse-valve-driver", &faults);
}

/// Settling and conversion times of a run as it went, µs: the waits of the protocol's constants, and each code at the
/// nominal length of its conversion.
fn ideal_us(run: &Run) -> u64 {
    let mut before = Before::OPEN;
    let shots = run.shots.iter().map(|RunShot { shot, codes, .. }| {
        // The polarity of its last half-cycle is known too, so this is one number.
        before.shot_with(shot, Counts::only(codes.len())).most_us
    });
    let shots = shots.sum::<u64>();
    shots + before.around().most_us
}

/// The controller adds at most a ninth to what relays and converter take by themselves, the 50 µs in which the converter's
/// oscillator starts for each conversion included; nothing waits for the host.
#[test]
fn device_time_goes_into_settling_and_converting() {
    let fixture = example("tide-gauge-head");
    assert_eq!(fixture.board.segments.len(), 12);
    let sweep =
        emulated(&mut EmulatedBench::greeted(&fixture, &Spec::new(11)), &fixture, &compiled(&fixture));
    let ideal: u64 = sweep.measurement.runs.iter().map(ideal_us).sum();
    let share = sweep.measurement.work().device_us as f64 / ideal as f64;
    println!(
        "12 segments: {} µs of device time, {ideal} µs of settling and converting: {share:.3}",
        sweep.measurement.work().device_us
    );
    assert!((1.0..=1.11).contains(&share), "{share}");
}

/// The same in many sweeps: whatever the unit, a relay's coil changes only while no current flows. Units differ, some are
/// faulty; each is swept twice, or five times in the long run, which makes 100 sweeps of the two boards.
fn relays_move_in_the_dark(name: &str, faults: [&str; 2]) {
    let fixture = example(name);
    let plan = compiled(&fixture);
    let (mut sweeps, mut changes) = (0, 0);
    for seed in 0..times(3, 10) as u64 {
        let spec = Spec::new(seed);
        let spec = match seed % 3 {
            0 => spec,
            other => spec.fault(faults[other as usize - 1]),
        };
        let mut bench = EmulatedBench::greeted(&fixture, &spec);
        for _ in 0..times(2, 5) {
            emulated(&mut bench, &fixture, &plan);
            sweeps += 1;
        }
        let events = bench.transport_mut().around.models.trace().events();
        changes += trace::assert_cold_switching(events);
        assert!(trace::dark_since(events).is_some(), "seed {seed}: everything is open after a sweep");
    }
    println!("{name}: {sweeps} sweeps, {changes} changes of relays, all without current");
}

#[test]
fn relays_move_in_the_dark_under_tide_gauge_heads() {
    relays_move_in_the_dark("tide-gauge-head", ["cell fuse=open", "power switch=330 ohm"]);
}

#[test]
fn relays_move_in_the_dark_under_trail_counters() {
    relays_move_in_the_dark("trail-counter", ["single via=open", "wake key=flaky"]);
}

/// The waits are counted from the end of the transfers that switch, which on the chip take tens of microseconds.
#[test]
fn the_waits_are_as_long_on_the_chip_as_they_are_stated() {
    let fixture = example("tide-gauge-head");
    let mut bench = EmulatedBench::greeted(&fixture, &Spec::new(11));
    emulated(&mut bench, &fixture, &compiled(&fixture));
    let waits = trace::shortest_waits(bench.transport_mut().around.models.trace().events());
    println!("shortest waits: {waits:?}");
    for (wait, least) in [(waits.quiet, QUIET_US), (waits.release, RELEASE_US), (waits.operate, OPERATE_US)] {
        assert!(wait.is_some_and(|wait| wait >= u64::from(least)), "{wait:?} of {least}: {waits:?}");
    }
}

/// Half a second and a second after it: two shots with a pause between them, streamed as the firmware samples.
#[test]
fn a_segment_is_watched_on_the_real_firmware() {
    let fixture = example("tide-gauge-head");
    let segment = fixture.board.segment_named("power switch").expect("a switch");
    let task = Task::new(&fixture, segment, Task::usual_state(&fixture, segment)).expect("a task");
    for (fault, seen) in [(None, false), (Some("power switch=drops 20 ms"), true)] {
        let spec = fault.into_iter().fold(Spec::new(3), |spec, fault| spec.fault(fault));
        let mut session = EmulatedBench::greeted(&fixture, &spec);
        let mut operator = session.transport().operator();
        let mut watcher = Watcher { session: &mut session, operator: &mut operator, fixture: &fixture };
        let (watched, end) = watcher.watch(&task, Seconds(4.0), &mut |_| {}).expect("four seconds");
        println!("{fault:?}: {watched:?}");
        assert_eq!((end, watched.unwatched_us), (End::Time, 0));
        assert_eq!(watched.moved(), seen);
        // The firmware adds some 70 µs of transfers to every conversion.
        let period_us = watched.us as f64 / watched.conversions as f64;
        assert!((1_000.0..1_200.0).contains(&period_us), "{period_us}");
    }
}
