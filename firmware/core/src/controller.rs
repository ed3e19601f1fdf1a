//! The controller: takes requests, keeps the plan, starts and ends runs.
//!
//! Read [`copperwalk_wire::message`] first; what is refused and why is in [`rules`].

use embedded_hal::{
    digital::{InputPin, OutputPin},
    spi::SpiDevice,
};
use heapless::Vec;

use copperwalk_wire::{
    FromBench, PROTOCOL, Packet, Shot, ToBench,
    hardware::{PLAN_CAPACITY, wait::HEARTBEAT_US},
    message::{Fault, Identity, Refusal, RunEnd, Status},
};

use crate::{
    bench::{Bench, Parts},
    matrix::Layout,
    rules,
    run::{Run, Step, Turn, WATCH_US},
    session::Session,
    time::Instant,
};

/// How often to call when nothing runs. Nothing depends on it.
const IDLE_US: u32 = 100_000;

/// The plan as far as it has come.
#[derive(Debug)]
struct Plan {
    shots: Vec<Shot, { PLAN_CAPACITY as usize }>,
    /// How many there will be.
    announced: u16,
    /// The host has been told that this one is missing. Once is enough for all the shots already on their way.
    complained: Option<u16>,
}

impl Plan {
    const fn new() -> Self {
        Self { shots: Vec::new(), announced: 0, complained: None }
    }

    fn announce(&mut self, shots: u16) -> Result<(), Refusal> {
        if shots > PLAN_CAPACITY {
            return Err(Refusal::PlanTooLong { capacity: PLAN_CAPACITY });
        }
        self.forget();
        self.announced = shots;
        Ok(())
    }

    fn forget(&mut self) {
        self.shots.clear();
        (self.announced, self.complained) = (0, None);
    }

    fn next_index(&self) -> u16 {
        self.shots.len() as u16
    }

    /// Takes a shot in its turn. One that came before, unchanged, is an echo of the line and does no harm.
    fn take(&mut self, index: u16, shot: Shot, layout: Layout) -> Result<(), Refusal> {
        let expected = self.next_index();
        if self.shots.get(usize::from(index)) == Some(&shot) {
            return Ok(());
        }
        if index != expected || index >= self.announced {
            return match self.complained.replace(expected) {
                Some(told) if told == expected => Ok(()),
                _ => Err(Refusal::ShotMissing { expected }),
            };
        }
        if let Err(rule) = rules::check_shot(&shot, layout) {
            self.complained = Some(expected);
            return Err(Refusal::Rule { index, rule });
        }
        self.shots.push(shot).map_err(|_| Refusal::PlanTooLong { capacity: PLAN_CAPACITY })
    }

    /// Is it whole, and does it keep the rules?
    fn check(&self, layout: Layout) -> Result<(), Refusal> {
        let expected = self.next_index();
        if expected != self.announced || expected == 0 {
            return Err(Refusal::ShotMissing { expected });
        }
        rules::check_plan(&self.shots, layout).map_err(|(index, rule)| Refusal::Rule { index, rule })
    }
}

/// Bytes for a chain of 32 + 96 channels and one more, with which it is counted: twice the reference bench.
const CHAIN_BYTES: usize = 2 * Layout::REFERENCE.registers();

/// The controller, for a chain of fewer than `BYTES` shift registers.
#[derive(Debug)]
pub struct Controller<M, A, O, I, const BYTES: usize = CHAIN_BYTES> {
    bench: Bench<M, A, O, I, BYTES>,
    session: Session,
    plan: Plan,
    run: Option<Run>,
    identity: Identity,
    /// `Hello` has been said with our protocol.
    greeted: bool,
    /// Number of the last `Run` that was accepted, so that its echo does not start another.
    last_run: Option<u16>,
    last_heard: Instant,
    fault: Option<Fault>,
    watchdog_reset: bool,
}

