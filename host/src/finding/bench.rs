//! Which pin, relay or standard of the bench is at fault. A bench fault makes the sweep void; it is never booked
//! against the unit.

use copperwalk_wire::{
    Contacts,
    message::{Fault, RunEnd},
};

use super::{open, question::Question, warmth};
use crate::{
    board::{PointId, StateId},
    evidence::{Bus, Evidence, Line, Observation, RunEvidence, SenseContact},
    fixture::{Fixture, Standard},
    measure::{
        hum::Hum,
        ratio::Reading,
        uncertainty::{Budget, Edges},
    },
    plan::{Plan, forest::Forest, stretch::cover},
    quantity::{Celsius, Ohms, Volts},
    verdict::Verdict,
};

/// A force pin with its relay and the reversal switch reads 0.6 to 0.9 Ω; above this something is dirty.
pub const FORCE_CONTACT: Ohms = Ohms(3.0);
/// Hum with a higher peak than this leaves more of itself in a dry reading than a contact's limit allows: of 25 µV, spaced over
/// whole line periods, 0.7 µV, and that is a milliohm.
pub const LOUD: Volts = Volts(25e-6);
/// A standard is wrong when it is off by more than its tolerance, Rm's, and so many standard uncertainties of the
/// rest: it is read in every sweep, so what is still possible must not be called wrong.
pub(crate) const STANDARD_SIGMAS: f64 = 4.0;

/// A fault of the bench.
#[derive(Clone, PartialEq, Debug)]
pub enum BenchFinding {
    /// The controller found itself broken.
    Controller(Fault),
    /// Hum in the sense loop that no spacing clears: its peak and the frequency of the mains, hertz.
    Hum(Hum),
    /// Voltage that stays on the unit after bleeding.
    LiveUnit(Volts),
    /// A pin that does not touch.
    DirtyPin {
        /// Its point.
        point: PointId,
        /// Which pin of the point.
        line: Line,
    },
    /// A force pin that touches badly.
    PoorForceContact {
        /// Its point.
        point: PointId,
        /// Contact, relay and reversal switch.
        resistance: Ohms,
    },
    /// A relay that never closes, while the pin answers through its other one.
    NeverCloses {
        /// The pin's point.
        point: PointId,
        /// Which pin of the point.
        line: Line,
        /// The + relay?
        plus: bool,
    },
    /// A relay that sticks closed.
    StuckRelay {
        /// To which bus.
        bus: Bus,
        /// The points it may be at; empty: not found.
        points: Vec<PointId>,
    },
    /// A check standard that reads outside its tolerance: index into the fixture's list.
    StandardOff(usize, Ohms),
    /// A check standard through which no current flows: index into the fixture's list.
    StandardOpen(usize),
    /// A sense contact of a standard that does not answer.
    StandardContact {
        /// Its channel.
        channel: u16,
    },
    /// A thermometer (index into the fixture's list) that contradicts the meter's own sensor: what the two read.
    ThermometerOff(usize, Celsius, Celsius),
    /// Contacts of the supply terminals that did not answer at first and did when asked again.
    UnsteadySupply,
}

/// Everything the evidence says against the bench: of the first state, in the plan's order, in which it says anything.
pub fn findings(fixture: &Fixture, plan: &Plan, evidence: &Evidence) -> Vec<BenchFinding> {
    let of = |state| findings_in(fixture, evidence, state);
    plan.stages.iter().map(|stage| of(stage.state)).find(|found| !found.is_empty()).unwrap_or_default()
}

