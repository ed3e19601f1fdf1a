//! Which pin, relay or standard of the bench is at fault. A bench fault makes the sweep void; it is never booked
//! against the unit.
//!
//! A suspicion becomes a [`Question`]: a few shots that tell the suspects apart, and a conclusion from their answers.

use copperwalk_wire::Contacts;

use super::{
    facts::{Bus, Facts, ForceContact, Proof, Seek},
    locate::{self, Suspect},
    outcome::BenchFault,
};
use crate::{
    board::{Board, PointId},
    fixture::Fixture,
    plan::{PlannedShot, Sampling, builder::Builder, forest::Forest, stretch::cover},
    quantity,
    verdict::Verdict,
};

/// A force pin with its relay and the reversal switch reads 0.6 to 0.9 Ω; above this something is dirty, ohm.
const FORCE_CONTACT_OHMS: f64 = 3.0;
/// Voltages to a welded bus that differ by less than this belong to points beyond the weld, volt: 0.2 mΩ under load.
const SAME_VOLTS: f64 = 10e-6;
/// A point at the same potential as a bus differs from it by offset and EMF only, volt.
const TOGETHER_VOLTS: f64 = 0.5e-3;
/// Less than this between two candidates is noise, volt; the smallest segments drop 20 µV under load.
const NO_DIFFERENCE_VOLTS: f64 = 3e-6;
/// The least voltage that says that a welded force relay is not at the end it is compared with, volt.
const ELSEWHERE_VOLTS: f64 = 20e-6;

/// Something to find out about the bench.
#[derive(Clone, PartialEq, Debug)]
pub enum Question {
    /// A sense pin does not answer on one relay. At a forced point the force contact may be the one to blame, because
    /// it is what ties the unit to the bias node.
    Sense {
        /// Its point.
        point: PointId,
        /// On the + relay?
        plus: bool,
        /// Forced meanwhile.
        ends: (PointId, PointId),
        /// For a forced point: another one that the path joins to it.
        neighbour: Option<PointId>,
    },
    /// A force contact carries nothing, or badly.
    Force(ForceContact),
    /// A sense relay sticks.
    WeldedSense {
        /// Of sense+?
        plus: bool,
        /// Stretches to send current along, one after the other: only where current flows are neighbouring points
        /// told apart.
        stretches: Vec<(PointId, PointId)>,
    },
    /// A force relay sticks.
    WeldedForce {
        /// Of force+?
        plus: bool,
        /// The forced points of each tree of segments, nearest to its first one first.
        trees: Vec<Vec<PointId>>,
    },
    /// A standard's sense contact.
    Standard {
        /// Channel.
        channel: u16,
    },
}

/// What the residual check leaves to ask when it could not prove its contacts.
pub fn supply_questions(fixture: &Fixture, facts: &Facts) -> Vec<Question> {
    let supply = &fixture.board.supply;
    let silent = facts.proofs.iter().filter(|proof| !proof.good);
    silent
        .map(|proof| {
            let point = if proof.plus { supply.from } else { supply.ret };
            sense(fixture, facts, point, proof.plus, (supply.from, supply.ret))
        })
        .collect()
}

fn sense(fixture: &Fixture, facts: &Facts, point: PointId, plus: bool, ends: (PointId, PointId)) -> Question {
    let forest = Forest::new(&fixture.board, facts.state, &[]);
    let forced = point == ends.0 || point == ends.1;
    let other = |&p: &PointId| fixture.pins(p).force.is_some() && p != ends.0 && p != ends.1;
    let neighbour = forest.tree(point).into_iter().find(other).filter(|_| forced);
    Question::Sense { point, plus, ends, neighbour }
}

