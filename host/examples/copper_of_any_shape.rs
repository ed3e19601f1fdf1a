//! Solves copper of any shape, in squares: `cargo run --example copper_of_any_shape`.
//!
//! Each line is a shape, its squares and the error stated. `tests/fem` holds them against a general library of finite elements.

use std::error::Error;

use copperwalk::copper::{Conductor, Layer, Shape, Terminal, Wanted, resistance};
use copperwalk::quantity::Ohms;

/// A shape with steps, holes and ends that meet the copper in corners: all that makes a solution slow to settle.
struct Case {
    name: &'static str,
    outer: &'static [[f64; 2]],
    holes: &'static [[[f64; 2]; 4]],
    /// Lower left and upper right corner of what is held at one potential.
    from: [[f64; 2]; 2],
    to: [[f64; 2]; 2],
}

const CASES: [Case; 3] = [
    Case {
        name: "stairs",
        outer: &[
            [0.0, 0.0],
            [4.0, 0.0],
            [4.0, 2.0],
            [6.0, 2.0],
            [6.0, 5.0],
            [3.0, 5.0],
            [3.0, 3.0],
            [1.0, 3.0],
            [1.0, 1.0],
            [0.0, 1.0],
        ],
        holes: &[],
        from: [[0.0, 0.0], [1.0, 1.0]],
        to: [[4.0, 4.0], [5.0, 5.0]],
    },
    Case {
        name: "thermal spokes",
        outer: &[[0.0, 0.0], [9.0, 0.0], [9.0, 9.0], [0.0, 9.0]],
        // Four spokes, each one wide, about a pad of three by three.
        holes: &[
            [[2.0, 2.0], [4.0, 2.0], [4.0, 3.0], [2.0, 3.0]],
            [[5.0, 2.0], [7.0, 2.0], [7.0, 3.0], [5.0, 3.0]],
            [[2.0, 6.0], [4.0, 6.0], [4.0, 7.0], [2.0, 7.0]],
            [[5.0, 6.0], [7.0, 6.0], [7.0, 7.0], [5.0, 7.0]],
            [[2.0, 3.0], [3.0, 3.0], [3.0, 4.0], [2.0, 4.0]],
            [[2.0, 5.0], [3.0, 5.0], [3.0, 6.0], [2.0, 6.0]],
            [[6.0, 3.0], [7.0, 3.0], [7.0, 4.0], [6.0, 4.0]],
            [[6.0, 5.0], [7.0, 5.0], [7.0, 6.0], [6.0, 6.0]],
        ],
        from: [[4.0, 4.0], [5.0, 5.0]],
        to: [[8.0, 8.0], [9.0, 9.0]],
    },
    Case {
        name: "comb",
        outer: &[
            [0.0, 0.0],
            [10.0, 0.0],
            [10.0, 6.0],
            [8.0, 6.0],
            [8.0, 1.0],
            [6.0, 1.0],
            [6.0, 6.0],
            [4.0, 6.0],
            [4.0, 1.0],
            [2.0, 1.0],
            [2.0, 6.0],
            [0.0, 6.0],
        ],
        holes: &[],
        from: [[0.0, 4.0], [1.0, 5.0]],
        to: [[9.0, 3.0], [10.0, 4.0]],
    },
];

fn main() -> Result<(), Box<dyn Error>> {
    let rectangle = |[low, high]: [[f64; 2]; 2]| Shape::Polygon {
        outer: vec![low, [high[0], low[1]], high, [low[0], high[1]]],
        holes: Vec::new(),
    };
    for case in CASES {
        let holes = case.holes.iter().map(|hole| hole.to_vec()).collect();
        let shapes = vec![Shape::Polygon { outer: case.outer.to_vec(), holes }];
        let layer = Layer { shapes, cuts: Vec::new(), sheet: Ohms(1.0), copper_um: 35.0, outer: true };
        let copper = Conductor { layers: vec![layer], barrels: Vec::new() };
        let [from, to] = [case.from, case.to].map(|area| Terminal::on(0, rectangle(area)));
        let solved = resistance(&copper, &from, &to, &Wanted { relative: 5e-4, ..Wanted::default() })?;
        println!("{}: {:.6} ± {:.6}", case.name, solved.resistance.0, solved.error.0);
    }
    Ok(())
}