/// The same in one state, once its questions have been asked.
pub fn findings_in(fixture: &Fixture, evidence: &Evidence, state: StateId) -> Vec<BenchFinding> {
    let runs = evidence.in_state(state);
    let broken = runs.clone().find_map(|run| match run.end {
        RunEnd::Fault(fault) => Some(BenchFinding::Controller(fault)),
        _ => None,
    });
    if let Some(broken) = broken {
        return vec![broken];
    }
    let concluded = |questions: Vec<Question>| -> Vec<BenchFinding> {
        let mut found = Vec::new();
        for fault in questions.iter().filter_map(|question| question.conclude(runs.clone())) {
            // A pin may have been asked about on both its relays.
            if !found.contains(&fault) {
                found.push(fault);
            }
        }
        found
    };
    match last_checked(runs.clone()) {
        Some(run) if run.end == RunEnd::Residual => {
            vec![BenchFinding::LiveUnit(run.residual().unwrap_or_default())]
        }
        Some(run) if run.end == RunEnd::NoContact => {
            let found = concluded(supply_questions(fixture, run));
            if found.is_empty() { vec![BenchFinding::UnsteadySupply] } else { found }
        }
        _ => {
            let loud = runs.clone().flat_map(|run| &run.observations).find_map(|seen| match seen {
                Observation::Hum(hum) if hum.peak > LOUD => Some(BenchFinding::Hum(*hum)),
                _ => None,
            });
            if let Some(hum) = loud {
                return vec![hum];
            }
            let mut found = standards(fixture, runs.clone());
            if state.index() == 0 {
                found.extend(warmth::contradictions(fixture, evidence));
            }
            found.extend(concluded(questions(fixture, evidence, state)));
            found
        }
    }
}

/// The last run that began with the residual check.
fn last_checked<'r>(runs: impl DoubleEndedIterator<Item = &'r RunEvidence>) -> Option<&'r RunEvidence> {
    runs.rev().find(|run| run.is_checked())
}

/// What a residual check leaves to ask that did not find its contacts in touch.
pub fn supply_questions(fixture: &Fixture, run: &RunEvidence) -> Vec<Question> {
    let supply = &fixture.board.supply;
    let silent = sense_contacts(run).filter(|contact| !contact.touches);
    silent
        .map(|contact| {
            let point = if contact.plus { supply.from } else { supply.ret };
            sense(fixture, run.state, point, contact.plus, (supply.from, supply.ret))
        })
        .collect()
}

fn sense_contacts(run: &RunEvidence) -> impl Iterator<Item = &SenseContact> {
    run.observations.iter().filter_map(|seen| match seen {
        Observation::SenseContact(contact) => Some(contact),
        _ => None,
    })
}

fn sense(
    fixture: &Fixture,
    state: StateId,
    point: PointId,
    plus: bool,
    ends: (PointId, PointId),
) -> Question {
    let forced = point == ends.0 || point == ends.1;
    let other = |&p: &PointId| fixture.pins(p).force.is_some() && p != ends.0 && p != ends.1;
    let neighbour = || Forest::new(&fixture.board, state, &[]).tree(point).into_iter().find(other);
    Question::Sense { point, plus, ends, neighbour: if forced { neighbour() } else { None } }
}

/// What the runs of one state leave to ask.
pub fn questions(fixture: &Fixture, evidence: &Evidence, state: StateId) -> Vec<Question> {
    let runs = || evidence.in_state(state);
    let observations = || runs().flat_map(|run| &run.observations);
    // A relay that sticks upsets everything else: ask about nothing but it.
    let mut stuck: Vec<Bus> = Vec::new();
    for seen in observations() {
        if let Observation::StuckRelay(bus) = seen
            && !stuck.contains(bus)
        {
            stuck.push(*bus);
        }
    }
    if !stuck.is_empty() {
        return stuck.into_iter().map(|bus| stuck_question(fixture, state, bus)).collect();
    }
    let mut questions: Vec<Question> = Vec::new();
    let mut asked = Vec::new();
    for seen in observations() {
        let Observation::ForceContact(contact) = seen else { continue };
        let bad = contact.missing || contact.resistance.is_some_and(|ohms| ohms > FORCE_CONTACT);
        if bad && !asked.contains(&(contact.point, contact.plus)) {
            asked.push((contact.point, contact.plus));
            questions.push(Question::Force(*contact));
        }
    }
    if !questions.is_empty() {
        return questions;
    }
    let islands = open::islands(runs());
    let broken: Vec<_> = open::opens(runs()).iter().map(|open| open.segment).collect();
    let parts = Forest::new(&fixture.board, state, &broken);
    // Past the opens that were found, a loop may leave points that hang on neither end of what was forced.
    let floats = |point, (a, b)| {
        let part = parts.tree(point);
        islands.contains(&point) || (!part.contains(&a) && !part.contains(&b))
    };
    // A run that ended at its residual check was made again; what counts is how that went.
    let tried = runs().filter(|run| !matches!(run.end, RunEnd::Residual | RunEnd::NoContact));
    let mut silent: Vec<(u16, bool)> = Vec::new();
    for contact in tried.flat_map(sense_contacts).filter(|contact| !contact.touches) {
        if silent.contains(&(contact.channel, contact.plus)) {
            continue;
        }
        silent.push((contact.channel, contact.plus));
        match (fixture.sense_point(contact.channel), forced_ends(fixture, contact.contacts)) {
            (Some(point), Some(ends)) if floats(point, ends) => {}
            (Some(point), Some(ends)) => questions.push(sense(fixture, state, point, contact.plus, ends)),
            _ => questions.push(Question::Standard(contact.channel)),
        }
    }
    questions
}

