//! Killed in the middle of writing: only whole sweeps are there, and every one that was reported is.

use std::io::{BufRead, BufReader};
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::Duration;

use super::super::{Records, SweepId, sample};

const STORE: &str = "COPPERWALK_TEST_CRASH_STORE";

/// What the child process does: stores one sweep after the other until it is killed.
fn store_until_killed(path: &Path) {
    let records = Records::open(path).unwrap();
    let first = records.units().unwrap().len() as u32;
    for number in first.. {
        let id =
            records.store(&sample::sweep(&format!("K-{number}"), None, number, None), &sample::fixture());
        println!("stored {}", id.unwrap());
    }
}

/// The test starts itself as its own child, told by [`STORE`].
#[test]
#[cfg(unix)]
fn a_kill_in_the_middle_leaves_whole_sweeps_only() {
    if let Some(path) = std::env::var_os(STORE) {
        return store_until_killed(Path::new(&path));
    }
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("records.sqlite");
    let mut reported = 0;
    for round in 0..8_u64 {
        let mut child = Command::new(std::env::current_exe().unwrap())
            .args([
                "--exact",
                "records::tests::crash::a_kill_in_the_middle_leaves_whole_sweeps_only",
                "--nocapture",
            ])
            .env(STORE, &path)
            .stdout(Stdio::piped())
            .spawn()
            .unwrap();
        let mut lines = BufReader::new(child.stdout.take().unwrap()).lines();
        let mut stored = |line: String| {
            let id: i64 = line.rsplit_once("stored ").unwrap().1.parse().unwrap();
            reported = reported.max(id);
        };
        lines
            .by_ref()
            .map_while(Result::ok)
            .filter(|line| line.contains("stored "))
            .take(5)
            .for_each(&mut stored);
        // Another moment of a transaction each time; `kill` is SIGKILL.
        std::thread::sleep(Duration::from_micros(700 * round));
        child.kill().unwrap();
        child.wait().unwrap();
        lines.map_while(Result::ok).filter(|line| line.contains("stored ")).for_each(&mut stored);

        let records = Records::open(&path).unwrap();
        let units = records.units().unwrap();
        assert!(units.len() as i64 >= reported, "{} of {reported} reported sweeps are there", units.len());
        for line in &units {
            let number: u32 = line.unit.serial.strip_prefix("K-").unwrap().parse().unwrap();
            let whole = sample::sweep(&line.unit.serial, None, number, None);
            let last = line.unit.swept.as_ref().unwrap().last_sweep;
            assert_eq!(last, SweepId(i64::from(number) + 1));
            assert_eq!(records.sweep(last).unwrap(), whole);
        }
        let check: String = records
            .runtime
            .block_on(sqlx::query_scalar("PRAGMA integrity_check").fetch_one(&records.store.pool))
            .unwrap();
        assert_eq!(check, "ok");
    }
    assert!(reported >= 40);
}
