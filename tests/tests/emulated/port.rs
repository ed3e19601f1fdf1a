//! The host's programs against the real firmware on a serial device, in real time: what a person would do, and what happens
//! to a person.
#![cfg(unix)]
#![allow(clippy::expect_used, clippy::panic, reason = "a failed expectation is the message")]

use std::{
    ffi::OsString,
    io::{BufRead, BufReader, Write},
    process::{Child, Command, Output, Stdio},
    thread,
    time::{Duration, Instant},
};

use copperwalk::{
    fixture::Fixture,
    link::{LinkError, Session, discover, serial::SerialLink, words},
    virtual_bench::Spec,
};
use copperwalk_tests::{
    boards::{example, example_path},
    emulator::{bench::EmulatedBench, cable::Cable, talk, trace},
    program::program,
};
use copperwalk_wire::{
    Method, Rate, Shot,
    message::{Fault, RunEnd},
};
use serde_json::Value;
use tempfile::TempDir;

const BOARD: &str = "trail-counter";
/// Generous: the machine may be busy.
const PATIENCE: Duration = Duration::from_secs(30);
/// Everything must be dark so soon after a fault, µs of device time.
const DARK_WITHIN_US: u64 = 100_000;

fn cable() -> Cable {
    Cable::new(EmulatedBench::start(&example(BOARD), &Spec::new(7)))
}

fn port(cable: &Cable) -> String {
    cable.port().to_str().expect("a path in UTF-8").into()
}

fn open(cable: &Cable) -> Session<SerialLink> {
    Session::open(SerialLink::open(&port(cable)).expect("the port is free")).expect("a controller")
}

fn is_ready(session: &mut Session<SerialLink>) -> bool {
    words::status(&session.status().expect("an answer")) == "ready"
}

/// Waits, in real time, until something is so.
fn until(what: &str, mut so: impl FnMut() -> bool) {
    let end = Instant::now() + PATIENCE;
    while !so() {
        assert!(Instant::now() < end, "not within {PATIENCE:?}: {what}");
        thread::sleep(Duration::from_millis(2));
    }
}

/// Everything is dark and was so within the time allowed after `since_us`.
fn assert_dark_after(cable: &Cable, since_us: u64) {
    until("enough device time", || cable.with(|bench| bench.now_us()) > since_us + DARK_WITHIN_US);
    let events = cable.with(|bench| bench.around.models.trace().events().to_vec());
    let dark = trace::dark_since(&events).expect("a relay is driven, or current flows");
    assert!(dark <= since_us + DARK_WITHIN_US, "dark only after {} µs", dark - since_us);
    trace::assert_cold_switching(&events);
    println!("dark {} µs of device time after the fault", dark.saturating_sub(since_us));
}

/// Waits for the middle of a shot and returns the device time then.
fn in_a_shot(cable: &Cable) -> u64 {
    let mut now = 0;
    until("a shot under current", || {
        let (at, excited) =
            cable.with(|bench| (bench.now_us(), trace::excited(bench.around.models.trace().events())));
        now = at;
        excited
    });
    now
}

/// A shot that lasts for seconds.
fn long_plan() -> Vec<Shot> {
    let mut shots = talk::walk(&example(BOARD), 1);
    let Method::Ratio(ratio) = &mut shots[1].method else { panic!("the walk measures ratios") };
    (ratio.rate, ratio.triples_min, ratio.triples_max) = (Rate::Sps20, 20, 20);
    shots
}

#[test]
fn the_host_talks_to_it_and_runs_a_plan() {
    let cable = cable();
    let mut session = open(&cable);
    assert_eq!(discover::serial_text(session.identity().serial), "E660C0D1CE5EED01");
    assert!(is_ready(&mut session));
    let shots = talk::walk(&example(BOARD), 6);
    let report = session.run(&shots).unwrap();
    assert_eq!(report.end, RunEnd::Complete);
    assert_eq!(report.shots.len(), shots.len());
    // An idle host says nothing and none is needed.
    thread::sleep(Duration::from_millis(700));
    assert!(is_ready(&mut session));
}

