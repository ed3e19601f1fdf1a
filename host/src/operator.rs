//! Whoever puts the unit into a state when asked: a person at a terminal, or nobody at all on the modelled bench.
//!
//! A person need not say that it is done where the bench can see it: [`wait`] looks at the lid and at the unit's switches
//! ([`Watch`]) and takes an answer for the rest.

use std::{
    io::{self, BufRead, Read, Write},
    sync::mpsc::{self, Receiver, RecvTimeoutError},
    thread,
    time::Duration,
};

use crate::{
    board::StateId,
    link::{CancelToken, LinkError},
};

/// How often a waiting question looks whether it is still wanted.
pub const LOOK: Duration = Duration::from_millis(50);

/// A look closes relays, so the bench looks only at every fifth of those moments; at the next one once it has seen the state.
const REST: u8 = 5;
/// So many looks one after the other have to see the state: one may fall into the moment of switching.
const LOOKS_AGREE: u8 = 2;

/// What the bench sees of the unit while somebody is at it.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Seen {
    /// The lid is open, so that nothing can be read.
    LidOpen,
    /// The unit's switches stand as the state asks.
    There,
    /// A switch stands otherwise.
    Elsewhere,
    /// No switch that can be read tells the state from another: somebody has to say so.
    Unknown,
}

/// Eyes on the unit.
pub trait Watch {
    /// Looks once.
    ///
    /// # Errors
    /// Whatever keeps the controller from an answer.
    fn look(&mut self) -> Result<Seen, LinkError>;
}

/// Puts the unit into states.
pub trait Operator {
    /// Puts the unit into a state, which the prompt describes, and returns when it is there. The prompt is empty where
    /// nothing is to be done.
    ///
    /// # Errors
    /// If nobody does.
    fn place(&mut self, state: StateId, prompt: &str, watch: &mut dyn Watch) -> Result<(), Unattended>;

    /// Lays something else on the pins, as the prompt asks, and returns when it lies there.
    ///
    /// # Errors
    /// If nobody does.
    fn lay(&mut self, _lying: Lying, prompt: &str, watch: &mut dyn Watch) -> Result<(), Unattended> {
        self.place(StateId::new(0), prompt, watch)
    }
}

/// What lies on the pins.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Lying {
    /// Nothing: the bed is empty.
    Nothing,
    /// A sheet of bare copper that every pin touches.
    Plate,
    /// A unit, seated anew.
    Unit,
}

/// The unit is not in the state asked for.
#[derive(Clone, PartialEq, Debug, thiserror::Error)]
pub enum Unattended {
    /// Nobody is there.
    #[error("nobody answered \"{0}\"; a bench needs a person who does it and presses Enter")]
    Nobody(String),
    /// The question was withdrawn.
    #[error("cancelled")]
    Cancelled,
    /// The bench could not look.
    #[error(transparent)]
    Link(#[from] LinkError),
}

/// Returns when the state is seen, or when somebody says that it is reached. `ask` is called once, unless the state is there
/// already; `said` waits for at most [`LOOK`] and tells whether somebody has said so.
///
/// # Errors
/// Those of the look and of `said`.
pub fn wait(
    watch: &mut dyn Watch,
    ask: impl FnOnce(),
    mut said: impl FnMut() -> Result<bool, Unattended>,
) -> Result<(), Unattended> {
    let mut agreeing = 0;
    let mut ask = Some(ask);
    for moment in (0..REST).cycle() {
        if agreeing > 0 || moment == 0 {
            agreeing = if watch.look()? == Seen::There { agreeing + 1 } else { 0 };
        }
        if agreeing >= LOOKS_AGREE {
            return Ok(());
        }
        if agreeing == 0
            && let Some(ask) = ask.take()
        {
            ask();
        }
        if said()? {
            return Ok(());
        }
    }
    Ok(())
}

/// A person who reads standard error and types on standard input; so does a scanner.
#[derive(Debug, Default)]
pub struct TerminalOperator {
    cancel: CancelToken,
    /// The lines of standard input, once somebody was asked.
    lines: Option<Receiver<String>>,
    /// Serial numbers are typed as well, and one of them is no answer.
    scanning: bool,
}

impl TerminalOperator {
    /// Withdraws its question soon after `cancel` is set.
    pub fn new(cancel: &CancelToken) -> Self {
        Self { cancel: cancel.clone(), ..Self::default() }
    }

    /// The same beside a scanner: an answer is an empty line.
    pub fn scanning(cancel: &CancelToken) -> Self {
        Self { scanning: true, ..Self::new(cancel) }
    }

