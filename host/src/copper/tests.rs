//! The parts one by one; `tests/tests/outside/copper_published.rs` holds the whole to published figures.

use super::cholesky::Symmetric;
use super::element::Element;
use super::mesh::{Beyond, Mesh, Nodes, divide, triangulate};
use super::network::{Branch, currents};
use super::weld::weld;
use super::*;
use crate::plane::{apart, signed_area};

const SQUARE: [[f64; 2]; 4] = [[0.0, 0.0], [4.0, 0.0], [4.0, 4.0], [0.0, 4.0]];

fn meshed(held: &[(usize, Vec<contour::Contour>)]) -> Mesh {
    let mut mesh = Mesh { points: Vec::new(), triangles: Vec::new() };
    triangulate(&mut mesh, 0, &[SQUARE.to_vec()], held, 1000).unwrap();
    mesh
}

/// A chain of equal resistors from a held end to a current of one: the potential rises by one from place to place. Long enough
/// to be dissected, with a hub that everything is tied to as weakly as to be nothing.
#[test]
fn a_chain_is_solved() {
    let count = 400;
    let hub = count;
    let mut entries: Vec<_> =
        (1..count).flat_map(|i| [(i, i, 1.0), (i - 1, i - 1, 1.0), (i, i - 1, -1.0)]).collect();
    entries.push((0, 0, 1.0));
    entries.extend((0..=count).map(|i| (i, hub, if i == hub { 1.0 } else { 1e-30 })));
    let mut right = vec![0.0; count + 1];
    right[count - 1] = 1.0;
    let places: Vec<_> = (0..=count).map(|i| [(i % 20) as f64, (i / 20) as f64]).collect();
    let solution = Symmetric::new(count + 1, &entries).solve(&right, &places).unwrap();
    for (i, value) in solution[..count].iter().enumerate() {
        assert!((value - (i + 1) as f64).abs() < 1e-9, "{i}: {value}");
    }
    assert_eq!(Symmetric::new(1, &[(0, 0, -1.0)]).solve(&[1.0], &[[0.0; 2]]), None);
}

/// x² + x·y has the gradient (2x + y, x), and a quadratic triangle has it exactly.
#[test]
fn a_quadratic_is_a_quadratic() {
    let corners = [[1.0, 0.5], [3.0, 1.0], [1.5, 2.5]];
    let middle = |i: usize| {
        let (a, b) = (corners[(i + 1) % 3], corners[(i + 2) % 3]);
        [(a[0] + b[0]) / 2.0, (a[1] + b[1]) / 2.0]
    };
    let places = [corners[0], corners[1], corners[2], middle(0), middle(1), middle(2)];
    let values = places.map(|[x, y]| x * x + x * y);
    let element = Element::new(corners);
    for side in 0..3 {
        let ([x, y], gradient) = (middle(side), element.gradient(&values, side));
        assert!((gradient[0] - (2.0 * x + y)).abs() < 1e-12 && (gradient[1] - x).abs() < 1e-12);
    }
    assert!(element.stiffness().iter().all(|row| row.iter().sum::<f64>().abs() < 1e-12));
}

#[test]
fn divided_triangles_fit_together() {
    let held = [(7, vec![vec![[4.0, 0.0], [5.0, 0.0], [5.0, 4.0], [4.0, 4.0]]])];
    let mut mesh = meshed(&held);
    for round in 0..6 {
        let marked: Vec<bool> = (0..mesh.triangles.len()).map(|i| i % 5 == round).collect();
        divide(&mut mesh, &marked);
        let whole: f64 = mesh.triangles.iter().map(|triangle| signed_area(&mesh.at(triangle))).sum();
        assert!((whole - 16.0).abs() < 1e-9, "{whole}");
        // A side is shared by two triangles, or lies on the edge, a quarter of which is held.
        let mut lengths = [0.0; 2];
        let (sides, count) = mesh.sides();
        let mut shared = vec![0; count];
        sides.iter().flatten().for_each(|side| shared[*side] += 1);
        for (triangle, sides) in mesh.triangles.iter().zip(&sides) {
            for (opposite, beyond) in triangle.beyond.iter().enumerate() {
                assert_eq!(shared[sides[opposite]], if *beyond == Beyond::Copper { 2 } else { 1 });
                let [a, b] = triangle.side(opposite).map(|corner| mesh.points[corner]);
                match beyond {
                    Beyond::Copper => {}
                    Beyond::Edge => lengths[0] += apart(a, b),
                    Beyond::Node(node) => lengths[*node - 6] += apart(a, b),
                }
            }
        }
        assert!((lengths[0] - 12.0).abs() < 1e-9 && (lengths[1] - 4.0).abs() < 1e-9, "{lengths:?}");
    }
    let nodes = Nodes::new(&mesh);
    assert!(
        nodes
            .of
            .iter()
            .flatten()
            .all(|node| nodes.places[*node].iter().all(|value| (0.0..=4.0).contains(value)))
    );
}

/// Whatever runs round a loop, at every node as much flows in as out, but for the ampere at the ends.
#[test]
fn currents_add_up_at_every_node() {
    let ends = [[0, 1], [1, 2], [2, 0], [1, 3], [3, 2], [4, 5], [2, 2], [0, 3]];
    let branches = ends.map(|ends| Branch { ends });
    let network = currents(&branches, [0, 3], 6);
    // Branches less nodes and one, of what can be reached.
    assert_eq!(network.loops.len(), 7 - 4 + 1);
    let balance = |currents: &[(usize, f64)]| {
        let mut balance = [0.0; 6];
        for (branch, current) in currents {
            balance[ends[*branch][0]] -= current;
            balance[ends[*branch][1]] += current;
        }
        balance
    };
    assert_eq!(balance(&network.way), [-1.0, 0.0, 0.0, 1.0, 0.0, 0.0]);
    for round in &network.loops {
        assert_eq!(balance(round), [0.0; 6], "{round:?}");
    }
}

/// A rectangle whose edge ends within the gap of another's is given the corner it touches.
#[test]
fn what_was_drawn_to_touch_touches() {
    let mut contours = vec![
        SQUARE.to_vec(),
        vec![[4.000_4, 1.0], [6.0, 1.0], [6.0, 2.0], [3.999_7, 2.0]],
        vec![[4.000_3, 4.000_3], [5.0, 4.0], [5.0, 5.0]],
    ];
    weld(&mut contours);
    assert_eq!(contours[0].len(), 6);
    assert!(contours[0].contains(&[4.000_4, 1.0]) && contours[0].contains(&[3.999_7, 2.0]));
    assert_eq!(contours[2][0], [4.0, 4.0]);
}

/// IPC-2221 both ways.
#[test]
fn a_rise_is_that_of_the_current() {
    for (outer, rise) in [(true, 10.0), (false, 35.0)] {
        let current = ipc2221::current(0.8, 35.0, outer, rise);
        assert!((ipc2221::rise_kelvin(0.8, 35.0, outer, current) - rise).abs() < 1e-9);
    }
}
