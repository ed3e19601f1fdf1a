//! A plan is loaded, started, and its codes collected.
//!
//! Between the first and the last shot nothing is asked and nothing is answered: the plan lies in the controller and the codes
//! stream back. Each answer is held against the plan as it comes; the first that cannot be ends the run.

use copperwalk_core::timing::Before;
use copperwalk_wire::{
    FromBench, Shot, ToBench,
    message::{Refusal, RunEnd},
};

use super::{
    compare::Course,
    deadline,
    error::{Awaited, LinkError},
    report::{Heard, RanShot, RunReport},
    session::{Session, unexpected},
    transport::Transport,
};

impl<T: Transport> Session<T> {
    /// Loads `shots` and runs them to whatever end.
    ///
    /// # Errors
    /// Whatever keeps the controller from an answer that fits the plan, and cancellation. The controller is told to stop;
    /// nothing of the run is to be used.
    pub fn run(&mut self, shots: &[Shot]) -> Result<RunReport, LinkError> {
        self.run_watched(shots, &mut |_| {})
    }

    /// The same, showing each shot to `watcher` as it ends.
    ///
    /// # Errors
    /// As [`run`](Self::run).
    pub fn run_watched(
        &mut self,
        shots: &[Shot],
        watcher: &mut dyn FnMut(&RanShot),
    ) -> Result<RunReport, LinkError> {
        self.run_heard(shots, &mut |heard| {
            if let Heard::Shot(ran) = heard {
                watcher(ran);
            }
            true
        })
    }

