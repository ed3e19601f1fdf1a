//! What an open at each segment would hide, told before the first unit is on the bed.

use std::collections::BTreeSet;

use super::{LegKind, Plan, forest::Forest, mesh, stretch::cover};
use crate::{board::SegmentId, fixture::Fixture};

/// One segment, and what its being open would leave unmeasured.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Hidden {
    /// The open one.
    pub open: SegmentId,
    /// The segments no force pins reach then.
    pub hides: Vec<SegmentId>,
}

/// For every segment of the plan, in walking order. Segments that hide nothing have an empty list.
pub fn hidden(plan: &Plan, fixture: &Fixture) -> Vec<Hidden> {
    let mut list = Vec::new();
    for stage in &plan.stages {
        let stretches = stage.legs.iter().filter_map(|leg| match &leg.kind {
            LegKind::Walk(stretch) => Some(stretch),
            _ => None,
        });
        for stretch in stretches {
            for open in stretch.steps.iter().map(|step| step.segment).filter(|s| stretch.wanted.contains(s)) {
                let forest = Forest::new(&fixture.board, stage.state, &[open]);
                let others: BTreeSet<_> = stretch.wanted.iter().copied().filter(|&s| s != open).collect();
                let (_, unreached) = cover(&forest, fixture, &others);
                let hides = stretch.steps.iter().map(|step| step.segment).filter(|s| unreached.contains(s));
                let in_meshes = mesh::hidden_by(&fixture.board, stage, open);
                list.push(Hidden { open, hides: hides.chain(in_meshes).collect() });
            }
        }
        for currents in mesh::by_mesh(stage) {
            for open in currents.into_iter().take(1).flat_map(|current| current.wanted.iter().copied()) {
                list.push(Hidden { open, hides: mesh::hidden_by(&fixture.board, stage, open) });
            }
        }
    }
    list
}
