//! Compiles board and fixture into a plan. Deterministic: the same files give the same shots and the same hash.

use std::collections::BTreeSet;

use super::{
    Leg, LegKind, Plan, Role, Sampling, Stage,
    builder::{Builder, Walk},
    forest::Forest,
    mesh::{self, Current},
    stretch::{Stretch, cover, is_forced},
};
use crate::{
    board::{Board, PointId, SegmentId, StateId},
    fixture::Fixture,
    hash,
    limits::LimitSet,
    quantity::{Farads, Ohms},
    raw::{self, RawError},
};

/// No gate lies above this, whatever the limits add up to: in series with the 10 Ω of Rm, 12 Ω would
/// need 1.1 V for 50 mA, more than the load source's 1 V. Every segment of such a path is read dry first.
const GATE_CEILING: Ohms = Ohms(12.0);

/// What no plan can be made for. Fixture files are checked for all of it; a plan says it again rather than skip.
#[derive(Debug, PartialEq, Eq, thiserror::Error)]
pub enum PlanError {
    /// More names than the format of raw codes can number.
    #[error("the readings of the plan cannot be written down: {0}")]
    Raw(#[from] RawError),
    /// A supply terminal without both pins.
    #[error("the supply terminal \"{0}\" needs a force pin and a sense pin for the residual-voltage check")]
    Terminal(String),
    /// No force pins on both sides.
    #[error(
        "no pair of force pins reaches \"{segment}\" in state \"{state}\": give a point beyond it a force pin"
    )]
    Unreached {
        /// Segment.
        segment: String,
        /// State.
        state: String,
    },
    /// Force pins that do not tell the segments of a loop.
    #[error(
        "in state \"{state}\" no currents between the force pins tell \"{segment}\" from the others on its loop: give \"{point}\" a force pin"
    )]
    Loop {
        /// One of the segments.
        segment: String,
        /// State.
        state: String,
        /// A point that needs one.
        point: String,
    },
    /// Isolation between points that conduct, or that no forced point reaches.
    #[error("isolation \"{between}\" cannot be read in state \"{state}\": {why}")]
    Isolation {
        /// `a~b`, or a switch.
        between: String,
        /// State.
        state: String,
        /// Why.
        why: &'static str,
    },
}

/// Compiles the plan that settles every segment against its limits.
pub fn compile(fixture: &Fixture, limits: &LimitSet, sampling: Sampling) -> Result<Plan, PlanError> {
    let board = &fixture.board;
    for point in [board.supply.from, board.supply.ret] {
        let pins = fixture.pins(point);
        if pins.force.is_none() || pins.sense.is_none() {
            return Err(PlanError::Terminal(board.point(point).name.clone()));
        }
    }
    let mut unassigned = measured_somewhere(board);
    let mut per_state: Vec<BTreeSet<SegmentId>> = vec![BTreeSet::new(); board.states.len()];
    // Richest state first: there the longest stretches are; a switch is read in every state it closes in.
    for state in richest_first(board) {
        let forest = Forest::new(board, state, &[]);
        let wanted: BTreeSet<_> = board
            .segment_ids()
            .filter(|&id| match &board.segment(id).closed {
                Some(states) => states.contains(&state),
                None => unassigned.contains(&id),
            })
            .collect();
        let (_, unreached) = cover(&forest, fixture, &wanted);
        let in_meshes =
            mesh::currents(fixture, state, &[], &wanted).into_iter().flat_map(|current| current.wanted);
        for id in wanted.difference(&unreached).copied().chain(in_meshes) {
            unassigned.remove(&id);
            per_state[state.index()].insert(id);
        }
    }
    let lacks = crate::mesh::lacks(board, |point| is_forced(fixture, point));
    if let Some(lack) = lacks.iter().find(|lack| lack.untold) {
        return Err(PlanError::Loop {
            segment: lack.segments.first().map(|&id| board.segment(id).name.clone()).unwrap_or_default(),
            state: board.state(lack.state).name.clone(),
            point: lack.points.first().map(|&id| board.point(id).name.clone()).unwrap_or_default(),
        });
    }
    if let Some(&id) = unassigned.first() {
        let segment = board.segment(id);
        let state = board.states.iter().enumerate().find(|(at, _)| segment.conducts_in(StateId::new(*at)));
        return Err(PlanError::Unreached {
            segment: segment.name.clone(),
            state: state.map(|(_, state)| state.name.clone()).unwrap_or_default(),
        });
    }
    let one_way = one_ways(fixture)?;
    let stages = per_state
        .iter()
        .zip(&one_way)
        .enumerate()
        .map(|(at, (wanted, one_way))| stage(fixture, limits, sampling, StateId::new(at), wanted, one_way))
        .collect::<Result<Vec<_>, _>>()?;
    Ok(Plan { limits: limits.clone(), sampling, hash: hash_of(fixture, &stages)?, stages })
}

