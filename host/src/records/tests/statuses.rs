//! Where units stand, before they are swept and after, and the answers to their checks.

use super::super::status::{Said, Status};
use super::super::summary::{Counts, Event, StartEntry};
use super::super::{Error, Records, sample};
use super::{fresh, run, start, unlock, watch};
use crate::verdict::Verdict;

fn swept(records: &Records, serial: &str, lot: Option<&str>, number: u32, broken: Option<usize>) {
    records.store(&sample::sweep(serial, lot, number, broken), &sample::fixture()).unwrap();
}

fn received(records: &Records, serials: &[&str], lot: Option<&str>) {
    let serials: Vec<String> = serials.iter().map(ToString::to_string).collect();
    records.receive(&serials, lot, 5).unwrap();
}

/// As the history says it, and as the list of units does: it must be the same.
fn status(records: &Records, serial: &str) -> Status {
    let status = records.unit(serial).unwrap().status;
    let units = records.units().unwrap();
    let line = units.iter().find(|line| line.unit.serial == serial).unwrap();
    assert_eq!(line.unit.status, status);
    status
}

#[test]
fn a_unit_goes_from_received_to_sold() {
    let (_folder, records) = fresh();
    received(&records, &["A-1"], Some("May"));
    assert_eq!(status(&records, "A-1"), Status::Received);
    let unit = records.unit("A-1").unwrap();
    assert_eq!((unit.lot.as_deref(), unit.events.len(), unit.sweeps().count()), (Some("May"), 1, 0));
    swept(&records, "A-1", None, 1, Some(2));
    assert_eq!(status(&records, "A-1"), Status::Swept);
    records.repair("A-1", 7, "ferrite 2", "replace", "").unwrap();
    assert_eq!(status(&records, "A-1"), Status::InRepair);
    // Nothing else that is written down moves it.
    records.note("A-1", 8, "waits for a part").unwrap();
    records.tick("A-1", 9, "display lights", false, "").unwrap();
    assert_eq!(status(&records, "A-1"), Status::InRepair);
    swept(&records, "A-1", None, 2, None);
    assert_eq!(status(&records, "A-1"), Status::Good);
    // The good sweep was of another unit: back to what was said before it.
    let last = records.unit("A-1").unwrap().sweeps().next_back().unwrap().id;
    records.void("A-1", last, 10, "the wrong unit lay on the bed").unwrap();
    assert_eq!(status(&records, "A-1"), Status::InRepair);
    records.set_status("A-1", 11, Said::Sold).unwrap();
    assert_eq!(status(&records, "A-1"), Status::Sold);
    assert_eq!(records.unit("A-1").unwrap().lot.as_deref(), Some("May"), "kept through everything");
    assert!(records.check().unwrap().sound());
}

/// The order of writing counts, whatever the clock said: a later judgement belongs to its sweep.
#[test]
fn a_sweep_that_is_judged_anew_stays_in_its_place() {
    let (_folder, records) = fresh();
    swept(&records, "A-1", None, 1, Some(2));
    let id = records.unit("A-1").unwrap().sweeps().next().unwrap().id;
    let mut judgement = records.sweep(id).unwrap().judgement;
    judgement.verdict = Verdict::Pass;
    judgement.faults.clear();
    records.keep_judgement(id, &judgement, 9).unwrap();
    assert_eq!(status(&records, "A-1"), Status::Good);
    records.set_status("A-1", -7, Said::Scrapped).unwrap();
    records.keep_judgement(id, &judgement, 10).unwrap();
    assert_eq!(status(&records, "A-1"), Status::Scrapped);
}

#[test]
fn a_lot_has_the_units_that_came_with_it_swept_or_not() {
    let (_folder, records) = fresh();
    received(&records, &["A-2", "A-1", "A-3"], Some("May"));
    received(&records, &["L"], None);
    swept(&records, "B-1", Some("June"), 1, None);
    swept(&records, "A-2", None, 2, None);
    let lot = records.lot("May").unwrap();
    let units: Vec<_> =
        lot.units.iter().map(|unit| (unit.serial.as_str(), unit.status, unit.now())).collect();
    let waits = Status::Received;
    let expected = [("A-1", waits, None), ("A-2", Status::Good, Some(Verdict::Pass)), ("A-3", waits, None)];
    assert_eq!(units, expected);
    assert_eq!(lot.now, Counts { pass: 1, unswept: 2, ..Counts::default() });
    assert_eq!((lot.now.total(), lot.now.passed(), lot.sweeps), (3, Some(1.0), 1));
    // One comes back with another lot.
    received(&records, &["A-3"], Some("April"));
    assert_eq!(records.lot("May").unwrap().units.len(), 2);
    let april = records.lot("April").unwrap();
    assert_eq!((april.units.len(), april.first_us, april.now.passed()), (1, None, None));
    let lots: Vec<_> = records.lots().unwrap().into_iter().map(|line| (line.lot, line.now.total())).collect();
    let lots: Vec<_> = lots.iter().map(|(lot, units)| (lot.as_str(), *units)).collect();
    assert_eq!(lots, [("June", 1), ("May", 2), ("April", 1)], "those without a sweep come last");
    let json = serde_json::to_value(records.units().unwrap()).unwrap();
    assert_eq!(
        json[0],
        serde_json::json!({ "lot": "May", "serial": "A-1", "status": "received", "repairs": 0 })
    );
    assert_eq!(json[4]["serial"], "L");
    assert!(records.check().unwrap().sound());
}

