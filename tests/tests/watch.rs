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
    // The reading before, then watching: the source is told 200 µs before it is on.
    let began = came.trace.iter().filter(on).nth(1).unwrap().at_us as f64 - 200.0;
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
    let (mut there, mut found, mut placed) = (0, 0, 0);
    for (board, name) in [("tide-gauge-head", "power switch"), ("trail-counter", "battery spring")] {
        let fixture = example(board);
        let Some(id) = fixture.board.segment_named(name) else { continue };
        for (seed, parts) in (1..=times(1, 10) as u64).flat_map(|seed| [(seed, Parts::Usual), (seed, Parts::Hostile)]) {
            let spec = Spec { parts, ..Spec::new(seed) }.fault(format!("{name}=drops 2 ms"));
            let came = watch(&fixture, &spec, name, times(20, 600) as f64);
            let (watched, end) = came.watched.as_ref().unwrap();
            assert_eq!(*end, End::Time);
            assert_eq!((watched.verdict(), watched.class()), (Verdict::Fail, Class::Flaky), "{watched:?}");
            let truth = interruptions(&came);
            for [at, length] in &truth {
                let near = watched.disturbances.iter().find(|seen| (seen.at_us as f64 - at).abs() < 8e3);
                there += 1;
                found += usize::from(near.is_some());
                placed += usize::from(near.is_some_and(|seen| {
                    seen.place == Place::Segment && (seen.us as f64 - length).abs() < 1.5e3
                }));
                if near.is_none() {
                    println!("{board} {seed} {parts:?}: missed {at} {length}");
                } else if near.is_some_and(|n| n.place != Place::Segment || (n.us as f64 - length).abs() >= 1.5e3) {
                    println!("{board} {seed} {parts:?}: {at} {length} {near:?}");
                }
            }
            let false_ones = watched.disturbances.len().saturating_sub(truth.len());
            println!("{board} {seed} {parts:?}: {} of {}, {false_ones} more, longest {} µs, steps {:?}, noises {:?}, id {id:?}", watched.disturbances.len(), truth.len(), watched.longest_us, watched.steps, watched.noises);
        }
    }
    println!("{there} interruptions of 2 ms: {found} found, {placed} named for the segment with their length");
}

#[test]
fn quiet_contacts_are_quiet() {
    for (board, names) in [("tide-gauge-head", ["power switch", "via pair 1", "cell fuse"])] {
        let fixture = example(board);
        for name in names {
            for (seed, parts) in (1..=times(2, 10) as u64).flat_map(|seed| [(seed, Parts::Usual), (seed, Parts::Hostile)]) {
                let spec = Spec { parts, ..Spec::new(seed) }.fault("hum=5 uV");
                let came = watch(&fixture, &spec, name, times(20, 600) as f64);
                let (watched, _) = came.watched.as_ref().unwrap();
                println!("{name} {seed} {parts:?}: R {:?} noise {:?} {:?} {:?} {:?}", watched.resistance, watched.noise, watched.counts, watched.steps, watched.noises);
            }
        }
    }
}