    /// The same, telling `hearer` of the codes as they come. It says whether to go on; if not, the run is stopped as if somebody had
    /// cancelled it.
    ///
    /// # Errors
    /// As [`run`](Self::run).
    pub fn run_heard(
        &mut self,
        shots: &[Shot],
        hearer: &mut dyn FnMut(Heard<'_>) -> bool,
    ) -> Result<RunReport, LinkError> {
        let done = self.start(shots).and_then(|number| self.collect(number, shots, hearer));
        match done {
            Err(LinkError::Cancelled { .. }) => Err(LinkError::Cancelled { all_open: self.stop().is_ok() }),
            Err(error) => {
                // A lost line cannot carry it, and the controller opens everything by itself when it hears nothing.
                let _ = self.say(ToBench::Stop);
                self.running = None;
                Err(error)
            }
            Ok(report) => Ok(report),
        }
    }

    /// Loads a plan and starts it. Returns the number of the `Run`.
    fn start(&mut self, shots: &[Shot]) -> Result<u16, LinkError> {
        let capacity = self.identity.plan_capacity;
        let count = u16::try_from(shots.len()).ok().filter(|count| *count <= capacity);
        let count = count.ok_or(LinkError::Refused(Refusal::PlanTooLong { capacity }))?;
        self.cancel.check()?;
        match self.ask(ToBench::Plan { shots: count })? {
            FromBench::Done => {}
            other => return Err(unexpected("\"done\"", &other)),
        }
        let mut first = None;
        for (index, shot) in (0..count).zip(shots) {
            let asked = self.say(ToBench::Shot { index, shot: *shot })?;
            first.get_or_insert(asked);
        }
        self.cancel.check()?;
        let asked = self.say(ToBench::Run)?;
        self.running = Some(asked);
        let within = deadline::start(count);
        let deadline = self.line.transport.now() + within;
        let first = first.unwrap_or(asked);
        let mut strays = 0;
        // A shot that is refused answers under its own number, and then so is the run.
        while let Some(packet) = self.line.hear(deadline, || self.cancel.is_cancelled())? {
            let ours = packet.seq.wrapping_sub(first) <= asked.wrapping_sub(first);
            match packet.body {
                FromBench::Refused(refusal) if ours => {
                    self.running = None;
                    return Err(LinkError::Refused(refusal));
                }
                FromBench::Done if packet.seq == asked => return Ok(asked),
                other if ours => return Err(unexpected("\"done\"", &other)),
                _ => strays += u64::from(!self.line.is_heartbeat(&packet, asked)),
            }
        }
        self.cancel.check()?;
        Err(LinkError::Silent { awaited: Awaited::Start, waited: within, strays })
    }

    /// Collects what a run streams under its number.
    fn collect(
        &mut self,
        number: u16,
        plan: &[Shot],
        hearer: &mut dyn FnMut(Heard<'_>) -> bool,
    ) -> Result<RunReport, LinkError> {
        let (mut course, mut before) = (Course::new(plan), Before::OPEN);
        let of = plan.len();
        let began = self.line.transport.now();
        let whole = deadline::run(plan);
        let mut strays = 0;
        loop {
            // The end of the run has the time of a shot too.
            let (under_way, mut heard) = (course.shots().len(), 0);
            let one = plan.get(under_way).map_or(deadline::ANSWER, |shot| deadline::shot(&mut before, shot));
            let shot_began = self.line.transport.now();
            let deadline = (began + whole).min(shot_began + one);
            while course.shots().len() == under_way {
                let Some(packet) = self.line.hear(deadline, || self.cancel.is_cancelled())? else {
                    self.cancel.check()?;
                    let (awaited, waited) = if began + whole < shot_began + one || under_way == of {
                        (Awaited::End, deadline.saturating_sub(began))
                    } else {
                        (Awaited::Shot { number: under_way + 1, of }, one)
                    };
                    return Err(LinkError::Silent { awaited, waited, strays });
                };
                if packet.seq != number {
                    strays += u64::from(!self.line.is_heartbeat(&packet, number));
                    continue;
                }
                if let FromBench::Ended { .. } = packet.body {
                    self.running = None;
                }
                let Some(end) = course.take(packet.body)? else {
                    let codes = course.codes().get(heard..).unwrap_or_default();
                    heard += codes.len();
                    if !codes.is_empty() && !hearer(Heard::Codes { shot: under_way, codes }) {
                        return Err(LinkError::Cancelled { all_open: false });
                    }
                    continue;
                };
                if end.why == RunEnd::Stopped {
                    return Err(LinkError::Stopped);
                }
                return Ok(RunReport {
                    shots: course.into_shots(),
                    end: end.why,
                    closures: end.closures,
                    device_us: end.device_us,
                });
            }
            if course.shots().last().is_some_and(|ran| !hearer(Heard::Shot(ran))) {
                return Err(LinkError::Cancelled { all_open: false });
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use std::time::Duration;

    use copperwalk_wire::{
        Contacts, Method, Packet, Source,
        hardware::PLAN_CAPACITY,
        message::{Fault, ShotEnd},
    };

    use super::*;
    use crate::link::{
        CancelToken,
        scripted::{Answer, IDENTITY, Scripted, at_once},
    };

    const NONE: Vec<Answer> = Vec::new();

    /// Bleed shots: they give no codes, so scripts stay short.
    fn plan(shots: usize) -> Vec<Shot> {
        let method = Method::Bleed { millis: 100 };
        vec![Shot { contacts: Contacts::default(), source: Source::Off, method }; shots]
    }

    fn over(shot: u16) -> FromBench {
        let from_us = u32::from(shot) * 100_000;
        FromBench::Shot { shot, codes: 0, why: ShotEnd::Complete, from_us, to_us: from_us + 100_000 }
    }

    fn ended(why: RunEnd, shots: u16) -> FromBench {
        FromBench::Ended { why, shots, closures: 1, device_us: 1_000_000 }
    }

    /// A controller that is honest until a plan starts, then does what the script makes of each message.
    fn session(
        mut script: impl FnMut(&Packet<ToBench>) -> Vec<Answer>,
    ) -> Session<Scripted<impl FnMut(&Packet<ToBench>) -> Vec<Answer>>> {
        Session::open(Scripted::new(move |packet: &Packet<ToBench>| match packet.body {
            ToBench::Hello { .. } => at_once(packet, FromBench::Hello(IDENTITY)),
            ToBench::Plan { .. } => at_once(packet, FromBench::Done),
            _ => script(packet),
        }))
        .unwrap()
    }

    /// Answers to `Run`: `Done`, then these, each so many milliseconds after the one before it.
    fn stream(run: &Packet<ToBench>, rest: impl IntoIterator<Item = (u64, FromBench)>) -> Vec<Answer> {
        let mut at = Duration::ZERO;
        let rest = rest.into_iter().map(|(after, body)| {
            at += Duration::from_millis(after);
            (at, Packet { seq: run.seq, body })
        });
        at_once(run, FromBench::Done).into_iter().chain(rest).collect()
    }

    fn said(session: &Session<Scripted<impl FnMut(&Packet<ToBench>) -> Vec<Answer>>>) -> Vec<ToBench> {
        session.transport().heard.iter().map(|packet| packet.body.clone()).collect()
    }

    #[test]
    fn a_run_is_loaded_started_and_collected() {
        let mut session = session(|packet| match packet.body {
            ToBench::Run => stream(packet, [(100, over(0)), (100, over(1)), (0, ended(RunEnd::Complete, 2))]),
            _ => NONE,
        });
        let mut seen = 0;
        let report = session.run_watched(&plan(2), &mut |_| seen += 1).unwrap();
        assert_eq!((report.end, report.closures, report.shots.len(), seen), (RunEnd::Complete, 1, 2, 2));
        // A heartbeat for every 100 ms of waiting, and nothing after the end.
        let beats = said(&session).iter().filter(|message| **message == ToBench::Status).count();
        assert_eq!(beats, 2);
        assert!(!said(&session).contains(&ToBench::Stop));
    }

    #[test]
    fn silence_ends_at_the_deadline_of_the_shot_under_way() {
        let mut session = session(|packet| match packet.body {
            ToBench::Run => stream(packet, [(100, over(0))]),
            _ => NONE,
        });
        let error = session.run(&plan(3)).unwrap_err();
        // Twice 101.35 ms of device time, and five seconds.
        assert_eq!(
            error.to_string(),
            "the controller did not finish reading 2 of 3 within 5.2 s; check the cable, unplug the controller and plug \
             it in again"
        );
        let waited = session.transport().now();
        assert!(waited < Duration::from_millis(5_400), "{waited:?}");
        assert_eq!(said(&session).last(), Some(&ToBench::Stop));
    }

    /// Each shot just in time: the run as a whole is late.
    #[test]
    fn a_run_that_dawdles_ends_at_its_own_deadline() {
        let mut session = session(|packet| match packet.body {
            ToBench::Run => stream(packet, (0..20).map(|shot| (5_000, over(shot)))),
            _ => NONE,
        });
        let plan = plan(20);
        let error = session.run(&plan).unwrap_err();
        let (waited, awaited) = match &error {
            LinkError::Silent { awaited, waited, .. } => (*waited, *awaited),
            other => panic!("{other}"),
        };
        assert_eq!((awaited, waited), (Awaited::End, deadline::run(&plan)));
        assert!(
            error.to_string().starts_with("the controller did not finish the run within 14.0 s"),
            "{error}"
        );
        assert!(session.transport().now() <= waited);
    }

    /// Valid messages that answer nothing keep nobody waiting, however many come, and are told.
    #[test]
    fn foreign_messages_and_status_chatter_move_no_deadline() {
        let chatter = |packet: &Packet<ToBench>, number: u16| -> Vec<Answer> {
            let foreign = Packet { seq: packet.seq.wrapping_add(number), body: FromBench::Done };
            (0..400).map(|step| (Duration::from_millis(step * 50), foreign.clone())).collect()
        };
        let silent = Session::open(Scripted::new(|packet: &Packet<ToBench>| match packet.body {
            ToBench::Hello { .. } => chatter(packet, 999),
            _ => NONE,
        }));
        assert_eq!(
            silent.err().unwrap().to_string(),
            "the controller did not answer the greeting within 3.0 s (61 messages came that answer no question); \
             `copperwalk bench` lists the ports of controllers"
        );
        let mut session = session(move |packet| match packet.body {
            ToBench::Run => [at_once(packet, FromBench::Done), chatter(packet, 999)].concat(),
            _ => NONE,
        });
        let error = session.run(&plan(1)).unwrap_err();
        assert!(error.to_string().contains("finish reading 1 of 1 within 5.2 s (105 messages"), "{error}");
    }

    #[test]
    fn a_refusal_is_told_with_its_remedy() {
        for (refusal, words) in [
            (Refusal::LidOpen, "the lid is open; close it"),
            (
                Refusal::Broken(Fault::Matrix),
                "it found a fault: the relay drivers cannot be written, or do not answer",
            ),
            (Refusal::NoHello, "it was restarted and has lost the connection; start again"),
        ] {
            let mut session = session(move |packet| match packet.body {
                ToBench::Run => at_once(packet, FromBench::Refused(refusal)),
                _ => NONE,
            });
            let error = session.run(&plan(1)).unwrap_err();
            assert_eq!(error.to_string(), format!("the controller refused: {words}"));
        }
        // A shot is refused under its own number.
        let mut session = session(|packet| match packet.body {
            ToBench::Shot { index: 1, .. } => {
                at_once(packet, FromBench::Refused(Refusal::ShotMissing { expected: 1 }))
            }
            _ => NONE,
        });
        let error = session.run(&plan(2)).unwrap_err();
        assert_eq!(error, LinkError::Refused(Refusal::ShotMissing { expected: 1 }));
    }

    #[test]
    fn a_plan_that_does_not_fit_is_not_sent() {
        let mut session = session(|_| NONE);
        let error = session.run(&plan(usize::from(PLAN_CAPACITY) + 1)).unwrap_err();
        assert_eq!(error, LinkError::Refused(Refusal::PlanTooLong { capacity: PLAN_CAPACITY }));
        assert!(!said(&session).iter().any(|message| matches!(message, ToBench::Plan { .. })));
    }

    #[test]
    fn an_impossible_answer_ends_the_run_and_the_controller_is_told() {
        let mut session = session(|packet| match packet.body {
            ToBench::Run => stream(packet, [(1, ended(RunEnd::NoContact, 0))]),
            _ => NONE,
        });
        assert!(matches!(session.run(&plan(1)), Err(LinkError::BrokenPromise(_))));
        assert_eq!(said(&session).last(), Some(&ToBench::Stop));
    }

    #[test]
    fn a_run_that_somebody_else_stopped_is_told_as_that() {
        let mut session = session(|packet| match packet.body {
            ToBench::Run => stream(packet, [(1, ended(RunEnd::Stopped, 0))]),
            _ => NONE,
        });
        let error = session.run(&plan(1)).unwrap_err();
        assert_eq!(error, LinkError::Stopped);
        assert_eq!(
            error.to_string(),
            "the run was stopped by another program on the same port; let one program alone use it"
        );
    }

    #[test]
    fn a_cancelled_run_is_stopped_and_all_is_known_to_be_open() {
        for confirms in [true, false] {
            let cancel = CancelToken::default();
            let (setter, mut number) = (cancel.clone(), 0);
            let mut session = session(move |packet| match packet.body {
                ToBench::Run => {
                    number = packet.seq;
                    stream(packet, [])
                }
                // The first heartbeat: a signal comes at that moment.
                ToBench::Status => {
                    setter.cancel();
                    NONE
                }
                ToBench::Stop if confirms => {
                    let end = Packet { seq: number, body: ended(RunEnd::Stopped, 0) };
                    [at_once(packet, FromBench::Done), vec![(Duration::from_millis(1), end)]].concat()
                }
                ToBench::Stop => at_once(packet, FromBench::Done),
                _ => NONE,
            });
            session.cancel = cancel;
            let error = session.run(&plan(1)).unwrap_err();
            assert_eq!(error, LinkError::Cancelled { all_open: confirms });
            let waited = session.transport().now();
            assert!(waited < Duration::from_millis(1_300), "{waited:?}");
            assert_eq!(session.running.is_none(), confirms);
        }
        let words = |all_open| LinkError::Cancelled { all_open }.to_string();
        assert_eq!(words(true), "cancelled; the controller confirms that every relay is open");
        assert_eq!(
            words(false),
            "cancelled; the controller did not confirm that its relays are open: unplug it"
        );
    }

    #[test]
    fn a_session_that_is_cancelled_starts_nothing() {
        let cancel = CancelToken::default();
        cancel.cancel();
        let mut session = session(|packet| at_once(packet, FromBench::Done));
        session.cancel = cancel;
        assert_eq!(session.run(&plan(1)), Err(LinkError::Cancelled { all_open: true }));
        assert!(!said(&session).contains(&ToBench::Run));
    }
}
