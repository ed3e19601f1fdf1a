//! Stores a sweep and judges it again by other limits: `cargo run --example judge_again`.
//!
//! Nothing is measured twice. What a sweep brought back stands in the records with the files it was planned from, so
//! that any limit set, and any later version of the program, can be held against it.

use std::{error::Error, fs, path::Path};

use copperwalk::{
    fixture,
    job::{Job, Subject},
    limits::{self, LimitSet},
    link::{CancelToken, Session},
    plan::{self, Sampling},
    records::Records,
    rejudge,
    report::words,
    virtual_bench::{Spec, VirtualBench},
};

const FIXTURE: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/../fixtures/tide-gauge-head/fixture.toml");
const LIMITS: &str = r#"
format = 1
[limits]
"power switch" = { max = "30 mohm" }
"#;

fn main() -> Result<(), Box<dyn Error>> {
    let folder = tempfile::tempdir()?;
    let records = Records::open(&folder.path().join("records.sqlite"))?;

    // A healthy unit, swept and recorded: see the example `sweep_virtual_bench`.
    let fixture = fixture::read(Path::new(FIXTURE))?;
    let plan = plan::compile(&fixture, &LimitSet::of_board(&fixture.board), Sampling::Quick)?;
    let bench = VirtualBench::new(&fixture, &Spec::new(7))?;
    let mut operator = bench.operator();
    let mut session = Session::open(bench)?;
    let mut job = Job { session: &mut session, operator: &mut operator, fixture: &fixture, plan: &plan };
    let subject = Subject::new("A-7", None, 0);
    let (id, sweep) = job.record(subject, &records, &mut |_event| {})?;
    println!("sweep {id}: {} by the board file's limits", words::verdict(sweep.judgement.verdict));

    // The same codes by tighter limits. `None`: nothing is kept, the records stay as they are.
    let limits = folder.path().join("limits.toml");
    fs::write(&limits, LIMITS)?;
    let outcome = rejudge::again(
        &records,
        &[id],
        Some(&|board| limits::read(&limits, board)),
        None,
        &CancelToken::default(),
    )?;
    for sweep in &outcome.changed {
        let [before, after] = [sweep.before, sweep.after].map(words::verdict);
        println!("sweep {}: {before} would be {after}", sweep.sweep);
        for change in &sweep.changes {
            println!("  {}: {}", change.place, change.why);
        }
    }
    Ok(())
}
