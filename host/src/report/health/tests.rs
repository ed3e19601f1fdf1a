//! What courses say: rules broken since when, what is to be done, what could not be read.

use std::sync::Arc;

use super::*;
use crate::{
    records::{Error, Setup, sample},
    report::{html, terminal},
    sweep::StandardRow,
};

/// Deviations that scatter as a meter does, in parts per million.
const SCATTER: [f64; 10] = [0.0, 40.0, -30.0, 10.0, -50.0, 20.0, 35.0, -15.0, 5.0, -20.0];

fn scatter(number: usize) -> f64 {
    SCATTER[number % SCATTER.len()] * 1e-6
}

/// A sweep whose standard reads so much off, relative.
fn stored(number: usize, off: f64) -> Numbered<Stored> {
    let id = SweepId(number as i64);
    let mut sweep = sample::sweep(&format!("SN-{number}"), None, number as u32, None);
    // The codes of the sample are no readings.
    sweep.measurement.runs.clear();
    sweep.judgement.standards = vec![StandardRow {
        name: "1R".into(),
        stated: Ohms(1.0),
        tolerance: 0.001,
        resistance: Some(Ohms(1.0 + off)),
        u95: Some(Ohms(0.0002)),
        verdict: Verdict::Pass,
    }];
    let setup = Setup::Bed(Arc::new(sample::fixture()));
    (id, Ok(Stored { id, measurement: sweep.measurement, setup, judgement: sweep.judgement }))
}

fn worked() -> Vec<Worked> {
    let bench = |name: &str, sweeps, closures| Worked { bench_name: name.into(), sweeps, closures };
    vec![
        bench("/dev/ttyACM0", 900, 41_000),
        bench("virtual bench, seed 1", 2, 80),
        bench("virtual bench, seed 2", 1, 40),
    ]
}

/// Thirty sweeps in order, then six whose standard has moved, and one that cannot be read.
pub fn wandered() -> Health {
    let mut all: Vec<_> = (0..30).map(|number| stored(number, scatter(number))).collect();
    all.extend((30..36).map(|number| stored(number, 4e-4 + scatter(number))));
    all.push((SweepId(36), Err(Error::UnknownSweep { path: "records.sqlite".into(), id: SweepId(36) })));
    health(all, &worked())
}

#[test]
fn a_standard_that_moves_is_told_with_the_sweep_since_when() {
    let health = wandered();
    assert_eq!((health.sweeps, health.left_out.len()), (36, 1));
    assert_eq!(health.left_out[0].sweep, SweepId(36));
    let [standard] = &health.standards[..] else { panic!("{:?}", health.standards) };
    let broken = standard.limits.as_ref().unwrap().standing().unwrap();
    assert_eq!((broken.rule, broken.since.sweep, broken.above), (Rule::Action, SweepId(30), true));
    let standards: Vec<_> = health.todo.iter().filter(|todo| todo.what.contains("standard 1R")).collect();
    let [todo] = &standards[..] else { panic!("{:?}", health.todo) };
    assert_eq!(todo.since.unwrap().sweep, SweepId(30));
    assert!(todo.why.contains("beyond the action limit, above"), "{todo:?}");
    // Without the move nothing is to be done about it, and below twenty readings nothing is said.
    let steady = super::health((0..36).map(|number| stored(number, scatter(number))).collect(), &[]);
    assert!(steady.todo.iter().all(|todo| !todo.what.contains("standard")), "{:?}", steady.todo);
    assert!(steady.standards[0].limits.as_ref().unwrap().broken.is_empty());
    let few = super::health((0..BASE - 1).map(|number| stored(number, scatter(number))).collect(), &[]);
    assert_eq!(few.standards[0].limits, None);
}

