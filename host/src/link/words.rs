//! What a controller says, in words for people.

use std::borrow::Cow;

use copperwalk_wire::{
    FromBench,
    message::{Fault, Refusal, Rule, RunEnd, ShotEnd, Status},
};

/// A refusal, as what follows "the controller refused: ".
pub fn refusal(refusal: &Refusal) -> String {
    match refusal {
        Refusal::Protocol { mine } => format!("it speaks protocol {mine}"),
        Refusal::NoHello => "it was restarted and has lost the connection; start again".into(),
        Refusal::Busy => "a plan is running; wait for its end".into(),
        Refusal::PlanTooLong { capacity } => format!("it holds {capacity} readings at most"),
        Refusal::ShotMissing { expected } => {
            format!("reading {expected} of the plan did not arrive; check the cable and start again")
        }
        Refusal::Rule { index, rule } => {
            format!("reading {index} breaks a safety rule: {}", rule_words(*rule))
        }
        Refusal::LidOpen => "the lid is open; close it".into(),
        Refusal::Broken(fault) => format!("it found a fault: {}", self::fault(*fault)),
    }
}

const fn rule_words(rule: Rule) -> &'static str {
    match rule {
        Rule::ChannelRange => "its matrix has no such channel",
        Rule::SameChannelTwice => "one channel on both buses of a pair",
        Rule::ResidualFirst => "current with no residual check before it",
        Rule::SourceForMethod => "the wrong source for the method",
        Rule::ContactMissing => "a contact is missing",
        Rule::Counts => "a count of zero, or a minimum above its maximum",
        Rule::NotFinite => "a threshold that is not a finite number",
    }
}

/// An answer, as what follows "got ".
pub fn answer(body: &FromBench) -> String {
    match body {
        FromBench::Hello(_) => "a greeting".into(),
        FromBench::Status(_) => "a status".into(),
        FromBench::Done => "\"done\"".into(),
        FromBench::Refused(reason) => format!("a refusal ({})", refusal(reason)),
        FromBench::Codes { shot, first, codes } => {
            format!("{} conversions of reading {} from number {first} on", codes.len(), u32::from(*shot) + 1)
        }
        FromBench::Shot { shot, codes, why, .. } => {
            format!(
                "the end of reading {} after {codes} conversions, {}",
                u32::from(*shot) + 1,
                shot_end(*why)
            )
        }
        FromBench::Ended { why, shots, .. } => {
            format!("the end of the run after {shots} readings, {}", run_end(*why))
        }
        FromBench::Echo { .. } => "an echo".into(),
    }
}

const fn shot_end(why: ShotEnd) -> &'static str {
    match why {
        ShotEnd::Complete => "complete",
        ShotEnd::Decided => "decided early",
        ShotEnd::Budget => "its number of samples reached",
    }
}

/// Why a run ended, as what follows "the end of the run, ".
pub fn run_end(why: RunEnd) -> Cow<'static, str> {
    let words = match why {
        RunEnd::Complete => "complete",
        RunEnd::Gate => "at a gate",
        RunEnd::Residual => "for voltage on the unit",
        RunEnd::NoContact => "for contacts of the residual check",
        RunEnd::Stopped => "stopped by the host",
        RunEnd::Fault(fault) => return self::fault(fault),
    };
    words.into()
}

/// How a controller stands, in words.
pub fn status(status: &Status) -> String {
    let mut words: Vec<Cow<'static, str>> = vec![];
    if status.lid_open {
        words.push("lid open".into());
    }
    if status.running {
        words.push("running a plan".into());
    }
    if let Some(found) = status.fault {
        words.push(fault(found));
    }
    if status.watchdog_reset {
        words.push("was restarted by its watchdog".into());
    }
    if words.is_empty() { "ready".into() } else { words.join(", ") }
}

/// What broke, in words.
pub fn fault(fault: Fault) -> Cow<'static, str> {
    let words = match fault {
        Fault::Lid => "the lid was opened in a run",
        Fault::Heartbeat => "the host fell silent in a run",
        Fault::AdcTimeout => "the converter does not get ready (DRDY wire?)",
        Fault::AdcRegisters => "the converter does not answer (its supply or SPI wires?)",
        Fault::Matrix => "the relay drivers cannot be written, or do not answer",
        Fault::Line => "the line to the host broke in a run",
        Fault::Register { behind } => {
            return format!(
                "the relay drivers' register {}, counted from the far end, stays high",
                behind + 1
            )
            .into();
        }
    };
    words.into()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_status_is_told_in_words() {
        let ready = Status { running: false, lid_open: false, fault: None, watchdog_reset: false };
        assert_eq!(status(&ready), "ready");
        let bad = Status { lid_open: true, fault: Some(Fault::Heartbeat), watchdog_reset: true, ..ready };
        assert_eq!(status(&bad), "lid open, the host fell silent in a run, was restarted by its watchdog");
    }
}
