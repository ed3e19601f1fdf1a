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
