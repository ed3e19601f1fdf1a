//! Whoever puts the unit into a state when asked: a person at a terminal, or nobody at all on the modelled bench.

use std::{
    io::{self, BufRead, Write},
    sync::mpsc::{self, Receiver, RecvTimeoutError},
    thread,
    time::Duration,
};

use crate::{board::StateId, link::CancelToken};

/// How often a waiting question looks whether it is still wanted.
const LOOK: Duration = Duration::from_millis(50);

/// Puts the unit into states.
pub trait Operator {
    /// Puts the unit into a state, which the prompt describes, and returns when it is there.
    ///
    /// # Errors
    /// If nobody does.
    fn place(&mut self, state: StateId, prompt: &str) -> Result<(), Unattended>;
}

/// The unit is not in the state asked for.
#[derive(Clone, PartialEq, Eq, Debug, thiserror::Error)]
pub enum Unattended {
    /// Nobody is there.
    #[error("nobody answered \"{0}\"; a bench needs a person who does it and presses Enter")]
    Nobody(String),
    /// The question was withdrawn.
    #[error("cancelled")]
    Cancelled,
}

/// A person who reads standard error and presses Enter on standard input.
#[derive(Debug, Default)]
pub struct TerminalOperator {
    cancel: CancelToken,
    /// One item for each line of standard input, once somebody was asked.
    answers: Option<Receiver<()>>,
}

impl TerminalOperator {
    /// Withdraws its question soon after `cancel` is set.
    pub fn new(cancel: &CancelToken) -> Self {
        Self { cancel: cancel.clone(), answers: None }
    }
}

impl Operator for TerminalOperator {
    /// Nothing runs meanwhile, so nothing hurries.
    fn place(&mut self, _state: StateId, prompt: &str) -> Result<(), Unattended> {
        // A board without states has nothing to be put into.
        if prompt.is_empty() {
            return Ok(());
        }
        let answers = self.answers.get_or_insert_with(lines);
        // If nobody can read the question, nobody will answer it, and that is noticed below.
        let _ = writeln!(io::stderr(), "{prompt}, close the lid, then press Enter");
        loop {
            match answers.recv_timeout(LOOK) {
                Ok(()) => return Ok(()),
                Err(RecvTimeoutError::Disconnected) => return Err(Unattended::Nobody(prompt.into())),
                Err(RecvTimeoutError::Timeout) if self.cancel.is_cancelled() => {
                    return Err(Unattended::Cancelled);
                }
                Err(RecvTimeoutError::Timeout) => {}
            }
        }
    }
}

/// Reads standard input in a thread of its own, because a read cannot be interrupted. It ends with the input.
fn lines() -> Receiver<()> {
    // Without room: input that never ends waits unread until the next question.
    let (tell, told) = mpsc::sync_channel(0);
    thread::spawn(move || {
        while io::stdin().lock().skip_until(b'\n').is_ok_and(|count| count > 0) {
            if tell.send(()).is_err() {
                break;
            }
        }
    });
    told
}
