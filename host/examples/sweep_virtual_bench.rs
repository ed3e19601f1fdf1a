//! Sweeps a unit on the modelled bench, from files to rows: `cargo run --example sweep_virtual_bench`.
//!
//! A real bench differs in one line: the session is opened over a serial port instead.

use std::{error::Error, path::Path};

use copperwalk::{
    fixture,
    job::{Job, Subject},
    limits::LimitSet,
    link::Session,
    plan::{self, Sampling},
    report::{figures, words},
    virtual_bench::{Spec, VirtualBench},
};

const FIXTURE: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/../fixtures/tide-gauge-head/fixture.toml");

fn main() -> Result<(), Box<dyn Error>> {
    // What there is, and what will be measured. A fixture file brings its board file with it.
    let fixture = fixture::read(Path::new(FIXTURE))?;
    let plan = plan::compile(&fixture, &LimitSet::of_board(&fixture.board), Sampling::Quick)?;

    // A bench with a unit on it, both drawn from a seed; this unit has a corroded via.
    let bench = VirtualBench::new(&fixture, &Spec::new(7).fault("via pair 1=8 mohm"))?;
    let mut operator = bench.operator();
    let mut session = Session::open(bench)?;

    // One job: every state, every shot, and whatever the answers call for.
    let mut job = Job { session: &mut session, operator: &mut operator, fixture: &fixture, plan: &plan };
    let subject = Subject::new("A-7", None, 0);
    let sweep = job.sweep(subject, None, &mut |_event| {})?;

    for row in &sweep.judgement.segments {
        let (reading, limit) = (figures::segment(row), figures::segment_limit(row));
        println!("{:<20} {reading:>18} {limit:>14}  {}", row.name, words::verdict(row.verdict));
    }
    for fault in &sweep.judgement.faults {
        println!("{} reads {}: {}", fault.place, words::class(fault.class), fault.advice.repair);
    }
    Ok(())
}
