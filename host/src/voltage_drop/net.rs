//! The segments that conduct in a state, and the way a current takes through them: one after the other, and shared where they form
//! meshes.
//!
//! For a current `I` from one end to the other every segment carries a share `f` of it, and the whole has the resistance Σ f²·R: so
//! f²·R is a segment's part of it, in series and in meshes alike (Tellegen's theorem).

use crate::board::graph::{Edge, Graph, Mesh, Reach};
use crate::board::{PointId, SegmentId, StateId};
use crate::mesh::circuit::{Circuit, Solved};

/// Less than this is a short, Ω: a mesh is solved by conductances, which have to be finite.
const LEAST_OHMS: f64 = 1e-6;

/// What joins two points: a segment or a wire, by its number.
pub struct Net {
    graph: Graph,
    state: StateId,
    ends: Vec<[PointId; 2]>,
    meshes: Vec<(Mesh, Circuit)>,
    /// The mesh that a piece lies in.
    mesh_of: Vec<Option<usize>>,
}

/// One stretch of a way.
enum Step {
    /// A piece that carries all of the current.
    Alone(usize),
    /// A mesh, between two of its nodes.
    Through { mesh: usize, ends: [usize; 2] },
}

/// A way from one point to another.
pub struct Way(Vec<Step>);

/// Resistances of all pieces, and what follows for the meshes.
pub struct Values {
    ohms: Vec<f64>,
    solved: Vec<Option<Solved>>,
}

impl Net {
    /// The pieces that conduct in a state; pieces are numbered as segments are.
    pub fn of(points: usize, states: usize, state: StateId, pieces: Vec<Edge>) -> Self {
        let count = pieces.iter().map(|piece| piece.segment.index() + 1).max().unwrap_or(0);
        let mut ends = vec![[PointId::new(0); 2]; count];
        for piece in &pieces {
            if let Some(place) = ends.get_mut(piece.segment.index()) {
                *place = piece.ends;
            }
        }
        let graph = Graph::new(points, states, pieces);
        let mut mesh_of = vec![None; count];
        let mut meshes = Vec::new();
        for mesh in graph.meshes(state, &[]) {
            let node = |point| mesh.node(point).unwrap_or_default();
            let branches = mesh.segments.iter().filter_map(|id| ends.get(id.index()));
            let branches = branches.map(|[a, b]| [node(*a), node(*b)]).collect();
            for id in &mesh.segments {
                if let Some(place) = mesh_of.get_mut(id.index()) {
                    *place = Some(meshes.len());
                }
            }
            let circuit = Circuit { nodes: mesh.points.len(), branches };
            meshes.push((mesh, circuit));
        }
        Self { graph, state, ends, meshes, mesh_of }
    }

    /// What is reached from a point.
    pub fn reach(&self, from: PointId) -> Reach {
        self.graph.reach(from, Some(self.state))
    }

    /// The way from the point that `reach` starts from.
    pub fn way(&self, from: PointId, reach: &Reach, to: PointId) -> Option<Way> {
        let mut steps: Vec<Step> = Vec::new();
        let mut at = from;
        for piece in reach.path(to)?.into_iter().map(SegmentId::index) {
            let [a, b] = *self.ends.get(piece)?;
            let next = if a == at { b } else { a };
            match self.mesh_of.get(piece).copied().flatten() {
                None => steps.push(Step::Alone(piece)),
                Some(mesh) => {
                    let (members, _) = self.meshes.get(mesh)?;
                    let [entry, exit] = [members.node(at)?, members.node(next)?];
                    match steps.last_mut() {
                        Some(Step::Through { mesh: same, ends }) if *same == mesh => ends[1] = exit,
                        _ => steps.push(Step::Through { mesh, ends: [entry, exit] }),
                    }
                }
            }
            at = next;
        }
        Some(Way(steps))
    }

