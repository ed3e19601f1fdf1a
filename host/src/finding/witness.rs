//! What evidence of the bench answers: its observations as questions and answers.

use copperwalk_wire::Source;

use super::open::OPEN;
use crate::{
    board::{Board, StateId},
    evidence::{Evidence, Observation},
    hypothesis::{Answer, Look, Question},
    measure::{isolation::Isolation, ratio::Reading},
    quantity::Ohms,
};

/// Every answer in the evidence, in the order it was given, each with the number of its run.
pub fn answers(board: &Board, evidence: &Evidence) -> Vec<(usize, Question, Answer)> {
    let runs = evidence.runs().iter().enumerate();
    runs.flat_map(|(number, run)| {
        run.observations
            .iter()
            .filter_map(move |seen| answer(board, run.state, seen).map(|(asked, said)| (number, asked, said)))
    })
    .collect()
}

/// What one observation answers, if it answers anything about the unit.
pub fn answer(board: &Board, state: StateId, seen: &Observation) -> Option<(Question, Answer)> {
    let look = |forced, sensed, touches, reading: &Reading| {
        let look = Look::new(board, state, forced, sensed)?;
        Some((Question::Look(look), of_reading(touches, reading)))
    };
    match seen {
        Observation::EndToEnd(seen) => {
            look([seen.from, seen.to], [seen.from, seen.to], seen.touches, &seen.reading)
        }
        Observation::Between(seen) => look(seen.forced, seen.sensed, seen.touches, &seen.reading),
        Observation::Segment(seen) => {
            // Load current breaks through a film: what a contact reads under it says nothing of how it reads dry.
            if seen.source != Source::Dry && board.segment(seen.segment).kind.is_contact() {
                return None;
            }
            let [Some(plus), Some(minus)] = seen.forced else { return None };
            look([plus, minus], seen.ends, seen.touches, &seen.reading)
        }
        Observation::Isolation(index, reading) => {
            let min = board.isolation.get(*index)?.min;
            Some((Question::Insulation { index: *index, state }, of_insulation(min, reading)?))
        }
        _ => None,
    }
}

fn of_reading(touches: [bool; 2], reading: &Reading) -> Answer {
    match (touches, reading.flows) {
        _ if reading.motion.is_some() => Answer::Moves,
        ([true, true], true) if reading.over_range => Answer::AtLeast(reading.resistance.abs()),
        ([true, true], true) => Answer::Reads {
            resistance: reading.resistance,
            standard: reading.budget.standard().max(Ohms(1e-9)),
        },
        ([true, true], false) => Answer::Stops { across: reading.voltage.abs() > OPEN },
        (_, true) => Answer::Silent { silent: touches.map(|touches| !touches) },
        (_, false) => Answer::Floats { floats: touches.map(|touches| !touches) },
    }
}

/// `None` where a limit lies within the bounds.
fn of_insulation(min: Ohms, reading: &Isolation) -> Option<Answer> {
    if !reading.driven {
        return None;
    }
    match (reading.at_least, reading.at_most) {
        (Some(least), _) if least >= min => Some(Answer::Apart),
        (_, Some(most)) if most < min => Some(Answer::Bridged),
        _ => None,
    }
}
