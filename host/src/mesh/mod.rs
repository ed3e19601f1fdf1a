//! Meshes: segments that form loops, share their current and are read together.
//!
//! Read in this order: [`mod@circuit`] (what a current does to a mesh), [`force`] (what force pins can tell of it), [`places`] (the meshes of
//! a board under a bed of pins), [`lacks`] (what they do not tell). What potentials read there say of each segment stands in [`crate::measure::kirchhoff`].

pub mod circuit;
pub mod force;

use std::collections::BTreeSet;

use crate::board::{
    Board, PointId, SegmentId, StateId,
    graph::{Graph, Mesh},
    placement,
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
            let forced = graph.nearest(at, state, &apart, &forced)?;
            Some(Port { at, forced })
        });
        Place { ports: ports.collect(), mesh }
    };
    graph.meshes(state, without).into_iter().map(place).collect()
}

/// What a bed's force pins tell of a mesh.
#[derive(Clone, PartialEq, Debug)]
pub struct Told {
    /// Pairs of ports between which currents are sent.
    pub pairs: Vec<[Port; 2]>,
    /// With what relative standard deviation each of the mesh's segments is told, while healthy.
    pub deviations: Vec<f64>,
}

/// What a reading is off by at least, ohm, standard deviation: noise and common mode under load, with 50 mA; …
const LOAD_SIGMA: f64 = 20e-6;
/// … noise of a dry reading with 0.6 mA.
const DRY_SIGMA: f64 = 0.2e-3;
/// A pin stands so far off its point, mm, standard deviation: 0.3 mm either way, as fixture files are read where they say nothing.
const OFF_MM: f64 = 0.17;

/// What is left of a segment that is open, over what it conducts when healthy.
const OPEN: f64 = 1e-9;

/// What a mesh is told by.
struct Terms {
    circuit: Circuit,
    siemens: Vec<f64>,
    sigma: Vec<f64>,
    beside: Vec<f64>,
}

impl Terms {
    fn of(board: &Board, mesh: &Mesh) -> Self {
        let dry = |id: &SegmentId| board.segment(*id).kind.is_contact();
        let sigma = mesh.segments.iter().map(|id| if dry(id) { DRY_SIGMA } else { LOAD_SIGMA });
        let beside = mesh.points.iter().map(|&point| placement::beside(board, point, OFF_MM).0);
        Self {
            circuit: circuit(board, mesh),
            siemens: healthy(board, mesh),
            sigma: sigma.collect(),
            beside: beside.collect(),
        }
    }

    fn force(&self) -> Force<'_> {
        Force::at(&self.circuit, &self.siemens, &self.sigma, &self.beside)
    }
}

impl Place {
    /// What currents between the ports tell.
    pub fn told(&self, board: &Board) -> Told {
        let (pairs, deviations) = self.terms(board).force().pairs(&self.nodes());
        let port =
            |node: usize| self.ports.iter().copied().find(|port| self.mesh.node(port.at) == Some(node));
        Told {
            pairs: pairs.into_iter().filter_map(|[a, b]| Some([port(a)?, port(b)?])).collect(),
            deviations,
        }
    }

    /// The points that need a force pin for no segment to be told worse than with this relative standard deviation; none if no force pin
    /// helps.
    pub fn wanting(&self, board: &Board, least: f64) -> Vec<PointId> {
        let nodes = self.terms(board).force().wanting(&self.nodes(), least);
        nodes.into_iter().map(|node| self.mesh.points[node]).collect()
    }

    fn terms(&self, board: &Board) -> Terms {
        Terms::of(board, &self.mesh)
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

/// The segments of a mesh that currents between these pairs of its points do not tell, if one of them is open.
pub fn untold_past(
    board: &Board,
    mesh: &Mesh,
    pairs: &[[PointId; 2]],
    open: Option<SegmentId>,
) -> Vec<SegmentId> {
    let mut terms = Terms::of(board, mesh);
    for (id, siemens) in mesh.segments.iter().zip(&mut terms.siemens) {
        if open == Some(*id) {
            *siemens *= OPEN;
        }
    }
    let nodes = pairs.iter().filter_map(|[a, b]| Some([mesh.node(*a)?, mesh.node(*b)?])).collect::<Vec<_>>();
    let deviations = terms.force().deviations(&nodes);
    let told = mesh.segments.iter().zip(deviations);
    told.filter(|(id, deviation)| open != Some(**id) && force::is_untold(*deviation))
        .map(|(id, _)| *id)
        .collect()
}

/// Segments of a mesh that a bed of pins does not tell well enough.
#[derive(Clone, PartialEq, Debug)]
pub struct Lack {
    /// State.
    pub state: StateId,
    /// The segments.
    pub segments: Vec<SegmentId>,
    /// Is nothing known of them at all?
    pub untold: bool,
    /// The points that need a force pin; none if no force pin helps.
    pub points: Vec<PointId>,
}

/// Everything that a bed of pins does not tell, or poorly, mesh by mesh. A segment that conducts always needs to be told in one state
/// only, a switch in every state that closes it.
pub fn lacks(board: &Board, forced: impl Fn(PointId) -> bool) -> Vec<Lack> {
    let told_in = |state| -> Vec<(Place, Told)> {
        let places = places(board, state, &[], &forced).into_iter();
        places.map(|place| (place.told(board), place)).map(|(told, place)| (place, told)).collect()
    };
    let by_state: Vec<_> = board.state_ids().map(told_in).collect();
    // Outside every mesh a segment is read by itself.
    let deviation = |state: &Vec<(Place, Told)>, id: SegmentId| -> f64 {
        let told = state.iter().flat_map(|(place, told)| place.mesh.segments.iter().zip(&told.deviations));
        told.filter(|(known, _)| **known == id).map(|(_, deviation)| *deviation).fold(0.0, f64::max)
    };
    let best = |id| by_state.iter().map(|state| deviation(state, id)).fold(f64::INFINITY, f64::min);
    let mut reported = BTreeSet::new();
    let mut found = Vec::new();
    for (state, places) in board.state_ids().zip(&by_state) {
        for (place, told) in places {
            let counts = |(id, deviation): (&SegmentId, &f64)| {
                let counts = if board.segment(*id).closed.is_some() { *deviation } else { best(*id) };
                (*id, counts)
            };
            let of_each: Vec<_> = place.mesh.segments.iter().zip(&told.deviations).map(counts).collect();
            let untold = of_each.iter().any(|(_, deviation)| force::is_untold(*deviation));
            let lacks =
                |deviation: f64| if untold { force::is_untold(deviation) } else { deviation > force::POORLY };
            let segments: Vec<_> =
                of_each.iter().filter(|(_, deviation)| lacks(*deviation)).map(|(id, _)| *id).collect();
            if !segments.is_empty() && reported.insert(segments.clone()) {
                let mut points = place.wanting(board, force::POORLY);
                if points.is_empty() && untold {
                    points = place.wanting(board, force::UNTOLD);
                }
                found.push(Lack { state, segments, untold, points });
            }
        }
    }
    found
}
