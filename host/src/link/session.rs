//! One conversation with a controller: it is greeted, asked, and stopped. How it runs a plan stands in [`run`](super::run).

use std::time::Duration;

use copperwalk_wire::{
    FromBench, PROTOCOL, Packet, ToBench,
    message::{ECHO_BYTES, Identity, Refusal, Status},
};

use super::{
    cancel::CancelToken,
    deadline,
    error::{Awaited, BrokenPromise, LinkError},
    line::Line,
    transport::Transport,
    words,
};

/// A conversation with a controller. It opens with a greeting; a run that is under way when it is dropped is stopped.
#[derive(Debug)]
pub struct Session<T: Transport> {
    pub(super) line: Line<T>,
    pub(super) identity: Identity,
    pub(super) cancel: CancelToken,
    /// Number of the `Run` whose end has not been heard.
    pub(super) running: Option<u16>,
}

impl<T: Transport> Session<T> {
    /// Opens a conversation and greets the controller. Anything running there stops.
    ///
    /// # Errors
    /// If nobody answers, not in our version, or nonsense.
    pub fn open(transport: T) -> Result<Self, LinkError> {
        Self::open_cancellable(transport, &CancelToken::default())
    }

    /// The same; the greeting, and whatever is asked and run later, ends soon after this token is set.
    ///
    /// # Errors
    /// As [`open`](Self::open), and cancellation.
    pub fn open_cancellable(transport: T, cancel: &CancelToken) -> Result<Self, LinkError> {
        let mut line = Line::new(transport);
        let identity = greet(&mut line, cancel)?;
        Ok(Self { line, identity, cancel: cancel.clone(), running: None })
    }

    /// What is asked and run from now on ends soon after this token is set.
    pub fn obey(&mut self, cancel: &CancelToken) {
        self.cancel = cancel.clone();
    }

    /// Who answered the greeting.
    pub fn identity(&self) -> &Identity {
        &self.identity
    }

    /// What is at the other end, for records and reports.
    pub fn name(&self) -> String {
        self.line.transport.name()
    }

    /// The transport.
    pub fn transport(&self) -> &T {
        &self.line.transport
    }

    /// The transport, for whoever wants to interfere with it.
    pub fn transport_mut(&mut self) -> &mut T {
        &mut self.line.transport
    }

    /// Greets the controller again: after it was restarted, or to stop whatever runs.
    ///
    /// # Errors
    /// As [`open`](Self::open).
    pub fn greet(&mut self) -> Result<Identity, LinkError> {
        self.running = None;
        self.identity = greet(&mut self.line, &self.cancel)?;
        Ok(self.identity)
    }

    /// Asks how it stands.
    ///
    /// # Errors
    /// If it does not say.
    pub fn status(&mut self) -> Result<Status, LinkError> {
        match self.ask(ToBench::Status)? {
            FromBench::Status(status) => Ok(status),
            other => Err(unexpected("a status", &other)),
        }
    }

    /// Sends the longest echo, every bit of it once low and once high, and compares what comes back.
    ///
    /// # Errors
    /// If it does not come back whole.
    pub fn echo(&mut self) -> Result<(), LinkError> {
        for pattern in [0x55, 0xAA] {
            let sent = ToBench::Echo { bytes: [pattern; ECHO_BYTES].into() };
            match self.ask(sent)? {
                FromBench::Echo { bytes } if bytes == [pattern; ECHO_BYTES] => {}
                FromBench::Echo { .. } => {
                    let (expected, got) = ("an echo of what was sent".into(), "an altered one".into());
                    return Err(BrokenPromise { shot: None, expected, got }.into());
                }
                other => return Err(unexpected("an echo", &other)),
            }
        }
        Ok(())
    }

    /// Ends whatever runs and waits, for a second at most, until the controller says that every relay is open.
    ///
    /// # Errors
    /// If it does not say so.
    pub fn stop(&mut self) -> Result<(), LinkError> {
        let asked = self.say(ToBench::Stop)?;
        let deadline = self.line.transport.now() + deadline::STOP;
        let (mut done, mut strays) = (false, 0);
        while !done || self.running.is_some() {
            let Some(packet) = self.line.hear(deadline, || false)? else {
                return Err(LinkError::Silent { awaited: Awaited::Answer, waited: deadline::STOP, strays });
            };
            let of_run = Some(packet.seq) == self.running;
            match packet.body {
                FromBench::Done if packet.seq == asked => done = true,
                FromBench::Refused(refusal) if packet.seq == asked => {
                    return Err(LinkError::Refused(refusal));
                }
                FromBench::Ended { .. } | FromBench::Refused(_) if of_run => self.running = None,
                // Codes that were on their way.
                _ if of_run => {}
                _ => strays += u64::from(!self.line.is_heartbeat(&packet, asked)),
            }
        }
        Ok(())
    }

    /// Says one thing and returns its number; waits for nothing. For step-by-step talk; questions have methods of their own.
    ///
    /// # Errors
    /// [`LinkError::Gone`].
    pub fn say(&mut self, message: ToBench) -> Result<u16, LinkError> {
        Ok(self.line.say(message)?)
    }

