//! Which pin, relay or standard of the bench is at fault. A bench fault makes the sweep void; it is never booked
//! against the unit.
//!
//! A suspicion becomes a [`Question`]: a few shots that tell the suspects apart, and a conclusion from their answers.

use copperwalk_wire::Contacts;

use super::{
    facts::{Bus, Facts, ForceContact, Proof, Seek},
    locate::{self, Suspect},
    outcome::{BenchFault, Verdict},
};
use crate::{
    board::{Board, PointId},
    fixture::Fixture,
    plan::{PlannedShot, Sampling, builder::Builder, forest::Forest, stretch::cover},
    quantity,
};

/// A force pin with its relay and the reversal switch reads 0.6 to 0.9 Ω; above this something is dirty, ohm.
const FORCE_CONTACT_OHMS: f64 = 3.0;
/// Voltages to a welded bus within this share of the largest belong to points beyond the weld.
const SAME_VOLTS_SHARE: f64 = 0.02;
/// A point at the same potential as a bus differs from it by offset and EMF only, volt.
const TOGETHER_VOLTS: f64 = 0.5e-3;
/// Less than this between two candidates is noise, volt; the smallest segments drop 20 µV under load.
const NO_DIFFERENCE_VOLTS: f64 = 3e-6;
/// The least voltage that says that a welded force relay is not at the end it is compared with, volt.
const ELSEWHERE_VOLTS: f64 = 5e-6;

/// Something to find out about the bench.
#[derive(Clone, PartialEq, Debug)]
pub enum Question {
    /// A terminal's sense contact could not be proven before the first current: one of its two pins, or a relay.
    Terminal {
        /// The terminal.
        point: PointId,
        /// The other terminal.
        other: PointId,
        /// Normally on the + relays?
        plus: bool,
        /// Another forced point that the board's path joins to it.
        neighbour: Option<PointId>,
    },
    /// A sense pin does not answer on one relay.
    Sense {
        /// Its point.
        point: PointId,
        /// On the + relay?
        plus: bool,
        /// Forced meanwhile.
        ends: (PointId, PointId),
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
        /// The one force pin that was closed.
        end: PointId,
        /// Where it may sit, nearest to `end` first.
        points: Vec<PointId>,
    },
    /// A standard's sense contact.
    Standard {
        /// Channel.
        channel: u8,
    },
}

/// What the residual check leaves to ask when it could not prove its contacts.
pub fn supply_questions(fixture: &Fixture, facts: &Facts) -> Vec<Question> {
    let supply = &fixture.board.supply;
    facts
        .proofs
        .iter()
        .filter(|proof| !proof.good)
        .map(|proof| {
            let (point, other) =
                if proof.plus { (supply.from, supply.ret) } else { (supply.ret, supply.from) };
            let forest = Forest::new(&fixture.board, facts.state, &[]);
            let neighbour = forest.tree(point).into_iter().skip(1).find(|&p| fixture.pins(p).force.is_some());
            Question::Terminal { point, other, plus: proof.plus, neighbour }
        })
        .collect()
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
    let mut silent: Vec<(u8, bool)> = Vec::new();
    for proof in known.iter().flat_map(|facts| &facts.proofs).filter(|proof| !proof.good) {
        if silent.contains(&(proof.channel, proof.plus)) {
            continue;
        }
        silent.push((proof.channel, proof.plus));
        match (fixture.sense_point(proof.channel), forced_ends(fixture, proof)) {
            (Some(point), _) if excused.contains(&point) => {}
            (Some(point), Some(ends)) => {
                questions.push(Question::Sense { point, plus: proof.plus, ends });
            }
            _ => questions.push(Question::Standard { channel: proof.channel }),
        }
    }
    questions
}

