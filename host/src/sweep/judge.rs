//! From facts to the sweep's outcome. Pure: stored codes can be judged again, by other limits too.

use std::collections::BTreeSet;

use super::{
    conduct::Subject,
    facts::Facts,
    finding::{self, Finding},
    outcome::*,
};
use crate::{
    board::{Board, LimitOrigin, SegmentId, StateId},
    fault,
    fixture::{Fixture, Standard},
    measure::{insulation::Insulation, ratio::Reading, uncertainty::Budget},
    measurement::{Basis, Measurement, Run},
    plan::{LegKind, Plan, forest::Forest},
    verdict::{self, Class, Verdict},
};

/// The air when nobody measured it, °C.
const ROOM_CELSIUS: f64 = 23.0;
/// Beyond so many times its 95 % uncertainty (4.5 standard ones) a closure is said to disagree: with a dozen closures a
/// unit, 95 % alone would cry wolf on every second one.
const CLOSURE_FACTOR: f64 = 2.3;
/// An insulation below this is a short, ohm.
const SHORT_OHMS: f64 = 100.0;

/// What a sweep brought home.
#[derive(Clone, PartialEq, Debug)]
pub struct Material {
    /// Runs with their codes.
    pub runs: Vec<Run>,
    /// One for each run.
    pub facts: Vec<Facts>,
    /// What is wrong with the bench.
    pub bench_faults: Vec<BenchFault>,
}

/// Judges a whole sweep.
pub fn sweep(
    fixture: &Fixture,
    plan: &Plan,
    subject: Subject,
    bench_name: String,
    material: Material,
) -> Sweep {
    let board = &fixture.board;
    let Material { runs, facts, bench_faults } = material;
    let celsius = facts.iter().find_map(|facts| facts.celsius);
    let void = !bench_faults.is_empty();

    let findings: Vec<Finding> = plan
        .stages
        .iter()
        .flat_map(|stage| {
            let known: Vec<&Facts> = in_state(&facts, stage.state).collect();
            walked(plan, stage.state)
                .into_iter()
                .map(move |id| finding::find(board, id, stage.state, &known, celsius.unwrap_or(ROOM_CELSIUS)))
        })
        .collect();
    let mut insulations = insulation_rows(fixture, plan, &facts);
    let excused = excuse(board, &mut insulations);
    let closures = closure_rows(board, &facts, &findings);
    let standards = standard_rows(fixture, &facts);
    let unsteady = unsteady(&facts, &findings);

    let mut notes: Vec<String> = Vec::from_iter(unsteady.then(|| UNSTEADY_NOTE.into()));
    notes.extend(closures.iter().filter(|row| !row.agrees).map(closure_note));
    notes.extend(insulations.iter().filter(|row| row.still_charging).map(charging_note));
    notes.extend(excused);
    let faults = match void {
        true => Vec::new(),
        false => fault::faults(board, &findings, &insulations, &closures),
    };
    let parts = findings
        .iter()
        .map(|finding| finding.verdict)
        .chain(insulations.iter().map(|row| row.verdict))
        .chain(closures.iter().map(|row| if row.agrees { Verdict::Pass } else { Verdict::Unproven }))
        .chain(unsteady.then_some(Verdict::Unproven));
    let verdict = if void { Verdict::Void } else { worst(parts) };
    let void_row = |verdict| if void { Verdict::Void } else { verdict };
    let measurement = Measurement {
        serial: subject.serial,
        lot: subject.lot,
        started_us: subject.started_us,
        bench_name,
        sampling: plan.sampling,
        basis: Basis {
            board: board.name.clone(),
            revision: board.revision.clone(),
            board_hash: board.hash.clone(),
            fixture: fixture.name.clone(),
            fixture_hash: fixture.hash.clone(),
            plan_hash: plan.hash.clone(),
        },
        runs,
    };
    let judgement = Judgement {
        program: env!("CARGO_PKG_VERSION").into(),
        limits: LimitsUsed::of_board(&board.hash),
        celsius,
        verdict,
        bench_faults,
        segments: findings
            .iter()
            .map(|finding| {
                let row = segment_row(board, finding);
                SegmentRow { verdict: void_row(row.verdict), ..row }
            })
            .collect(),
        isolation: insulations
            .into_iter()
            .map(|row| IsolationRow { verdict: void_row(row.verdict), ..row })
            .collect(),
        standards,
        closures,
        faults,
        notes,
    };
    Sweep { measurement, judgement }
}