/// A diode or an unpowered transistor, and the points it is forced at: on its anode's side, on its cathode's.
type OneWay = (SegmentId, (PointId, PointId));

/// By state, what conducts one way only, each in the first state in which force pins reach both its sides.
fn one_ways(fixture: &Fixture) -> Result<Vec<Vec<OneWay>>, PlanError> {
    let board = &fixture.board;
    let mut per_state = vec![Vec::new(); board.states.len()];
    for id in board.segment_ids() {
        let segment = board.segment(id);
        if segment.kind.one_way().is_none() {
            continue;
        }
        let forced = board.state_ids().find_map(|state| {
            let forest = Forest::new(board, state, &[]);
            let nearest =
                |point| forest.tree(point).into_iter().find(|&point| fixture.pins(point).force.is_some());
            Some((state, (nearest(segment.from)?, nearest(segment.to)?)))
        });
        let Some((state, forced)) = forced else {
            let state = board.states.first().map(|state| state.name.clone()).unwrap_or_default();
            return Err(PlanError::Unreached { segment: segment.name.clone(), state });
        };
        per_state[state.index()].push((id, forced));
    }
    Ok(per_state)
}

/// Every segment that conducts in some state, either way.
fn measured_somewhere(board: &Board) -> BTreeSet<SegmentId> {
    board
        .segment_ids()
        .filter(|&id| board.segment(id).kind.one_way().is_none())
        .filter(|&id| board.segment(id).closed.as_ref().is_none_or(|s| !s.is_empty()))
        .collect()
}

fn richest_first(board: &Board) -> Vec<StateId> {
    let mut states: Vec<_> = (0..board.states.len()).map(StateId::new).collect();
    let conducting = |state: StateId| board.segments.iter().filter(|s| s.conducts_in(state)).count();
    states.sort_by_key(|&state| std::cmp::Reverse(conducting(state)));
    states
}

fn stage(
    fixture: &Fixture,
    limits: &LimitSet,
    sampling: Sampling,
    state: StateId,
    wanted: &BTreeSet<SegmentId>,
    one_way: &[OneWay],
) -> Result<Stage, PlanError> {
    let board = &fixture.board;
    let forest = Forest::new(board, state, &[]);
    let mut builder = Builder::new(fixture, sampling);
    let mut legs = Vec::new();

    builder.residual();
    if state.index() == 0 {
        builder.temperature();
        builder.hum();
    }
    legs.push(Leg { kind: LegKind::Check, shots: builder.cut() });

    let standards = fixture.standards.iter().enumerate().filter(|(_, standard)| standard.in_sweeps);
    if state.index() == 0 && (!fixture.thermometers.is_empty() || standards.clone().next().is_some()) {
        for (index, thermometer) in fixture.thermometers.iter().enumerate() {
            builder.thermometer(index, thermometer);
        }
        standards.for_each(|(index, standard)| builder.standard(index, standard));
        legs.push(Leg { kind: LegKind::Standards, shots: builder.cut() });
    }

    let mut guarded: BTreeSet<PointId> = BTreeSet::new();
    // Meshes first: what is open in one of them is known before a stretch that runs through it is surveyed.
    for current in mesh::currents(fixture, state, &[], wanted) {
        let fresh = guarded.insert(root_of(&forest, current.path.from));
        mesh_leg(&mut builder, board, limits, &current, fresh);
        legs.push(Leg { kind: LegKind::Mesh(current), shots: builder.cut() });
    }

    let (stretches, _) = cover(&forest, fixture, wanted);
    for stretch in stretches {
        let fresh = guarded.insert(root_of(&forest, stretch.from));
        walk_leg(&mut builder, board, limits, &stretch, fresh);
        legs.push(Leg { kind: LegKind::Walk(stretch), shots: builder.cut() });
    }

    for &(id, forced) in one_way {
        builder.one_way(id, forced);
    }
    let shots = builder.cut();
    if !shots.is_empty() {
        legs.push(Leg { kind: LegKind::OneWay, shots });
    }

    open_switches(&mut builder, fixture, &forest, state)?;
    isolation(&mut builder, fixture, &forest, state)?;
    let shots = builder.cut();
    if !shots.is_empty() {
        legs.push(Leg { kind: LegKind::Isolation, shots });
    }

    Ok(Stage { state, legs })
}

