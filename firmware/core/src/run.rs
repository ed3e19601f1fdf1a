//! One run of a plan, as a state machine that never waits: each step does what is due and says when the next
//! thing will be.
//!
//! ```text
//! Rest     ┌────────────── relays stay ─────────────┐
//!  └► Next ┴─► Quiet ─► Release ─► Operate ─────────┴─► Sample ◄─► Settle
//!     ▲                 (break)    (make)                │  ▲
//!     │                                                  ▼  │
//!     └─────────────── source off ─────────── shot over ─┤ Convert
//!                                                        │
//! any trouble, Stop, end of plan ─► source off ─► Closing ─► all open ─► Ended
//! ```
//! Relays move in `Quiet`, `Release` and `Closing` only, and the source is off from before `Quiet` until `Sample`.

use embedded_hal::{
    digital::{InputPin, OutputPin},
    spi::SpiDevice,
};
use heapless::Vec;

use copperwalk_wire::{
    FromBench, Method, Shot,
    hardware::wait::{HEARTBEAT_US, LOAD_QUIET_US, RELEASE_US},
    message::{CODES_PER_FRAME, Fault, RunEnd, ShotEnd},
};

use crate::{
    ads1220::Conversion,
    bench::Bench,
    matrix::Closed,
    sampler::{Next, Sampler, Setting},
    session::Session,
    time::Instant,
    timing,
};

/// The lid is looked at this often while a plan runs.
pub(crate) const WATCH_US: u32 = 100;

/// Where a run stands.
#[derive(Clone, Copy, PartialEq, Debug)]
enum Phase {
    /// All relays have just been let go; their contacts may still be opening.
    Rest(Wait),
    /// Between shots, source off.
    Next,
    /// Source off; relays may not move yet.
    Quiet(Wait),
    /// Relays that go are released; the new ones may not close yet.
    Release(Wait),
    /// Relays are closing.
    Operate(Wait),
    /// Ready for the next conversion.
    Sample,
    /// The excitation has changed, or goes a step towards what it is to be.
    Settle(Wait),
    /// A conversion is under way.
    Convert(Conversion),
    /// Source off; all relays open next.
    Closing(Wait, RunEnd),
}

/// A wait after something was switched.
///
/// The time a call is given was taken before that call's transfers, which last tens of microseconds. So the wait counts
/// from the time of the call after it, by when the transfers are certainly over.
#[derive(Clone, Copy, PartialEq, Debug)]
enum Wait {
    /// So many µs from the next call; the one under way was given this time.
    Pending(u32, Instant),
    /// Begun.
    Until(Instant),
}

impl Wait {
    /// A wait of so many µs that begins with the call after the one at `now`; none if that is 0.
    const fn after(now: Instant, micros: u32) -> Self {
        if micros > 0 { Self::Pending(micros, now) } else { Self::Until(now) }
    }

    /// When to go on. Begins the wait if it is time.
    fn over_at(&mut self, now: Instant) -> Instant {
        if let Self::Pending(micros, switched) = *self {
            if now <= switched {
                return switched.plus_us(1);
            }
            *self = Self::Until(now.plus_us(micros));
        }
        match *self {
            Self::Pending(_, until) | Self::Until(until) => until,
        }
    }
}

/// What a step came to.
pub(crate) enum Step {
    /// There may be more to do at once.
    Again,
    /// Nothing to do before then.
    Wait(Instant),
    /// Over, all open.
    Over(RunEnd),
}

/// A run.
#[derive(Debug)]
pub(crate) struct Run {
    /// Number of the `Run` that started it; everything streamed carries it.
    seq: u16,
    began: Instant,
    /// The shot under way; so many are complete.
    index: u16,
    closures: u32,
    shot_began: Instant,
    sampler: Sampler,
    /// Codes not yet handed to the line.
    codes: Vec<i32, CODES_PER_FRAME>,
    phase: Phase,
    /// Since when the line has had no room.
    stalled: Option<Instant>,
}

