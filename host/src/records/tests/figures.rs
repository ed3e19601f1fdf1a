//! What checking costs, and how long a check of everything takes. The figures hold for a release build, where they are
//! asserted: `COPPERWALK_LONG=1 cargo test --release -p copperwalk --lib figures -- --nocapture --test-threads 1`.

use std::time::{Duration, Instant};

use super::super::{Of, Records, sample};
use super::{UNSEALED, fresh};

fn is_long() -> bool {
    std::env::var_os("COPPERWALK_LONG").is_some_and(|long| long == "1")
}

/// Stores this many sweeps of a quarter as many units, one in four broken.
fn filled(records: &Records, sweeps: u32) {
    let fixture = sample::fixture();
    for number in 0..sweeps {
        let broken = number.is_multiple_of(4).then_some(number as usize % 12);
        let sweep =
            sample::sweep(&format!("SN-{}", number % sweeps.div_ceil(4)), Some("lot"), number, broken);
        records.store(&sweep, &fixture).unwrap();
    }
}

/// Stores so many units in one lot, each swept once with 100 readings, one in four broken.
fn filled_lot(records: &Records, units: u32) {
    let fixture = sample::fixture();
    for number in 0..units {
        let broken = number.is_multiple_of(4).then_some(number as usize % 12);
        let mut sweep = sample::sweep(&format!("SN-{number:05}"), Some("lot"), number, broken);
        let rows = sweep.judgement.segments.clone();
        sweep.judgement.segments.extend(rows.into_iter().cycle().take(100));
        sweep.judgement.segments.truncate(100);
        records.store(&sweep, &fixture).unwrap();
    }
}

/// Reading a sweep, its digests and its place in the ledger checked, against the same reading with nothing checked:
/// ≤ 10 % slower. Both in turns, and the quickest of each, so that a busy machine does not decide.
#[test]
fn checking_makes_reading_little_slower() {
    let sweeps = if is_long() { 400 } else { 40 };
    let (_folder, records) = fresh();
    filled(&records, sweeps);
    let ids = records.numbers(Of::All).unwrap();
    let mut quickest = [Duration::MAX; 2];
    for turn in 0..if is_long() { 60 } else { 6 } {
        let unsealed = turn % 2 == 0;
        UNSEALED.set(unsealed);
        let began = Instant::now();
        for id in &ids {
            records.sweep(*id).unwrap();
        }
        let best = &mut quickest[usize::from(unsealed)];
        *best = (*best).min(began.elapsed());
    }
    UNSEALED.set(false);
    let [checked, unchecked] = quickest.map(|time| time.as_secs_f64() / f64::from(sweeps) * 1e6);
    let slower = 100.0 * (checked / unchecked - 1.0);
    println!("reading a sweep: {checked:.0} µs checked, {unchecked:.0} µs unchecked: {slower:+.1} %");
    // Libraries are not optimised in a debug build, SHA-256 among them.
    assert!(cfg!(debug_assertions) || !is_long() || slower <= 10.0);
}

/// A check of 20,000 sweeps: ≤ 10 s.
#[test]
fn a_check_of_everything_takes_seconds() {
    let sweeps = if is_long() { 20_000 } else { 200 };
    let (_folder, records) = fresh();
    filled(&records, sweeps);
    let began = Instant::now();
    let findings = records.check().unwrap();
    let took = began.elapsed();
    assert!(findings.sound());
    assert_eq!(findings.whole_sweeps, u64::from(sweeps));
    println!("records check: {sweeps} sweeps in {:.2} s", took.as_secs_f64());
    assert!(cfg!(debug_assertions) || !is_long() || took <= Duration::from_secs(10));
}

/// Units on a page of a long list.
const PAGE: u32 = 200;

/// Units with 100 readings each, in one lot: all of them, and the lot, as a page asks for them.
#[test]
fn ten_thousand_units_are_listed_in_time() {
    let units = if is_long() { 10_000 } else { 100 };
    let (_folder, records) = fresh();
    filled_lot(&records, units);
    let quickest = |ask: &dyn Fn() -> usize| {
        let times = (0..if is_long() { 7 } else { 1 }).map(|_| {
            let began = Instant::now();
            assert_eq!(ask(), units as usize);
            began.elapsed()
        });
        times.min().unwrap_or_default()
    };
    let all = quickest(&|| records.units().unwrap().len());
    let lot = quickest(&|| records.lot("lot").unwrap().units.len());
    let pages = |lot| {
        let (mut count, mut slowest, mut after) = (0, Duration::ZERO, None::<String>);
        loop {
            let began = Instant::now();
            let page = records.page(lot, after.as_deref(), PAGE).unwrap();
            slowest = slowest.max(began.elapsed());
            count += page.units.len();
            after = page.next;
            if after.is_none() {
                assert_eq!(count, units as usize);
                return slowest;
            }
        }
    };
    let (of_all, of_lot) = (pages(None), pages(Some("lot")));
    println!(
        "{units} units of 100 readings: all in {all:.1?}, as a lot in {lot:.1?}; {PAGE} of them in {of_all:.1?} at most, \
         of a lot in {of_lot:.1?}"
    );
    assert!(cfg!(debug_assertions) || !is_long() || of_all.max(of_lot) <= Duration::from_millis(150));
}
