//! The looks that a bed allows, and which of them tells most in the time it takes.

use copperwalk_core::timing;
use copperwalk_wire::Shot;

use crate::{
    board::{PointId, SegmentId, StateId},
    fixture::Fixture,
    hypothesis::{Belief, Look, Place, Question, information::Chooser},
    plan::{PlannedShot, Sampling, builder::Builder, forest::Forest},
    quantity::Ohms,
};

/// Standard uncertainty of a dry look's value: a milliohm of noise at the fewest triples.
const DRY_LOOK: Ohms = Ohms(1e-3);
/// Segments that are suspected with less than this probability are not looked at by themselves.
const SUSPECTED: f64 = 0.01;
/// At most so many single segments are.
const MOST_SINGLE: usize = 8;

/// A look that can be taken.
#[derive(Clone, PartialEq, Debug)]
pub struct Candidate {
    /// What it asks.
    pub look: Look,
    /// Expected information, bits.
    pub bits: f64,
    /// Its shots.
    pub shots: Vec<PlannedShot>,
}

/// The look with the most information per second of device time, past the segments that are proven open.
pub fn best(
    fixture: &Fixture,
    belief: &Belief<'_>,
    places: &[(Place, f64)],
    state: StateId,
    opens: &[SegmentId],
) -> Option<Candidate> {
    let forest = Forest::new(&fixture.board, state, opens);
    let chooser = Chooser::new(belief);
    let known = |look: &Look| {
        belief
            .answered()
            .iter()
            .any(|(question, _)| matches!(question, Question::Look(known) if known == look))
    };
    let mut best: Option<(f64, Candidate)> = None;
    for look in looks(fixture, places, &forest, state).into_iter().filter(|look| !known(look)) {
        let bits = chooser.information(&Question::Look(look.clone()), DRY_LOOK);
        // Only what could win is worth working out the time of; every look takes about as long.
        if best.as_ref().is_some_and(|(_, best)| bits < 0.5 * best.bits) {
            continue;
        }
        let shots = shots(fixture, &look);
        let timed: Vec<Shot> = shots.iter().map(|planned| planned.shot).collect();
        let rate = bits / timing::run_us(&timed).least_us as f64;
        if best.as_ref().is_none_or(|(most, _)| rate > *most) {
            best = Some((rate, Candidate { look, bits, shots }));
        }
    }
    best.map(|(_, candidate)| candidate)
}

fn shots(fixture: &Fixture, look: &Look) -> Vec<PlannedShot> {
    let mut builder = Builder::new(fixture, Sampling::Quick);
    builder.residual();
    builder.between(look.forced, look.sensed);
    builder.finish()
}

/// Between every two forced points that a way joins: from its beginning to each of its points, from the first suspected
/// segment to each, and the most suspected segments by themselves.
fn looks(fixture: &Fixture, places: &[(Place, f64)], forest: &Forest, state: StateId) -> Vec<Look> {
    let board = &fixture.board;
    let whole = Forest::new(board, state, &[]);
    let suspected: Vec<SegmentId> = places
        .iter()
        .copied()
        .filter(|(_, probability)| *probability >= SUSPECTED)
        .filter_map(|(place, _)| match place {
            Place::Segment(id) => Some(id),
            _ => None,
        })
        .collect();
    let forced: Vec<PointId> = points(fixture)
        .filter(|&point| fixture.pins(point).force.is_some() && fixture.pins(point).sense.is_some())
        .collect();
    let mut looks: Vec<Look> = Vec::new();
    for (at, &from) in forced.iter().enumerate() {
        for &to in forced.iter().skip(at + 1) {
            let Some(steps) = forest.path(from, to) else { continue };
            let way: Vec<PointId> = std::iter::once(from).chain(steps.iter().map(|step| step.to)).collect();
            let on_way = |id: &SegmentId| steps.iter().position(|step| step.segment == *id);
            let mut places: Vec<usize> = suspected.iter().filter_map(on_way).collect();
            let single = places.iter().take(MOST_SINGLE).map(|&step| [step, step + 1]).collect::<Vec<_>>();
            places.sort_unstable();
            let Some((&first, &last)) = places.first().zip(places.last()) else { continue };
            let starts = if first == 0 { vec![0] } else { vec![0, first] };
            let spans = starts
                .into_iter()
                .flat_map(|start| (start.max(first) + 1..=last + 1).map(move |end| [start, end]))
                .chain(single)
                .chain([[0, way.len() - 1]]);
            let sensed = |point: PointId| fixture.pins(point).sense.is_some();
            for [start, end] in spans {
                let (Some(&a), Some(&b)) = (way.get(start), way.get(end)) else { continue };
                if sensed(a)
                    && sensed(b)
                    && let Some(look) = Look::within(board, &whole, state, [from, to], [a, b])
                    && !looks.contains(&look)
                {
                    looks.push(look);
                }
            }
        }
    }
    looks
}

fn points(fixture: &Fixture) -> impl Iterator<Item = PointId> {
    (0..fixture.pins.len()).map(PointId::new)
}