impl Run {
    /// Everything has been opened this instant.
    pub(crate) fn new(seq: u16, now: Instant) -> Self {
        Self {
            seq,
            began: now,
            index: 0,
            closures: 0,
            shot_began: now,
            sampler: Sampler::new(Method::Bleed { millis: 0 }),
            codes: Vec::new(),
            phase: Phase::Rest(Wait::after(now, RELEASE_US)),
            stalled: None,
        }
    }

    fn keep(&mut self, code: i32, session: &mut Session) {
        self.sampler.take(code);
        // Never full here: a full one is handed over below.
        let _ = self.codes.push(code);
        if self.codes.is_full() {
            self.flush(session);
        }
    }

    /// Hands the codes gathered so far to the line.
    fn flush(&mut self, session: &mut Session) {
        if !self.codes.is_empty() {
            let codes = core::mem::take(&mut self.codes);
            let first = self.sampler.taken().saturating_sub(codes.len() as u16);
            session.stream(self.seq, FromBench::Codes { shot: self.index, first, codes });
        }
    }

    /// Device time since the run began, µs.
    fn clock(&self, at: Instant) -> u32 {
        u32::try_from(at.us_since(self.began)).unwrap_or(u32::MAX)
    }
}

/// A run's turn to act: the run with everything it works on.
#[derive(Debug)]
pub(crate) struct Turn<'a, M, A, O, I, const BYTES: usize> {
    pub(crate) run: &'a mut Run,
    pub(crate) plan: &'a [Shot],
    pub(crate) bench: &'a mut Bench<M, A, O, I, BYTES>,
    pub(crate) session: &'a mut Session,
    pub(crate) now: Instant,
}