/// Segments that a longer look may still decide: undecided ones, and all of them once anything has moved.
pub fn undecided(fixture: &Fixture, plan: &Plan, state: StateId, facts: &[Facts]) -> BTreeSet<SegmentId> {
    let board = &fixture.board;
    let known: Vec<&Facts> = in_state(facts, state).collect();
    let celsius = facts.iter().find_map(|facts| facts.celsius).unwrap_or(ROOM_CELSIUS);
    let findings: Vec<Finding> =
        walked(plan, state).into_iter().map(|id| finding::find(board, id, state, &known, celsius)).collect();
    let mut wanted: BTreeSet<SegmentId> = findings
        .iter()
        .filter(|finding| finding.verdict == Verdict::Unproven && finding.value.is_some())
        .map(|finding| finding.segment)
        .collect();
    // What moves may have stood still while its own turn came.
    if moved(facts) && !findings.iter().any(|finding| finding.class == Class::Open) {
        wanted.extend(findings.iter().map(|finding| finding.segment));
    }
    wanted
}

/// The verdict on a check standard. It is read in every sweep, so what is still possible must not be called wrong:
/// both tolerances may be used up at once, and the noise may be four standard deviations out.
pub fn standard(standard: &Standard, reading: &Reading) -> Verdict {
    let allowed = standard.ohms * standard.tolerance + reading.budget.rm + 4.0 * reading.budget.normal();
    let agrees = reading.flows && !reading.over_range && (reading.ohms - standard.ohms).abs() <= allowed;
    if agrees { Verdict::Pass } else { Verdict::Fail }
}

fn in_state(facts: &[Facts], state: StateId) -> impl Iterator<Item = &Facts> {
    facts.iter().filter(move |facts| facts.state == state)
}

/// Segments a state is to measure, in walking order.
fn walked(plan: &Plan, state: StateId) -> Vec<SegmentId> {
    plan.stages
        .iter()
        .filter(|stage| stage.state == state)
        .flat_map(|stage| &stage.legs)
        .filter_map(|leg| match &leg.kind {
            LegKind::Walk(stretch) => Some(stretch),
            _ => None,
        })
        .flat_map(|stretch| {
            stretch.steps.iter().map(|step| step.segment).filter(|id| stretch.wanted.contains(id))
        })
        .collect()
}

fn worst(verdicts: impl Iterator<Item = Verdict>) -> Verdict {
    verdicts.fold(Verdict::Pass, |worst, verdict| match (worst, verdict) {
        (Verdict::Fail, _) | (_, Verdict::Fail) => Verdict::Fail,
        (Verdict::Pass, Verdict::Pass) => Verdict::Pass,
        _ => Verdict::Unproven,
    })
}

fn segment_row(board: &Board, finding: &Finding) -> SegmentRow {
    let segment = board.segment(finding.segment);
    let value = finding.value.as_ref();
    SegmentRow {
        name: segment.name.clone(),
        kind: segment.kind.word().into(),
        state: board.states[finding.state.0].name.clone(),
        ohms: value.map(|value| value.ohms),
        ohms_20c: value.map(|value| value.ohms_20c),
        u95_ohms: value.map(|value| value.expanded()),
        min_ohms: segment.limits.min_ohms,
        max_ohms: segment.limits.max_ohms,
        limit_derived: segment.limits.origin == LimitOrigin::Derived,
        typical_ohms: segment.expected.typical_ohms,
        verdict: finding.verdict,
        class: finding.class,
    }
}

