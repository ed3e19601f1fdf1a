//! How long it takes to solve a pour with 200 corners and 20 thermal spokes to 0.5 %: `cargo bench -p copperwalk-tests --bench
//! copper`. Asked: 1 s.

use std::time::Instant;

use copperwalk_tests::sheets::{spoked_pour, squares};

fn main() {
    let (pour, [from, to]) = spoked_pour();
    let began = Instant::now();
    let solved = squares(&pour, from, to, 0.005);
    let took = began.elapsed();
    println!(
        "{:.5} ± {:.5} squares, {} triangles, in {took:.3?}",
        solved.resistance.0, solved.error.0, solved.triangles
    );
}
