//! How fast a store of 5,000 sweeps answers. `cargo bench --bench records`; the aim is 50 ms for `unit` and for `lot`.
//!
//! The store is made up but of true size: 12 to 35 segments and about 600 raw codes a sweep, 2,000 units in 50 lots,
//! each swept two or three times, one in four broken at first, and one golden unit swept on every day of a year. A
//! second store holds the same in a single lot: the worst case.
#![allow(clippy::expect_used, reason = "a benchmark that cannot be set up stops")]

use std::hint::black_box;
use std::path::Path;
use std::time::Duration;

use copperwalk::records::Records;
use copperwalk::{board, fixture, hypothesis, measurement, plan, quantity, sweep, verdict};
use criterion::{Criterion, criterion_group, criterion_main};

// The made-up sweeps are those of the store's own tests; the file names its neighbours by `crate::`.
#[path = "../src/records/sample.rs"]
mod sample;

const SWEEPS: u32 = 5_000;
const GOLDEN: u32 = 365;

/// Fills a store; all sweeps in the lots that `lot` gives for a unit's number.
fn fill(path: &Path, lot: impl Fn(u32) -> String) -> Records {
    let records = Records::open(path).expect("a new store");
    let fixture = sample::fixture();
    for number in 0..SWEEPS {
        let (serial, lot, broken) = match number {
            0..GOLDEN => ("golden".to_owned(), None, None),
            _ => {
                let unit = number % 2_000;
                let broken = (number < 2_000 && unit.is_multiple_of(4)).then_some(unit as usize % 12);
                (format!("SN-{unit:05}"), Some(lot(unit)), broken)
            }
        };
        records
            .store(&sample::sweep(&serial, lot.as_deref(), number, broken), &fixture)
            .expect("a sweep stored");
    }
    records
}

fn answers(c: &mut Criterion) {
    let folder = tempfile::tempdir().expect("a folder");
    let began = std::time::Instant::now();
    let path = folder.path().join("records.sqlite");
    let records = fill(&path, |unit| format!("lot {:02}", unit % 50));
    let each = began.elapsed() / SWEEPS;
    let one_lot = fill(&folder.path().join("one lot.sqlite"), |_| "all".into());
    let bytes = path.metadata().expect("the store").len();
    println!("{SWEEPS} sweeps: {} MB, {each:.1?} to store each", bytes / 1_000_000);

    let mut group = c.benchmark_group("5,000 sweeps");
    group.sample_size(20).measurement_time(Duration::from_secs(3));
    group.bench_function("unit, 3 sweeps", |b| b.iter(|| records.unit(black_box("SN-00400"))));
    group.bench_function("unit, 365 sweeps", |b| b.iter(|| records.unit(black_box("golden"))));
    group.bench_function("lot, 40 units", |b| b.iter(|| records.lot(black_box("lot 08"))));
    group.bench_function("lot, 2,000 units", |b| b.iter(|| one_lot.lot(black_box("all"))));
    group.bench_function("lots", |b| b.iter(|| records.lots()));
    group.bench_function("units", |b| b.iter(|| records.units()));
    group.bench_function("open and unit", |b| {
        b.iter(|| Records::open(&path).and_then(|records| records.unit(black_box("SN-00400"))));
    });
    let next = sample::sweep("SN-00400", Some("lot 08"), SWEEPS, None);
    group.bench_function("store a sweep", |b| b.iter(|| records.store(&next, &sample::fixture())));
    group.finish();
}

criterion_group!(benches, answers);
criterion_main!(benches);