fn insulation_rows(fixture: &Fixture, plan: &Plan, facts: &[Facts]) -> Vec<IsolationRow> {
    let board = &fixture.board;
    let mut rows = Vec::new();
    for stage in &plan.stages {
        for (id, segment) in board.segment_ids().map(|id| (id, board.segment(id))) {
            let (false, Some(min)) = (segment.conducts_in(stage.state), segment.open_min_ohms) else {
                continue;
            };
            let reading = in_state(facts, stage.state)
                .flat_map(|facts| &facts.switches)
                .find(|(switch, _)| *switch == id);
            let between = [segment.from, segment.to].map(|point| board.point(point).name.clone());
            let state = &board.states[stage.state.0].name;
            let row = insulation_row(segment.name.clone(), between, state, min, reading.map(|(_, r)| r));
            rows.push(IsolationRow { is_switch: true, ..row });
        }
        for (index, item) in board.isolation.iter().enumerate().filter(|(_, i)| i.state == stage.state) {
            let reading = in_state(facts, stage.state)
                .flat_map(|facts| &facts.insulations)
                .find(|(at, _)| *at == index);
            let between = item.between.map(|point| board.point(point).name.clone());
            let state = &board.states[stage.state.0].name;
            let name = between.join("~");
            rows.push(insulation_row(name, between, state, item.min_ohms, reading.map(|(_, r)| r)));
        }
    }
    rows
}

/// In a state where a switch is open, a leak across the switch and a leak across the supply look alike, because each
/// charges the bulk capacitor that the other one reaches by way of it. The state in which the switch is closed tells
/// them apart: there the supply's insulation is read without the switch.
fn excuse(board: &Board, rows: &mut [IsolationRow]) -> Vec<String> {
    const ALIKE: f64 = 0.7;
    let leaks: Vec<usize> = (0..rows.len()).filter(|&i| rows[i].class == Class::Leaky).collect();
    let (switches, supplies): (Vec<usize>, Vec<usize>) = leaks.into_iter().partition(|&i| rows[i].is_switch);
    let mut notes = Vec::new();
    for &switch in &switches {
        for &supply in &supplies {
            let (Some(across), Some(beside)) = (rows[switch].ohms, rows[supply].ohms) else { continue };
            if rows[switch].state != rows[supply].state || across.min(beside) < ALIKE * across.max(beside) {
                continue;
            }
            let cleared = rows.iter().any(|row| {
                !row.is_switch
                    && row.verdict == Verdict::Pass
                    && row.at_least_ohms.is_some_and(|ohms| ohms > beside / ALIKE)
                    && covers(board, row, &rows[supply])
            });
            let (excused, blamed) = if cleared { (supply, switch) } else { (switch, supply) };
            notes.push(format!(
                "{} was read past the leak at {}, round by way of the bulk capacitor, and is not judged",
                rows[excused].name, rows[blamed].name
            ));
            rows[excused].verdict = Verdict::Unproven;
            rows[excused].class = Class::NotReached;
        }
    }
    notes
}

/// Are the points of `narrow` joined to those of `wide` in the state `wide` was read in?
fn covers(board: &Board, wide: &IsolationRow, narrow: &IsolationRow) -> bool {
    let Some(state) = board.states.iter().position(|state| state.name == wide.state) else { return false };
    let forest = Forest::new(board, StateId(state), &[]);
    let joined = |a: &str, b: &str| {
        let (Some(a), Some(b)) = (board.point_named(a), board.point_named(b)) else { return false };
        forest.tree(a).contains(&b)
    };
    let ([a, b], [c, d]) = (&wide.between, &narrow.between);
    (joined(a, c) && joined(b, d)) || (joined(a, d) && joined(b, c))
}

fn insulation_row(
    name: String,
    between: [String; 2],
    state: &str,
    min_ohms: f64,
    reading: Option<&Insulation>,
) -> IsolationRow {
    let at_least_ohms = reading.and_then(|reading| reading.at_least_ohms);
    let at_most = reading.and_then(|reading| reading.at_most_ohms);
    let verdict = verdict::judge_insulation(at_least_ohms, at_most, min_ohms);
    let class = match (reading, verdict) {
        (None, _) => Class::NotReached,
        (_, Verdict::Fail) if at_most.is_some_and(|ohms| ohms < SHORT_OHMS) => Class::Shorted,
        (_, Verdict::Fail) => Class::Leaky,
        _ => Class::Ok,
    };
    let ohms = reading.and_then(|reading| reading.ohms);
    IsolationRow {
        name,
        between,
        is_switch: false,
        state: state.into(),
        ohms,
        u95_ohms: ohms
            .zip(at_most.zip(at_least_ohms))
            .map(|(_, (most, least))| 0.5 * (most - least).abs())
            .filter(|u| u.is_finite()),
        at_least_ohms,
        min_ohms,
        verdict,
        class,
        still_charging: verdict == Verdict::Unproven && reading.is_some_and(|r| r.still_charging),
    }
}

