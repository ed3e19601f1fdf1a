//! What goes in comes out, and stays.

use sqlx::Executor;

use super::super::status::Said;
use super::super::{Error, Records, SweepId, sample};
use super::{fresh, photos, start, watch};
use crate::measurement::{ByHand, Manner, Method, Touch};
use crate::proof::{Figures, HumFound, Proof};
use crate::quantity::{Ohms, Volts};
use crate::sweep::{BenchFault, Sweep};
use crate::trade::{Dealing, book::SaidOfLot};
use crate::verdict::Verdict;
use crate::{board, fixture};

/// A proof of a bench, of this time.
fn proof(bench: &str, made_us: i64) -> Proof {
    let fixture = sample::fixture();
    let figures = Figures {
        bench: bench.into(),
        bench_name: "virtual, seed 1".into(),
        bed_hash: fixture.bed_hash(),
        fixture: fixture.name,
        program: "0.1.0".into(),
        made_us,
        meter: None,
        standards: Vec::new(),
        thermometers: Vec::new(),
        noise: Vec::new(),
        hum: Some(HumFound { peak: Volts(0.1 + 0.2), hertz: 50.0 }),
        contacts: Vec::new(),
        repeats: Vec::new(),
        faults: Vec::new(),
        shots: 583,
        device_us: 23_801_651,
    };
    Proof::new(&figures).unwrap()
}

/// A sweep with something in every list and in every optional column, or nothing in any.
fn varied() -> Vec<Sweep> {
    let mut void = sample::sweep("7/2024 \"B\"", Some("it's a lot; --"), 3, Some(4));
    void.judgement.verdict = Verdict::Void;
    void.judgement.air = None;
    void.judgement.bench_faults = vec![BenchFault {
        part: "pin cell+ (sense channel 0)".into(),
        what: "does not touch: clean it".into(),
    }];
    let silent = &mut void.judgement.thermometers[0];
    (silent.resistance, silent.temperature, silent.u95_kelvin, silent.counts) = (None, None, None, false);
    void.judgement.standards[0].resistance = None;
    void.judgement.isolation[0].resistance = Some(Ohms(f64::MIN_POSITIVE));
    void.judgement.isolation[0].at_least = Some(Ohms(f64::INFINITY));
    void.measurement.started_us = i64::MIN;
    void.measurement.repaired_us = Some(i64::MIN);
    let mut empty = sample::sweep("序号", None, 4, None);
    for list in [&mut empty.judgement.notes, &mut Vec::new()] {
        list.clear();
    }
    empty.judgement.segments.clear();
    empty.judgement.isolation.clear();
    empty.judgement.thermometers.clear();
    empty.judgement.standards.clear();
    empty.judgement.closures.clear();
    empty.measurement.runs.clear();
    let mut proven = sample::sweep("A-1", Some("May"), 1, None);
    let kept = proof("0001", 5);
    proven.judgement.proof = Some(kept.hash());
    proven.measurement.proof = Some(kept);
    vec![proven, sample::sweep("A-1", None, 2, Some(0)), void, empty]
}

#[test]
fn a_sweep_comes_back_identical() {
    let (_folder, records) = fresh();
    for sweep in varied() {
        let id = records.store(&sweep, &sample::fixture()).unwrap();
        assert_eq!(records.sweep(id).unwrap(), sweep);
    }
}

#[test]
fn the_latest_proof_of_a_bench_and_a_fixture_is_found() {
    let (_folder, records) = fresh();
    let fixture = sample::fixture().name;
    assert_eq!(records.latest_proof("0001", &fixture).unwrap(), None);
    let [early, late, other] = [("0001", 5), ("0001", 7), ("0002", 9)].map(|(bench, at)| proof(bench, at));
    for kept in [&late, &early, &other, &late] {
        records.keep_proof(kept).unwrap();
    }
    assert_eq!(records.latest_proof("0001", &fixture).unwrap(), Some(late));
    assert_eq!(records.latest_proof("0002", &fixture).unwrap(), Some(other));
    assert_eq!(records.latest_proof("0001", "another bed").unwrap(), None);
    assert_eq!(records.check().unwrap().proofs, 3);
}