#[test]
fn every_form_says_what_was_left_out_and_what_to_do() {
    let health = wandered();
    let page = html::health(&health, 0);
    let text = terminal::health(&health, terminal::Screen::PLAIN);
    for shown in [&page, &text] {
        assert!(shown.contains("1 sweep was left out, because it cannot be read"), "{shown}");
        assert!(shown.contains("Clean the pins and sockets of standard 1R"), "{shown}");
    }
    // Beyond a limit is a square, and the words stand in the drawing's title and description.
    assert_eq!(page.matches("<rect class=\"point\"").count(), 6);
    assert!(page.contains("<title id=\"standard-0-title\">Deviation of 1R from"), "{page}");
    assert!(page.contains("Now broken: a reading beyond the action limit, since sweep 30."), "{page}");
    assert!(text.contains("!!!!!!"), "{text}");
    assert!(text.lines().all(|line| line.chars().count() <= 80), "{text}");
}

#[test]
fn benches_count_their_closures_over_all_sweeps() {
    let health = health(vec![stored(1, 0.0)], &worked());
    let benches: Vec<_> =
        health.wear.iter().map(|wear| (wear.bench.as_str(), wear.sweeps, wear.closures)).collect();
    assert_eq!(benches, [("/dev/ttyACM0", 900, 41_000), ("virtual bench", 3, 120)]);
}

/// A course of one contact that was in order and then read so many ohms more.
fn contact(point: &str, plus: bool, more: f64) -> ContactCourse {
    let at = |number: usize| At { sweep: SweepId(number as i64), started_us: 0 };
    let ohms = |number: usize| 0.2 + 100.0 * scatter(number) + if number < 30 { 0.0 } else { more };
    let readings: Vec<_> = (0..34).map(|number| (at(number), ohms(number))).collect();
    ContactCourse {
        fixture: "bed 1".into(),
        point: point.into(),
        plus,
        latest: Ohms(ohms(33)),
        worst: Ohms(ohms(33)),
        limits: Limits::of(&readings),
        readings: readings
            .into_iter()
            .map(|(at, ohms)| ContactReading { at, resistance: Ohms(ohms) })
            .collect(),
    }
}

#[test]
fn both_relays_point_to_the_pin_and_one_to_itself() {
    let said = |contacts: &[ContactCourse]| {
        todo::todo(&[], contacts, &[], &[]).into_iter().map(|todo| todo.what).collect::<Vec<_>>()
    };
    let both = [contact("cell+", false, 0.3), contact("cell+", true, 0.3)];
    assert_eq!(said(&both), ["Clean the force pin at cell+ of bed 1"]);
    let one = [contact("cell+", false, 0.0), contact("cell+", true, 0.3)];
    assert_eq!(
        said(&one),
        [
            "Clean the force pin at cell+ of bed 1; if it stays, change its + relay: the other one reads as before"
        ]
    );
    // Less than before is what cleaning does; more than 2 Ω is the end of a reed.
    assert!(said(&[contact("cell+", true, -0.15)]).is_empty());
    assert_eq!(
        said(&[contact("cell+", true, 3.0)]),
        ["Clean the force pin at cell+ of bed 1, then change its + relay"]
    );
}

#[test]
fn hum_that_grows_is_told_with_what_helps() {
    let course = |loud: f64| {
        let peak = |number: usize| Volts(if number < 25 { 1e-6 + scatter(number) * 1e-2 } else { loud });
        let at = |number: usize| At { sweep: SweepId(number as i64), started_us: 0 };
        let readings: Vec<HumReading> =
            (0..30).map(|number| HumReading { at: at(number), peak: peak(number), hertz: 50.0 }).collect();
        let limits =
            Limits::of(&readings.iter().map(|reading| (reading.at, reading.peak.0)).collect::<Vec<_>>());
        HumCourse { fixture: "bed 1".into(), readings, limits }
    };
    let todo = |loud| todo::todo(&[], &[], &[course(loud)], &[]);
    let [one] = &todo(8e-6)[..] else { panic!("{:?}", todo(8e-6)) };
    assert!(one.what.contains("sense leads of bed 1"), "{one:?}");
    assert_eq!(one.since.map(|at| at.sweep), Some(SweepId(25)));
    assert_eq!(todo(1e-6), Vec::new());
}
