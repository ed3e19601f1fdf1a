//! Meshes: segments that form loops, share their current and are read together.
//!
//! Read in this order: [`circuit`] (what a current does to a mesh), [`force`] (what force pins can tell of it), [`places`] (the meshes of
//! a board under a bed of pins). What potentials read there say of each segment stands in [`crate::measure::kirchhoff`].

pub mod circuit;
pub mod force;

use std::collections::BTreeSet;

use crate::board::{
    Board, PointId, SegmentId, StateId,
    graph::{Graph, Mesh},
};
use circuit::Circuit;
use force::Force;

/// A point of a mesh at which current can be sent in, by way of whatever segments lie between it and a force pin.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Port {
    /// The point of the mesh.
    pub at: PointId,
    /// The point that is forced: the nearest.
    pub forced: PointId,
}

/// A mesh and the ports that a bed of pins has to it.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Place {
    /// The mesh.
    pub mesh: Mesh,
    /// Its ports, in ascending order of their points.
    pub ports: Vec<Port>,
}

/// The meshes of a state, as if the segments in `without` were not there, with their ports; `forced` says which points can be forced
/// and sensed.
pub fn places(
    board: &Board,
    state: StateId,
    without: &[SegmentId],
    forced: impl Fn(PointId) -> bool,
) -> Vec<Place> {
    let graph = Graph::of(board);
    // No current is led over a part that conducts one way only.
    let one_way: Vec<_> =
        board.segment_ids().filter(|&id| board.segment(id).kind.one_way().is_some()).collect();
    let place = |mesh: Mesh| {
        let apart: Vec<_> = mesh.segments.iter().chain(without).chain(&one_way).copied().collect();
        let ports = mesh.points.iter().filter_map(|&at| {
            let forced = graph.nearest(at, state, &apart, |point| forced(point))?;
            Some(Port { at, forced })
        });
        Place { ports: ports.collect(), mesh }
    };
    graph.meshes(state, without).into_iter().map(place).collect()
}

impl Place {
    /// Pairs of ports between which currents tell every segment, or the segments that no currents between these ports tell.
    pub fn pairs(&self, board: &Board) -> Result<Vec<[Port; 2]>, Vec<SegmentId>> {
        let (circuit, siemens) = (circuit(board, &self.mesh), healthy(board, &self.mesh));
        let pairs = Force::at(&circuit, &siemens).pairs(&self.nodes());
        let port = |node: usize| self.ports.iter().copied().find(|port| self.mesh.node(port.at) == Some(node));
        match pairs {
            Ok(pairs) => Ok(pairs.into_iter().filter_map(|[a, b]| Some([port(a)?, port(b)?])).collect()),
            Err(untold) => Err(untold.into_iter().map(|branch| self.mesh.segments[branch]).collect()),
        }
    }

    /// The points that need a force pin for every segment to be told.
    pub fn wanting(&self, board: &Board) -> Vec<PointId> {
        let (circuit, siemens) = (circuit(board, &self.mesh), healthy(board, &self.mesh));
        let nodes = Force::at(&circuit, &siemens).wanting(&self.nodes());
        nodes.into_iter().map(|node| self.mesh.points[node]).collect()
    }

    fn nodes(&self) -> Vec<usize> {
        self.ports.iter().filter_map(|port| self.mesh.node(port.at)).collect()
    }
}

impl Mesh {
    /// The number of a point among the mesh's.
    pub fn node(&self, point: PointId) -> Option<usize> {
        self.points.binary_search(&point).ok()
    }
}

/// A mesh's circuit: its points and segments in their order.
pub fn circuit(board: &Board, mesh: &Mesh) -> Circuit {
    let ends = mesh.segments.iter().map(|&id| {
        let segment = board.segment(id);
        [segment.from, segment.to].map(|end| mesh.node(end).unwrap_or_default())
    });
    Circuit { nodes: mesh.points.len(), branches: ends.collect() }
}

/// What the segments of a mesh conduct when healthy, siemens.
pub fn healthy(board: &Board, mesh: &Mesh) -> Vec<f64> {
    mesh.segments.iter().map(|&id| board.segment(id).expected.typical.0.recip()).collect()
}

/// Everything that a bed of pins cannot tell, mesh by mesh: the segments, and the points that need a force pin. A segment that conducts
/// always needs to be told in one state only, a switch in every state that closes it.
pub fn untold(board: &Board, forced: impl Fn(PointId) -> bool) -> Vec<(StateId, Vec<SegmentId>, Vec<PointId>)> {
    let by_state: Vec<_> = board
        .state_ids()
        .map(|state| {
            let places = places(board, state, &[], &forced);
            let untold = |place: Place| {
                let untold = place.pairs(board).err().unwrap_or_default();
                (place, untold)
            };
            places.into_iter().map(untold).collect::<Vec<_>>()
        })
        .collect();
    let told_in = |state: &Vec<(Place, Vec<SegmentId>)>, id: SegmentId| {
        !state.iter().any(|(_, untold)| untold.contains(&id))
    };
    let mut reported = BTreeSet::new();
    let mut found = Vec::new();
    for (state, places) in board.state_ids().zip(&by_state) {
        for (place, untold) in places {
            let needed = |id: &&SegmentId| {
                board.segment(**id).closed.is_some() || !by_state.iter().any(|state| told_in(state, **id))
            };
            let segments: Vec<_> = untold.iter().filter(needed).copied().collect();
            if !segments.is_empty() && reported.insert(segments.clone()) {
                found.push((state, segments, place.wanting(board)));
            }
        }
    }
    found
}
