//! `copperwalk plan FIXTURE`: what will be measured, how long it takes, how many relays close, what stays hidden.

use std::{fmt::Write, path::PathBuf};

use copperwalk_wire::{Method, Source};
use serde::Serialize;

use super::{Failure, Status, output::Output};
use crate::{
    fixture::{self, Fixture},
    plan::{self, Figures, Hidden, Plan, PlannedShot, Role, Sampling},
    quantity::engineering,
    report::{json, text},
};

#[derive(clap::Args)]
pub struct Args {
    /// The fixture file.
    #[arg(value_name = "FIXTURE")]
    fixture: PathBuf,
    /// Plan for every shot's whole budget.
    #[arg(long)]
    full: bool,
    /// One JSON object instead of text.
    #[arg(long)]
    json: bool,
}

pub fn run(args: Args, output: &mut Output) -> Result<Status, Failure> {
    let fixture = fixture::read(&args.fixture)?;
    let sampling = if args.full { Sampling::Full } else { Sampling::Quick };
    let plan = plan::compile(&fixture, sampling)?;
    let figures = plan::figures(&plan);
    let hidden = plan::hidden(&plan, &fixture);
    let text = match args.json {
        true => json::object(&object(&fixture, &plan, &figures, &hidden))
            .map_err(|error| Failure::Output(error.into()))?,
        false => text(&fixture, &plan, &figures, &hidden),
    };
    output.text(&text)?;
    Ok(Status::Pass)
}

/// One line of the plan for people: what is read, how, against what.
struct Line {
    what: String,
    how: &'static str,
    limit: String,
}

fn line(fixture: &Fixture, planned: &PlannedShot) -> Option<Line> {
    let board = &fixture.board;
    let point = |id| &board.point(id).name;
    let limit = |max: f64| format!("at most {}", engineering(max));
    let line = match planned.role {
        Role::Residual => Line {
            what: "no voltage on the unit, supply contacts".into(),
            how: "not excited",
            limit: format!("under {} V", copperwalk_wire::hardware::RESIDUAL_VOLTS),
        },
        Role::Temperature => {
            Line { what: "air temperature".into(), how: "not excited", limit: String::new() }
        }
        Role::Standard(index) => {
            let standard = fixture.standards.get(index)?;
            Line {
                what: format!("check standard {}", standard.name),
                how: source_word(planned.shot.source),
                limit: format!("{} ± {:.2} %", engineering(standard.ohms), standard.tolerance * 100.0),
            }
        }
        Role::Whole { from, to } => Line {
            what: format!("{} to {}, end to end", point(from), point(to)),
            how: source_word(planned.shot.source),
            limit: match planned.shot.method {
                Method::Ratio(ratio) => ratio
                    .gate
                    .map(|gate| limit(f64::from(gate) * copperwalk_wire::hardware::RM_OHMS))
                    .unwrap_or_default(),
                _ => String::new(),
            },
        },
        Role::Segment { segment, .. } => Line {
            what: board.segment(segment).name.clone(),
            how: source_word(planned.shot.source),
            limit: limit(board.segment(segment).limits.max_ohms),
        },
        Role::OpenSwitch(id) => Line {
            what: format!("{} reads open", board.segment(id).name),
            how: source_word(planned.shot.source),
            limit: format!("at least {}", engineering(board.segment(id).open_min_ohms?)),
        },
        Role::Insulation(index) => {
            let item = board.isolation.get(index)?;
            Line {
                what: format!("{} against {}", point(item.between[0]), point(item.between[1])),
                how: source_word(planned.shot.source),
                limit: format!("at least {}", engineering(item.min_ohms)),
            }
        }
        _ => return None,
    };
    Some(line)
}

fn source_word(source: Source) -> &'static str {
    match source {
        Source::Off => "not excited",
        Source::Dry => "dry",
        Source::Load => "under load",
        Source::Wide => "wide",
        Source::Isolation => "insulation",
    }
}

