//! What a plan says to people and programs: plain data, put together once for the terminal and for JSON.

use copperwalk_wire::{Method, Source, hardware};
use serde::Serialize;

use crate::fixture::Fixture;
use crate::limits::LimitSet;
use crate::plan::{self, Plan, PlannedShot, Role};
use crate::quantity::{Ohms, engineering};

/// A plan. Its JSON has these keys.
#[derive(Serialize)]
pub struct PlanSheet {
    /// Board name.
    pub board: String,
    /// Board revision.
    pub revision: String,
    /// Fixture name.
    pub fixture: String,
    /// SHA-256 of the plan.
    pub plan_hash: String,
    /// Shots in all.
    pub shots: usize,
    /// Relay closures in all.
    pub closures: usize,
    /// The walks along the supply path.
    pub walks: Vec<WalkLine>,
    /// Segments on loops, which share the current.
    pub loops: Vec<LoopLine>,
    /// Device time when every verdict is clear at once, ms.
    pub quick_ms: f64,
    /// Device time when every budget is spent, ms.
    pub full_ms: f64,
    /// The states in the order they are walked.
    pub states: Vec<StateLines>,
    /// What an open at each segment would hide.
    pub hidden: Vec<HiddenLine>,
}

/// One walk and its relay closures.
#[derive(Serialize)]
pub struct WalkLine {
    /// Name of the state.
    pub state: String,
    /// Stretches it is done in.
    pub stretches: usize,
    /// Segments it reads.
    pub segments: usize,
    /// Closures it takes.
    pub closures: usize,
    /// Closures that a walk in one stretch takes at least.
    pub bound: usize,
}

/// Segments on loops, and what tells them apart.
#[derive(Serialize)]
pub struct LoopLine {
    /// Name of the state.
    pub state: String,
    /// The segments.
    pub segments: Vec<String>,
    /// The points that each current is sent between; all segments are read with each.
    pub currents: Vec<[String; 2]>,
}

/// One state and what is read in it.
#[derive(Serialize)]
pub struct StateLines {
    /// Name.
    pub name: String,
    /// What the operator does.
    pub prompt: String,
    /// Readings in order.
    pub steps: Vec<StepLine>,
}

/// One reading.
#[derive(Serialize)]
pub struct StepLine {
    /// What is read.
    pub what: String,
    /// With which excitation.
    pub how: &'static str,
    /// The same as a person reads it: the test current, or the voltage it is bounded by.
    #[serde(skip)]
    pub current: &'static str,
    /// What it is judged against.
    pub limit: String,
}

/// What an open would hide.
#[derive(Serialize)]
pub struct HiddenLine {
    /// The open segment.
    pub open: String,
    /// The segments that no force pins reach then.
    pub hides: Vec<String>,
}

/// Puts the sheet of a plan together.
pub fn plan_sheet(plan: &Plan, fixture: &Fixture) -> PlanSheet {
    let board = &fixture.board;
    let figures = plan::figures(plan);
    let walk = |walk: &plan::WalkFigures| WalkLine {
        state: board.state(walk.state).name.clone(),
        stretches: walk.stretches,
        segments: walk.segments,
        closures: walk.closures,
        bound: walk.bound,
    };
    let state = |stage: &plan::Stage| {
        let state = board.state(stage.state);
        let shots = stage.legs.iter().flat_map(|leg| &leg.shots);
        StateLines {
            name: state.name.clone(),
            prompt: state.prompt.clone(),
            steps: shots.filter_map(|planned| step(fixture, &plan.limits, planned)).collect(),
        }
    };
    let hidden = plan::hidden(plan, fixture);
    let hidden = hidden.iter().map(|item| HiddenLine {
        open: board.segment(item.open).name.clone(),
        hides: item.hides.iter().map(|&id| board.segment(id).name.clone()).collect(),
    });
    let name = |id| board.point(id).name.clone();
    let loops = plan.stages.iter().flat_map(|stage| {
        plan::mesh::by_mesh(stage).into_iter().map(|currents| LoopLine {
            state: board.state(stage.state).name.clone(),
            segments: currents
                .first()
                .iter()
                .flat_map(|current| &current.mesh.segments)
                .map(|&id| board.segment(id).name.clone())
                .collect(),
            currents: currents.iter().map(|current| [current.path.from, current.path.to].map(name)).collect(),
        })
    });
    PlanSheet {
        board: board.name.clone(),
        revision: board.revision.clone(),
        fixture: fixture.name.clone(),
        plan_hash: plan.hash.clone(),
        shots: figures.shots,
        closures: figures.closures,
        walks: figures.walks.iter().map(walk).collect(),
        loops: loops.collect(),
        quick_ms: figures.quick_us as f64 / 1e3,
        full_ms: figures.full_us as f64 / 1e3,
        states: plan.stages.iter().map(state).collect(),
        hidden: hidden.collect(),
    }
}