/// A tree is named by its lowest point.
fn root_of(forest: &Forest, point: PointId) -> PointId {
    forest.tree(point).into_iter().min().unwrap_or(point)
}

/// Guards (once per tree of segments), the end-to-end reading, the walk.
fn walk_leg(builder: &mut Builder<'_>, board: &Board, limits: &LimitSet, stretch: &Stretch, guarded: bool) {
    if guarded {
        builder.guard_before(stretch);
    }
    builder.whole(stretch, expected_resistance(board, stretch), gate_resistance(board, limits, stretch));
    builder.walk(limits, stretch, Walk::Usual);
    if guarded {
        builder.guard_after(stretch);
    }
}

/// The same for a current through a mesh.
fn mesh_leg(builder: &mut Builder<'_>, board: &Board, limits: &LimitSet, current: &Current, guarded: bool) {
    let path = &current.path;
    if guarded {
        builder.guard_before(path);
    }
    builder.whole(path, expected_resistance(board, path), gate_resistance(board, limits, path));
    builder.mesh(limits, current, Walk::Usual);
    if guarded {
        builder.guard_after(path);
    }
}

/// What a healthy stretch reads end to end.
pub fn expected_resistance(board: &Board, stretch: &Stretch) -> Ohms {
    let steps: Ohms = stretch.steps.iter().map(|step| board.segment(step.segment).expected.typical).sum();
    steps + mesh::crossed(board, stretch)
}

/// Above this end-to-end value no load current flows before a dry look at every segment: load could puncture
/// the very film that is the fault. Low enough that one failing contact among typical ones is seen; spread
/// of healthy parts stays below.
pub fn gate_resistance(board: &Board, limits: &LimitSet, stretch: &Stretch) -> Ohms {
    let margins = || {
        stretch.steps.iter().map(|step| {
            let (segment, limits) = (board.segment(step.segment), limits.of(step.segment));
            (segment.kind.is_contact(), (limits.max - segment.expected.typical).max(Ohms::ZERO))
        })
    };
    let contact = margins().filter(|(contact, _)| *contact).map(|(_, margin)| margin).reduce(Ohms::min);
    let steps = margins().map(|(_, margin)| margin).sum::<Ohms>();
    let half = 0.5 * (steps + mesh::crossing_margin(board, limits, stretch));
    (expected_resistance(board, stretch) + contact.map_or(half, |contact| contact.max(half)))
        .min(GATE_CEILING)
}

/// A switch must read open in every state that does not close it.
fn open_switches(
    builder: &mut Builder<'_>,
    fixture: &Fixture,
    forest: &Forest,
    state: StateId,
) -> Result<(), PlanError> {
    let board = &fixture.board;
    for id in board.segment_ids() {
        let segment = board.segment(id);
        let (false, Some(min)) = (segment.conducts_in(state), segment.open_min) else { continue };
        let ends = insulated_ends(fixture, forest, segment.from, segment.to).map_err(|why| {
            let state = board.state(state).name.clone();
            PlanError::Isolation { between: segment.name.clone(), state, why }
        })?;
        builder.isolation(Role::OpenSwitch(id), ends.0, ends.1, min, Farads::ZERO);
    }
    Ok(())
}

