//! CPU time of what a person waits for: one sweep on the modelled bench, and the plan of a long board.
//!
//! Asked: a 12-segment sweep within 5 ms, the plan of 300 segments within 100 ms.

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

/// How a sweep grows with the board; the network that the model solves grows too.
fn long_boards(criterion: &mut Criterion) {
    let mut group = criterion.benchmark_group("long boards");
    group.sample_size(10);
    for segments in [30, 100, 300, 1000] {
        let bed = Bed::new(ladder(segments).expect("the ladder's files are in order"), Sampling::Quick);
        let (sweep, _) = bed.sweep(&Spec::new(1));
        println!(
            "ladder: {segments} segments, {:?}, {} ms of device time",
            sweep.judgement.verdict,
            sweep.measurement.work().device_us / 1000
        );
        group.bench_function(format!("sweep of {segments} segments"), |bencher| {
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

criterion_group!(benches, sweeps, long_boards, plans);
criterion_main!(benches);
