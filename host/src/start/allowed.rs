//! Which unit may be started: one whose last sweep or hunt passed, after its last repair.

use crate::{
    board::Board,
    records::{
        SweepId,
        summary::{Event, UnitHistory},
    },
    verdict::Verdict,
};

/// Why a unit is not put under power, and what to do.
#[derive(Clone, PartialEq, Eq, Debug, thiserror::Error)]
pub enum NotAllowed {
    /// Nothing says that it is fit for it.
    #[error("unit {serial:?} has not been measured yet, or only void sweeps were made of it: sweep it first")]
    NeverSwept {
        /// The unit.
        serial: String,
    },
    /// It did not pass.
    #[error(
        "the last sweep of unit {serial:?}, {sweep}, is no pass but {verdict}: repair it and sweep it again before it gets power"
    )]
    NoPass {
        /// The unit.
        serial: String,
        /// The sweep.
        sweep: SweepId,
        /// Its verdict, a word.
        verdict: &'static str,
    },
    /// It was repaired since.
    #[error(
        "unit {serial:?} was repaired after its last sweep, {sweep}: sweep it again before it gets power"
    )]
    Repaired {
        /// The unit.
        serial: String,
        /// The sweep.
        sweep: SweepId,
    },
    /// It is another board.
    #[error(
        "unit {serial:?} was swept as board {board:?}, revision {revision:?}: name the file of that board, or sweep it as this one"
    )]
    OtherBoard {
        /// The unit.
        serial: String,
        /// Name.
        board: String,
        /// Revision.
        revision: String,
    },
    /// The board file does not say how.
    #[error(
        "board {board:?} does not say how it is put under power: add a table [power] to its file, such as idle = [\"2 mA\", \"9 mA\"]; \
         docs/first-power.md explains it"
    )]
    NoPower {
        /// The board.
        board: String,
    },
    /// A repaired unit is no golden one.
    #[error("unit {serial:?} was repaired and is no golden unit: leave --golden out")]
    NotGolden {
        /// The unit.
        serial: String,
    },
}

/// The sweep that allows it.
///
/// # Errors
/// See [`NotAllowed`].
pub fn allowed(unit: &UnitHistory, board: &Board, golden: bool) -> Result<SweepId, NotAllowed> {
    let serial = || unit.serial.clone();
    let last = unit.judged().next_back().ok_or_else(|| NotAllowed::NeverSwept { serial: serial() })?;
    if (&last.basis.board, &last.basis.revision) != (&board.name, &board.revision) {
        let (board, revision) = (last.basis.board.clone(), last.basis.revision.clone());
        return Err(NotAllowed::OtherBoard { serial: serial(), board, revision });
    }
    let verdict = match last.judgement.verdict {
        Verdict::Pass => None,
        Verdict::Fail => Some("a fail"),
        Verdict::Unproven | Verdict::Void => Some("unproven"),
    };
    if let Some(verdict) = verdict {
        return Err(NotAllowed::NoPass { serial: serial(), sweep: last.id, verdict });
    }
    // In the order of writing: a clock may be wrong.
    let is_last = |event: &Event| matches!(event, Event::Sweep(sweep) if sweep.id == last.id);
    let since = unit.events.iter().skip_while(|event| !is_last(event));
    if since.into_iter().any(|event| matches!(event, Event::Repair(_))) {
        return Err(NotAllowed::Repaired { serial: serial(), sweep: last.id });
    }
    if golden && unit.events.iter().any(|event| matches!(event, Event::Repair(_))) {
        return Err(NotAllowed::NotGolden { serial: serial() });
    }
    Ok(last.id)
}