/// What the runs of one state leave to ask.
pub fn questions(fixture: &Fixture, known: &[&Facts]) -> Vec<Question> {
    // A relay that sticks upsets everything else: ask about nothing but it.
    let welded = welded(fixture, known);
    if !welded.is_empty() {
        return welded;
    }
    let mut questions: Vec<Question> = Vec::new();
    let mut asked = Vec::new();
    for force in known.iter().flat_map(|facts| &facts.forces) {
        let bad = force.missing || force.ohms.is_some_and(|ohms| ohms > FORCE_CONTACT_OHMS);
        if bad && !asked.contains(&(force.point, force.plus)) {
            asked.push((force.point, force.plus));
            questions.push(Question::Force(*force));
        }
    }
    if !questions.is_empty() {
        return questions;
    }
    let excused = islands(known);
    let mut silent: Vec<(u16, bool)> = Vec::new();
    for (facts, proof) in known.iter().flat_map(|facts| facts.proofs.iter().map(move |proof| (facts, proof)))
    {
        if proof.good {
            continue;
        }
        if silent.contains(&(proof.channel, proof.plus)) {
            continue;
        }
        silent.push((proof.channel, proof.plus));
        match (fixture.sense_point(proof.channel), forced_ends(fixture, proof)) {
            (Some(point), _) if excused.contains(&point) => {}
            (Some(point), Some(ends)) => {
                questions.push(sense(fixture, facts, point, proof.plus, ends));
            }
            _ => questions.push(Question::Standard { channel: proof.channel }),
        }
    }
    questions
}

fn welded(fixture: &Fixture, known: &[&Facts]) -> Vec<Question> {
    let mut questions = Vec::new();
    let mut asked: Vec<Bus> = Vec::new();
    for (facts, bus) in known.iter().flat_map(|f| f.welded.iter().map(move |w| (f, w))) {
        if asked.contains(bus) {
            continue;
        }
        let forest = Forest::new(&fixture.board, facts.state, &[]);
        let question = match bus {
            Bus::ForcePlus | Bus::ForceMinus => {
                Question::WeldedForce { plus: *bus == Bus::ForcePlus, trees: forced_trees(fixture, &forest) }
            }
            Bus::SensePlus | Bus::SenseMinus => {
                let board = &fixture.board;
                let wanted =
                    board.segment_ids().filter(|&id| board.segment(id).conducts_in(facts.state)).collect();
                let (stretches, _) = cover(&forest, fixture, &wanted);
                Question::WeldedSense {
                    plus: *bus == Bus::SensePlus,
                    stretches: stretches.iter().map(|stretch| (stretch.from, stretch.to)).collect(),
                }
            }
        };
        asked.push(*bus);
        questions.push(question);
    }
    questions
}

/// The forced points of each tree of segments.
fn forced_trees(fixture: &Fixture, forest: &Forest) -> Vec<Vec<PointId>> {
    let mut trees: Vec<Vec<PointId>> = Vec::new();
    for point in (0..fixture.pins.len()).map(PointId).filter(|&p| fixture.pins(p).force.is_some()) {
        if !trees.iter().any(|tree| tree.contains(&point)) {
            let tree = forest.tree(point);
            trees.push(tree.into_iter().filter(|&p| fixture.pins(p).force.is_some()).collect());
        }
    }
    trees
}

/// Points that float between two opens: their silence is the unit's doing.
fn islands(known: &[&Facts]) -> Vec<PointId> {
    let looks = known.iter().filter(|facts| locate::is_dry_look(facts) && !locate::carries(facts));
    looks
        .flat_map(|look| locate::suspects(&look.segments))
        .filter_map(|suspect| match suspect {
            Suspect::Silent(block) if locate::is_open_behind(&block, known) => Some(block.pins),
            _ => None,
        })
        .flatten()
        .collect()
}

fn forced_ends(fixture: &Fixture, proof: &Proof) -> Option<(PointId, PointId)> {
    let Contacts { force_plus, force_minus, .. } = proof.contacts;
    Some((fixture.force_point(force_plus?)?, fixture.force_point(force_minus?)?))
}

