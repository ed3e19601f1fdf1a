//! Watching a segment on the modelled bench: interruptions of two milliseconds are found, quiet contacts are not called flaky, and
//! whatever ends it leaves every relay open.
//!
//! The short run is in the suite; `COPPERWALK_LONG=1` watches for hours, and prints the figures of `docs/what-is-promised.md`.

use copperwalk::{
    board::SegmentId,
    disturbance::{Place, Watched, observer::Seen},
    fixture::{self, Fixture},
    link::Session,
    quantity::Seconds,
    verdict::{Class, Verdict},
    virtual_bench::{
        Parts, Spec, VirtualBench,
        trace::{Change, Event},
    },
    watch::{End, News, Task, TaskError, WatchError, Watcher},
};
use copperwalk_tests::attack::times;

fn example(name: &str) -> Fixture {
    let path = format!("{}/../fixtures/{name}/fixture.toml", env!("CARGO_MANIFEST_DIR"));
    fixture::read(path.as_ref()).unwrap()
}

fn segment(fixture: &Fixture, name: &str) -> SegmentId {
    fixture.board.segment_named(name).unwrap_or_else(|| panic!("no {name}"))
}

/// What came of watching, and what happened on the bench meanwhile.
struct Came {
    watched: Result<(Watched, End), WatchError>,
    news: Vec<News>,
    trace: Vec<Event>,
}

/// Watches a segment of a modelled unit in the first state in which it conducts.
fn watch(fixture: &Fixture, spec: &Spec, name: &str, seconds: f64) -> Came {
    let id = segment(fixture, name);
    let task = Task::new(fixture, id, Task::usual_state(fixture, id)).unwrap();
    let bench = VirtualBench::new(fixture, spec).unwrap();
    let mut operator = bench.operator();
    let mut session = Session::open(bench).unwrap();
    session.transport_mut().keep_trace(true);
    let mut news = Vec::new();
    let watched = Watcher { session: &mut session, operator: &mut operator, fixture }.watch(
        &task,
        Seconds(seconds),
        &mut |said| {
            if !matches!(said, News::Looks(_)) {
                news.push(said);
            }
        },
    );
    Came { watched, news, trace: session.transport().trace() }
}

/// Beginning and length of every interruption that was whole while the segment was watched, µs of watching.
fn interruptions(came: &Came) -> Vec<[f64; 2]> {
    let (watched, _) = came.watched.as_ref().unwrap();
    let on = |event: &&Event| event.what == Change::Excitation { on: true };
    // The reading before, then watching: the source is told 200 µs before it is on, and the first second is for warming up.
    let began = came.trace.iter().filter(on).nth(1).unwrap().at_us as f64 - 200.0 + 1e6;
    let mut opened = None;
    let mut all = Vec::new();
    for event in &came.trace {
        let Change::Contact { good, .. } = event.what else { continue };
        let at = event.at_us as f64 - began;
        match (good, opened.take()) {
            (false, _) => opened = Some(at),
            (true, Some(from)) if from > 1e3 && at + 1e4 < watched.us as f64 => all.push([from, at - from]),
            (true, _) => {}
        }
    }
    all
}

#[test]
fn interruptions_of_two_milliseconds_are_found_and_told_from_others() {
    let (mut there, mut found, mut placed, mut more) = (0, 0, 0, 0);
    let seconds = times(20, 600) as f64;
    for (board, name) in [
        ("tide-gauge-head", "power switch"),
        ("tide-gauge-head", "via pair 1"),
        ("trail-counter", "battery plug +"),
        ("greenhouse-valve-driver", "valve plug"),
    ] {
        let fixture = example(board);
        for (seed, parts) in draws(times(1, 5)) {
            let hum = if seed % 2 == 0 { "hum=5 uV" } else { "hum=0 uV" };
            let spec = Spec { parts, ..Spec::new(seed) }.fault(format!("{name}=drops 2 ms")).fault(hum);
            let came = watch(&fixture, &spec, name, seconds);
            let (watched, end) = came.watched.as_ref().unwrap();
            assert_eq!((end, watched.unwatched_us), (&End::Time, 0));
            assert_eq!((watched.verdict(), watched.class()), (Verdict::Fail, Class::Flaky), "{watched:?}");
            let truth = interruptions(&came);
            let mut seen = 0;
            for [at, length] in &truth {
                let near = watched.disturbances.iter().find(|seen| (seen.at_us as f64 - at).abs() < 8e3);
                let Some(near) = near else {
                    println!("{board}, {name}, {seed} {parts:?}: missed at {at} µs");
                    continue;
                };
                seen += 1;
                let right = near.place == Place::Segment && (near.us as f64 - length).abs() < 1.1e3;
                placed += usize::from(right);
                if !right {
                    println!("{board}, {name}, {seed} {parts:?}: at {at} µs for {length} µs: {near:?}");
                }
            }
            there += truth.len();
            found += seen;
            // The last may be cut by the end.
            more += watched.disturbances.len().saturating_sub(seen + 1)
                + watched.steps.len()
                + watched.noises.len();
        }
    }
    println!(
        "{there} interruptions of 2 ms: {found} found, {placed} named for the segment with their length, {more} false ones"
    );
    assert!(there > 100, "{there}");
    assert!(found * 100 >= there * 99 && placed * 100 >= there * 99, "{found} and {placed} of {there}");
    assert!(more * 200 <= there, "{more} false ones beside {there}");
}

