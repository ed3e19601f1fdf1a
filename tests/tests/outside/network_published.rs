//! The network solver against networks whose answers are published or follow from a theorem.

use copperwalk::quantity::{Amps, Ohms, Volts};
use copperwalk::virtual_bench::network::{GROUND, Network, Node, Sources};

/// Resistance between two nodes of a network given by its branches.
fn ohms(nodes: usize, branches: &[(Node, Node, f64)], a: Node, b: Node) -> f64 {
    let mut network = Network::new(nodes);
    for &(from, to, ohms) in branches {
        network.resistor(from, to, Ohms(ohms));
    }
    let mut sources = Sources::default();
    sources.current(a, Amps(1.0));
    sources.current(b, Amps(-1.0));
    let at = network.factor().solve(&sources);
    (at[a] - at[b]).0
}

fn close(a: f64, b: f64, relative: f64) {
    assert!((a / b - 1.0).abs() <= relative, "{a} is not {b}");
}

/// A cube of 1 Ω edges; corners are numbered by their coordinates in binary.
fn cube() -> Vec<(Node, Node, f64)> {
    (0..8)
        .flat_map(|corner| [1, 2, 4].map(|axis| (corner, corner ^ axis, 1.0)))
        .filter(|(from, to, _)| from < to)
        .collect()
}

/// Source: the textbook cube of equal resistors; edge 7/12, face diagonal 3/4, body diagonal 5/6 of one resistor.
#[test]
fn cube_of_resistors() {
    for corner in 0..8 {
        close(ohms(8, &cube(), corner, corner ^ 1), 7.0 / 12.0, 1e-12);
        close(ohms(8, &cube(), corner, corner ^ 3), 3.0 / 4.0, 1e-12);
        close(ohms(8, &cube(), corner, corner ^ 7), 5.0 / 6.0, 1e-12);
    }
}

/// Source: Foster's theorem. Over all branches of a connected network the resistance between their ends, divided
/// by their own, adds up to the nodes less one.
#[test]
fn foster_theorem() {
    // Branches of very unequal size, in meshes and with dead ends.
    let uneven: Vec<(Node, Node, f64)> = (1..30)
        .flat_map(|i: usize| {
            let ohms = [1e-3, 0.5, 20.0, 4.7e3][i % 4];
            [(i, i / 2, ohms), (i, (7 * i) % 11, 3.0 * ohms)]
        })
        .filter(|(from, to, _)| from != to)
        .collect();
    for (nodes, branches) in [(8, cube()), (30, uneven)] {
        let sum: f64 = branches.iter().map(|&(a, b, own)| ohms(nodes, &branches, a, b) / own).sum();
        close(sum, nodes as f64 - 1.0, 1e-9);
    }
}

/// Source: the endless ladder of 1 Ω resistors has the golden ratio, (1 + √5)/2; sixty sections are endless enough.
#[test]
fn ladder_of_resistors() {
    let sections = 60;
    let ladder: Vec<_> = (1..=sections).flat_map(|i| [(i, i + 1, 1.0), (i + 1, GROUND, 1.0)]).collect();
    close(ohms(sections + 2, &ladder, 1, GROUND), (1.0 + 5f64.sqrt()) / 2.0, 1e-14);
}

/// Source: the endless square grid of 1 Ω resistors, 1/2 between neighbours (from memory: Atkinson and van Steenwijk,
/// 1999). The edges of a finite grid show in the fourth digit. Nothing
/// here is a chain: meshes all over.
#[test]
fn square_grid() {
    let side = 25;
    let node = |x: usize, y: usize| y * side + x;
    let across = (0..side).flat_map(|y| (1..side).map(move |x| (node(x - 1, y), node(x, y), 1.0)));
    let up = (1..side).flat_map(|y| (0..side).map(move |x| (node(x, y - 1), node(x, y), 1.0)));
    let grid: Vec<_> = across.chain(up).collect();
    let middle = side / 2;
    close(ohms(side * side, &grid, node(middle, middle), node(middle + 1, middle)), 0.5, 2e-3);
}