#[test]
fn it_is_still_there_when_the_store_is_opened_again() {
    let (_folder, records) = fresh();
    let path = records.path().to_owned();
    let sweeps = varied();
    let ids: Vec<SweepId> =
        sweeps.iter().map(|sweep| records.store(sweep, &sample::fixture()).unwrap()).collect();
    records.note("A-1", 5, "terminal bent").unwrap();
    let before = records.unit("A-1").unwrap();
    drop(records);
    let beside: Vec<_> = path.parent().unwrap().read_dir().unwrap().map(|e| e.unwrap().file_name()).collect();
    assert_eq!(beside, ["records.sqlite"], "closing leaves one file, which is the whole store");

    let records = Records::open(&path).unwrap();
    for (id, sweep) in ids.iter().zip(&sweeps) {
        assert_eq!(&records.sweep(*id).unwrap(), sweep);
    }
    assert_eq!(records.unit("A-1").unwrap(), before);
}

#[test]
fn the_files_it_was_judged_by_are_kept_with_it() {
    let (_folder, records) = fresh();
    let fixture = sample::fixture();
    let first = records.store(&sample::sweep("A-1", None, 1, None), &fixture).unwrap();
    // The board file changes, the fixture file, which names it by path, does not.
    let changed = format!("{}# looked at again\n", fixture.board.source);
    let board = board::parse("board.toml", &changed).unwrap();
    let fixture = fixture::parse("fixture.toml", &fixture.source, board).unwrap();
    let mut sweep = sample::sweep("A-1", None, 2, None);
    sweep.measurement.basis.board_hash.clone_from(&fixture.board.hash);
    let second = records.store(&sweep, &fixture).unwrap();

    let [old, new] = [first, second].map(|id| records.files(id).unwrap());
    assert_eq!(old.board, sample::fixture().board.source);
    assert_eq!(new.board, fixture.board.source);
    assert_eq!((&old.fixture, &new.fixture), (&Some(fixture.source.clone()), &Some(fixture.source)));
}

#[test]
fn a_sweep_judged_by_files_that_were_not_handed_over_is_refused_whole() {
    let (_folder, records) = fresh();
    let mut sweep = sample::sweep("A-1", None, 1, None);
    sweep.measurement.basis.board_hash = "0".repeat(64);
    assert!(matches!(records.store(&sweep, &sample::fixture()), Err(Error::Refused { .. })));
    assert!(records.units().unwrap().is_empty());
    // The same connection is fit for work again.
    records.store(&sample::sweep("A-1", None, 1, None), &sample::fixture()).unwrap();
}