#[test]
fn a_second_host_is_kept_out_in_plain_words() {
    let cable = cable();
    let mut session = open(&cable);
    let refused = SerialLink::open(&port(&cable)).unwrap_err().to_string();
    assert!(refused.contains("another program has it open; close that one first"), "{refused}");
    // The first one never noticed.
    assert!(is_ready(&mut session));
    drop(session);
    open(&cable);
}

#[test]
fn a_pulled_cable_ends_the_run_and_the_next_session_finds_the_controller() {
    let cable = cable();
    let mut session = open(&cable);
    let host = thread::spawn(move || {
        let error = session.run(&long_plan()).expect_err("the cable was pulled");
        (session, error)
    });
    in_a_shot(&cable);
    let pulled = cable.with(|bench| bench.now_us());
    cable.pull();
    assert_dark_after(&cable, pulled);
    let (mut session, error) = host.join().unwrap();
    assert!(matches!(error, LinkError::Gone(_)), "{error:?}");
    assert!(error.to_string().contains("the controller or its cable was unplugged"), "{error}");
    // Nothing can be said any more, and a port that is not there stays so.
    assert_eq!(session.status().unwrap_err(), error);
    assert!(matches!(SerialLink::open(&port(&cable)), Err(LinkError::CannotOpen(_))));
    cable.plug();
    let mut session = open(&cable);
    assert_eq!(session.status().unwrap().fault, Some(Fault::Line));
    let report = session.run(&talk::walk(&example(BOARD), 2)).unwrap();
    assert_eq!(report.end, RunEnd::Complete);
}

#[test]
fn the_controllers_are_listed() {
    let cable = cable();
    let listed = command(&["bench", "--port", &port(&cable)]).output().unwrap();
    let text = String::from_utf8(listed.stdout).unwrap();
    assert!(listed.status.success(), "{text}");
    assert!(text.contains("controller E660C0D1CE5EED01  firmware 0.1.0"), "{text}");
    assert!(text.contains("16 force + 48 sense channels  ready"), "{text}");
    cable.with(|bench| bench.around.lid_open = true);
    let listed = command(&["bench", "--port", &port(&cable)]).output().unwrap();
    assert!(String::from_utf8(listed.stdout).unwrap().contains("lid open"));
    let nobody = command(&["bench", "--port", "/dev/no-such-port"]).output().unwrap();
    assert_eq!(nobody.status.code(), Some(3));
    assert!(String::from_utf8(nobody.stdout).unwrap().contains("there is no such port"));
}

// The program as a person runs it.

fn command(arguments: &[&str]) -> Command {
    let mut command = Command::new(program());
    command.args(arguments).stdin(Stdio::null()).stdout(Stdio::piped()).stderr(Stdio::piped());
    command
}

/// `copperwalk sweep` at the cable's port, with its records in `folder`.
fn sweep(cable: &Cable, folder: &TempDir) -> Child {
    command(&["sweep", &example_path(BOARD), "--serial", "U-1", "--port", &port(cable), "--json"])
        .args(records(folder))
        .stdin(Stdio::piped())
        .spawn()
        .expect("the program starts")
}

fn records(folder: &TempDir) -> [OsString; 2] {
    ["--records".into(), folder.path().join("records").into()]
}

/// The operator: does what the program asks for and presses Enter, until it asks no more. Returns all it said.
fn attend(cable: &Cable, fixture: &Fixture, child: &mut Child) -> String {
    let mut keyboard = child.stdin.take().expect("piped");
    let questions = BufReader::new(child.stderr.take().expect("piped"));
    let mut said = String::new();
    for line in questions.lines() {
        let line = line.expect("UTF-8");
        let asked = |prompt: &str| !prompt.is_empty() && line.starts_with(prompt);
        let board = &fixture.board;
        if let Some(state) = board.state_ids().find(|&state| asked(&board.state(state).prompt)) {
            cable.with(move |bench| bench.place(state));
            keyboard.write_all(b"\n").expect("the program reads");
        }
        said += &line;
        said.push('\n');
    }
    said
}

