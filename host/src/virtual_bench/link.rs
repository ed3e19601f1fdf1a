//! The modelled bench as a line to a controller: frames in and frames out, as over USB, but nothing sleeps.
//!
//! While somebody waits for a message, model time runs from one call of the controller to the next, and a
//! heartbeat goes out as the real link sends it. Its answers stay inside.

use std::{collections::VecDeque, time::Duration};

use copperwalk_core::{Controller, Instant, Layout, Parts};
use copperwalk_wire::{FrameReader, FromBench, MAX_FRAME, Packet, ToBench, encode};

use super::{
    SpecError,
    adapters::{AdcBus, ChainBus, Input, Output, Shared},
    models::{Line, Models},
    spec::Spec,
    trace::Event,
    unit::Truth,
};
use crate::{
    board::StateId,
    fixture::Fixture,
    link::{Bench, Link, LinkError},
};

/// Power-up to the controller's first instruction, µs.
const BOOT_US: u64 = 10_000;
/// While waiting, the host says something at least this often, µs.
const HEARTBEAT_US: u64 = 100_000;

/// A modelled bench, its controller, and the unit on it.
pub struct VirtualBench {
    models: Shared,
    controller: Controller<ChainBus, AdcBus, Output, Input>,
    fixture: Fixture,
    seeds: [u64; 2],
    now_us: u64,
    /// When the controller wants to be called again.
    call_us: u64,
    /// When the host has to say something again.
    heartbeat_us: u64,
    sequence: u16,
    /// Numbers of heartbeats not yet answered.
    heartbeats: VecDeque<u16>,
    reader: FrameReader,
    inbox: VecDeque<Packet<FromBench>>,
}

impl VirtualBench {
    /// Draws the bench and the unit, and starts the controller.
    ///
    /// # Errors
    /// A fault that this fixture cannot have.
    pub fn new(fixture: &Fixture, spec: &Spec) -> Result<Self, SpecError> {
        let models = Shared::new(Models::new(fixture, spec)?.into());
        models.borrow_mut().advance(BOOT_US);
        let output = |line| Output(models.clone(), line);
        let parts = Parts {
            matrix: ChainBus(models.clone()),
            adc: AdcBus(models.clone()),
            shift_clear: output(Line::ShiftClear),
            output_enable: output(Line::OutputEnable),
            load_enable: output(Line::LoadEnable),
            dry_clamp: output(Line::DryClamp),
            isolation_clamp: output(Line::IsolationClamp),
            reverse: output(Line::Reverse),
            lid: Input::Lid(models.clone()),
            data_ready: Input::DataReady(models.clone()),
        };
        let layout =
            Layout { force_channels: fixture.force_channels, sense_channels: fixture.sense_channels };
        let serial = spec.bench_seed.to_be_bytes();
        let controller = Controller::new(parts, layout, serial, (0, 1, 0), false, Instant(BOOT_US));
        Ok(Self {
            models,
            controller,
            fixture: fixture.clone(),
            seeds: [spec.bench_seed, spec.unit_seed],
            now_us: BOOT_US,
            call_us: BOOT_US,
            heartbeat_us: BOOT_US + HEARTBEAT_US,
            sequence: 0,
            heartbeats: VecDeque::new(),
            reader: FrameReader::new(),
            inbox: VecDeque::new(),
        })
    }

    /// The operator puts the unit into a state.
    pub fn place(&mut self, state: StateId) {
        self.models.borrow_mut().place(state);
    }

    /// What the unit really is.
    pub fn truth(&self) -> Truth {
        self.models.borrow().truth(&self.fixture)
    }

    /// Model time, µs.
    pub fn now_us(&self) -> u64 {
        self.now_us
    }

    /// Starts (or stops) keeping the record of relays and currents.
    pub fn keep_trace(&mut self, wanted: bool) {
        self.models.borrow_mut().trace().keep(wanted);
    }

    /// The record since then.
    pub fn trace(&self) -> Vec<Event> {
        self.models.borrow_mut().trace().events().to_vec()
    }

    fn say(&mut self, message: ToBench) -> Result<u16, LinkError> {
        let seq = self.sequence;
        self.sequence = seq.wrapping_add(1);
        let mut buffer = [0; MAX_FRAME];
        let frame = encode(&Packet { seq, body: message }, &mut buffer).map_err(LinkError::Frame)?;
        self.heartbeat_us = self.now_us + HEARTBEAT_US;
        self.controller.receive(frame, Instant(self.now_us));
        self.collect();
        self.call();
        Ok(seq)
    }

    /// Calls the controller and takes what it has to say.
    fn call(&mut self) {
        self.call_us = self.controller.poll(Instant(self.now_us)).0;
        self.collect();
    }

    fn collect(&mut self) {
        while !self.controller.outgoing().is_empty() {
            let bytes = self.controller.outgoing();
            let count = bytes.len();
            for byte in bytes {
                if let Some(Ok(packet)) = self.reader.push(*byte) {
                    self.inbox.push_back(packet);
                }
            }
            self.controller.sent(count);
        }
    }

    /// The oldest message that answers no heartbeat.
    fn next_message(&mut self) -> Option<Packet<FromBench>> {
        while let Some(packet) = self.inbox.pop_front() {
            match self.heartbeats.iter().position(|seq| *seq == packet.seq) {
                Some(i) => drop(self.heartbeats.remove(i)),
                None => return Some(packet),
            }
        }
        None
    }
}

impl Link for VirtualBench {
    fn name(&self) -> String {
        match self.seeds {
            [bench, unit] if bench == unit => format!("virtual bench, seed {unit}"),
            [bench, unit] => format!("virtual bench {bench}, unit seed {unit}"),
        }
    }

    fn send(&mut self, message: ToBench) -> Result<u16, LinkError> {
        self.say(message)
    }

    fn receive(&mut self, patience: Duration) -> Result<Packet<FromBench>, LinkError> {
        let patience_us = u64::try_from(patience.as_micros()).unwrap_or(u64::MAX);
        let deadline = self.now_us.saturating_add(patience_us);
        loop {
            if let Some(packet) = self.next_message() {
                return Ok(packet);
            }
            if self.now_us >= deadline {
                return Err(LinkError::Silent(patience));
            }
            // The controller never asks for the present, but a bug there must not stop the clock here.
            self.now_us = self.call_us.min(self.heartbeat_us).max(self.now_us + 1).min(deadline);
            self.models.borrow_mut().advance(self.now_us);
            if self.now_us >= self.heartbeat_us {
                let seq = self.say(ToBench::Status)?;
                self.heartbeats.push_back(seq);
            } else {
                self.call();
            }
        }
    }
}

impl Bench for VirtualBench {
    /// The modelled unit's switches move by themselves.
    fn place(&mut self, state: StateId, _prompt: &str) -> Result<(), LinkError> {
        VirtualBench::place(self, state);
        Ok(())
    }
}