fn stuck_question(fixture: &Fixture, state: StateId, bus: Bus) -> Question {
    let board = &fixture.board;
    let forest = Forest::new(board, state, &[]);
    match bus.line() {
        Line::Force => Question::StuckForce { plus: bus.plus(), trees: forced_trees(fixture, &forest) },
        Line::Sense => {
            let wanted = board.segment_ids().filter(|&id| board.segment(id).conducts_in(state)).collect();
            let (stretches, _) = cover(&forest, fixture, &wanted);
            let stretches = stretches.iter().map(|stretch| (stretch.from, stretch.to)).collect();
            Question::StuckSense { plus: bus.plus(), stretches }
        }
    }
}

/// The forced points of each tree of segments.
fn forced_trees(fixture: &Fixture, forest: &Forest) -> Vec<Vec<PointId>> {
    let mut trees: Vec<Vec<PointId>> = Vec::new();
    for point in (0..fixture.pins.len()).map(PointId::new).filter(|&p| fixture.pins(p).force.is_some()) {
        if !trees.iter().any(|tree| tree.contains(&point)) {
            let tree = forest.tree(point);
            trees.push(tree.into_iter().filter(|&p| fixture.pins(p).force.is_some()).collect());
        }
    }
    trees
}

fn forced_ends(fixture: &Fixture, contacts: Contacts) -> Option<(PointId, PointId)> {
    let Contacts { force_plus, force_minus, .. } = contacts;
    Some((fixture.force_point(force_plus?)?, fixture.force_point(force_minus?)?))
}

/// Standards that read outside their tolerance.
fn standards<'r>(fixture: &Fixture, runs: impl Iterator<Item = &'r RunEvidence>) -> Vec<BenchFinding> {
    let seen = runs.flat_map(|run| &run.observations).filter_map(|seen| match seen {
        Observation::Standard(index, reading) => Some((*index, reading)),
        _ => None,
    });
    seen.filter_map(|(index, reading)| {
        let stated = fixture.standards.get(index)?;
        if !reading.flows {
            return Some(BenchFinding::StandardOpen(index));
        }
        (standard(stated, reading) != Verdict::Pass)
            .then_some(BenchFinding::StandardOff(index, reading.resistance))
    })
    .collect()
}

/// The verdict on a check standard: by its certificate, if it has one.
pub fn standard(standard: &Standard, reading: &Reading) -> Verdict {
    let (stated, within) = standard.known();
    let edges = Edges { rm: Ohms::ZERO, gain: Ohms::ZERO, ..reading.budget.edges };
    let allowed = stated * within
        + reading.budget.edges.rm
        + reading.budget.edges.gain
        + STANDARD_SIGMAS * Budget { edges, ..reading.budget }.standard();
    let agrees = reading.flows && !reading.over_range && (reading.resistance - stated).abs() <= allowed;
    if agrees { Verdict::Pass } else { Verdict::Fail }
}