    /// The pieces that a current along a way can flow through.
    pub fn pieces(&self, way: &Way) -> Vec<usize> {
        way.0
            .iter()
            .flat_map(|step| match step {
                Step::Alone(piece) => vec![*piece],
                Step::Through { mesh, .. } => self.members(*mesh).collect(),
            })
            .collect()
    }

    fn members(&self, mesh: usize) -> impl Iterator<Item = usize> {
        self.meshes.get(mesh).into_iter().flat_map(|(mesh, _)| mesh.segments.iter().map(|id| id.index()))
    }

    /// The meshes solved for these resistances, ohm, one for each piece.
    pub fn values(&self, ohms: Vec<f64>) -> Values {
        let solve = |(mesh, circuit): &(Mesh, Circuit)| {
            let siemens = mesh.segments.iter().map(|id| of(&ohms, id.index()).max(LEAST_OHMS).recip());
            circuit.with(&siemens.collect::<Vec<_>>())
        };
        let solved = self.meshes.iter().map(solve).collect();
        Values { ohms, solved }
    }

    /// Resistance of a way, ohm.
    pub fn resistance(&self, way: &Way, values: &Values) -> f64 {
        let step = |step: &Step| match step {
            Step::Alone(piece) => of(&values.ohms, *piece),
            Step::Through { mesh, ends } => {
                values.solved(*mesh).map_or(f64::INFINITY, |solved| solved.between(*ends))
            }
        };
        way.0.iter().map(step).sum()
    }

    /// For every piece of a way the share of the current that it carries, without a sign.
    pub fn shares(&self, way: &Way, values: &Values) -> Vec<(usize, f64)> {
        self.each(way, values, |_, through, ohms| {
            through.map_or(1.0, |[_, transfer]| (transfer / ohms).abs())
        })
    }

    /// By how much a way's resistance falls, ohm, for every piece of it when that piece alone has `to` of its number instead.
    ///
    /// In a mesh a conductance more between two points takes t²·g/(1 + g·R) off, `R` the resistance between them and `t` the transfer
    /// resistance from them to the ends (Sherman and Morrison's formula for a change of rank one).
    pub fn falls(&self, way: &Way, values: &Values, to: impl Fn(usize) -> f64) -> Vec<(usize, f64)> {
        self.each(way, values, |piece, through, ohms| match through {
            None => ohms - to(piece),
            Some([between, transfer]) => {
                let more = to(piece).max(LEAST_OHMS).recip() - ohms.recip();
                transfer * transfer * more / (1.0 + more * between)
            }
        })
    }

    /// Something about every piece of a way, from its number; in a mesh the resistance between its ends and the transfer resistance to the
    /// way's ends; and its own resistance.
    fn each(
        &self,
        way: &Way,
        values: &Values,
        about: impl Fn(usize, Option<[f64; 2]>, f64) -> f64,
    ) -> Vec<(usize, f64)> {
        let mut found = Vec::new();
        for step in &way.0 {
            match step {
                Step::Alone(piece) => found.push((*piece, about(*piece, None, of(&values.ohms, *piece)))),
                Step::Through { mesh, ends } => {
                    let (Some((_, circuit)), Some(solved)) = (self.meshes.get(*mesh), values.solved(*mesh))
                    else {
                        continue;
                    };
                    for (piece, branch) in self.members(*mesh).zip(&circuit.branches) {
                        let through = [solved.between(*branch), solved.transfer(*branch, *ends)];
                        found.push((
                            piece,
                            about(piece, Some(through), of(&values.ohms, piece).max(LEAST_OHMS)),
                        ));
                    }
                }
            }
        }
        found
    }
}

impl Values {
    /// The resistance of a piece, ohm.
    pub fn ohms(&self, piece: usize) -> f64 {
        of(&self.ohms, piece)
    }

    fn solved(&self, mesh: usize) -> Option<&Solved> {
        self.solved.get(mesh)?.as_ref()
    }
}

