//! End-to-end readings against the sums of their segments, where every segment has a value.

use super::{mesh, segment};
use crate::{
    board::{Board, PointId, SegmentId, StateId},
    evidence::Evidence,
    measure::uncertainty::{self, Budget, Edges},
    plan::forest::Forest,
    quantity::Ohms,
    verdict::Class,
};

/// Beyond so many times its 95 % uncertainty (4.5 standard ones) a closure is said to disagree: with a dozen closures
/// a unit, 95 % alone would raise a false alarm on every second one.
const CLOSURE_FACTOR: f64 = 2.3;

/// Series closure of one stretch.
#[derive(Clone, PartialEq, Debug)]
pub struct Finding {
    /// End points.
    pub between: [PointId; 2],
    /// End-to-end reading.
    pub end_to_end: Ohms,
    /// Sum of the segments as measured.
    pub sum: Ohms,
    /// Expanded uncertainty of their difference, 95 %.
    pub u95: Ohms,
    /// Do they agree?
    pub agrees: bool,
}

/// Every closure.
pub fn find(
    board: &Board,
    evidence: &Evidence,
    segments: &[segment::Finding],
    meshes: &[mesh::Finding],
) -> Vec<Finding> {
    let seen = evidence.runs().iter().flat_map(|run| run.end_to_ends().map(|seen| (run.state, seen)));
    let mut findings = Vec::new();
    for (state, seen) in seen {
        let reading = &seen.reading;
        if !reading.flows || reading.over_range || reading.motion.is_some() {
            continue;
        }
        let forest = Forest::new(board, state, &[]);
        let Some(steps) = forest.path(seen.from, seen.to) else { continue };
        let steps = steps.iter().map(|step| {
            let value = value(board, state, step.segment, segments)?;
            Some((value.resistance, value.as_measured))
        });
        let crossed = forest.crossings(seen.from, seen.to);
        let crossed = crossed.iter().map(|crossing| {
            let known = |found: &&mesh::Finding| found.state == state && found.mesh == crossing.mesh;
            meshes.iter().find(known)?.between(crossing.from, crossing.to)
        });
        let Some(values) = steps.chain(crossed).collect::<Option<Vec<_>>>() else { continue };
        let sum: Ohms = values.iter().map(|(resistance, _)| *resistance).sum();
        let u95 = difference(&reading.budget, values.iter().map(|(_, budget)| budget));
        findings.push(Finding {
            between: [seen.from, seen.to],
            end_to_end: reading.resistance,
            sum,
            u95,
            agrees: (reading.resistance - sum).abs() <= CLOSURE_FACTOR * u95,
        });
    }
    findings
}

/// Expanded uncertainty, 95 %, of an end-to-end reading less the sum of its segments. Rm is the same on both sides and cancels;
/// gain errors are the same in every segment read with the same gains, and so they add up; where pins stand is given away by
/// one segment and taken by its neighbour.
fn difference<'b>(whole: &Budget, segments: impl Iterator<Item = &'b Budget> + Clone) -> Ohms {
    let gain: Ohms = segments.clone().map(|budget| budget.edges.gain).sum();
    let alone = |budget: &Budget| {
        let edges = Edges { rm: Ohms::ZERO, gain: Ohms::ZERO, placement: Ohms::ZERO, ..budget.edges };
        Budget { edges, ..*budget }.standard()
    };
    let standard = segments.map(alone).fold(alone(whole), Ohms::hypot);
    uncertainty::expanded(standard, gain.hypot(whole.edges.gain))
}

/// The value that counts. A trunk may have been measured in another state; a switch counts in this one.
fn value<'f>(
    board: &Board,
    state: StateId,
    id: SegmentId,
    segments: &'f [segment::Finding],
) -> Option<&'f segment::Value> {
    let counts = |finding: &&segment::Finding| {
        finding.segment == id
            && finding.class != Class::Flaky
            && (finding.state == state || board.segment(id).closed.is_none())
    };
    segments.iter().filter(counts).find_map(|finding| finding.value.as_ref())
}
