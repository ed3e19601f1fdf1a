//! `copperwalk watch` as a process: what it prints, what it keeps, and how it ends.

use std::{
    process::{Command, Stdio},
    thread,
    time::{Duration, Instant},
};

use copperwalk_tests::program::{Place, Ran};
use serde_json::Value;

fn gauge() -> String {
    format!("{}/../fixtures/tide-gauge-head/fixture.toml", env!("CARGO_MANIFEST_DIR"))
}

fn watch<'a>(fixture: &'a str, segment: &'a str, more: &[&'a str]) -> Vec<&'a str> {
    [&["watch", fixture, segment, "--virtual"], more].concat()
}

fn object(ran: &Ran) -> Value {
    serde_json::from_str(&ran.out).unwrap_or_else(|error| panic!("{error}: {}{}", ran.out, ran.err))
}

#[test]
fn nothing_seen_is_status_0_and_dropouts_are_status_1() {
    let (place, fixture) = (Place::new(), gauge());
    let quiet = place.run(&watch(&fixture, "power switch", &["--for", "4 s", "--json"]));
    assert_eq!(quiet.code, 0, "{}", quiet.err);
    let quiet = object(&quiet);
    assert_eq!(
        (&quiet["verdict"], &quiet["class"], &quiet["ended"]),
        (&"pass".into(), &"ok".into(), &"time".into())
    );
    assert_eq!(quiet["dropouts"], Value::Array(vec![]));
    assert!(quiet["conversions"].as_u64().unwrap() > 3_600, "{quiet}");

    let drops = ["--for", "10 s", "--json", "--fault", "power switch=drops 5 ms"];
    let drops = place.run(&watch(&fixture, "power switch", &drops));
    assert_eq!(drops.code, 1, "{}", drops.err);
    let drops = object(&drops);
    assert_eq!((&drops["verdict"], &drops["class"]), (&"fail".into(), &"flaky".into()));
    let lines = drops["dropouts"].as_array().unwrap();
    assert_eq!(lines.len() as u64, drops["dropout_count"].as_u64().unwrap());
    assert!(!lines.is_empty());
    for line in lines {
        assert!((line["ms"].as_f64().unwrap() - 5.0).abs() < 1.5, "{line}");
    }
    assert_eq!(drops["segment"], "power switch");
    assert_eq!(drops["state"], "on");
}

#[test]
fn text_says_what_was_seen_and_the_verdict_last() {
    let (place, fixture) = (Place::new(), gauge());
    let ran =
        place.run(&watch(&fixture, "power switch", &["--for", "10 s", "--fault", "power switch=drops 5 ms"]));
    assert_eq!(ran.code, 1, "{}", ran.err);
    assert!(
        ran.out.starts_with("power switch · tide gauge head · state on\nwatched     10.1 s, "),
        "{}",
        ran.out
    );
    assert!(ran.out.contains("\ndropouts    "), "{}", ran.out);
    assert!(ran.out.ends_with("✗ FAIL\npower switch comes and goes.\n"), "{}", ran.out);
}

#[test]
fn it_is_kept_in_the_history_of_a_unit_that_the_records_know() {
    let (place, fixture) = (Place::new(), gauge());
    let serial = ["--serial", "A-1", "--for", "4 s", "--fault", "power switch=drops 5 ms"];
    let unknown = place.run(&watch(&fixture, "power switch", &serial));
    assert_eq!(unknown.code, 2, "{}", unknown.out);
    assert_eq!(place.run(&["receive", "A-1"]).code, 0);
    let kept = place.run(&watch(&fixture, "power switch", &serial));
    assert_eq!(kept.code, 1, "{}", kept.err);
    assert!(kept.out.contains("record      kept in the history of A-1"), "{}", kept.out);
    let unit = place.run(&["unit", "A-1"]);
    assert!(unit.out.contains("power switch watched for 4 s in state on: "), "{}", unit.out);
    assert!(unit.out.contains("✗ fail"), "{}", unit.out);
    assert_eq!(place.run(&["records", "check"]).code, 0);
}

