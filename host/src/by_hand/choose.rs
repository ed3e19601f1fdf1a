//! Which question to put next: the one that tells most for what it costs.

use std::collections::HashSet;

use super::probe::{self, Hold, Probe, Stance};
use crate::{
    board::{Board, PointId, StateId},
    plan::forest::Forest,
};

/// An answer that tells less than this is not worth a touch, bits.
pub const WORTH: f64 = 0.02;
/// The touch that a proof at once saves would have told about so much, bits.
const PROOF: f64 = 0.4;
/// The same at a rough look.
const ROUGH_WORTH: f64 = 0.25 * WORTH;
/// So many of the questions that look best at a rough look are weighed closely.
const FINALISTS: usize = 24;

/// What tells how much a question tells.
pub trait Weigh {
    /// Expected information of its answer, bits, by what is most probable.
    fn roughly(&self, probe: &Probe) -> f64;
    /// The same by all that is probable.
    fn closely(&self, probe: &Probe) -> f64;
    /// Probability that its answer proves a fault at once, so that no further touch has to.
    fn proves(&self, probe: &Probe) -> f64;
}

/// What has been asked: a pair of points, the lower one first, in a state.
pub type Asked = HashSet<(StateId, [PointId; 2])>;

/// The pair of a probe, as [`Asked`] has it.
pub fn pair(probe: &Probe) -> (StateId, [PointId; 2]) {
    let mut points = probe.points;
    points.sort();
    (probe.state, points)
}

/// The ways of a board that questions are about, state by state.
#[derive(Clone, Debug)]
pub struct Ways {
    states: Vec<(StateId, Vec<Vec<PointId>>)>,
}

impl Ways {
    /// Every group of points that hang together in a state.
    pub fn new(board: &Board) -> Self {
        let states = board.state_ids().map(|state| {
            let forest = Forest::new(board, state, &[]);
            let mut groups: Vec<Vec<PointId>> = Vec::new();
            for at in 0..board.points.len() {
                let point = PointId::new(at);
                if !groups.iter().any(|group| group.contains(&point)) {
                    groups.push(forest.tree(point));
                }
            }
            groups.retain(|group| group.len() > 1);
            (state, groups)
        });
        Self { states: states.collect() }
    }
}

/// The next question, and what its answer is expected to tell, bits; `None` where none is worth a touch. `unreachable`: points
/// that no tip gets to.
pub fn choose(
    board: &Board,
    ways: &Ways,
    stance: &Stance,
    asked: &Asked,
    unreachable: &[PointId],
    weigh: &impl Weigh,
) -> Option<(Probe, f64)> {
    let mut seen = asked.clone();
    let mut rough: Vec<(Probe, f64)> = Vec::new();
    for probe in candidates(board, ways, stance) {
        if probe.points.iter().any(|point| unreachable.contains(point)) || !seen.insert(pair(&probe)) {
            continue;
        }
        let bits = weigh.roughly(&probe);
        if bits < ROUGH_WORTH {
            continue;
        }
        rough.push((probe, (bits + PROOF * weigh.proves(&probe)) / stance.cost(&probe)));
    }
    rough.sort_by(|a, b| b.1.total_cmp(&a.1));
    // What looks good at a rough look may tell nothing: then those that look less good are weighed.
    rough.chunks(FINALISTS).find_map(|finalists| {
        let weighed = finalists.iter().map(|(probe, _)| (*probe, weigh.closely(probe)));
        weighed.filter(|(_, bits)| *bits >= WORTH).max_by(|(a, a_bits), (b, b_bits)| {
            let worth = |probe, bits| (bits + PROOF * weigh.proves(probe)) / stance.cost(probe);
            worth(a, a_bits).total_cmp(&worth(b, b_bits))
        })
    })
}

/// Every pair of points is weighed in groups of at most so many: a thousand pairs take some milliseconds.
const EVERY_PAIR: usize = 45;

/// Questions worth weighing: every pair of a group of points, or of a large group those from either tip where it rests and from the
/// ends of the supply path; every segment by itself; every insulation.
fn candidates(board: &Board, ways: &Ways, stance: &Stance) -> Vec<Probe> {
    let ends: Vec<PointId> =
        [board.supply.from, board.supply.ret].into_iter().chain(board.supply.to.iter().copied()).collect();
    let resting = stance.tips.into_iter().flatten();
    let fixed: Vec<PointId> = resting.chain(ends).collect();
    let mut all = Vec::new();
    for (state, groups) in &ways.states {
        let mut put = |points: [PointId; 2]| all.push(probe_at(board, *state, points, stance.hold, None));
        for group in groups {
            let members: HashSet<PointId> = group.iter().copied().collect();
            let ones: Vec<PointId> = if group.len() <= EVERY_PAIR {
                group.clone()
            } else {
                fixed.iter().copied().filter(|point| members.contains(point)).collect()
            };
            for one in ones {
                group.iter().filter(|&&other| other != one).for_each(|&other| put([one, other]));
            }
        }
        for segment in board
            .segments
            .iter()
            .filter(|segment| segment.conducts_in(*state) && segment.kind.one_way().is_none())
        {
            put([segment.from, segment.to]);
        }
        for (index, entry) in board.isolation.iter().enumerate().filter(|(_, entry)| entry.state == *state) {
            all.push(probe_at(board, *state, entry.between, stance.hold, Some(index)));
        }
    }
    all
}

/// A probe, held as it can be from the way the board is held now.
pub fn probe_at(
    board: &Board,
    state: StateId,
    points: [PointId; 2],
    now: Hold,
    insulation: Option<usize>,
) -> Probe {
    Probe { state, points, hold: probe::hold(board, points, now), insulation }
}