impl<M: SpiDevice, A: SpiDevice, O: OutputPin, I: InputPin, const BYTES: usize> Turn<'_, M, A, O, I, BYTES> {
    /// Takes the current off at once and lets the relays open as soon as it is quiet. The first reason stands.
    pub(crate) fn end(&mut self, why: RunEnd) {
        if matches!(self.run.phase, Phase::Closing(..)) {
            return;
        }
        // Should this fail, `finish` tries again and reports.
        let _ = self.bench.quiet();
        // Between shots it is known what is left to wait. A wait that is broken off was counted from its beginning.
        let quiet_us = match self.run.phase {
            Phase::Next => self.bench.front_end.quiet_us(true),
            _ => LOAD_QUIET_US,
        };
        self.run.phase = Phase::Closing(Wait::after(self.now, quiet_us), why);
    }

    /// Opens everything this instant, says why, and returns it: a failure to open outranks any other reason.
    pub(crate) fn finish(&mut self, why: RunEnd) -> RunEnd {
        let why = match (self.bench.all_open(), why) {
            (Ok(()), _) | (_, RunEnd::Fault(_)) => why,
            (Err(fault), _) => RunEnd::Fault(fault),
        };
        let run = &mut *self.run;
        run.flush(self.session);
        let device_us = run.clock(self.now);
        let ended = FromBench::Ended { why, shots: run.index, closures: run.closures, device_us };
        self.session.stream(run.seq, ended);
        why
    }

    /// Does what is due.
    pub(crate) fn step(&mut self) -> Step {
        if let Phase::Rest(wait)
        | Phase::Quiet(wait)
        | Phase::Release(wait)
        | Phase::Operate(wait)
        | Phase::Settle(wait)
        | Phase::Closing(wait, _) = &mut self.run.phase
        {
            let until = wait.over_at(self.now);
            if self.now < until {
                return Step::Wait(until);
            }
        }
        if let Phase::Closing(_, why) = self.run.phase {
            return Step::Over(self.finish(why));
        }
        match self.advance() {
            Ok(step) => step,
            Err(fault) => {
                self.end(RunEnd::Fault(fault));
                Step::Again
            }
        }
    }

    fn advance(&mut self) -> Result<Step, Fault> {
        let Some(shot) = self.plan.get(usize::from(self.run.index)) else {
            self.end(RunEnd::Complete);
            return Ok(Step::Again);
        };
        let now = self.now;
        let target = Closed::of(shot);
        self.run.phase = match self.run.phase {
            Phase::Rest(_) => Phase::Next,
            Phase::Next => {
                self.run.shot_began = now;
                self.run.sampler = Sampler::new(shot.method);
                let before = *self.bench.matrix.closed();
                if target == before {
                    Phase::Operate(self.source_off(timing::hold_us(shot)))
                } else {
                    let quiet_us = self.bench.front_end.quiet_us(before.force_moves(&target));
                    Phase::Quiet(self.source_off(quiet_us))
                }
            }
            Phase::Quiet(_) => {
                let before = *self.bench.matrix.closed();
                let kept = before.kept(&target);
                if kept != before {
                    self.bench.matrix.set(&kept)?;
                }
                Phase::Release(self.source_off(timing::release_us(&before, &kept)))
            }
            Phase::Release(_) => {
                let kept = *self.bench.matrix.closed();
                let closing = target.closures_after(&kept);
                if closing > 0 {
                    self.bench.matrix.set(&target)?;
                    self.run.closures += closing;
                }
                let wait_us = timing::operate_us(&kept, &target) + timing::hold_us(shot);
                Phase::Operate(self.source_off(wait_us))
            }
            Phase::Operate(_) | Phase::Settle(_) => Phase::Sample,
            Phase::Sample => return self.sample(shot),
            Phase::Convert(conversion) => match self.bench.adc.result(&conversion, now)? {
                None => return Ok(Step::Wait(conversion.ask_at(now))),
                Some(code) => {
                    self.run.keep(code, self.session);
                    Phase::Sample
                }
            },
            closing @ Phase::Closing(..) => closing,
        };
        Ok(Step::Again)
    }

    /// A wait with the source off, in which what is left of the load current dies away.
    fn source_off(&mut self, micros: u32) -> Wait {
        self.bench.front_end.wait(micros);
        Wait::after(self.now, micros)
    }

    /// Prepares and starts the next conversion, or goes a step towards it, or ends the shot.
    fn sample(&mut self, shot: &Shot) -> Result<Step, Fault> {
        let now = self.now;
        if !self.session.has_room() {
            let since = *self.run.stalled.get_or_insert(now);
            return if now.us_since(since) > u64::from(HEARTBEAT_US) {
                Err(Fault::Line)
            } else {
                Ok(Step::Wait(now.plus_us(WATCH_US)))
            };
        }
        self.run.stalled = None;
        let setting = match self.run.sampler.next() {
            Next::Convert(setting) => setting,
            Next::End(why) => return self.shot_over(why),
        };
        let Setting { input, gain, rate, burnout, .. } = setting;
        let wanted = timing::excitation(shot, &setting);
        let Bench { front_end, adc, .. } = &mut *self.bench;
        let (wait_us, there) = front_end.drive(wanted, adc)?;
        // Before the wait, not after it: a burn-out current of the sample before must not charge what is to settle.
        adc.configure(adc.registers().converting(input, wanted.reversed, gain, rate, burnout))?;
        self.run.phase = if wait_us > 0 {
            let wait_us = if there { timing::settle_shot_us(shot, wait_us) } else { wait_us };
            Phase::Settle(Wait::after(now, wait_us))
        } else {
            Phase::Convert(adc.start(rate, now)?)
        };
        Ok(Step::Again)
    }

    fn shot_over(&mut self, why: ShotEnd) -> Result<Step, Fault> {
        self.bench.quiet()?;
        let run = &mut *self.run;
        run.flush(self.session);
        let (from_us, to_us) = (run.clock(run.shot_began), run.clock(self.now));
        let codes = run.sampler.taken();
        self.session.stream(run.seq, FromBench::Shot { shot: run.index, codes, why, from_us, to_us });
        run.index += 1;
        run.phase = Phase::Next;
        if let Some(why) = run.sampler.ends_run() {
            self.end(why);
        }
        Ok(Step::Again)
    }
}
