//! The store on real files.

mod answers;
mod broken;
mod crash;
mod figures;
mod locks;
mod photos;
mod statuses;
mod trades;
mod whole;

use std::cell::Cell;

use sqlx::Executor;
use tempfile::TempDir;

use super::Records;
use super::summary::{StartEntry, WatchEntry};
use crate::quantity::{Amps, Volts};
use crate::verdict::Verdict;

thread_local! {
    /// Set while a test measures what digests cost.
    pub(super) static UNSEALED: Cell<bool> = const { Cell::new(false) };
}

/// A new store in a folder that goes away with it.
fn fresh() -> (TempDir, Records) {
    let folder = tempfile::tempdir().unwrap();
    let records = Records::open(&folder.path().join("records.sqlite")).unwrap();
    (folder, records)
}

/// A segment that was watched, at this time.
fn watch(at_us: i64) -> WatchEntry {
    WatchEntry {
        at_us,
        segment: "joint 5".into(),
        state: "on".into(),
        bench_name: "virtual, seed 1".into(),
        watched_ms: 30_000,
        dropouts: 12,
        longest_us: 3_200,
        steps: 1,
        noises: 0,
        verdict: Verdict::Fail,
        sheet: "{}".into(),
    }
}

/// A first power, at this time.
fn start(at_us: i64) -> StartEntry {
    StartEntry {
        at_us,
        board: "greenhouse valve driver".into(),
        revision: "A".into(),
        supply: "ACME S1, serial number 7".into(),
        golden: true,
        voltage: Volts(3.0),
        steady: Some(Amps(5.2e-3)),
        inrush: None,
        verdict: Verdict::Unproven,
        because: "nothing says what a good one draws".into(),
        sheet: "{}".into(),
    }
}

/// Runs statements as another program would.
fn run(records: &Records, sql: &str) {
    // References are looked at connection by connection.
    let sql = format!("PRAGMA foreign_keys = OFF; {sql}; PRAGMA foreign_keys = ON");
    records.runtime.block_on(records.store.pool.execute(sqlx::AssertSqlSafe(sql))).unwrap();
}

/// Takes away what keeps rows from being changed, as somebody would who means to.
fn unlock(records: &Records) {
    let names = "SELECT name FROM sqlite_schema WHERE type = 'trigger'";
    let names: Vec<String> =
        records.runtime.block_on(sqlx::query_scalar(names).fetch_all(&records.store.pool)).unwrap();
    for name in names {
        run(records, &format!("DROP TRIGGER {name}"));
    }
}
