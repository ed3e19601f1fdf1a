//! What the store answers about units and lots.

use super::super::status::Status;
use super::super::summary::{Counts, Event, Place};
use super::super::{Error, Records, SweepId, sample};
use super::fresh;
use crate::sweep::{BenchFault, Sweep, UnitFault};
use crate::verdict::{Class, Verdict};

fn swept(records: &Records, sweep: &Sweep) -> SweepId {
    records.store(sweep, &sample::fixture()).unwrap()
}

fn void(serial: &str, lot: Option<&str>, number: u32) -> Sweep {
    let mut sweep = sample::sweep(serial, lot, number, None);
    sweep.judgement.verdict = Verdict::Void;
    sweep.judgement.bench_faults =
        vec![BenchFault { part: "pin cell+".into(), what: "does not touch".into() }];
    sweep
}

/// The same segments each time, whatever the number.
fn alike(serial: &str, number: u32, broken: Option<usize>) -> Sweep {
    let mut sweep = sample::sweep(serial, Some("May"), 1, broken);
    sweep.measurement.started_us = number.into();
    sweep
}

#[test]
fn a_history_shows_before_and_after() {
    let (_folder, records) = fresh();
    swept(&records, &alike("A-1", 100, Some(5)));
    records.note("A-1", 150, "terminal bent").unwrap();
    records.repair("A-1", 160, "joint 5", "reflow", "lifted on the left").unwrap();
    swept(&records, &void("A-1", None, 2));
    // The bench computer's clock has jumped back; the order of writing stands.
    let mut loose = alike("A-1", 7, None);
    loose.measurement.lot = None;
    let last = swept(&records, &loose);

    let unit = records.unit("A-1").unwrap();
    assert_eq!(unit.lot.as_deref(), Some("May"), "sweeps without a lot leave the unit in its own");
    let told: Vec<&str> = unit
        .events
        .iter()
        .map(|event| match event {
            Event::Sweep(sweep) => match sweep.judgement.verdict {
                Verdict::Fail => "fail",
                Verdict::Void => "void",
                _ => "pass",
            },
            Event::Note(note) => &note.text,
            Event::Repair(repair) => &repair.action,
            Event::Void(void) => &void.because,
            Event::Status(_)
            | Event::Photo(_)
            | Event::Tick(_)
            | Event::Watch(_)
            | Event::Trade(_)
            | Event::Started(_) => "none was added",
        })
        .collect();
    assert_eq!(told, ["fail", "terminal bent", "reflow", "void", "pass"]);
    assert_eq!(unit.sweeps().count(), 3);
    assert_eq!(unit.judged().next_back().map(|sweep| sweep.id), Some(last));

    let trends = unit.segment_trends();
    let joint = trends.iter().find(|trend| trend.before().is_some_and(|row| row.name == "joint 5")).unwrap();
    assert_eq!(joint.readings.len(), 2, "the void sweep tells nothing about the unit");
    let [before, after] = [joint.before().unwrap(), joint.after().unwrap()];
    assert_eq!((before.verdict, before.class, before.resistance), (Verdict::Fail, Class::Open, None));
    assert_eq!((after.verdict, after.class), (Verdict::Pass, Class::Ok));
    assert_eq!(joint.board, "greenhouse valve driver");
    assert_eq!(unit.isolation_trends().len(), 1);
}

/// Worked by hand. Lot May: A passes at once; B fails, is repaired and passes; C fails twice in the same place; D
/// fails in one place, then in another; E is only ever void; F is unproven; G was swept under May, then moved.
#[test]
fn a_lot_counts_each_unit_once() {
    let (_folder, records) = fresh();
    let may = Some("May");
    let sweep = |serial, number, broken| {
        let lot = if number < 10 { may } else { None };
        swept(&records, &sample::sweep(serial, lot, number, broken))
    };
    sweep("A", 1, None);
    sweep("B", 2, Some(1));
    sweep("C", 3, Some(1));
    sweep("D", 4, Some(2));
    swept(&records, &void("E", may, 5));
    let mut unproven = sample::sweep("F", may, 6, Some(1));
    unproven.judgement.verdict = Verdict::Unproven;
    // Three suspects: the first counts, the likely second counts, the unlikely third does not.
    let suspect = |place: &str, probability| UnitFault {
        place: place.into(),
        class: Class::Leaky,
        probability,
        ..unproven.judgement.faults[0].clone()
    };
    unproven.judgement.faults = vec![suspect("x", 0.4), suspect("y", 0.5), suspect("z", 0.49)];
    swept(&records, &unproven);
    sweep("G", 7, Some(3));
    records.repair("B", 1, "via 1", "wire through", "").unwrap();
    sweep("B", 12, None);
    sweep("C", 13, Some(1));
    let moved_on = sweep("D", 14, Some(3));
    swept(&records, &void("D", None, 15));
    swept(&records, &sample::sweep("G", Some("June"), 16, None));

    let lot = records.lot("May").unwrap();
    assert_eq!(lot.first, Counts { pass: 1, fail: 3, unproven: 1, void: 1, unswept: 0 });
    assert_eq!(lot.now, Counts { pass: 2, fail: 2, unproven: 1, void: 1, unswept: 0 });
    assert_eq!((lot.first.passed(), lot.now.passed()), (Some(0.2), Some(0.4)));
    assert_eq!((lot.sweeps, lot.void_sweeps), (10, 2));
    assert_eq!((lot.first_us, lot.last_us), (Some(sample_start(1)), Some(sample_start(15))));
    assert_eq!(lot.won_back().map(|unit| unit.serial.as_str()).collect::<Vec<_>>(), ["B"]);

    let serials: Vec<&str> = lot.units.iter().map(|unit| unit.serial.as_str()).collect();
    assert_eq!(serials, ["A", "B", "C", "D", "E", "F"]);
    assert_eq!(lot.units[3].repairs, 0);
    let d = lot.units[3].swept.as_ref().unwrap();
    assert_eq!((d.sweeps, d.first, d.now), (3, Verdict::Fail, Verdict::Fail));
    assert_eq!((d.last_sweep, d.last_us), (moved_on, sample_start(14)), "a void sweep does not count");
    assert_eq!(d.fault, Some(Place { place: "fuse 3".into(), class: Class::Open }));
    assert_eq!((lot.units[1].repairs, &lot.units[1].swept.as_ref().unwrap().fault), (1, &None));
    assert_eq!(lot.units[4].now(), Some(Verdict::Void));
    let statuses: Vec<Status> = lot.units.iter().map(|unit| unit.status).collect();
    let [good, swept] = [Status::Good, Status::Swept];
    assert_eq!(statuses, [good, good, swept, swept, Status::Received, swept]);

    let pareto: Vec<(&str, u32, u32)> =
        lot.pareto.iter().map(|row| (row.place.as_str(), row.units, row.still)).collect();
    let expected = [("via 1", 2, 1), ("fuse 3", 1, 1), ("x", 1, 1), ("y", 1, 1), ("ferrite 2", 1, 0)];
    assert_eq!(pareto, expected);

    let lots: Vec<(String, u32)> =
        records.lots().unwrap().into_iter().map(|line| (line.lot, line.now.total())).collect();
    assert_eq!(lots, [("May".into(), 6), ("June".into(), 1)]);
    let units = records.units().unwrap();
    assert_eq!(units.len(), 7);
    assert_eq!((units[6].lot.as_deref(), units[6].unit.now()), (Some("June"), Some(Verdict::Pass)));
}