    /// The next line without its end, if one is typed within [`LOOK`]. Of a long one the beginning: nothing that is wanted is
    /// longer than [`LONGEST_LINE`].
    ///
    /// # Errors
    /// [`Unattended::Nobody`] when standard input has ended, with this question; [`Unattended::Cancelled`].
    pub fn line(&mut self, question: &str) -> Result<Option<String>, Unattended> {
        match self.lines.get_or_insert_with(lines).recv_timeout(LOOK) {
            Ok(line) => Ok(Some(line)),
            Err(RecvTimeoutError::Disconnected) => Err(Unattended::Nobody(question.into())),
            Err(RecvTimeoutError::Timeout) if self.cancel.is_cancelled() => Err(Unattended::Cancelled),
            Err(RecvTimeoutError::Timeout) => Ok(None),
        }
    }

    /// Has somebody pressed Enter?
    ///
    /// # Errors
    /// As [`line`](Self::line).
    pub fn said(&mut self, question: &str) -> Result<bool, Unattended> {
        let Some(line) = self.line(question)? else { return Ok(false) };
        if self.scanning && !line.trim().is_empty() {
            let _ = writeln!(io::stderr(), "one unit at a time: finish this one, then scan the next");
            return Ok(false);
        }
        Ok(true)
    }
}

impl Operator for TerminalOperator {
    /// Nothing runs meanwhile, so nothing hurries.
    fn place(&mut self, _state: StateId, prompt: &str, watch: &mut dyn Watch) -> Result<(), Unattended> {
        // A board without states has nothing to be put into.
        if prompt.is_empty() {
            return Ok(());
        }
        let ask = || {
            // If nobody can read the question, nobody will answer it, and that is noticed below.
            let _ = writeln!(io::stderr(), "{prompt}, close the lid, then press Enter");
        };
        wait(watch, ask, || self.said(prompt))
    }
}

/// Bytes of a line that are kept.
pub const LONGEST_LINE: u64 = 1024;

/// Reads standard input in a thread of its own, because a read cannot be interrupted. It ends with the input.
fn lines() -> Receiver<String> {
    // Without room: input that never ends waits unread until the next question.
    let (tell, told) = mpsc::sync_channel(0);
    thread::spawn(move || {
        let mut input = io::stdin().lock();
        loop {
            let mut line = Vec::new();
            let read = (&mut input).take(LONGEST_LINE).read_until(b'\n', &mut line);
            let whole = line.ends_with(b"\n");
            if !read.is_ok_and(|count| count > 0) || (!whole && input.skip_until(b'\n').is_err()) {
                break;
            }
            let line = String::from_utf8_lossy(&line);
            if tell.send(line.trim_end_matches(['\n', '\r']).to_owned()).is_err() {
                break;
            }
        }
    });
    told
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Sees one thing after the other, the last one for ever.
    struct Script(Vec<Seen>, usize);

    impl Watch for Script {
        fn look(&mut self) -> Result<Seen, LinkError> {
            let seen = self.0[self.1.min(self.0.len() - 1)];
            self.1 += 1;
            Ok(seen)
        }
    }

    /// Looks made, and whether anybody was asked, until the wait ends. Somebody says so at the given moment.
    fn waited(seen: &[Seen], says_at: usize) -> (usize, bool) {
        let (mut script, mut asked, mut heard) = (Script(seen.to_vec(), 0), false, 0);
        wait(
            &mut script,
            || asked = true,
            || {
                heard += 1;
                Ok(heard == says_at)
            },
        )
        .unwrap();
        (script.1, asked)
    }

    #[test]
    fn what_is_already_so_is_not_asked_for() {
        assert_eq!(waited(&[Seen::There], 99), (2, false));
    }

    #[test]
    fn moving_the_switch_is_the_confirmation() {
        let seen = [Seen::Elsewhere, Seen::LidOpen, Seen::LidOpen, Seen::There];
        assert_eq!(waited(&seen, 99), (5, true));
    }

    #[test]
    fn one_look_in_the_moment_of_switching_does_not_count() {
        let seen = [Seen::Elsewhere, Seen::There, Seen::Elsewhere, Seen::There, Seen::There];
        assert_eq!(waited(&seen, 99), (5, true));
    }

    #[test]
    fn where_nothing_can_be_seen_somebody_says_so() {
        assert_eq!(waited(&[Seen::Unknown], 8), (2, true));
        assert_eq!(waited(&[Seen::Elsewhere], 1), (1, true), "a switch that is broken stands in no position");
    }
}
