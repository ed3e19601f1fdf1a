//! Copper for tests: sheets of one ohm a square, so that resistances are counted in squares.

use copperwalk::copper::{Conductor, Layer, Shape, Solved, Terminal, Wanted, resistance};
use copperwalk::quantity::Ohms;
use copperwalk::random::Rng;

/// A layer of one ohm a square, 35 µm thick.
pub fn layer(shapes: Vec<Shape>) -> Layer {
    Layer { shapes, cuts: Vec::new(), sheet: Ohms(1.0), copper_um: 35.0, outer: true }
}

/// A conductor of one layer.
pub fn sheet(shapes: Vec<Shape>) -> Conductor {
    Conductor { layers: vec![layer(shapes)], barrels: Vec::new() }
}

/// A rectangle between two corners.
pub fn rectangle([x0, y0]: [f64; 2], [x1, y1]: [f64; 2]) -> Shape {
    Shape::Polygon { outer: vec![[x0, y0], [x1, y0], [x1, y1], [x0, y1]], holes: Vec::new() }
}

/// A round area.
pub fn disc(at: [f64; 2], diameter_mm: f64) -> Shape {
    Shape::Disc { at, diameter_mm }
}

/// Solves a single layer between two areas.
pub fn squares(copper: &Conductor, from: Shape, to: Shape, relative: f64) -> Solved {
    let wanted = Wanted { relative, ..Wanted::default() };
    resistance(copper, &Terminal::on(0, from), &Terminal::on(0, to), &wanted)
        .expect("copper between the ends")
}

/// A pour with a wavy outline of 200 corners and five pads within clearances, each on four spokes: 20 spokes. And the pads
/// at its left and right, which the current goes between.
pub fn spoked_pour() -> (Conductor, [Shape; 2]) {
    let corner = |i: usize| {
        let angle = std::f64::consts::TAU * i as f64 / 200.0;
        let wave = if i.is_multiple_of(2) { 1.0 } else { 0.93 };
        [40.0 * wave * angle.cos(), 25.0 * wave * angle.sin()]
    };
    let pads = [[-28.0, 0.0], [-10.0, 8.0], [0.0, -12.0], [12.0, 6.0], [28.0, 0.0]];
    let around = |[x, y]: [f64; 2], half: f64| {
        vec![[x - half, y - half], [x + half, y - half], [x + half, y + half], [x - half, y + half]]
    };
    let mut shapes = vec![Shape::Polygon {
        outer: (0..200).map(corner).collect(),
        holes: pads.iter().map(|at| around(*at, 1.5)).collect(),
    }];
    for [x, y] in pads {
        shapes.push(disc([x, y], 2.0));
        for [dx, dy] in [[1.0, 0.0], [0.0, 1.0], [-1.0, 0.0], [0.0, -1.0]] {
            shapes.push(Shape::Track { points: vec![[x, y], [x + 1.7 * dx, y + 1.7 * dy]], width_mm: 0.4 });
        }
    }
    (sheet(shapes), [disc(pads[0], 2.0), disc(pads[4], 2.0)])
}

/// Any copper: a chain of two to seven pieces that overlap, of every kind of shape, with holes, and a spot at either end.
pub fn any(rng: &mut Rng) -> (Conductor, [Shape; 2]) {
    let (mut shapes, mut cuts) = (Vec::new(), Vec::new());
    let mut at = [0.0, 0.0];
    let spot = |at, rng: &mut Rng| disc(at, rng.decades(0.1, 0.6));
    let from = spot(at, rng);
    for _ in 0..rng.between(2.0, 8.0) as usize {
        let next = [at[0] + rng.between(-4.0, 8.0), at[1] + rng.between(-6.0, 6.0)];
        let width_mm = rng.decades(0.2, 3.0);
        let middle = [(at[0] + next[0]) / 2.0, (at[1] + next[1]) / 2.0];
        match rng.between(0.0, 4.0) as usize {
            0 => shapes.push(Shape::Track { points: vec![at, [at[0], next[1]], next], width_mm }),
            1 => {
                let aside = [middle[0] + rng.between(-1.0, 1.0), middle[1] + rng.between(-1.0, 1.0)];
                shapes.push(Shape::Arc { start: at, mid: aside, end: next, width_mm });
            }
            2 => {
                let edge = rng.between(0.3, 1.0);
                let low = [at[0].min(next[0]) - edge, at[1].min(next[1]) - edge];
                let high = [at[0].max(next[0]) + edge, at[1].max(next[1]) + edge];
                shapes.push(rectangle(low, high));
                if rng.unit() < 0.5 {
                    let hole = 0.3 * (high[0] - low[0]).min(high[1] - low[1]);
                    cuts.push((middle, hole));
                }
            }
            _ => shapes.push(Shape::Track { points: vec![at, next], width_mm }),
        }
        at = next;
    }
    let to = spot(at, rng);
    // What keeps the ends joined and on copper whatever is cut.
    let ends = [&from, &to].map(|end| match end {
        Shape::Disc { at, .. } => *at,
        _ => [0.0; 2],
    });
    let mut copper = layer(shapes);
    copper.cuts = cuts
        .into_iter()
        .filter(|(at, hole)| ends.iter().all(|end| (end[0] - at[0]).hypot(end[1] - at[1]) > hole / 2.0 + 0.5))
        .map(|(at, hole)| disc(at, hole))
        .collect();
    (Conductor { layers: vec![copper], barrels: Vec::new() }, [from, to])
}
