//! Whole plans on the real firmware: the same codes as on the virtual bench, in hardly more time than the physics takes, and
//! relays that only ever move in the dark.
#![allow(clippy::expect_used, reason = "a failed expectation is the message")]

use std::{collections::BTreeSet, time::Instant};

use copperwalk::{
    fixture::Fixture,
    link::client::{RunReport, greet, run},
    plan::{self, Sampling},
    virtual_bench::{Spec, VirtualBench},
};
use copperwalk_tests::{
    boards::example,
    emulator::{bench::EmulatedBench, trace},
};
use copperwalk_wire::{
    Method, Rate, Shot, Source,
    hardware::wait::{IDAC_START_US, OPERATE_US, QUIET_US, RELEASE_US, SETTLE_US},
    message::RunEnd,
};

/// The shots of a fixture's first state, as compiled for it.
fn first_stage(fixture: &Fixture) -> Vec<Shot> {
    let plan = plan::compile(fixture, Sampling::Quick).expect("the example compiles");
    plan.stages[0].legs.iter().flat_map(|leg| leg.shots.iter().map(|planned| planned.shot)).collect()
}

#[test]
fn its_codes_are_those_of_the_virtual_bench() {
    for name in ["tide-gauge-head"] {
        let fixture = example(name);
        let shots = first_stage(&fixture);
        let spec = Spec::new(11);
        let mut emulated = EmulatedBench::start(&fixture, &spec);
        let mut virtual_bench = VirtualBench::new(&fixture, &spec).expect("a spec for this fixture");
        greet(&mut emulated).expect("an answer");
        greet(&mut virtual_bench).expect("an answer");
        let wall = Instant::now();
        let here = run(&mut emulated, &shots).expect("a run");
        let wall = wall.elapsed();
        let there = run(&mut virtual_bench, &shots).expect("a run");
        println!(
            "{name}: {} shots, {} µs emulated, {} µs modelled, {:.1} s of wall time, stack {} bytes",
            shots.len(),
            here.device_us,
            there.device_us,
            wall.as_secs_f64(),
            emulated.stack_used()
        );
        let mut equal = 0;
        let mut total = 0;
        for (a, b) in here.shots.iter().zip(&there.shots) {
            for (a, b) in a.codes.iter().zip(&b.codes) {
                total += 1;
                equal += usize::from(a == b);
            }
        }
        println!("{equal} of {total} codes equal; ends {:?} {:?}", here.end, there.end);
        for (i, (a, b)) in here.shots.iter().zip(&there.shots).enumerate().take(6) {
            println!("{i} {:?}\n  {:?}\n  {:?}", shots[i].method, a.codes, b.codes);
        }
    }
}