#[test]
fn what_cannot_be_watched_is_told_with_what_can() {
    let (place, fixture) = (Place::new(), gauge());
    for (args, words) in [
        (
            watch(&fixture, "power swich", &[]),
            "there is no segment \"power swich\" on board \"tide gauge head\"; did you mean `power switch`?",
        ),
        (
            watch(&fixture, "power switch", &["--state", "onn"]),
            "there is no state \"onn\" on board \"tide gauge head\"; did you mean `on`?",
        ),
        (
            watch(&fixture, "power switch", &["--state", "off"]),
            "\"power switch\" does not conduct in state \"off\"; it does in \"on\"",
        ),
        (
            watch(&fixture, "power switch", &["--for", "1 s"]),
            "a time from \"2 s\" to \"30 min\" belongs here",
        ),
        (
            watch(&fixture, "power switch", &["--for", "soon"]),
            "a time from \"2 s\" to \"30 min\" belongs here",
        ),
        (watch(&fixture, "power switch", &["--fault", "power switch=drops"]), "is no fault of a segment"),
        (watch(&fixture, "power switch", &["--serial", "nobody"]), "nobody"),
    ] {
        let ran = place.run(&args);
        assert_eq!(ran.code, 2, "{args:?}: {}{}", ran.out, ran.err);
        assert!(ran.err.contains(words), "{args:?}: {}", ran.err);
        assert!(ran.out.is_empty(), "{}", ran.out);
    }
}

#[test]
fn a_bench_at_fault_is_status_3_and_an_open_path_status_1() {
    let (place, fixture) = (Place::new(), gauge());
    for (fault, code, words) in [
        ("lid=0 ms", 3, "the lid is open: close it"),
        ("lid=600 ms", 3, "the lid is open: close it"),
        ("battery=3.0 V", 3, "there is voltage on the unit"),
        ("cell+:sense=open", 3, "the pins of the supply terminals do not touch"),
        ("sw.in:sense=open", 3, "the sense pin at \"sw.in\" does not touch"),
        ("power switch=open", 1, "\"power switch\" is open and stays open"),
        ("fuse feed=open", 1, "no current flows through \"power switch\""),
    ] {
        let ran = place.run(&watch(&fixture, "power switch", &["--for", "4 s", "--fault", fault]));
        assert_eq!(ran.code, code, "{fault}: {}{}", ran.out, ran.err);
        assert!(ran.err.contains(words), "{fault}: {}", ran.err);
    }
    // Later, what was seen stays: here nothing was.
    let ran = place.run(&watch(&fixture, "power switch", &["--for", "10 s", "--json", "--fault", "lid=4 s"]));
    assert_eq!(ran.code, 3, "{}", ran.err);
    let seen = object(&ran);
    assert_eq!((&seen["verdict"], &seen["ended"]), (&"void".into(), &"the lid was opened".into()));
    assert!((2.5..3.5).contains(&seen["seconds"].as_f64().unwrap()), "{seen}");
}

/// Ctrl-C at any time: what was seen is shown, and the controller confirms that all is open.
#[cfg(unix)]
#[test]
fn an_interrupted_watch_keeps_what_was_seen() {
    let (place, fixture) = (Place::new(), gauge());
    let args = watch(&fixture, "power switch", &["--for", "30 min", "--json"]);
    // On a machine that is busy with something else the watch may not have begun after two seconds.
    let interrupted = |after: u64| {
        let child = place.command(&args).stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap();
        thread::sleep(Duration::from_secs(after));
        let began = Instant::now();
        let told = Command::new("kill").args(["-INT", &child.id().to_string()]).status().unwrap();
        assert!(told.success());
        let ran = Ran::of(child.wait_with_output().unwrap());
        assert!(began.elapsed() < Duration::from_secs(5), "{:?}", began.elapsed());
        ran
    };
    const BEFORE_ANYTHING_WAS_SEEN: i32 = 130;
    let mut ran = interrupted(2);
    for after in [8, 30] {
        if ran.code == BEFORE_ANYTHING_WAS_SEEN {
            ran = interrupted(after);
        }
    }
    assert_eq!(ran.code, 0, "{}{}", ran.out, ran.err);
    let seen = object(&ran);
    assert_eq!(seen["ended"], "stopped");
    assert!(seen["seconds"].as_f64().unwrap() > 1.0, "{seen}");
}