fn text(fixture: &Fixture, plan: &Plan, figures: &Figures, hidden: &[Hidden]) -> String {
    let board = &fixture.board;
    let mut out = String::new();
    // Writing to a string cannot fail.
    let _ = writeln!(out, "{} {} on {}", board.name, board.revision, fixture.name);
    for stage in &plan.stages {
        let state = &board.states[stage.state.0];
        let _ = writeln!(out, "\nState \"{}\"", state.name);
        if !state.prompt.is_empty() {
            let _ = writeln!(out, "  Operator: {}", state.prompt);
        }
        for planned in stage.legs.iter().flat_map(|leg| &leg.shots) {
            if let Some(line) = line(fixture, planned) {
                let _ = writeln!(out, "  {:<42} {:<12} {}", clip(&line.what, 42), line.how, line.limit);
            }
        }
    }
    let _ = writeln!(out, "\nRelays");
    for walk in &figures.walks {
        let state = &board.states[walk.state].name;
        let _ = match walk.stretches {
            1 => {
                let over = 100.0 * (walk.closures as f64 / walk.bound as f64 - 1.0);
                writeln!(
                    out,
                    "  walk in \"{state}\": {} segments, {} closures; least possible {} (+{over:.1} %)",
                    walk.segments, walk.closures, walk.bound
                )
            }
            stretches => writeln!(
                out,
                "  walk in \"{state}\": {} segments on {stretches} stretches, {} closures",
                walk.segments, walk.closures
            ),
        };
    }
    let _ = writeln!(
        out,
        "  {} closures in all, checks, end-to-end readings, standards and insulation too",
        figures.closures
    );
    let _ = writeln!(
        out,
        "\nTime\n  {} shots: {} ms when all is clear at once, {:.1} s when every budget is spent",
        figures.shots,
        figures.quick_us.div_ceil(1000),
        figures.full_us as f64 / 1e6
    );
    let _ = writeln!(out, "\nAn open would hide");
    let blind: Vec<_> = hidden.iter().filter(|item| !item.hides.is_empty()).collect();
    for item in &blind {
        let names: Vec<_> = item.hides.iter().map(|&id| board.segment(id).name.as_str()).collect();
        let _ = writeln!(out, "  {}:", board.segment(item.open).name);
        for line in text::wrap(&names.join(", "), 72) {
            let _ = writeln!(out, "      {line}");
        }
    }
    if blind.is_empty() {
        let _ = writeln!(out, "  nothing: every other segment stays within reach of two force pins");
    }
    let _ = writeln!(out, "\nPlan {}", plan.hash);
    out
}

fn clip(text: &str, width: usize) -> String {
    match text.char_indices().nth(width) {
        Some(_) => text.chars().take(width - 1).chain(['…']).collect(),
        None => text.to_owned(),
    }
}

#[derive(Serialize)]
struct PlanObject<'a> {
    board: &'a str,
    revision: &'a str,
    fixture: &'a str,
    plan_hash: &'a str,
    shots: usize,
    closures: usize,
    walks: Vec<WalkObject<'a>>,
    quick_ms: f64,
    full_ms: f64,
    states: Vec<StateObject<'a>>,
    hidden: Vec<HiddenObject<'a>>,
}

#[derive(Serialize)]
struct WalkObject<'a> {
    state: &'a str,
    stretches: usize,
    segments: usize,
    closures: usize,
    bound: usize,
}

#[derive(Serialize)]
struct StateObject<'a> {
    name: &'a str,
    prompt: &'a str,
    steps: Vec<StepObject>,
}

#[derive(Serialize)]
struct StepObject {
    what: String,
    how: &'static str,
    limit: String,
}

#[derive(Serialize)]
struct HiddenObject<'a> {
    open: &'a str,
    hides: Vec<&'a str>,
}

fn object<'a>(fixture: &'a Fixture, plan: &'a Plan, figures: &Figures, hidden: &[Hidden]) -> PlanObject<'a> {
    let board = &fixture.board;
    PlanObject {
        board: &board.name,
        revision: &board.revision,
        fixture: &fixture.name,
        plan_hash: &plan.hash,
        shots: figures.shots,
        closures: figures.closures,
        walks: figures
            .walks
            .iter()
            .map(|walk| WalkObject {
                state: &board.states[walk.state].name,
                stretches: walk.stretches,
                segments: walk.segments,
                closures: walk.closures,
                bound: walk.bound,
            })
            .collect(),
        quick_ms: figures.quick_us as f64 / 1e3,
        full_ms: figures.full_us as f64 / 1e3,
        states: plan
            .stages
            .iter()
            .map(|stage| StateObject {
                name: &board.states[stage.state.0].name,
                prompt: &board.states[stage.state.0].prompt,
                steps: stage
                    .legs
                    .iter()
                    .flat_map(|leg| &leg.shots)
                    .filter_map(|planned| line(fixture, planned))
                    .map(|Line { what, how, limit }| StepObject { what, how, limit })
                    .collect(),
            })
            .collect(),
        hidden: hidden
            .iter()
            .map(|item| HiddenObject {
                open: &board.segment(item.open).name,
                hides: item.hides.iter().map(|&id| board.segment(id).name.as_str()).collect(),
            })
            .collect(),
    }
}