fn sample_start(number: u32) -> i64 {
    sample::sweep("", None, number, None).measurement.started_us
}

#[test]
fn what_is_not_there_is_said_with_what_looks_like_it() {
    let (_folder, records) = fresh();
    let place = format!("in the records at {}", records.path().display());
    assert_eq!(
        records.unit("A-0001").unwrap_err().to_string(),
        format!(
            "no unit \"A-0001\" {place}; see that it is spelt as it was, and that --records names the right file"
        )
    );
    for (number, serial) in ["A-0011", "A-0012", "B-7"].iter().enumerate() {
        swept(&records, &sample::sweep(serial, Some("May 2024"), number as u32, None));
    }
    assert_eq!(
        records.unit("a-0013").unwrap_err().to_string(),
        format!("no unit \"a-0013\" {place}; did you mean \"A-0011\" or \"A-0012\"?")
    );
    assert_eq!(
        records.lot("May 2025").unwrap_err().to_string(),
        format!("no unit of a lot \"May 2025\" {place}; did you mean \"May 2024\"?")
    );
    assert!(matches!(records.note("A-0013", 1, "x"), Err(Error::UnknownUnit { .. })));
    assert!(matches!(records.repair("A-0013", 1, "x", "x", ""), Err(Error::UnknownUnit { .. })));
    assert_eq!(
        records.sweep(SweepId(99)).unwrap_err().to_string(),
        format!("no sweep 99 {place}; `copperwalk unit SN` names those of a unit")
    );
    assert!(matches!(records.files(SweepId(-1)), Err(Error::UnknownSweep { .. })));
    assert!(matches!(records.unit(&"7".repeat(10_000)), Err(Error::Text(_))));
    assert!(matches!(records.lot("\0"), Err(Error::Text(_))));
}

#[test]
fn notes_and_repairs_must_say_something() {
    let (_folder, records) = fresh();
    swept(&records, &sample::sweep("A-1", None, 1, None));
    assert_eq!(
        records.note("A-1", 1, " ").unwrap_err().to_string(),
        "the note is empty: give at least one visible character"
    );
    assert!(records.repair("A-1", 1, "", "reflow", "").is_err());
    assert!(records.repair("A-1", 1, "via 1", "", "").is_err());
    assert_eq!(records.unit("A-1").unwrap().events.len(), 1);
}

/// The words of the JSON that people build on.
#[test]
fn answers_as_json_use_the_words_of_the_screens() {
    let (_folder, records) = fresh();
    swept(&records, &sample::sweep("A-1", Some("May"), 1, Some(2)));
    records.repair("A-1", 9, "ferrite 2", "replace", "").unwrap();
    let unit = serde_json::to_value(records.unit("A-1").unwrap()).unwrap();
    assert_eq!(unit["events"][0]["event"], "sweep");
    assert_eq!(unit["events"][0]["segments"][2]["class"], "open");
    assert_eq!(
        unit["events"][1],
        serde_json::json!({ "event": "repair", "at_us": 9, "where": "ferrite 2", "action": "replace", "text": "" })
    );
    let lot = serde_json::to_value(records.lot("May").unwrap()).unwrap();
    assert_eq!(lot["units"][0]["fault"], serde_json::json!({ "where": "ferrite 2", "class": "open" }));
    assert_eq!(
        lot["now"],
        serde_json::json!({ "pass": 0, "fail": 1, "unproven": 0, "void": 0, "unswept": 0 })
    );
}
