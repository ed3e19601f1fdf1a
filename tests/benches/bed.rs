//! A bed of as many pins as the bench has channels: proposed, and its plates laid out. Asked for: a second.

use std::fmt::Write as _;
use std::hint::black_box;

use copperwalk::{
    bed::{Families, Start, plate::plates, propose},
    board,
};
use criterion::{Criterion, criterion_group, criterion_main};

/// A path of 44 segments with a branch, and its return: 46 sense pins, and 14 force pins.
fn text() -> String {
    const SEGMENTS: usize = 44;
    const BRANCH: usize = 30;
    let mut points = String::from("\"r\" = { at = [80, 60], side = \"front\", kind = \"pad\" }\n");
    for i in 0..=SEGMENTS {
        let (x, y) = (6 + 9 * (i % 9), 6 + 9 * (i / 9));
        let _ = writeln!(points, "\"p{i}\" = {{ at = [{x}, {y}], side = \"both\", kind = \"pad\" }}");
    }
    let mut segments = String::new();
    for i in 1..=SEGMENTS {
        let kind = ["joint", "fuse", "ferrite", "inductor", "fuse"][i % 5];
        let from = if i == BRANCH { 12 } else { i - 1 };
        let _ = writeln!(
            segments,
            "[[segment]]\nname = \"s{i}\"\nkind = \"{kind}\"\nfrom = \"p{from}\"\nto = \"p{i}\"\ntypical = \"50 mohm\"\nmax = \"100 mohm\""
        );
    }
    format!(
        "format = 1\n[board]\nname = \"full matrix\"\nrevision = \"A\"\nthickness = \"1.6 mm\"\ncopper = \"35 um\"\n\
         outline = [[0, 0], [90, 0], [90, 70], [0, 70]]\n[supply]\nfrom = \"p0\"\nto = [\"p{}\", \"p{SEGMENTS}\"]\nreturn = \"r\"\n\
         voltage = [\"9 V\", \"12 V\"]\nload = \"100 mA\"\nmax_drop = \"2 V\"\n[points]\n{points}{segments}",
        BRANCH - 1
    )
}

fn bed(criterion: &mut Criterion) {
    let board = board::parse("board.toml", &text()).unwrap();
    criterion.bench_function("bed of a full matrix", |bencher| {
        bencher.iter(|| {
            let bed = propose(black_box(&board), Start::new(&board), Families::generic()).unwrap();
            plates(&bed, &board).unwrap()
        });
    });
}

criterion_group!(benches, bed);
criterion_main!(benches);