/// Source: the bridge of Wheatstone (textbook). Excited by 1 V, with one arm of four equal ones off by x, it reads
/// x/(4 + 2x); with equal ratios it reads nothing.
#[test]
fn wheatstone_bridge() {
    let bridge = |r1: f64, r2: f64, r3: f64, r4: f64| {
        let mut network = Network::new(4);
        let supply = network.resistor(1, GROUND, Ohms(1e-9));
        network.resistor(1, 2, Ohms(r1));
        network.resistor(2, GROUND, Ohms(r2));
        network.resistor(1, 3, Ohms(r3));
        network.resistor(3, GROUND, Ohms(r4));
        network.resistor(2, 3, Ohms(1e9));
        let mut sources = Sources::default();
        sources.force(supply, Volts(1.0));
        let at = network.factor().solve(&sources);
        (at[3] - at[2]).0
    };
    assert!(bridge(100.0, 200.0, 10.0, 20.0).abs() < 1e-9);
    for x in [-0.5, 0.01, 0.1, 1.0] {
        close(bridge(100.0, 100.0, 100.0, 100.0 * (1.0 + x)), x / (4.0 + 2.0 * x), 1e-6);
    }
}

/// Source: a maker's note on the parts of a spring probe: plunger 1.24, barrel 8.32, receptacle 13.20 mΩ in series, the
/// spring's 2125.09 mΩ beside them; about 99 % of the current avoids the spring.
#[test]
fn spring_probe() {
    let probe = [(1, 2, 1.24e-3), (2, 3, 8.32e-3), (3, GROUND, 13.20e-3), (1, GROUND, 2125.09e-3)];
    let whole = ohms(4, &probe, 1, GROUND);
    close(whole, 22.76 * 2125.09 / (22.76 + 2125.09) * 1e-3, 1e-12);
    let through_spring = whole / 2125.09e-3;
    assert!((0.010..0.0115).contains(&through_spring), "{through_spring}");
}

/// Four-wire reading of one resistor with a thermal voltage in a sense lead, at this current and time.
fn reading(amps: f64, ohms: f64, emf: f64) -> f64 {
    let mut network = Network::new(4);
    network.resistor(1, GROUND, Ohms(ohms));
    let sense = network.resistor(2, 1, Ohms(0.15));
    network.resistor(3, GROUND, Ohms(0.15));
    let mut sources = Sources::default();
    sources.current(1, Amps(amps));
    sources.force(sense, Volts(emf));
    let at = network.factor().solve(&sources);
    (at[2] - at[3]).0
}

/// Source: a nanovoltmeter manual's printed example of current reversal: ±1 mA through 0.1 Ω with 10 µV of thermal EMF
/// read +110 µV and -90 µV; half the difference is 100 µV, 0.1 Ω exactly.
#[test]
fn current_reversal_example() {
    let (forward, reversed) = (reading(1e-3, 0.1, 10e-6), reading(-1e-3, 0.1, 10e-6));
    close(forward, 110e-6, 1e-12);
    close(reversed, -90e-6, 1e-12);
    close((forward - reversed) / 2.0 / 1e-3, 0.1, 1e-12);
    close((forward + reversed) / 2.0, 10e-6, 1e-10);
}

/// Three readings combine as (v1 − 2·v2 + v3)/4, which cancels a constant and a linear drift (algebra; a handbook's delta
/// method, from memory).
#[test]
fn three_readings_cancel_a_drift() {
    let [v1, v2, v3] =
        [(1e-3, 10e-6), (-1e-3, 13e-6), (1e-3, 16e-6)].map(|(amps, emf)| reading(amps, 0.1, emf));
    close((v1 - 2.0 * v2 + v3) / 4.0, 100e-6, 1e-10);
}