impl Question {
    /// The runs that answer it, each without its residual check.
    pub fn rounds(&self, fixture: &Fixture) -> Vec<Vec<PlannedShot>> {
        let mut builder = Builder::new(fixture, Sampling::Quick);
        match self {
            &Self::Sense { point, plus, ends, neighbour } => {
                builder.prove_sense(ends, point, plus);
                builder.prove_sense(ends, point, !plus);
                if point == ends.0 || point == ends.1 {
                    builder.prove_sense((ends.1, ends.0), point, plus);
                }
                if let Some(neighbour) = neighbour {
                    let ends = if point == ends.0 { (neighbour, ends.1) } else { (ends.0, neighbour) };
                    builder.prove_sense(ends, point, plus);
                }
            }
            &Self::Force(ForceContact { point, other, plus, .. }) => {
                // As before, then both contacts on their other relays.
                let (from, to) = if plus { (point, other) } else { (other, point) };
                builder.prove_force(point, from, to);
                builder.prove_force(point, to, from);
            }
            Self::WeldedSense { plus, stretches } => {
                // A run each: on a large board they would not fit the controller together.
                let round = |ends: &(PointId, PointId)| {
                    let mut builder = Builder::new(fixture, Sampling::Quick);
                    builder.seek_sense(*ends, *plus);
                    builder.finish()
                };
                return stretches.iter().map(round).collect();
            }
            Self::WeldedForce { plus, trees } => {
                let round = |tree: &Vec<PointId>| {
                    let mut builder = Builder::new(fixture, Sampling::Quick);
                    if let Some(&end) = tree.first() {
                        builder.prove_alone(end, !plus);
                        builder.seek_force(*plus, end, tree);
                    }
                    builder.finish()
                };
                return trees.iter().map(round).collect();
            }
            Self::Standard { .. } => return Vec::new(),
        }
        vec![builder.finish()]
    }

    /// The bench fault that the answers point to; none if what did not answer before does so now.
    pub fn conclude(&self, fixture: &Fixture, answers: &[Facts]) -> Option<BenchFault> {
        let others: Vec<bool> =
            answers.iter().flat_map(|facts| &facts.others).map(|(.., good)| *good).collect();
        match self {
            Self::Sense { .. } | Self::Force(ForceContact { ohms: None, .. })
                if others.first() == Some(&true) =>
            {
                None
            }
            _ => Some(self.culprit(fixture, &others, answers)),
        }
    }

    fn culprit(&self, fixture: &Fixture, others: &[bool], answers: &[Facts]) -> BenchFault {
        let board = &fixture.board;
        let answered = |index: usize| others.get(index) == Some(&true);
        match *self {
            Self::Sense { point, plus, ends, neighbour } => {
                let pins = fixture.pins(point);
                let forced = point == ends.0 || point == ends.1;
                if answered(1) {
                    never_closes(fixture, point, "sense", plus)
                } else if forced && answered(2) {
                    never_closes(fixture, point, "force", point == ends.0)
                } else if neighbour.is_some() && answered(3) {
                    dirty_pin(board, point, "force", pins.force)
                } else {
                    dirty_pin(board, point, "sense", pins.sense)
                }
            }
            Self::Force(ForceContact { point, plus, ohms, .. }) => {
                let channel = fixture.pins(point).force;
                match ohms {
                    Some(ohms) => BenchFault {
                        part: pin_name(board, point, "force", channel),
                        what: format!(
                            "the contact reads {}; clean or replace the pin and sweep again",
                            quantity::engineering(ohms)
                        ),
                    },
                    None if answered(1) => never_closes(fixture, point, "force", plus),
                    None => dirty_pin(board, point, "force", channel),
                }
            }
            Self::WeldedSense { plus, .. } => {
                let seeks: Vec<Seek> = answers.iter().flat_map(|facts| &facts.seeks).copied().collect();
                welded_relay(fixture, &same_potential(&seeks), "sense", plus)
            }
            Self::WeldedForce { plus, .. } => {
                let found = answers.iter().find_map(|facts| {
                    let (end, ..) = facts.others.iter().find(|(.., flows)| *flows)?;
                    Some(where_current_enters(*end, &facts.seeks))
                });
                welded_relay(fixture, &Vec::from_iter(found), "force", plus)
            }
            Self::Standard { channel } => BenchFault {
                part: format!("standard, sense channel {channel}"),
                what: "its contact does not answer; check its wiring and relay".into(),
            },
        }
    }
}

/// Beyond the point where a current enters a path, nothing more drops: the nearest point with the whole drop. None
/// drops at all if it enters at the very end.
fn where_current_enters(end: PointId, seeks: &[Seek]) -> PointId {
    let most = seeks.iter().map(Seek::driven).fold(0.0, f64::max);
    if most < ELSEWHERE_VOLTS {
        return end;
    }
    let beyond = |seek: &&Seek| seek.driven() >= most - SAME_VOLTS;
    seeks.iter().find(beyond).map_or(end, |seek| seek.point)
}

