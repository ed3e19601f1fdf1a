//! Routes among 50 and 500 keep-outs: asked for, 50 ms and a second.

use std::hint::black_box;

use copperwalk::board::{Face, KeepOut, Side};
use copperwalk::route::{End, Task, Wire, shortest};
use criterion::{Criterion, criterion_group, criterion_main};

/// A board full of keep-outs of four to seven corners in a raster that is a little out of order; `bend_mm` is wider than the clearance
/// leaves where it is above 1.
fn task(keep_outs: usize, bend_mm: f64) -> Task {
    const PITCH_MM: f64 = 6.0;
    let columns = ((keep_outs as f64) * 1.25).sqrt().ceil() as usize;
    let rows = keep_outs.div_ceil(columns);
    let [width, height] = [columns, rows].map(|count| PITCH_MM * (count as f64 + 1.0));
    let shift = |number: usize, times: usize| ((number * times) % 17) as f64 / 17.0 * 1.6 - 0.8;
    let keep_out = |number: usize| {
        let at = [number % columns, number / columns].map(|place| PITCH_MM * (place as f64 + 1.0));
        let corners = 4 + number % 4;
        let corner = |corner: usize| {
            let angle = std::f64::consts::TAU * (corner as f64 + shift(number, 7) / 3.0) / corners as f64;
            let radius = 1.4 + shift(number + corner, 5) / 2.0;
            [
                at[0] + shift(number, 3) + radius * angle.cos(),
                at[1] + shift(number, 11) + radius * angle.sin(),
            ]
        };
        let polygon = (0..corners).map(corner).collect();
        KeepOut { side: Face::Front, polygon, height_mm: None, why: String::new() }
    };
    let end = |name: &str, at: [f64; 2]| End { name: name.into(), at, side: Side::Front, pad_mm: None };
    Task {
        outline: vec![[0.0, 0.0], [width, 0.0], [width, height], [0.0, height]],
        keep_outs: (0..keep_outs).map(keep_out).collect(),
        thickness_mm: 1.6,
        wire: Wire {
            insulated_mm: 0.6,
            conductor_mm: 0.25,
            bend_mm,
            clearance_mm: 0.4,
            edge_mm: 0.5,
            relief_mm: 15.0,
            slack_share: 0.05,
            slack_mm: 0.0,
        },
        from: end("from", [1.2, 1.2]),
        to: end("to", [width - 1.2, height - 1.2]),
        holes: Vec::new(),
        passage_mm: 10.0,
    }
}

fn routes(criterion: &mut Criterion) {
    for keep_outs in [50, 500] {
        for (bends, bend_mm) in [("as tight as the clearance", 0.7), ("of 1.8 mm", 1.8)] {
            let task = task(keep_outs, bend_mm);
            criterion.bench_function(
                &format!("route among {keep_outs} keep-outs, bends {bends}"),
                |bencher| {
                    bencher.iter(|| shortest(black_box(&task)));
                },
            );
        }
    }
}

criterion_group! { name = benches; config = Criterion::default().sample_size(10); targets = routes }
criterion_main!(benches);