/// Sweeps on record for the unit.
fn recorded(folder: &TempDir) -> usize {
    let unit =
        command(&["unit", "U-1", "--json"]).args(records(folder)).output().expect("the program starts");
    // No word of the unit is no sweep.
    let history: Value = serde_json::from_slice(&unit.stdout).unwrap_or_default();
    let events = history["events"].as_array();
    events.map_or(0, |events| events.iter().filter(|event| event["event"] == "sweep").count())
}

#[test]
fn a_person_sweeps_a_unit() {
    let (cable, folder, fixture) = (cable(), TempDir::new().unwrap(), example(BOARD));
    let mut child = sweep(&cable, &folder);
    let said = attend(&cable, &fixture, &mut child);
    let Output { status, stdout, .. } = child.wait_with_output().unwrap();
    assert!(status.success(), "{said}");
    let real: Value = serde_json::from_slice(&stdout).unwrap();
    let modelled =
        command(&["sweep", &example_path(BOARD), "--serial", "U-1", "--virtual", "--seed", "7", "--json"])
            .args(["--records".as_ref(), folder.path().join("other").as_os_str()])
            .output()
            .unwrap();
    let modelled: Value = serde_json::from_slice(&modelled.stdout).unwrap();
    assert_eq!(real["verdict"], "pass");
    let rows = |sweep: &Value| sweep["segments"].as_array().cloned().unwrap_or_default();
    assert_eq!(rows(&real).len(), fixture.board.segments.len());
    for (real, modelled) in rows(&real).iter().zip(&rows(&modelled)) {
        for key in ["name", "state", "verdict", "class", "max_ohms"] {
            assert_eq!(real[key], modelled[key], "{real}");
        }
    }
    assert_eq!(recorded(&folder), 1);
    println!("{}", real["bench"]);
}

#[test]
fn a_sweep_whose_cable_is_pulled_is_not_recorded() {
    let (cable, folder, fixture) = (cable(), TempDir::new().unwrap(), example(BOARD));
    let mut child = sweep(&cable, &folder);
    let said = thread::scope(|scope| {
        let operator = scope.spawn(|| attend(&cable, &fixture, &mut child));
        in_a_shot(&cable);
        let pulled = cable.with(|bench| bench.now_us());
        cable.pull();
        assert_dark_after(&cable, pulled);
        operator.join().unwrap()
    });
    let Output { status, stdout, .. } = child.wait_with_output().unwrap();
    assert_eq!((status.code(), stdout.len()), (Some(3), 0), "{said}");
    assert!(said.contains("the controller or its cable was unplugged; nothing was recorded"), "{said}");
    assert_eq!(recorded(&folder), 0);
    // Back in, all is well.
    cable.plug();
    let mut child = sweep(&cable, &folder);
    attend(&cable, &fixture, &mut child);
    assert!(child.wait().unwrap().success());
    assert_eq!(recorded(&folder), 1);
}

#[test]
fn a_host_killed_in_a_sweep_leaves_no_relay_closed_and_no_half_sweep() {
    let (cable, folder, fixture) = (cable(), TempDir::new().unwrap(), example(BOARD));
    let mut child = sweep(&cable, &folder);
    let process = child.id();
    thread::scope(|scope| {
        let operator = scope.spawn(|| attend(&cable, &fixture, &mut child));
        in_a_shot(&cable);
        let killed = Command::new("kill").args(["-9", &process.to_string()]).status();
        let at = cable.with(|bench| bench.now_us());
        assert!(killed.unwrap().success());
        assert_dark_after(&cable, at);
        operator.join().unwrap();
    });
    assert_eq!(child.wait().unwrap().code(), None, "killed by a signal");
    assert_eq!(recorded(&folder), 0);
    let mut child = sweep(&cable, &folder);
    attend(&cable, &fixture, &mut child);
    assert!(child.wait().unwrap().success());
    assert_eq!(recorded(&folder), 1);
}