/// A shot as a reading; shots that only prepare one are none.
fn step(fixture: &Fixture, limits: &LimitSet, planned: &PlannedShot) -> Option<StepLine> {
    let board = &fixture.board;
    let point = |id| &board.point(id).name;
    let (what, limit) = match planned.role {
        Role::Residual => (
            "no voltage on the unit, supply contacts".into(),
            format!("under {} V", hardware::RESIDUAL_VOLTS),
        ),
        Role::Temperature => ("air temperature".into(), String::new()),
        Role::Hum => ("hum".into(), String::new()),
        Role::Thermometer(index) => {
            (format!("thermometer {}", fixture.thermometers.get(index)?.name), String::new())
        }
        Role::Standard(index) => {
            let standard = fixture.standards.get(index)?;
            let limit = format!("{} ± {:.2} %", engineering(standard.resistance), standard.tolerance * 100.0);
            (format!("check standard {}", standard.name), limit)
        }
        Role::EndToEnd { from, to } => {
            let gate = match &planned.shot.method {
                Method::Ratio(ratio) => ratio.gate,
                _ => None,
            };
            let limit = gate.map(|gate| at_most(f64::from(gate) * Ohms(hardware::RM_OHMS)));
            (format!("{} to {}, end to end", point(from), point(to)), limit.unwrap_or_default())
        }
        Role::Segment { segment, .. } => {
            (board.segment(segment).name.clone(), at_most(limits.of(segment).max))
        }
        Role::Mesh { segment, .. } => {
            (format!("{}, sharing the current", board.segment(segment).name), at_most(limits.of(segment).max))
        }
        Role::OneWay(id) => (format!("{}, both ways", board.segment(id).name), String::new()),
        Role::OpenSwitch(id) => {
            let switch = board.segment(id);
            (format!("{} reads open", switch.name), at_least(switch.open_min?))
        }
        Role::Isolation(index) => {
            let item = board.isolation.get(index)?;
            (format!("{} against {}", point(item.between[0]), point(item.between[1])), at_least(item.min))
        }
        _ => return None,
    };
    let (how, current) = excitation(planned);
    Some(StepLine { what, how, current, limit })
}

fn at_most(limit: Ohms) -> String {
    format!("at most {}", engineering(limit))
}

fn at_least(limit: Ohms) -> String {
    format!("at least {}", engineering(limit))
}

/// The excitation of a shot: its word in JSON, and in the words of the trade.
fn excitation(planned: &PlannedShot) -> (&'static str, &'static str) {
    match (planned.role, planned.shot.source) {
        (Role::Residual | Role::Temperature, _) | (_, Source::Off) => ("not excited", "none"),
        (_, Source::Dry) => ("dry", "1 mA, dry-circuit"),
        (_, Source::Load) => ("under load", "50 mA, load"),
        (_, Source::Wide) => ("wide", "1 mA"),
        (_, Source::Isolation) => ("isolation", "1 mA, up to 200 mV"),
    }
}
