//! How long it takes to judge a store of 10,000 sweeps again: `cargo bench -p copperwalk-tests --bench judge_again`.
//!
//! Asked: 20 s on two cores. The sweeps are those of the example boards, good units and faulty ones in turn; each is
//! measured once and stored under many serial numbers.

use std::time::Instant;

use copperwalk::{
    link::CancelToken,
    plan::Sampling,
    records::{Of, Records},
    rejudge,
    virtual_bench::Spec,
};
use copperwalk_tests::campaign::Bed;

const SWEEPS: usize = 10_000;
/// Units measured for each board; every other one has a fault.
const UNITS: u64 = 20;

fn main() {
    let folder = tempfile::tempdir().expect("a folder");
    let records = Records::open(&folder.path().join("records.sqlite")).expect("a store");
    let beds = Bed::examples(Sampling::Quick);
    let units = beds.iter().flat_map(|bed| {
        (0..UNITS).map(move |seed| {
            let segments = &bed.fixture.board.segments;
            let broken = &segments[seed as usize % segments.len()].name;
            let spec = Spec::new(seed);
            let spec = if seed % 2 == 1 { spec.fault(format!("{broken}=open")) } else { spec };
            (bed, bed.sweep(&spec).0)
        })
    });
    let units: Vec<_> = units.collect();
    for (number, (bed, sweep)) in units.iter().cycle().take(SWEEPS).enumerate() {
        let mut sweep = sweep.clone();
        sweep.measurement.serial = format!("U-{number:05}");
        records.store(&sweep, &bed.fixture).expect("stored");
    }

    let numbers = records.numbers(Of::All).expect("numbers");
    let began = Instant::now();
    let outcome = rejudge::again(&records, &numbers, None, None, &CancelToken::default()).expect("judged");
    let took = began.elapsed();
    assert_eq!((outcome.judged, outcome.changed.len(), outcome.skipped.len()), (SWEEPS, 0, 0));
    println!("{SWEEPS} sweeps judged again in {took:.1?}");
}
