//! Everything that can go wrong between host and controller, each with what to do about it.

use std::time::Duration;

use copperwalk_wire::{PROTOCOL, message::Refusal};

use super::{transport::Gone, words};

/// Why the controller did not do what was asked. Whatever it is, the bench is at fault and not the unit.
#[derive(Clone, PartialEq, Debug, thiserror::Error)]
pub enum LinkError {
    /// There is no line: the port is missing, in use or not allowed.
    #[error("{0}")]
    CannotOpen(String),
    /// The line was lost.
    #[error(transparent)]
    Gone(#[from] Gone),
    /// The controller said no.
    #[error("the controller refused: {}", words::refusal(.0))]
    Refused(Refusal),
    /// What was awaited did not come in time, whatever else came.
    #[error("the controller did not {awaited} within {}{}; {}", seconds(.waited), heard(.strays), awaited.remedy())]
    Silent {
        /// What was awaited.
        awaited: Awaited,
        /// How long, on the line's own clock.
        waited: Duration,
        /// Messages that came meanwhile and answer nothing that was asked.
        strays: u64,
    },
    /// The two ends speak different versions.
    #[error(
        "the controller speaks protocol {theirs}, this program {PROTOCOL}: {}",
        if *theirs < PROTOCOL { "flash the firmware that came with this program" } else { "update this program" }
    )]
    Version {
        /// The controller's version.
        theirs: u16,
    },
    /// An answer that cannot be.
    #[error(transparent)]
    BrokenPromise(#[from] BrokenPromise),
    /// The run was ended by `Stop` or `Hello`, and not by this session.
    #[error("the run was stopped by another program on the same port; let one program alone use it")]
    Stopped,
    /// This session was asked to stop.
    #[error(
        "cancelled; {}",
        if *all_open { "the controller confirms that every relay is open" }
        else { "the controller did not confirm that its relays are open: unplug it" }
    )]
    Cancelled {
        /// The controller has confirmed that every relay is open.
        all_open: bool,
    },
}

impl LinkError {
    /// Did the controller refuse because the lid is open?
    pub fn is_open_lid(&self) -> bool {
        matches!(self, Self::Refused(Refusal::LidOpen))
    }
}

/// What a session waits for.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Awaited {
    /// The answer to `Hello`.
    Greeting,
    /// The answer to a question.
    Answer,
    /// The answer to `Run`, with the plan before it.
    Start,
    /// The end of a shot.
    Shot {
        /// Which, counted from 1.
        number: usize,
        /// Of how many.
        of: usize,
    },
    /// The end of a run.
    End,
}

impl std::fmt::Display for Awaited {
    fn fmt(&self, formatter: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Greeting => formatter.write_str("answer the greeting"),
            Self::Answer => formatter.write_str("answer"),
            Self::Start => formatter.write_str("take the plan"),
            Self::Shot { number, of } => write!(formatter, "finish reading {number} of {of}"),
            Self::End => formatter.write_str("finish the run"),
        }
    }
}

impl Awaited {
    const fn remedy(self) -> &'static str {
        match self {
            Self::Greeting => "`copperwalk bench` lists the ports of controllers",
            _ => "check the cable, unplug the controller and plug it in again",
        }
    }
}

/// An answer that cannot be, given the plan and what came before.
#[derive(Clone, PartialEq, Eq, Debug, thiserror::Error)]
#[error(
    "the controller gave an impossible answer{}: expected {expected}, got {got}; check the cable, \
     then flash the firmware that came with this program", place(.shot)
)]
pub struct BrokenPromise {
    /// The shot under way, counted from 1, and of how many; `None` outside a run.
    pub shot: Option<(usize, usize)>,
    /// What could have come.
    pub expected: String,
    /// What came.
    pub got: String,
}

fn place(shot: &Option<(usize, usize)>) -> String {
    shot.map_or_else(String::new, |(number, of)| format!(" at reading {number} of {of}"))
}

fn seconds(time: &Duration) -> String {
    format!("{:.1} s", time.as_secs_f64())
}

fn heard(strays: &u64) -> String {
    match strays {
        0 => String::new(),
        1 => " (1 message came that answers no question)".into(),
        more => format!(" ({more} messages came that answer no question)"),
    }
}