#[test]
fn units_are_received_together_or_not_at_all() {
    let (_folder, records) = fresh();
    let serials = ["A-1", "A\t2"].map(String::from);
    assert!(matches!(records.receive(&serials, None, 1), Err(Error::Text(_))));
    assert!(matches!(records.receive(&serials[..1], Some(" "), 1), Err(Error::Text(_))));
    assert!(records.units().unwrap().is_empty());
    assert!(matches!(records.set_status("A-1", 1, Said::Sold), Err(Error::UnknownUnit { .. })));
    assert!(matches!(records.tick("A-1", 1, "x", true, ""), Err(Error::UnknownUnit { .. })));
    records.receive(&[], None, 1).unwrap();
    received(&records, &["A-1", "A-1"], None);
    assert_eq!(records.unit("A-1").unwrap().events.len(), 1, "named twice, it is one unit");
}

#[test]
fn the_latest_answer_to_each_check_counts() {
    let (_folder, records) = fresh();
    received(&records, &["A-1"], None);
    records.tick("A-1", 1, "display lights", false, "dark").unwrap();
    records.tick("A-1", 2, "case seal seated", true, "").unwrap();
    records.tick("A-1", 3, "display lights", true, "").unwrap();
    let unit = records.unit("A-1").unwrap();
    let answers: Vec<_> =
        unit.checklist.iter().map(|tick| (tick.check.as_str(), tick.done, tick.at_us)).collect();
    assert_eq!(answers, [("display lights", true, 3), ("case seal seated", true, 2)]);
    assert_eq!(unit.events.len(), 4, "the earlier answer stays in the history");
    let json = serde_json::to_value(&unit).unwrap();
    let first = serde_json::json!({ "at_us": 3, "check": "display lights", "done": true, "note": "" });
    assert_eq!(json["checklist"][0], first);
    assert_eq!((&json["events"][3]["event"], &json["status"]), (&"tick".into(), &"received".into()));
    assert!(records.tick("A-1", 1, "", true, "").is_err());
    assert!(records.tick("A-1", 1, "x", true, "a\nb").is_err());
}

/// By another program: rows altered, taken away, or moved to another unit.
#[test]
fn what_is_not_as_it_was_written_is_not_shown() {
    for sql in [
        "UPDATE status SET status = 'sold' WHERE serial = 'A-1'",
        "UPDATE status SET lot = NULL WHERE serial = 'A-1'",
        "UPDATE status SET serial = 'B-1', entry = 3 WHERE serial = 'A-1'",
        "DELETE FROM status WHERE serial = 'A-1'",
        "UPDATE tick SET done = 0",
        "UPDATE tick SET name = 'case seal seated'",
        "DELETE FROM tick",
    ] {
        let (_folder, records) = fresh();
        received(&records, &["A-1", "B-1"], Some("May"));
        records.tick("A-1", 1, "display lights", true, "").unwrap();
        unlock(&records);
        run(&records, sql);
        assert!(matches!(records.unit("A-1"), Err(Error::Altered { .. })), "{sql}");
        assert!(matches!(records.lot("May"), Err(Error::Altered { .. })), "{sql}");
        assert!(matches!(records.units(), Err(Error::Altered { .. })), "{sql}");
        assert!(!records.check().unwrap().sound(), "{sql}");
    }
}

#[test]
fn a_watch_comes_back_as_it_was_written_and_changes_no_status() {
    let (_folder, records) = fresh();
    assert!(matches!(records.keep_watch("A-1", &watch(3)), Err(Error::UnknownUnit { .. })));
    records.store(&sample::sweep("A-1", None, 1, None), &sample::fixture()).unwrap();
    let before = records.unit("A-1").unwrap().status;
    records.keep_watch("A-1", &watch(3)).unwrap();
    let unit = records.unit("A-1").unwrap();
    assert_eq!(unit.events.last(), Some(&Event::Watch(watch(3))));
    assert_eq!(unit.status, before);
    assert!(records.check().unwrap().sound());
}

#[test]
fn a_start_comes_back_as_it_was_written_and_changes_neither_status_nor_verdict() {
    let (_folder, records) = fresh();
    assert!(matches!(records.keep_start("A-1", &start(3)), Err(Error::UnknownUnit { .. })));
    records.store(&sample::sweep("A-1", None, 1, None), &sample::fixture()).unwrap();
    let before = records.unit("A-1").unwrap();
    records.keep_start("A-1", &start(3)).unwrap();
    let failed = StartEntry { golden: false, verdict: Verdict::Fail, steady: None, ..start(4) };
    records.keep_start("A-1", &failed).unwrap();
    let unit = records.unit("A-1").unwrap();
    assert_eq!(unit.events[1..], [Event::Started(start(3)), Event::Started(failed)]);
    assert_eq!(unit.status, before.status);
    assert_eq!(unit.judged().next_back(), before.judged().next_back());
    assert!(records.check().unwrap().sound());
    // A golden one is found by its board, and under no other name.
    assert_eq!(records.golden_starts("greenhouse valve driver", "A").unwrap(), ["A-1"]);
    assert!(records.golden_starts("greenhouse valve driver", "B").unwrap().is_empty());
    run(&records, "DROP TRIGGER start_is_not_changed; UPDATE start SET steady_amps = 0.001 WHERE entry = 2");
    assert!(matches!(records.unit("A-1"), Err(Error::Altered { .. })));
}
