//! Do the leads go to the pins that the fixture file says? Asked of a golden unit, before anything is made of its sweeps.

use copperwalk_wire::{Gain, Method, Rate, Ratio, Shot, Source, message::ShotEnd};

use super::{
    ProveError,
    bench::Bench,
    miswired::{Asked, Exchange, Heard, explain},
};
use crate::{
    board::{PointId, StateId},
    evidence::Line,
    fixture::Fixture,
    link::Transport,
    measure::ratio::{self, Surroundings},
    meter::Meter,
    plan::{LegKind, Plan, builder},
    proof::Fault,
};

const PART: &str = "leads";

/// A dry reading with some triples; chokes have carried their current for long by then.
const READ: Ratio = Ratio {
    gain_a: Gain::X64,
    gain_b: Gain::X64,
    rate: Rate::Sps1000,
    wait_us: 2000,
    contact_check: false,
    ends: false,
    triples_min: 8,
    triples_max: 8,
    stop: None,
    gate: None,
};

/// The state in which the plan walks most segments: the unit has to be in it.
pub fn state(plan: &Plan) -> Option<StateId> {
    let count = |stage: &&crate::plan::Stage| {
        let walks = stage.legs.iter().filter_map(|leg| match &leg.kind {
            LegKind::Walk(stretch) => Some(stretch.wanted.len()),
            _ => None,
        });
        walks.sum::<usize>()
    };
    plan.stages.iter().max_by_key(count).map(|stage| stage.state)
}

/// Exchanged leads as faults of the bench; none if the readings fit the wiring.
pub fn prove<T: Transport>(
    bench: &mut Bench<'_, T>,
    fixture: &Fixture,
    plan: &Plan,
    state: StateId,
) -> Result<Vec<Fault>, ProveError> {
    let asked = asked(plan, state);
    let shots: Vec<(Asked, Shot)> =
        asked.into_iter().filter_map(|asked| Some((asked, shot(fixture, asked)?))).collect();
    let plain: Vec<Shot> = shots.iter().map(|(_, shot)| *shot).collect();
    let ran = bench.run(PART, &plain)?;
    let mut heard = Vec::new();
    for ((asked, shot), ran) in shots.iter().zip(&ran) {
        let (meter, unknown) = (&Meter::PUBLISHED, &Surroundings::UNKNOWN);
        let reading = ratio::read(meter, shot, &ran.codes, ShotEnd::Complete, false, None, unknown)?;
        heard.push(Heard { asked: *asked, ohms: reading.flows.then_some(reading.resistance) });
    }
    let told = explain(&fixture.board, state, &heard);
    Ok(told.iter().map(|alike| fault(fixture, alike)).collect())
}

/// Every segment of every walk in the state, and each walk from end to end where no mesh lies on it.
fn asked(plan: &Plan, state: StateId) -> Vec<Asked> {
    let mut asked = Vec::new();
    let legs = plan.stages.iter().filter(|stage| stage.state == state).flat_map(|stage| &stage.legs);
    for leg in legs {
        let LegKind::Walk(stretch) = &leg.kind else { continue };
        let force = [stretch.from, stretch.to];
        // What a mesh on the way drops is not in what is expected of a walk.
        if stretch.crossings.is_empty() {
            asked.push(Asked { force, sense: force });
        }
        asked.extend(stretch.steps.iter().map(|step| Asked { force, sense: [step.from, step.to] }));
    }
    asked
}

fn shot(fixture: &Fixture, asked: Asked) -> Option<Shot> {
    let [force_plus, force_minus] = asked.force.map(|point| fixture.pins(point).force);
    let [sense_plus, sense_minus] = asked.sense.map(|point| fixture.pins(point).sense);
    let contacts = builder::four_wires([force_plus?, force_minus?], [sense_plus?, sense_minus?]);
    Some(Shot { contacts, source: Source::Dry, method: Method::Ratio(READ) })
}

fn fault(fixture: &Fixture, alike: &[Exchange]) -> Fault {
    let name = |point: PointId| fixture.board.point(point).name.as_str();
    let pair = |exchange: &Exchange| {
        let [a, b] = exchange.points;
        let channel = |point: PointId| {
            let pins = fixture.pins(point);
            let channel = if exchange.line == Line::Force { pins.force } else { pins.sense };
            channel.map_or(String::new(), |channel| channel.to_string())
        };
        let line = exchange.line.word();
        format!(
            "{line} leads of {} and {} ({line} channels {} and {})",
            name(a),
            name(b),
            channel(a),
            channel(b)
        )
    };
    let all: Vec<String> = alike.iter().map(pair).collect();
    Fault {
        part: all.join(", or "),
        what: "are exchanged, by what a golden unit reads: put each on the other's pin, then prove again"
            .into(),
    }
}