fn standard_rows(fixture: &Fixture, facts: &[Facts]) -> Vec<StandardRow> {
    facts
        .iter()
        .flat_map(|facts| &facts.standards)
        .filter_map(|(index, reading)| {
            let stated = fixture.standards.get(*index)?;
            Some(StandardRow {
                name: stated.name.clone(),
                stated_ohms: stated.ohms,
                tolerance: stated.tolerance,
                ohms: reading.flows.then_some(reading.ohms),
                u95_ohms: reading.flows.then(|| reading.budget.expanded()),
                verdict: standard(stated, reading),
            })
        })
        .collect()
}

/// End-to-end readings against the sums of their segments, where every segment has a value.
fn closure_rows(board: &Board, facts: &[Facts], findings: &[Finding]) -> Vec<ClosureRow> {
    let mut rows = Vec::new();
    for (state, whole) in facts.iter().flat_map(|facts| facts.wholes.iter().map(|w| (facts.state, w))) {
        if !whole.reading.flows || whole.reading.over_range || whole.reading.motion.is_some() {
            continue;
        }
        let Some(steps) = Forest::new(board, state, &[]).path(whole.from, whole.to) else { continue };
        // A trunk may have been measured in another state; a switch counts in this one.
        let value = |id: SegmentId| {
            let same_state = |f: &&Finding| f.state == state || board.segment(id).closed.is_none();
            findings
                .iter()
                .filter(|f| f.segment == id && f.class != Class::Flaky)
                .filter(same_state)
                .find_map(|f| f.value.as_ref())
        };
        let Some(values) = steps.iter().map(|step| value(step.segment)).collect::<Option<Vec<_>>>() else {
            continue;
        };
        let sum_ohms: f64 = values.iter().map(|value| value.ohms).sum();
        // Rm is common to both sides and cancels.
        let random = |budget: &Budget| Budget { rm: 0.0, ..*budget }.normal();
        let standard = values
            .iter()
            .map(|value| random(&value.as_measured))
            .fold(random(&whole.reading.budget), f64::hypot);
        let u95_ohms = crate::measure::uncertainty::expanded(standard, 0.0);
        rows.push(ClosureRow {
            from: board.point(whole.from).name.clone(),
            to: board.point(whole.to).name.clone(),
            whole_ohms: whole.reading.ohms,
            sum_ohms,
            u95_ohms,
            agrees: (whole.reading.ohms - sum_ohms).abs() <= CLOSURE_FACTOR * u95_ohms,
        });
    }
    rows
}

/// Did anything move while it was read?
fn moved(facts: &[Facts]) -> bool {
    facts.iter().any(|facts| {
        let wholes = facts.wholes.iter().map(|whole| whole.reading.motion);
        wholes.chain(facts.segments.iter().map(|fact| fact.reading.motion)).any(|motion| motion.is_some())
    })
}

/// Did something move although nothing was found that could?
fn unsteady(facts: &[Facts], findings: &[Finding]) -> bool {
    let caught = findings.iter().any(|finding| matches!(finding.class, Class::Flaky | Class::Open));
    !caught && moved(facts)
}

/// What to do about it.
const UNSTEADY_NOTE: &str = "something moved while the path was read, but no single segment was caught moving: flex the board \
                             gently and sweep again";

fn closure_note(row: &ClosureRow) -> String {
    format!(
        "{} to {} reads {} end to end, its segments add up to {}: something changed during the sweep",
        row.from,
        row.to,
        crate::quantity::engineering(row.whole_ohms),
        crate::quantity::engineering(row.sum_ohms)
    )
}

fn charging_note(row: &IsolationRow) -> String {
    format!(
        "{}: a capacitor was still charging when the time was up, so no value is stated; \
         state its size as `bulk` in the board file",
        row.name
    )
}