/// A piece of which nothing is known conducts nothing.
fn of(ohms: &[f64], piece: usize) -> f64 {
    ohms.get(piece).copied().unwrap_or(f64::INFINITY)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn net(points: usize, ends: &[[usize; 2]]) -> Net {
        let edge = |(i, ends): (usize, &[usize; 2])| Edge {
            segment: SegmentId::new(i),
            ends: ends.map(PointId::new),
            closed: None,
        };
        Net::of(points, 1, StateId::new(0), ends.iter().enumerate().map(edge).collect())
    }

    /// A bridge of Wheatstone with 1, 2, 3, 4 and 5 Ω, a piece before it and one behind, and a branch that hangs on it. The bridge: a to b
    /// 1 Ω, a to c 2 Ω, b to c 5 Ω, b to d 3 Ω, c to d 4 Ω; between a and d by star and delta (Kennelly 1899), worked out by hand:
    /// the delta a, b, c becomes 1·2/8, 1·5/8, 2·5/8, so 0.25 + (0.625 + 3) ∥ (1.25 + 4) = 0.25 + 3.625·5.25/8.875 Ω.
    #[test]
    fn a_bridge_in_the_way_is_solved() {
        let net = net(7, &[[0, 1], [1, 2], [1, 3], [2, 3], [2, 4], [3, 4], [4, 5], [3, 6]]);
        let ohms = [0.5, 1.0, 2.0, 5.0, 3.0, 4.0, 0.25, 9.0];
        let start = PointId::new(0);
        let way = net.way(start, &net.reach(start), PointId::new(5)).unwrap();
        assert_eq!(net.pieces(&way), [0, 1, 2, 3, 4, 5, 6]);
        let values = net.values(ohms.to_vec());
        let bridge = 0.25 + 3.625 * 5.25 / 8.875;
        assert!((net.resistance(&way, &values) - (0.75 + bridge)).abs() < 1e-12);
        // The parts add up to the whole, and what flows in flows out.
        let shares = net.shares(&way, &values);
        let whole: f64 = shares.iter().map(|(piece, share)| share * share * ohms[*piece]).sum();
        assert!((whole - (0.75 + bridge)).abs() < 1e-12);
        assert!((shares[1].1 + shares[2].1 - 1.0).abs() < 1e-12 && shares[6].1 == 1.0);
        // What halving takes off, against the whole solved again.
        for (piece, falls) in net.falls(&way, &values, |piece| ohms[piece] / 2.0) {
            let mut halved = ohms;
            halved[piece] /= 2.0;
            let after = net.resistance(&way, &net.values(halved.to_vec()));
            assert!((0.75 + bridge - falls - after).abs() < 1e-12, "piece {piece}");
        }
    }

    #[test]
    fn a_way_leaves_a_mesh_where_it_can_and_enters_the_next() {
        // Two rings that share point 2, and a load at point 4.
        let net = net(5, &[[0, 1], [1, 2], [0, 2], [2, 3], [3, 4], [2, 4]]);
        let start = PointId::new(0);
        let way = net.way(start, &net.reach(start), PointId::new(4)).unwrap();
        let ohms = [1.0; 6];
        assert!((net.resistance(&way, &net.values(ohms.to_vec())) - 4.0 / 3.0).abs() < 1e-12);
        assert!(net.way(start, &net.reach(start), start).is_some_and(|way| net.pieces(&way).is_empty()));
    }

    #[test]
    fn two_between_the_same_points_share_and_a_short_takes_all() {
        let net = net(2, &[[0, 1], [1, 0]]);
        let start = PointId::new(0);
        let way = net.way(start, &net.reach(start), PointId::new(1)).unwrap();
        assert!((net.resistance(&way, &net.values(vec![3.0, 6.0])) - 2.0).abs() < 1e-12);
        assert!(net.resistance(&way, &net.values(vec![3.0, 0.0])) < 2e-6);
    }
}
