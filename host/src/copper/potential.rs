//! The potential, 1 at one terminal and 0 at the other: its energy is never below the conductance.

use super::CopperError;
use super::energy::{Least, Problem, Square, Values};
use super::held::Held;
use super::mesh::{Beyond, Mesh, Nodes, on_side};

/// Finds it. The energy is the conductance, at most a little too large, siemens.
///
/// # Errors
/// See [`Problem::solve`].
pub(super) fn potential(
    mesh: &Mesh,
    nodes: &Nodes,
    held: &Held,
    sheet: &[f64],
) -> Result<Least, CopperError> {
    let mut at_node = vec![None; nodes.places.len()];
    for (triangle, of) in mesh.triangles.iter().zip(&nodes.of) {
        for (opposite, beyond) in triangle.beyond.iter().enumerate() {
            if let Beyond::Node(node) = beyond {
                on_side(opposite).iter().for_each(|i| at_node[of[*i]] = Some(*node));
            }
        }
    }

    let mut unknowns = Unknowns {
        of_nodes: vec![None; held.nodes],
        of_values: vec![None; nodes.places.len()],
        places: Vec::new(),
        ends: held.ends,
    };
    let values = nodes.of.iter().map(|of| {
        let mut values = Values::default();
        for (i, &value) in of.iter().enumerate() {
            let (name, place) = (at_node[value].map_or(Name::Value(value), Name::Node), nodes.places[value]);
            match unknowns.known(name, place) {
                Ok(known) => values.fixed[i] = known,
                Err(unknown) => values.add(unknown, i, 1.0),
            }
        }
        values
    });
    let values = values.collect();
    let squares = held.barrels.iter().map(|(ends, ohms)| {
        let mut square = Square { weight: 1.0 / ohms, fixed: 0.0, unknowns: Vec::new() };
        for (node, sign) in ends.iter().zip([1.0, -1.0]) {
            match unknowns.known(Name::Node(*node), [0.0; 2]) {
                Ok(known) => square.fixed += sign * known,
                Err(unknown) => square.unknowns.push((unknown, sign)),
            }
        }
        square
    });
    let squares = squares.collect();
    let weights: Vec<f64> = sheet.iter().map(|sheet| 1.0 / sheet).collect();
    Problem { mesh, weights: &weights, values, squares, places: unknowns.places }.solve()
}

/// What has one potential: a node, or one place of the mesh.
#[derive(Clone, Copy)]
enum Name {
    Node(usize),
    Value(usize),
}

struct Unknowns {
    /// Numbers of the unknowns that were met.
    of_nodes: Vec<Option<usize>>,
    of_values: Vec<Option<usize>>,
    places: Vec<[f64; 2]>,
    ends: [usize; 2],
}

impl Unknowns {
    /// The potential of a terminal, or the number of an unknown one, which lies where it is met first.
    fn known(&mut self, name: Name, place: [f64; 2]) -> Result<f64, usize> {
        let number = match name {
            Name::Node(node) if node == self.ends[0] => return Ok(1.0),
            Name::Node(node) if node == self.ends[1] => return Ok(0.0),
            Name::Node(node) => &mut self.of_nodes[node],
            Name::Value(value) => &mut self.of_values[value],
        };
        Err(*number.get_or_insert_with(|| {
            self.places.push(place);
            self.places.len() - 1
        }))
    }
}
