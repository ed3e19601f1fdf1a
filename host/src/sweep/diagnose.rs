//! Which pin, relay or standard of the bench is at fault. A bench fault makes the sweep void; it is never booked
//! against the unit.
//!
//! A suspicion becomes a [`Question`]: a few shots that tell the suspects apart, and a conclusion from their answers.

use copperwalk_wire::Contacts;

use super::{
    facts::{Bus, Facts, ForceContact, Proof},
    locate::{self, Suspect},
    outcome::{BenchFault, Verdict},
};
use crate::{
    board::{Board, PointId},
    fixture::Fixture,
    plan::{builder::Builder, forest::Forest},
    quantity,
};

/// A force pin with its relay and the reversal switch reads 0.6 to 0.9 Ω; above this something is dirty, ohm.
const FORCE_CONTACT_OHMS: f64 = 3.0;
/// Voltages to a welded bus within this share of the largest belong to points beyond the weld.
const SAME_VOLTS_SHARE: f64 = 0.02;
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
        /// Forced meanwhile.
        ends: (PointId, PointId),
        /// Where it may sit.
        points: Vec<PointId>,
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
            (Bus::SensePlus | Bus::SenseMinus, Some(a), Some(b)) => {
                Question::WeldedSense { plus: *bus == Bus::SensePlus, ends: (a, b), points: forest.tree(a) }
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
    /// Adds the shots that answer it.
    pub fn ask(&self, builder: &mut Builder<'_>) {
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
            Self::WeldedSense { plus, ends, points } => builder.seek_sense(*ends, *plus, points),
            Self::WeldedForce { plus, end, points } => builder.seek_force(*plus, *end, points),
            Self::Standard { .. } => {}
        }
    }

    /// The bench fault that the answers point to; none if what did not answer before does so now.
    pub fn conclude(&self, fixture: &Fixture, answers: &Facts) -> Option<BenchFault> {
        match self {
            Self::Sense { .. } | Self::Force(ForceContact { ohms: None, .. })
                if answers.others.first().is_some_and(|(_, _, good)| *good) =>
            {
                None
            }
            _ => Some(self.culprit(fixture, answers)),
        }
    }

    fn culprit(&self, fixture: &Fixture, answers: &Facts) -> BenchFault {
        let board = &fixture.board;
        let answered = |index: usize| answers.others.get(index).is_some_and(|(_, _, good)| *good);
        match *self {
            Self::Terminal { point, plus, neighbour, .. } => {
                if answered(0) {
                    never_closes(board, point, "sense", plus, fixture.pins(point).sense)
                } else if answered(1) {
                    never_closes(board, point, "force", plus, fixture.pins(point).force)
                } else if neighbour.is_some() && answered(2) {
                    dirty_pin(board, point, "force", fixture.pins(point).force)
                } else {
                    dirty_pin(board, point, "sense", fixture.pins(point).sense)
                }
            }
            Self::Sense { point, plus, .. } => {
                let channel = fixture.pins(point).sense;
                match answered(1) {
                    true => never_closes(board, point, "sense", plus, channel),
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
                    None if answered(1) => never_closes(board, point, "force", plus, channel),
                    None => dirty_pin(board, point, "force", channel),
                }
            }
            Self::WeldedSense { plus, .. } => {
                let nearest = answers.seeks.iter().min_by(|a, b| a.1.abs().total_cmp(&b.1.abs()));
                let point = nearest.map(|(point, _)| *point);
                welded_relay(board, point, "sense", plus, point.and_then(|p| fixture.pins(p).sense))
            }
            Self::WeldedForce { plus, end, .. } => {
                let most = answers.seeks.iter().map(|(_, volts)| volts.abs()).fold(0.0, f64::max);
                let point = if most < ELSEWHERE_VOLTS {
                    end
                } else {
                    let beyond = |volts: f64| volts.abs() >= most * (1.0 - SAME_VOLTS_SHARE);
                    answers.seeks.iter().find(|(_, v)| beyond(*v)).map_or(end, |(point, _)| *point)
                };
                welded_relay(board, Some(point), "force", plus, fixture.pins(point).force)
            }
            Self::Standard { channel } => BenchFault {
                part: format!("standard, sense channel {channel}"),
                what: "its contact does not answer; check its wiring and relay".into(),
            },
        }
    }
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

fn relay_name(board: &Board, point: Option<PointId>, kind: &str, plus: bool, channel: Option<u8>) -> String {
    let sign = if plus { '+' } else { '-' };
    let channel = channel.map(|c| format!(" of channel {c}")).unwrap_or_default();
    let pin = point.map(|p| format!(" (pin {})", board.point(p).name)).unwrap_or_default();
    format!("relay {kind}{sign}{channel}{pin}")
}

fn never_closes(board: &Board, point: PointId, kind: &str, plus: bool, channel: Option<u8>) -> BenchFault {
    BenchFault {
        part: relay_name(board, Some(point), kind, plus, channel),
        what: "never closes, while the pin answers on its other relay: replace the relay or its driver"
            .into(),
    }
}

fn welded_relay(
    board: &Board,
    point: Option<PointId>,
    kind: &str,
    plus: bool,
    channel: Option<u8>,
) -> BenchFault {
    BenchFault {
        part: relay_name(board, point, kind, plus, channel),
        what: "sticks closed: replace the relay, and look for what made it weld".into(),
    }
}