fn welded(fixture: &Fixture, known: &[&Facts]) -> Vec<Question> {
    let mut questions = Vec::new();
    let mut asked: Vec<Bus> = Vec::new();
    for (facts, (bus, contacts)) in known.iter().flat_map(|f| f.welded.iter().map(move |w| (f, w))) {
        let point = |channel: Option<u8>| channel.and_then(|c| fixture.force_point(c));
        let (plus, minus) = (point(contacts.force_plus), point(contacts.force_minus));
        if asked.contains(bus) {
            continue;
        }
        let forest = Forest::new(&fixture.board, facts.state, &[]);
        let question = match (bus, plus, minus) {
            (Bus::ForcePlus, _, Some(end)) | (Bus::ForceMinus, Some(end), _) => {
                Question::WeldedForce { plus: *bus == Bus::ForcePlus, end, points: forest.tree(end) }
            }
            (Bus::SensePlus | Bus::SenseMinus, ..) => {
                let board = &fixture.board;
                let wanted =
                    board.segment_ids().filter(|&id| board.segment(id).conducts_in(facts.state)).collect();
                let (stretches, _) = cover(&forest, fixture, &wanted);
                Question::WeldedSense {
                    plus: *bus == Bus::SensePlus,
                    stretches: stretches.iter().map(|stretch| (stretch.from, stretch.to)).collect(),
                }
            }
            _ => continue,
        };
        asked.push(*bus);
        questions.push(question);
    }
    questions
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
            &Self::Terminal { point, other, plus, neighbour } => {
                let ends = if plus { (point, other) } else { (other, point) };
                builder.prove_sense(ends, point, !plus);
                builder.prove_sense((ends.1, ends.0), point, plus);
                if let Some(neighbour) = neighbour {
                    let ends = if plus { (neighbour, other) } else { (other, neighbour) };
                    builder.prove_sense(ends, point, plus);
                }
            }
            &Self::Sense { point, plus, ends } => {
                builder.prove_sense(ends, point, plus);
                builder.prove_sense(ends, point, !plus);
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
            Self::WeldedForce { plus, end, points } => builder.seek_force(*plus, *end, points),
            Self::Standard { .. } => return Vec::new(),
        }
        vec![builder.finish()]
    }

    /// The bench fault that the answers point to; none if what did not answer before does so now.
    pub fn conclude(&self, fixture: &Fixture, answers: &[Facts]) -> Option<BenchFault> {
        let others: Vec<bool> =
            answers.iter().flat_map(|facts| &facts.others).map(|(.., good)| *good).collect();
        let seeks: Vec<Seek> = answers.iter().flat_map(|facts| &facts.seeks).copied().collect();
        match self {
            Self::Sense { .. } | Self::Force(ForceContact { ohms: None, .. })
                if others.first() == Some(&true) =>
            {
                None
            }
            _ => Some(self.culprit(fixture, &others, &seeks)),
        }
    }

    fn culprit(&self, fixture: &Fixture, others: &[bool], seeks: &[Seek]) -> BenchFault {
        let board = &fixture.board;
        let answered = |index: usize| others.get(index) == Some(&true);
        match *self {
            Self::Terminal { point, plus, neighbour, .. } => {
                if answered(0) {
                    never_closes(fixture, point, "sense", plus)
                } else if answered(1) {
                    never_closes(fixture, point, "force", plus)
                } else if neighbour.is_some() && answered(2) {
                    dirty_pin(board, point, "force", fixture.pins(point).force)
                } else {
                    dirty_pin(board, point, "sense", fixture.pins(point).sense)
                }
            }
            Self::Sense { point, plus, .. } => {
                let channel = fixture.pins(point).sense;
                match answered(1) {
                    true => never_closes(fixture, point, "sense", plus),
                    false => dirty_pin(board, point, "sense", channel),
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
            Self::WeldedSense { plus, .. } => welded_relay(fixture, &same_potential(seeks), "sense", plus),
            Self::WeldedForce { plus, end, .. } => {
                let most = seeks.iter().map(Seek::driven).fold(0.0, f64::max);
                let point = if most < ELSEWHERE_VOLTS {
                    end
                } else {
                    let beyond = |seek: &&Seek| seek.driven() >= most * (1.0 - SAME_VOLTS_SHARE);
                    seeks.iter().find(beyond).map_or(end, |seek| seek.point)
                };
                welded_relay(fixture, &[point], "force", plus)
            }
            Self::Standard { channel } => BenchFault {
                part: format!("standard, sense channel {channel}"),
                what: "its contact does not answer; check its wiring and relay".into(),
            },
        }
    }
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

fn pin_name(board: &Board, point: PointId, kind: &str, channel: Option<u8>) -> String {
    let name = &board.point(point).name;
    match channel {
        Some(channel) => format!("pin {name}, {kind} channel {channel}"),
        None => format!("pin {name}"),
    }
}

fn dirty_pin(board: &Board, point: PointId, kind: &str, channel: Option<u8>) -> BenchFault {
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
