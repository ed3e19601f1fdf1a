//! The daemon with the real firmware on a serial device: the cable pulled and plugged in again, and the end in a sweep.
#![cfg(unix)]

use std::{
    thread,
    time::{Duration, Instant},
};

use copperwalk::virtual_bench::Spec;
use copperwalk_tests::{
    boards::example,
    daemon::{Daemon, PATIENCE},
    emulator::{bench::EmulatedBench, cable::Cable, trace},
};
use serde_json::{Value, json};

const BOARD: &str = "trail-counter";
const FIXTURE: &str = "trail counter bed 1";
/// Everything must be dark so soon after a fault, µs of device time.
const DARK_WITHIN_US: u64 = 100_000;

/// A daemon at an emulated controller that it has found.
fn bench() -> (Cable, Daemon) {
    let cable = Cable::new(EmulatedBench::start(&example(BOARD), &Spec::new(7)));
    let daemon = Daemon::start(&["--port", cable.port().to_str().unwrap()]);
    found(&daemon);
    (cable, daemon)
}

fn found(daemon: &Daemon) {
    daemon.until("the controller is found", || {
        daemon.get("/api/v1/bench").json()["controller"].is_object().then_some(())
    });
}

/// Asks for a sweep of a unit that lies there already.
fn begin(daemon: &Daemon, serial: &str) -> u64 {
    let asked = daemon.send("POST", "/api/v1/jobs", json!({ "serial": serial, "fixture": FIXTURE }));
    let job = asked.json()["id"].as_u64().unwrap_or_else(|| panic!("{}", asked.body));
    assert_eq!(daemon.ask("POST", &format!("/api/v1/jobs/{job}/confirm"), &[], "").status, 200);
    job
}

/// Puts the unit into each state that the job asks for, until it is over.
fn attend(cable: &Cable, daemon: &Daemon, job: u64) -> Value {
    let fixture = example(BOARD);
    daemon.until("the sweep is over", || {
        let job = daemon.get(&format!("/api/v1/jobs/{job}")).json();
        if job["stage"] == "waiting_for_state" {
            let state = fixture.board.state_ids().find(|state| job["ask"] == fixture.ask(*state)).unwrap();
            cable.with(move |bench| bench.place(state));
        }
        ["recorded", "failed", "cancelled"].contains(&job["stage"].as_str().unwrap()).then_some(job)
    })
}

/// Waits for current in the unit; the device time then, µs.
fn in_a_shot(cable: &Cable) -> u64 {
    let end = Instant::now() + PATIENCE;
    loop {
        let (now_us, excited) =
            cable.with(|bench| (bench.now_us(), trace::excited(bench.around.models.trace().events())));
        if excited {
            return now_us;
        }
        assert!(Instant::now() < end, "no shot under current");
        thread::sleep(Duration::from_millis(2));
    }
}

/// Everything was dark within the time allowed after `since_us`; how long that took, µs.
fn dark_after(cable: &Cable, since_us: u64) -> u64 {
    let end = Instant::now() + PATIENCE;
    while cable.with(|bench| bench.now_us()) <= since_us + DARK_WITHIN_US {
        assert!(Instant::now() < end, "device time stands still");
        thread::sleep(Duration::from_millis(2));
    }
    let events = cable.with(|bench| bench.around.models.trace().events().to_vec());
    let dark = trace::dark_since(&events).expect("a relay is driven, or current flows");
    assert!(dark <= since_us + DARK_WITHIN_US, "dark only after {} µs", dark - since_us);
    trace::assert_cold_switching(&events);
    dark.saturating_sub(since_us)
}

#[test]
fn a_cable_pulled_in_a_sweep_is_said_and_the_next_sweep_works() {
    let (cable, daemon) = bench();
    let job = begin(&daemon, "U-1");
    let pulled_us = in_a_shot(&cable);
    cable.pull();
    let dark = dark_after(&cable, pulled_us);
    let failed = attend(&cable, &daemon, job);
    assert_eq!(failed["stage"], "failed", "{failed}");
    let error = failed["error"].as_str().unwrap();
    assert!(error.contains("the controller or its cable was unplugged; nothing was recorded"), "{error}");
    assert_eq!(daemon.get("/api/v1/units/U-1").status, 404, "nothing is booked on the unit");
    let bench = daemon.until("the loss is seen", || {
        let bench = daemon.get("/api/v1/bench").json();
        (bench["controller"].is_null() && bench["trouble"].is_string()).then_some(bench)
    });
    assert!(bench["lid_open"].is_null(), "{bench}");
    let plugged = Instant::now();
    cable.plug();
    found(&daemon);
    let again = plugged.elapsed();
    let job = begin(&daemon, "U-1");
    let job = attend(&cable, &daemon, job);
    assert_eq!((&job["stage"], &job["result"]["verdict"]), (&json!("recorded"), &json!("pass")), "{job}");
    println!(
        "cable pulled in a sweep: dark after {dark} µs of device time, found again {} ms after it was plugged in",
        again.as_millis()
    );
}

#[test]
fn ended_in_a_sweep_it_leaves_every_relay_open() {
    let (cable, mut daemon) = bench();
    begin(&daemon, "U-1");
    let asked_us = in_a_shot(&cable);
    let (status, took) = daemon.terminate();
    assert_eq!(status.code(), Some(0));
    let dark = dark_after(&cable, asked_us);
    println!(
        "SIGTERM in a sweep: dark after {dark} µs of device time, exit status 0 after {} ms",
        took.as_millis()
    );
    // 2 s are promised; a machine that is busy with something else gets as much again.
    assert!(took < Duration::from_secs(4), "{took:?}");
    assert!(!daemon.path("records.sqlite-wal").exists(), "the store is closed");
}
