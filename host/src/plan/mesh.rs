//! Meshes in a plan: between which force pins currents are sent so that Kirchhoff's law tells every segment.

use std::collections::BTreeSet;

use super::{
    LegKind, Stage,
    forest::Forest,
    stretch::{Stretch, is_forced},
};
use crate::{
    board::{Board, SegmentId, StateId, graph::Mesh},
    fixture::Fixture,
    limits::LimitSet,
    mesh::{self, Port},
    quantity::Ohms,
};

/// One current through a mesh, with which every segment of it is read.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Current {
    /// The mesh.
    pub mesh: Mesh,
    /// Which of its segments the plan measures in this state.
    pub wanted: BTreeSet<SegmentId>,
    /// Where the current enters the mesh and where it leaves it.
    pub ports: [Port; 2],
    /// The whole path of the current; it measures none of its steps.
    pub path: Stretch,
}

/// The currents that tell the meshes in which something is wanted, mesh by mesh, as if the segments in `broken` were not there. A mesh that
/// the bed cannot tell has none.
pub fn currents(
    fixture: &Fixture,
    state: StateId,
    broken: &[SegmentId],
    wanted: &BTreeSet<SegmentId>,
) -> Vec<Current> {
    let board = &fixture.board;
    let forest = Forest::new(board, state, broken);
    let places = mesh::places(board, state, broken, |point| is_forced(fixture, point));
    let of_place = |place: &mesh::Place| -> Vec<Current> {
        let mine: BTreeSet<_> =
            place.mesh.segments.iter().filter(|id| wanted.contains(id)).copied().collect();
        if mine.is_empty() {
            return Vec::new();
        }
        let current = |ports: [Port; 2]| {
            let [from, to] = ports.map(|port| port.forced);
            let steps = forest.path(from, to)?;
            let crossings = forest.crossings(from, to);
            let path = Stretch { from, to, steps, crossings, wanted: BTreeSet::new() };
            Some(Current { mesh: place.mesh.clone(), wanted: mine.clone(), ports, path })
        };
        let told = place.told(board);
        let untold = told.deviations.iter().any(|deviation| mesh::force::is_untold(*deviation));
        if untold { Vec::new() } else { told.pairs.into_iter().filter_map(current).collect() }
    };
    places.iter().flat_map(of_place).collect()
}

/// The currents of a plan's stage, by mesh.
pub fn by_mesh(stage: &Stage) -> Vec<Vec<&Current>> {
    let mut meshes: Vec<Vec<&Current>> = Vec::new();
    for leg in &stage.legs {
        let LegKind::Mesh(current) = &leg.kind else { continue };
        match meshes.iter_mut().find(|mesh| mesh.iter().any(|known| known.mesh == current.mesh)) {
            Some(mesh) => mesh.push(current),
            None => meshes.push(vec![current]),
        }
    }
    meshes
}

/// What of the stage's meshes is not told while a segment is open: currents that had to pass it are missing.
pub fn hidden_by(board: &Board, stage: &Stage, open: SegmentId) -> Vec<SegmentId> {
    let of_mesh = |currents: Vec<&Current>| -> Vec<SegmentId> {
        let Some(first) = currents.first() else { return Vec::new() };
        let inside = first.mesh.segments.contains(&open);
        let flows = |current: &&&Current| !current.path.steps.iter().any(|step| step.segment == open);
        let pairs: Vec<_> =
            currents.iter().filter(flows).map(|current| current.ports.map(|port| port.at)).collect();
        if !inside && pairs.len() == currents.len() {
            return Vec::new();
        }
        let untold = mesh::untold_past(board, &first.mesh, &pairs, inside.then_some(open));
        untold.into_iter().filter(|id| first.wanted.contains(id)).collect()
    };
    by_mesh(stage).into_iter().flat_map(of_mesh).collect()
}

/// What the meshes on a path read from end to end, if their segments have these resistances.
fn across(board: &Board, path: &Stretch, of: impl Fn(SegmentId) -> Ohms) -> Ohms {
    let each = path.crossings.iter().map(|crossing| {
        let mesh = &crossing.mesh;
        let siemens: Vec<f64> = mesh.segments.iter().map(|&id| of(id).0.recip()).collect();
        let ends = [mesh.node(crossing.from)?, mesh.node(crossing.to)?];
        Some(Ohms(mesh::circuit(board, mesh).with(&siemens)?.between(ends)))
    });
    each.flatten().sum()
}

/// What the meshes on a path read from end to end while healthy.
pub fn crossed(board: &Board, path: &Stretch) -> Ohms {
    across(board, path, |id| board.segment(id).expected.typical)
}

/// By how much more they read with every segment at its limit.
pub fn crossing_margin(board: &Board, limits: &LimitSet, path: &Stretch) -> Ohms {
    let most = across(board, path, |id| limits.of(id).max.max(board.segment(id).expected.typical));
    most - crossed(board, path)
}

/// The largest voltage that a current through a mesh may make between any two of its points, over that current, with every segment at
/// its limit and one of them open or at three times it.
pub fn most_read(limits: &LimitSet, mesh: &Mesh) -> Ohms {
    let max = mesh.segments.iter().map(|&id| limits.of(id).max);
    let sum: Ohms = max.clone().sum();
    sum.max(3.0 * max.fold(Ohms::ZERO, Ohms::max))
}