fn isolation(
    builder: &mut Builder<'_>,
    fixture: &Fixture,
    forest: &Forest,
    state: StateId,
) -> Result<(), PlanError> {
    let board = &fixture.board;
    for (index, item) in board.isolation.iter().enumerate().filter(|(_, item)| item.state == state) {
        let [a, b] = item.between;
        let ends = insulated_ends(fixture, forest, a, b).map_err(|why| PlanError::Isolation {
            between: format!("{}~{}", board.point(a).name, board.point(b).name),
            state: board.state(state).name.clone(),
            why,
        })?;
        let bulk = bulk_behind(board, forest, ends);
        let aim = strictest(board, forest, (a, b));
        builder.isolation(Role::Isolation(index), ends.0, ends.1, aim, bulk);
    }
    Ok(())
}

/// The strictest limit among all isolation between the two nets, whatever state it is asked in. A reading that reaches it
/// can later clear the supply of a leak that was read across an open switch.
fn strictest(board: &Board, forest: &Forest, (a, b): (PointId, PointId)) -> Ohms {
    let (near, far) = (forest.tree(a), forest.tree(b));
    let same = |[c, d]: [PointId; 2]| {
        (near.contains(&c) && far.contains(&d)) || (near.contains(&d) && far.contains(&c))
    };
    board.isolation.iter().filter(|item| same(item.between)).map(|item| item.min).fold(Ohms::ZERO, Ohms::max)
}

/// The bulk capacitance that an isolation shot between two points charges: the board's, if one of them is joined
/// to a load in this state.
pub fn bulk_behind(board: &Board, forest: &Forest, (a, b): (PointId, PointId)) -> Farads {
    let loads = |point| forest.tree(point).iter().any(|p| board.supply.to.contains(p));
    if loads(a) || loads(b) { board.supply.bulk } else { Farads::ZERO }
}

/// The nearest points with both pins that stand for `a` and `b` in this state.
fn insulated_ends(
    fixture: &Fixture,
    forest: &Forest,
    a: PointId,
    b: PointId,
) -> Result<(PointId, PointId), &'static str> {
    let tree = forest.tree(a);
    if tree.contains(&b) {
        return Err("a conducting path joins the two points");
    }
    let nearest = |tree: Vec<PointId>| {
        tree.into_iter().find(|&p| fixture.pins(p).force.is_some() && fixture.pins(p).sense.is_some())
    };
    match (nearest(tree), nearest(forest.tree(b))) {
        (Some(a), Some(b)) => Ok((a, b)),
        _ => Err("one of the two sides has no point with a force pin and a sense pin"),
    }
}

/// SHA-256 over the stages' states and their shots in the frozen format that records keep them in.
fn hash_of(fixture: &Fixture, stages: &[Stage]) -> Result<String, PlanError> {
    let mut all = Vec::new();
    for stage in stages {
        let shots = stage.legs.iter().flat_map(|leg| &leg.shots);
        let bytes = raw::shots(fixture, shots.map(|planned| (&planned.role, &planned.shot)))?;
        let state = &fixture.board.state(stage.state).name;
        for part in [state.as_bytes(), &bytes] {
            all.extend((part.len() as u64).to_le_bytes());
            all.extend(part);
        }
    }
    Ok(hash::of(all))
}

#[cfg(test)]
mod tests {
    use super::super::forest::Step;
    use super::*;

    /// The gate of a stretch of one fuse with this typical value and upper limit, ohm.
    fn gate(typical: f64, max: f64) -> f64 {
        let text = include_str!("../../../fixtures/tide-gauge-head/board.toml");
        let mut board = crate::board::parse("board.toml", text).unwrap();
        let id = board.segment_named("cell fuse").unwrap();
        let segment = &mut board.segments[id.index()];
        segment.expected.typical = Ohms(typical);
        segment.stated.max = Some(Ohms(max));
        let (from, to) = (segment.from, segment.to);
        let steps = vec![Step { segment: id, from, to }];
        let stretch = Stretch { from, to, steps, crossings: Vec::new(), wanted: BTreeSet::from([id]) };
        gate_resistance(&board, &LimitSet::of_board(&board), &stretch).0
    }

    #[test]
    fn a_gate_just_under_twelve_ohms_stands_and_one_just_over_is_lowered_to_it() {
        // Half of the margin on top of the typical value: 11.5 Ω and 12.5 Ω.
        for (typical, max, expected) in [(10.0, 13.0, 11.5), (10.0, 15.0, 12.0)] {
            let found = gate(typical, max);
            assert!((found - expected).abs() < 1e-9, "{typical} Ω, at most {max} Ω: {found} Ω");
        }
    }
}