/// From any program, not only this one.
#[test]
fn nothing_is_ever_changed_or_deleted() {
    let (_folder, records) = fresh();
    let mut sweep = sample::sweep("A-1", Some("May"), 1, Some(2));
    sweep.judgement.bench_faults = vec![BenchFault { part: "pin".into(), what: "dirty".into() }];
    let id = records.store(&sweep, &sample::fixture()).unwrap();
    records.note("A-1", 5, "terminal bent").unwrap();
    let work = Dealing::Work { minutes: 5, parts: None, method: None, instead: false };
    records.deal("A-1", 5, &work).unwrap();
    records.say_of_lot("May", 5, &[SaidOfLot::Units(3)]).unwrap();
    records.repair("A-1", 6, "joint 5", "reflow", "").unwrap();
    records.void("A-1", id, 7, "the wrong unit lay on the bed").unwrap();
    records.set_status("A-1", 8, Said::Sold).unwrap();
    records.tick("A-1", 9, "display lights", true, "").unwrap();
    records.photo("A-1", 10, "", photos::png(3, 2)).unwrap();
    records.keep_watch("A-1", &watch(11)).unwrap();
    records.keep_start("A-1", &start(12)).unwrap();
    records.mark("test").unwrap();
    records.keep_proof(&proof("0001", 5)).unwrap();
    let taken_in = "INSERT INTO taken_in VALUES ('x')";
    records.runtime.block_on(records.store.pool.execute(taken_in)).unwrap();
    let pool = &records.store.pool;
    let tables: Vec<String> = records
        .runtime
        .block_on(
            sqlx::query_scalar(
                "SELECT name FROM sqlite_schema WHERE type = 'table' AND name NOT LIKE '\\_%' ESCAPE '\\'",
            )
            .fetch_all(pool),
        )
        .unwrap();
    assert_eq!(tables.len(), 32, "{tables:?}");
    for table in tables {
        let some: String = records
            .runtime
            .block_on(
                sqlx::query_scalar("SELECT name FROM pragma_table_info($1) LIMIT 1")
                    .bind(&table)
                    .fetch_one(pool),
            )
            .unwrap();
        for attempt in [format!("UPDATE {table} SET {some} = {some}"), format!("DELETE FROM {table}")] {
            let refused = records.runtime.block_on(pool.execute(sqlx::AssertSqlSafe(attempt.clone())));
            let said = refused.expect_err(&attempt).to_string();
            assert!(said.contains("records are append-only"), "{attempt}: {said}");
        }
    }
    assert_eq!(records.sweep(id).unwrap(), sweep);
}

#[test]
fn raw_codes_are_compact() {
    let (_folder, records) = fresh();
    let sweep = sample::sweep("A-1", None, 1, None);
    let codes: usize =
        sweep.measurement.runs.iter().flat_map(|run| &run.shots).map(|shot| shot.codes.len()).sum();
    assert!((550..650).contains(&codes), "{codes} codes: not the case to look at");
    records.store(&sweep, &sample::fixture()).unwrap();
    let bytes: i64 = records
        .runtime
        .block_on(sqlx::query_scalar("SELECT length(runs) FROM raw").fetch_one(&records.store.pool))
        .unwrap();
    // Full-range codes take four bytes each, a shot with its times about sixty.
    assert!(bytes < 4 * 650 + 40 * 64, "{bytes} bytes for {codes} codes");
}

#[test]
fn serial_numbers_that_could_not_be_asked_for_are_not_kept() {
    let (_folder, records) = fresh();
    let fixture = sample::fixture();
    for serial in ["", " A-1", "A\n1", &"7".repeat(10_000)] {
        let stored = records.store(&sample::sweep(serial, None, 1, None), &fixture);
        assert!(matches!(stored, Err(Error::Text(_))), "{serial:?}");
    }
    assert!(records.store(&sample::sweep("A-1", Some("\t"), 1, None), &fixture).is_err());
    assert!(records.units().unwrap().is_empty());
}

#[test]
fn what_was_read_by_hand_comes_back_and_stands_on_a_board_alone() {
    let (_folder, records) = fresh();
    let board = sample::fixture().board;
    let mut sweep = sample::sweep("A-1", None, 1, None);
    let touch = Touch {
        from: "cell+".into(),
        to: "reg.in".into(),
        state: "on".into(),
        on_good_unit: false,
        answered: "0.4 ohm".into(),
        meter: "typed".into(),
        method: Some(Method::TwoWire),
        lead: Some(Ohms(0.2)),
        resistance: Some(Ohms(0.2)),
        at_least: None,
        at_most: Some(Ohms(0.4)),
    };
    sweep.measurement.manner = Manner::ByHand;
    sweep.measurement.runs.clear();
    sweep.measurement.by_hand = Some(ByHand { touches: vec![touch], stopped: true });
    sweep.measurement.basis.bed = None;
    let id = records.store_by_hand(&sweep, &board).unwrap();
    assert_eq!(records.sweep(id).unwrap(), sweep);
    assert_eq!(records.files(id).unwrap().fixture, None);
    let stored = records.read(&[id]).unwrap().pop().unwrap().unwrap();
    assert_eq!((stored.setup.board(), stored.setup.fixture()), (&board, None));
    assert!(records.check().unwrap().sound());
}
