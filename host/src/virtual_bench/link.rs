//! The modelled bench as a line to a controller: bytes in and bytes out, as over USB, but nothing sleeps.
//!
//! While somebody waits for bytes, model time runs from one call of the controller to the next.

use std::time::Duration;

use copperwalk_core::{Controller, Instant, Layout};

use super::{
    SpecError,
    adapters::{AdcBus, ChainBus, Input, Output, Shared},
    models::{Line, Models},
    spec::{Parts, Spec},
    trace::Event,
    unit::Truth,
};
use crate::{
    board::StateId,
    fixture::Fixture,
    link::{Gone, Transport},
    operator::{Lying, Operator, Unattended, Watch},
};

/// Power-up to the controller's first instruction, µs.
const BOOT_US: u64 = 10_000;

/// Shift registers its chain may have: whatever a fixture states can be modelled.
const REGISTERS: usize = Layout::LARGEST.registers();

/// A modelled bench, its controller, and the unit on it.
pub struct VirtualBench {
    models: Shared,
    controller: Box<Controller<ChainBus, AdcBus, Output, Input, REGISTERS>>,
    fixture: Fixture,
    seeds: [u64; 2],
    parts: Parts,
    now_us: u64,
    /// When the controller wants to be called again.
    call_us: u64,
    /// What the controller has said and nobody has read.
    said: Vec<u8>,
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
        let parts = copperwalk_core::Parts {
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
        // A bench of other parts is another bench.
        let serial = (spec.bench_seed ^ ((spec.parts as u64) << 63)).to_be_bytes();
        let controller = Controller::new(parts, layout, serial, (0, 1, 0), false, Instant(BOOT_US)).into();
        Ok(Self {
            models,
            controller,
            fixture: fixture.clone(),
            seeds: [spec.bench_seed, spec.unit_seed],
            parts: spec.parts,
            now_us: BOOT_US,
            call_us: BOOT_US,
            said: Vec::new(),
        })
    }

    /// Who puts the unit on this bench into its states.
    pub fn operator(&self) -> VirtualOperator {
        VirtualOperator(self.models.clone())
    }

    /// Puts the unit into a state.
    pub fn place(&mut self, state: StateId) {
        self.models.borrow_mut().place(state);
    }

    /// Lays something else on the pins, or the unit anew.
    pub fn lay(&mut self, lying: Lying) {
        self.models.borrow_mut().lay(lying);
    }

    /// Opens or closes the lid.
    pub fn set_lid(&mut self, open: bool) {
        self.models.borrow_mut().set_lid(open);
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

    /// Calls the controller and takes what it has to say.
    fn call(&mut self) {
        self.call_us = self.controller.poll(Instant(self.now_us)).0;
        let bytes = self.controller.outgoing();
        self.said.extend_from_slice(bytes);
        let count = bytes.len();
        self.controller.sent(count);
    }
}

impl Transport for VirtualBench {
    fn name(&self) -> String {
        let bench = match self.parts {
            Parts::Usual => "virtual bench",
            Parts::Hostile => "hostile virtual bench",
        };
        match self.seeds {
            [seed, unit] if seed == unit => format!("{bench}, seed {unit}"),
            [seed, unit] => format!("{bench} {seed}, unit seed {unit}"),
        }
    }

    /// Model time.
    fn now(&self) -> Duration {
        Duration::from_micros(self.now_us)
    }

    fn send(&mut self, frame: &[u8]) -> Result<(), Gone> {
        self.controller.receive(frame, Instant(self.now_us));
        self.call();
        Ok(())
    }

    /// Lets model time pass until the controller's next call or the deadline, unless something has come already.
    fn receive(&mut self, deadline: Duration, bytes: &mut Vec<u8>) -> Result<(), Gone> {
        let deadline_us = u64::try_from(deadline.as_micros()).unwrap_or(u64::MAX);
        if self.said.is_empty() && self.now_us < deadline_us {
            // The controller never asks for the present, but a bug there must not stop the clock here.
            self.now_us = self.call_us.max(self.now_us + 1).min(deadline_us);
            self.models.borrow_mut().advance(self.now_us);
            self.call();
        }
        bytes.append(&mut self.said);
        Ok(())
    }
}

/// The modelled unit's switches move by themselves.
#[derive(Debug)]
pub struct VirtualOperator(Shared);

impl Operator for VirtualOperator {
    fn place(&mut self, state: StateId, _prompt: &str, _watch: &mut dyn Watch) -> Result<(), Unattended> {
        self.0.borrow_mut().place(state);
        Ok(())
    }

    fn lay(&mut self, lying: Lying, _prompt: &str, _watch: &mut dyn Watch) -> Result<(), Unattended> {
        self.0.borrow_mut().lay(lying);
        Ok(())
    }
}
