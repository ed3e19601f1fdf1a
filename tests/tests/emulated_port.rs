//! The host's serial link against the real firmware on a serial device, in real time.
#![cfg(unix)]
#![allow(clippy::expect_used, reason = "a failed expectation is the message")]

use copperwalk::{
    link::{
        client::{self, greet, status},
        discover,
        serial::SerialLink,
    },
    virtual_bench::Spec,
};
use copperwalk_tests::{
    boards::example,
    emulator::{bench::EmulatedBench, cable::Cable, talk, trace},
};
use copperwalk_wire::message::RunEnd;

fn cable() -> Cable {
    Cable::new(EmulatedBench::start(&example("tide-gauge-head"), &Spec::new(7)))
}

fn open(cable: &Cable) -> SerialLink {
    SerialLink::open(cable.port().to_str().expect("a path in UTF-8")).expect("the port is free")
}

#[test]
fn the_host_talks_to_it_and_runs_a_plan() {
    let cable = cable();
    let mut link = open(&cable);
    let identity = greet(&mut link).unwrap();
    assert_eq!(discover::serial_text(identity.serial), "E660C0D1CE5EED01");
    assert_eq!(discover::status_words(&status(&mut link).unwrap()), "ready");
    let shots = talk::walk(&example("tide-gauge-head"), 6);
    let report = client::run(&mut link, &shots).unwrap();
    assert_eq!(report.end, RunEnd::Complete);
    assert_eq!(report.shots.len(), shots.len());
    let events = cable.with(|bench| bench.around.models.trace().events().to_vec());
    assert!(trace::assert_cold_switching(&events) > 0);
    assert!(trace::dark_since(&events).is_some());
}

#[test]
fn a_second_host_is_kept_out_in_plain_words() {
    let cable = cable();
    let mut link = open(&cable);
    greet(&mut link).unwrap();
    let port = cable.port();
    let refused = SerialLink::open(port.to_str().unwrap()).unwrap_err().to_string();
    assert!(refused.contains("another program has it open"), "{refused}");
    // The first one never noticed.
    assert_eq!(discover::status_words(&status(&mut link).unwrap()), "ready");
    drop(link);
    greet(&mut open(&cable)).unwrap();
}