    /// The next message, answers to heartbeats included; `None` if none comes within `patience` on the line's clock.
    ///
    /// # Errors
    /// [`LinkError::Gone`].
    pub fn hear(&mut self, patience: Duration) -> Result<Option<Packet<FromBench>>, LinkError> {
        let deadline = self.line.transport.now() + patience;
        Ok(self.line.hear(deadline, || false)?)
    }

    /// The answer to one question.
    pub(super) fn ask(&mut self, question: ToBench) -> Result<FromBench, LinkError> {
        let asked = self.say(question)?;
        match self.line.answer(asked, Awaited::Answer, deadline::ANSWER, &self.cancel)? {
            FromBench::Refused(refusal) => Err(LinkError::Refused(refusal)),
            answer => Ok(answer),
        }
    }
}

impl<T: Transport> Drop for Session<T> {
    fn drop(&mut self) {
        if self.running.take().is_some() {
            // Best effort: a controller that does not hear this misses the heartbeat.
            let _ = self.line.say(ToBench::Stop);
        }
    }
}

fn greet<T: Transport>(line: &mut Line<T>, cancel: &CancelToken) -> Result<Identity, LinkError> {
    let asked = line.say(ToBench::Hello { protocol: PROTOCOL })?;
    match line.answer(asked, Awaited::Greeting, deadline::ANSWER, cancel)? {
        FromBench::Hello(identity) if identity.protocol == PROTOCOL => check(identity),
        FromBench::Hello(Identity { protocol: theirs, .. })
        | FromBench::Refused(Refusal::Protocol { mine: theirs })
            if theirs != PROTOCOL =>
        {
            Err(LinkError::Version { theirs })
        }
        FromBench::Refused(refusal) => Err(LinkError::Refused(refusal)),
        other => Err(unexpected("a greeting", &other)),
    }
}

/// A controller without channels, or without room for a plan, is none.
fn check(identity: Identity) -> Result<Identity, LinkError> {
    let Identity { force_channels, sense_channels, plan_capacity, .. } = identity;
    if force_channels == 0 || sense_channels == 0 || plan_capacity == 0 {
        let expected = "channels, and room for a plan".into();
        let got = format!(
            "{force_channels} force and {sense_channels} sense channels, room for {plan_capacity} readings"
        );
        return Err(BrokenPromise { shot: None, expected, got }.into());
    }
    Ok(identity)
}

/// An answer of the wrong kind.
pub(super) fn unexpected(expected: &str, got: &FromBench) -> LinkError {
    BrokenPromise { shot: None, expected: expected.into(), got: words::answer(got) }.into()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::link::scripted::{IDENTITY, Scripted, at_once};

    fn greeted_with(body: FromBench) -> Result<(), LinkError> {
        Session::open(Scripted::new(|packet: &Packet<ToBench>| at_once(packet, body.clone()))).map(drop)
    }

    #[test]
    fn another_version_is_told_with_what_to_do() {
        for (theirs, remedy) in [
            (PROTOCOL - 1, "flash the firmware that came with this program"),
            (PROTOCOL + 1, "update this program"),
        ] {
            let words = format!("the controller speaks protocol {theirs}, this program {PROTOCOL}: {remedy}");
            let refused = FromBench::Refused(Refusal::Protocol { mine: theirs });
            let told = FromBench::Hello(Identity { protocol: theirs, ..IDENTITY });
            for body in [refused, told] {
                let error = greeted_with(body).unwrap_err();
                assert_eq!(error, LinkError::Version { theirs });
                assert_eq!(error.to_string(), words);
            }
        }
    }

    #[test]
    fn a_controller_without_channels_or_room_is_none() {
        for identity in [
            Identity { force_channels: 0, ..IDENTITY },
            Identity { sense_channels: 0, ..IDENTITY },
            Identity { plan_capacity: 0, ..IDENTITY },
        ] {
            let error = greeted_with(FromBench::Hello(identity)).unwrap_err().to_string();
            assert!(
                error.starts_with("the controller gave an impossible answer: expected channels"),
                "{error}"
            );
        }
        assert_eq!(greeted_with(FromBench::Hello(IDENTITY)), Ok(()));
    }

    #[test]
    fn a_greeting_answered_by_something_else_is_impossible() {
        // Our own version, refused, is no reason to flash anything.
        let error = greeted_with(FromBench::Refused(Refusal::Protocol { mine: PROTOCOL })).unwrap_err();
        assert_eq!(error, LinkError::Refused(Refusal::Protocol { mine: PROTOCOL }));
        let error = greeted_with(FromBench::Done).unwrap_err().to_string();
        assert!(error.contains("expected a greeting, got \"done\""), "{error}");
    }

    #[test]
    fn an_echo_comes_back_whole_or_is_told() {
        let echo = |alter: u8| {
            let script = move |packet: &Packet<ToBench>| match &packet.body {
                ToBench::Hello { .. } => at_once(packet, FromBench::Hello(IDENTITY)),
                ToBench::Echo { bytes } => {
                    let mut bytes = bytes.clone();
                    bytes[100] ^= alter;
                    at_once(packet, FromBench::Echo { bytes })
                }
                _ => Vec::new(),
            };
            Session::open(Scripted::new(script)).unwrap().echo()
        };
        assert_eq!(echo(0), Ok(()));
        assert!(matches!(echo(1), Err(LinkError::BrokenPromise(_))));
    }
}