/// The points that stay at a bus's potential along whichever stretch the current runs. Usually one; a bulk
/// capacitor holds the points at its two ends together.
fn same_potential(seeks: &[Seek]) -> Vec<PointId> {
    let mut points: Vec<PointId> = seeks.iter().map(|seek| seek.point).collect();
    points.sort_unstable();
    points.dedup();
    let of = |point: PointId| seeks.iter().filter(move |seek| seek.point == point);
    let apart = |point: PointId| of(point).map(Seek::driven).fold(0.0, f64::max);
    // Another tree of segments may float at any potential, and its middle may seem to stand still.
    points.retain(|&point| of(point).all(|seek| seek.most() < TOGETHER_VOLTS));
    let least = points.iter().map(|&point| apart(point)).fold(f64::INFINITY, f64::min);
    points.retain(|&point| apart(point) < least + NO_DIFFERENCE_VOLTS);
    points
}

/// Standards that read outside their tolerance.
pub fn standards(fixture: &Fixture, known: &[&Facts]) -> Vec<BenchFault> {
    known
        .iter()
        .flat_map(|facts| &facts.standards)
        .filter_map(|(index, reading)| {
            let standard = fixture.standards.get(*index)?;
            let part = format!("standard {}", standard.name);
            if !reading.flows {
                return Some(BenchFault {
                    part,
                    what: "no current flows through it; check its wiring and its force relays".into(),
                });
            }
            (super::judge::standard(standard, reading) != Verdict::Pass).then(|| BenchFault {
                part,
                what: format!(
                    "reads {} instead of {}; the meter is not to be trusted: find out why before measuring on",
                    quantity::engineering(reading.ohms),
                    quantity::engineering(standard.ohms)
                ),
            })
        })
        .collect()
}

/// Voltage that stayed after bleeding.
pub fn live_unit(board: &Board, from: PointId, ret: PointId, volts: f64) -> BenchFault {
    BenchFault {
        part: format!("voltage between {} and {}", board.point(from).name, board.point(ret).name),
        what: format!(
            "{} stand on the unit and do not bleed off: take the battery out, wait a minute, and sweep again. \
             Nothing was excited",
            // The converter's range ends at 2.048 V.
            if volts.abs() >= 2.04 { "more than 2 V".to_owned() } else { format!("{:.2} V", volts.abs()) }
        ),
    }
}

/// The contacts answered when asked again.
pub fn unsteady_supply_contacts() -> BenchFault {
    BenchFault {
        part: "contacts of the supply terminals".into(),
        what: "did not answer at first and did when asked again: seat the board and sweep again".into(),
    }
}

fn pin_name(board: &Board, point: PointId, kind: &str, channel: Option<u16>) -> String {
    let name = &board.point(point).name;
    match channel {
        Some(channel) => format!("pin {name}, {kind} channel {channel}"),
        None => format!("pin {name}"),
    }
}

fn dirty_pin(board: &Board, point: PointId, kind: &str, channel: Option<u16>) -> BenchFault {
    BenchFault {
        part: pin_name(board, point, kind, channel),
        what: "does not touch: clean the pin and the pad, check that the board sits flat, and sweep again"
            .into(),
    }
}

fn relay_name(fixture: &Fixture, point: PointId, kind: &str) -> String {
    let pins = fixture.pins(point);
    let channel = if kind == "force" { pins.force } else { pins.sense };
    let channel = channel.map(|c| format!("channel {c} ")).unwrap_or_default();
    format!("{channel}(pin {})", fixture.board.point(point).name)
}

fn never_closes(fixture: &Fixture, point: PointId, kind: &str, plus: bool) -> BenchFault {
    let sign = if plus { '+' } else { '-' };
    BenchFault {
        part: format!("relay {kind}{sign} of {}", relay_name(fixture, point, kind)),
        what: "never closes, while the pin answers on its other relay: replace the relay or its driver"
            .into(),
    }
}

fn welded_relay(fixture: &Fixture, points: &[PointId], kind: &str, plus: bool) -> BenchFault {
    let sign = if plus { '+' } else { '-' };
    let names: Vec<String> = points.iter().map(|&point| relay_name(fixture, point, kind)).collect();
    let which = match names.as_slice() {
        [] => "(not found which)".into(),
        names => format!("of {}", names.join(" or ")),
    };
    BenchFault {
        part: format!("relay {kind}{sign} {which}"),
        what: "sticks closed: replace the relay, and look for what made it weld".into(),
    }
}
