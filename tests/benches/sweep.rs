//! CPU time of what a person waits for: one sweep on the modelled bench, and the plan of a long board.
//!
//! Asked: a 12-segment sweep within 20 ms, the plan of 300 segments within 100 ms.

use copperwalk::{
    limits::LimitSet,
    plan::{Sampling, compile},
    virtual_bench::Spec,
};
use copperwalk_tests::{
    boards::ladder,
    campaign::{Bed, EXAMPLES},
};
use criterion::{Criterion, criterion_group, criterion_main};

fn sweeps(criterion: &mut Criterion) {
    for name in EXAMPLES {
        let bed = Bed::example(name, Sampling::Quick);
        let segments = bed.fixture.board.segments.len();
        let (sweep, _) = bed.sweep(&Spec::new(1));
        println!(
            "{name}: {segments} segments, {} ms of device time",
            sweep.measurement.work().device_us / 1000
        );
        criterion.bench_function(&format!("sweep of {segments} segments, good unit"), |bencher| {
            bencher.iter(|| bed.sweep(&Spec::new(1)));
        });
    }
}

fn plans(criterion: &mut Criterion) {
    for segments in [30, 300] {
        let fixture = ladder(segments).expect("the ladder's files are in order");
        criterion.bench_function(&format!("plan of {segments} segments"), |bencher| {
            bencher.iter(|| compile(&fixture, &LimitSet::of_board(&fixture.board), Sampling::Quick));
        });
    }
}

criterion_group!(benches, sweeps, plans);
criterion_main!(benches);