/// Seeds, each with usual and hostile parts.
fn draws(seeds: usize) -> impl Iterator<Item = (u64, Parts)> {
    (1..=seeds as u64).flat_map(|seed| [(seed, Parts::Usual), (seed, Parts::Hostile)])
}

#[test]
fn quiet_contacts_are_not_called_flaky() {
    let (mut alarms, mut seconds) = (0, 0.0);
    for (board, name) in [
        ("tide-gauge-head", "power switch"),
        ("tide-gauge-head", "via pair 1"),
        ("tide-gauge-head", "cell fuse"),
        ("greenhouse-valve-driver", "input choke"),
    ] {
        let fixture = example(board);
        for (seed, parts) in draws(times(2, 10)) {
            let spec = Spec { parts, ..Spec::new(seed) }.fault("hum=5 uV");
            let came = watch(&fixture, &spec, name, times(20, 450) as f64);
            let (watched, end) = came.watched.as_ref().unwrap();
            assert_eq!((end, watched.unwatched_us), (&End::Time, 0));
            let seen =
                watched.counts.iter().sum::<u64>() as usize + watched.steps.len() + watched.noises.len();
            if seen > 0 {
                println!("{board}, {name}, {seed} {parts:?}: {watched:?}");
            }
            alarms += seen;
            seconds += watched.us as f64 / 1e6;
        }
    }
    let hours = seconds / 3600.0;
    println!("{hours:.2} hours of quiet contacts with 5 µV of hum: {alarms} alarms");
    assert!(alarms as f64 <= hours.max(1e-9), "{alarms} in {hours} hours");
}

#[test]
fn a_contact_that_comes_and_goes_all_the_while_is_flaky() {
    let fixture = example("tide-gauge-head");
    for (seed, parts) in draws(3) {
        let spec = Spec { parts, ..Spec::new(seed) }.fault("power switch=flaky");
        let came = watch(&fixture, &spec, "power switch", 5.0);
        let (watched, _) = came.watched.as_ref().unwrap();
        assert_eq!((watched.verdict(), watched.class()), (Verdict::Fail, Class::Flaky), "{seed} {parts:?}");
        assert!(watched.count(Place::Segment) > 200, "{seed} {parts:?}: {:?}", watched.counts);
        let told = came.news.iter().filter(|said| matches!(said, News::Seen(Seen::Disturbance(_)))).count();
        assert_eq!(told as u64, watched.counts.iter().sum::<u64>());
    }
}

#[test]
fn an_interruption_elsewhere_is_not_the_segments() {
    let fixture = example("tide-gauge-head");
    for (seed, parts) in draws(2) {
        let spec = Spec { parts, ..Spec::new(seed) }.fault("fuse feed=drops 10 ms");
        let came = watch(&fixture, &spec, "cell fuse", 20.0);
        let (watched, _) = came.watched.as_ref().unwrap();
        assert_eq!(watched.verdict(), Verdict::Unproven, "{seed} {parts:?}: {watched:?}");
        assert!(watched.count(Place::Elsewhere) > 5, "{seed} {parts:?}: {watched:?}");
    }
}

#[test]
fn whatever_ends_it_no_current_flows_and_every_relay_is_open() {
    let fixture = example("tide-gauge-head");
    for fault in [
        "power switch=flaky",
        "lid=2500 ms",
        "lid=20 ms",
        "battery=3 V",
        "sw.in:sense=open",
        "fuse feed=open",
    ] {
        let came = watch(&fixture, &Spec::new(1).fault(fault), "power switch", 3.0);
        let last = |of: fn(&Change) -> bool| {
            came.trace.iter().rev().find(|event| of(&event.what)).map(|event| event.what)
        };
        let excitation = last(|what| matches!(what, Change::Excitation { .. }));
        assert_ne!(excitation, Some(Change::Excitation { on: true }), "{fault}");
        let mut driven = std::collections::BTreeSet::new();
        for event in &came.trace {
            match event.what {
                Change::Relay { relay, on: true } => drop(driven.insert(relay)),
                Change::Relay { relay, on: false } => drop(driven.remove(&relay)),
                _ => {}
            }
        }
        assert!(driven.is_empty(), "{fault}: {driven:?}");
        if fault.starts_with("lid=25") {
            let (watched, end) = came.watched.unwrap();
            assert_eq!(end, End::Broke("the lid was opened".into()));
            assert!((1.0e6..2.5e6).contains(&(watched.us as f64)), "{watched:?}");
        }
    }
}

#[test]
fn what_cannot_be_watched_is_refused() {
    let fixture = example("tide-gauge-head");
    let switch = segment(&fixture, "power switch");
    let off = fixture.board.state_named("off").unwrap();
    let refused = Task::new(&fixture, switch, off).unwrap_err();
    assert!(matches!(refused, TaskError::Open { .. }), "{refused}");
    assert_eq!(Task::usual_state(&fixture, switch), fixture.board.state_named("on").unwrap());
}
