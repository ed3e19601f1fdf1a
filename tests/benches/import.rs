//! How long it takes to import a board: `cargo bench -p copperwalk-tests --bench import`. Asked: 2 s for a two-layer board of
//! 100 × 80 mm. The boards are demonstration boards of Debian's `kicad-demos`; those that are not installed are left out.

use std::hint::black_box;
use std::path::Path;
use std::time::Duration;

use copperwalk::import::{self, Request};
use criterion::Criterion;

/// Board, where the supply comes in, load, return.
const BOARDS: [(&str, &str, &str, &str); 2] = [
    ("pic_programmer/pic_programmer.kicad_pcb", "P1.2", "U3.1", "P1.1"),
    ("complex_hierarchy/complex_hierarchy.kicad_pcb", "P2.1", "U2.3", "P2.2"),
];

fn main() {
    let mut criterion =
        Criterion::default().sample_size(10).measurement_time(Duration::from_secs(20)).configure_from_args();
    for (board, from, to, ret) in BOARDS {
        let path = Path::new("/usr/share/kicad/demos").join(board);
        if !path.is_file() {
            println!("{} is missing: install Debian's kicad-demos", path.display());
            continue;
        }
        let request =
            Request { from: from.into(), to: vec![to.into()], ret: ret.into(), through: Vec::new() };
        criterion.bench_function(board, |bench| bench.iter(|| black_box(import::import(&path, &request))));
    }
    criterion.final_summary();
}