impl<M: SpiDevice, A: SpiDevice, O: OutputPin, I: InputPin, const BYTES: usize>
    Controller<M, A, O, I, BYTES>
{
    /// Takes the parts and brings them to the all-open state. Without a `layout` the registers of the chain are counted and
    /// the layout follows from their number ([`Layout::of_registers`]). `serial` and `firmware` are for the handshake;
    /// `watchdog_reset` says that the watchdog caused this start.
    pub fn new(
        parts: Parts<M, A, O, I>,
        layout: impl Into<Option<Layout>>,
        serial: [u8; 8],
        firmware: (u8, u8, u8),
        watchdog_reset: bool,
        now: Instant,
    ) -> Self {
        let mut bench = Bench::new(parts, layout.into());
        let layout = bench.layout;
        let fault = bench.all_open().err();
        Self {
            bench,
            session: Session::new(),
            plan: Plan::new(),
            run: None,
            identity: Identity {
                protocol: PROTOCOL,
                firmware,
                serial,
                force_channels: layout.force_channels,
                sense_channels: layout.sense_channels,
                plan_capacity: PLAN_CAPACITY,
            },
            greeted: false,
            last_run: None,
            last_heard: now,
            fault,
            watchdog_reset,
        }
    }

    /// Takes bytes from the host, in any pieces. Call [`poll`](Self::poll) right after.
    pub fn receive(&mut self, bytes: &[u8], now: Instant) {
        for byte in bytes {
            if let Some(packet) = self.session.receive(*byte) {
                self.last_heard = now;
                self.handle(packet, now);
            }
        }
    }

    /// Whether there is room for the answers to one more USB packet of requests. While there is not, leave the
    /// bytes in the line: that holds back a host which asks without reading. If it never reads, the heartbeat
    /// runs out.
    pub fn can_receive(&self) -> bool {
        self.session.has_room()
    }

    /// The line is gone (cable pulled, port closed): stop, open everything, wait for a new `Hello`.
    pub fn hang_up(&mut self, now: Instant) {
        self.greeted = false;
        self.session.hang_up();
        if let Some(mut turn) = self.turn(now) {
            turn.end(RunEnd::Fault(Fault::Line));
        }
    }

    /// Does what is due and returns when to call again at the latest; sooner does no harm.
    pub fn poll(&mut self, now: Instant) -> Instant {
        let silent = now.us_since(self.last_heard) > u64::from(HEARTBEAT_US);
        let Some(mut turn) = self.turn(now) else { return now.plus_us(IDLE_US) };
        if turn.bench.lid_open() {
            turn.end(RunEnd::Fault(Fault::Lid));
        }
        if silent {
            turn.end(RunEnd::Fault(Fault::Heartbeat));
        }
        loop {
            match turn.step() {
                Step::Again => {}
                Step::Wait(until) => return until.min(now.plus_us(WATCH_US)),
                Step::Over(why) => {
                    self.run_over(why);
                    return now.plus_us(IDLE_US);
                }
            }
        }
    }

    /// Bytes for the host, oldest first.
    pub fn outgoing(&self) -> &[u8] {
        self.session.outgoing()
    }

    /// So many of the bytes of [`outgoing`](Self::outgoing) are sent.
    pub fn sent(&mut self, count: usize) {
        self.session.sent(count);
    }

    /// The run under way, with all it works on.
    fn turn(&mut self, now: Instant) -> Option<Turn<'_, M, A, O, I, BYTES>> {
        let run = self.run.as_mut()?;
        Some(Turn { run, plan: &self.plan.shots, bench: &mut self.bench, session: &mut self.session, now })
    }

    fn run_over(&mut self, why: RunEnd) {
        self.run = None;
        if let RunEnd::Fault(fault) = why {
            self.fault = Some(fault);
        }
    }

    fn handle(&mut self, Packet { seq, body }: Packet<ToBench>, now: Instant) {
        // Numbers come round again: half a turn later it is a new one.
        self.last_run = self.last_run.filter(|run| seq.wrapping_sub(*run) < 1 << 15);
        let answer = match body {
            ToBench::Echo { bytes } => Ok(Some(FromBench::Echo { bytes })),
            ToBench::Hello { protocol } => self.hello(protocol, now).map(Some),
            _ if !self.greeted => Err(Refusal::NoHello),
            ToBench::Status => Ok(Some(FromBench::Status(self.status()))),
            ToBench::Stop => {
                if let Some(mut turn) = self.turn(now) {
                    turn.end(RunEnd::Stopped);
                }
                Ok(Some(FromBench::Done))
            }
            ToBench::Run if self.last_run == Some(seq) => Ok(None),
            _ if self.run.is_some() => Err(Refusal::Busy),
            ToBench::Plan { shots } => self.plan.announce(shots).map(|()| Some(FromBench::Done)),
            ToBench::Shot { index, shot } => self.plan.take(index, shot, self.bench.layout).map(|()| None),
            ToBench::Run => self.start(seq, now).map(|()| Some(FromBench::Done)),
        };
        match answer {
            Ok(Some(answer)) => self.session.answer(seq, answer),
            Ok(None) => {}
            Err(refusal) => self.session.answer(seq, FromBench::Refused(refusal)),
        }
    }

    /// A new conversation. The host before may have died in the middle of a run, and the new one must not find
    /// a controller that is busy for its sake: so everything opens now, not when it is quiet.
    fn hello(&mut self, protocol: u16, now: Instant) -> Result<FromBench, Refusal> {
        self.session.restart();
        if let Some(why) = self.turn(now).map(|mut turn| turn.finish(RunEnd::Stopped)) {
            self.run_over(why);
        }
        // The reset is news to the first host after it only.
        self.watchdog_reset &= !self.greeted;
        self.greeted = protocol == PROTOCOL;
        self.last_run = None;
        self.plan.forget();
        if self.greeted {
            Ok(FromBench::Hello(self.identity))
        } else {
            Err(Refusal::Protocol { mine: PROTOCOL })
        }
    }

    fn start(&mut self, seq: u16, now: Instant) -> Result<(), Refusal> {
        self.plan.check(self.bench.layout)?;
        if self.bench.lid_open() {
            return Err(Refusal::LidOpen);
        }
        // Also writes the converter's registers afresh: a run starts from what is known, or not at all.
        self.fault = self.bench.all_open().err();
        if let Some(fault) = self.fault {
            return Err(Refusal::Broken(fault));
        }
        self.run = Some(Run::new(seq, now));
        self.last_run = Some(seq);
        Ok(())
    }

    /// How it stands, for the host and for a light on the board.
    pub fn status(&mut self) -> Status {
        Status {
            running: self.run.is_some(),
            lid_open: self.bench.lid_open(),
            fault: self.fault,
            watchdog_reset: self.watchdog_reset,
        }
    }
}
