//! The bench around the emulated chip: the models of the virtual bench on its pins, a host on its USB port.
//!
//! As a [`Transport`] it runs in device time and at nobody's pace: the same calls give the same bytes. For programs that want
//! a serial device and live in real time there is [`cable`](super::cable).

use std::{
    sync::{Arc, Mutex},
    time::Duration,
};

use copperwalk::{
    board::StateId,
    fixture::Fixture,
    link::{Gone, Session, Transport},
    operator::{Operator, Unattended, Watch},
    virtual_bench::{Models, Spec},
};

use super::{
    pins::{self, Pin, Pins, Role},
    process::{Around, Break, Drive, Process, UsbDevice},
};

/// Nanoseconds in a microsecond: the chip counts in the one, the models in the other.
const US: u64 = 1_000;
/// Buses of the chip.
const CHAIN_BUS: u8 = 0;
const ADC_BUS: u8 = 1;
/// SPI modes the chips on them need (`hardware/pins.toml` has them from the data sheets).
const CHAIN_MODE: u8 = 0;
const ADC_MODE: u8 = 1;
/// From plugging in until a serial port is there: reset, descriptors, configuration.
const SETTING_UP_US: u64 = 50_000;

/// How the ADC and its wires can fail.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
pub enum AdcFailure {
    /// Not at all.
    #[default]
    None,
    /// It answers nothing: its data line stays low.
    Mute,
    /// Its ready line never falls.
    ReadyStuckHigh,
    /// Its ready line is always low.
    ReadyStuckLow,
}

/// What the firmware's pins and buses end in.
#[derive(Debug)]
pub struct Surroundings {
    /// The models of the virtual bench.
    pub models: Models,
    /// How the ADC fails.
    pub adc_failure: AdcFailure,
    /// The lid is open, whatever the models say.
    pub lid_open: bool,
    /// Whether the light on the board is lit.
    pub lit: bool,
    /// Times at which the watchdog reset the chip, µs.
    pub watchdog_resets: Vec<u64>,
    /// The device as the host found it last.
    pub usb: Option<UsbDevice>,
    /// Bytes from the serial port that nobody has taken yet.
    pub heard: Vec<u8>,
    pins: Pins,
    adc_selected: bool,
    shifting: bool,
}

impl Surroundings {
    fn new(models: Models) -> Self {
        Self {
            models,
            adc_failure: AdcFailure::None,
            lid_open: false,
            lit: false,
            watchdog_resets: Vec::new(),
            usb: None,
            heard: Vec::new(),
            pins: pins::read(),
            adc_selected: false,
            shifting: false,
        }
    }

    fn set(&mut self, pin: Pin, drive: Drive) {
        let high = pin.level(drive);
        match pin.role {
            Role::Line(line) => self.models.set_line(line, high),
            Role::ChainLatch => {
                if self.shifting && high {
                    self.models.chain_latch();
                }
                self.shifting = !high;
            }
            Role::AdcSelect => {
                if !self.adc_selected && !high {
                    self.models.adc_select();
                }
                self.adc_selected = !high;
            }
            Role::Led => self.lit = high,
            Role::DataReady | Role::Lid | Role::Bus => {}
        }
    }
}

impl Around for Surroundings {
    fn pin(&mut self, at: u64, gpio: u8, drive: Drive) {
        self.models.advance(at / US);
        if let Some(pin) = self.pins.get(&gpio).copied() {
            self.set(pin, drive);
        }
    }

    fn spi(&mut self, at: u64, bus: u8, mode: u8, byte: u8) -> u8 {
        self.models.advance(at / US);
        match bus {
            CHAIN_BUS => {
                assert_eq!(mode, CHAIN_MODE, "the chain shifts on the rising edge");
                assert!(self.shifting, "bytes on the chain's bus while RCK is high");
                self.models.chain_byte(byte)
            }
            ADC_BUS => {
                assert_eq!(mode, ADC_MODE, "the ADC wants clock low and the trailing edge");
                assert!(self.adc_selected, "bytes on the ADC's bus while nobody is selected");
                let answer = self.models.adc_byte(byte);
                if self.adc_failure == AdcFailure::Mute { 0 } else { answer }
            }
            other => panic!("nothing hangs on bus {other}"),
        }
    }

    fn inputs(&mut self, at: u64) -> (u32, u64) {
        self.models.advance(at / US);
        let level = |role| match role {
            Role::Lid => self.lid_open || self.models.lid(),
            Role::DataReady => match self.adc_failure {
                AdcFailure::ReadyStuckHigh => true,
                AdcFailure::ReadyStuckLow => false,
                AdcFailure::None | AdcFailure::Mute => self.models.data_ready(),
            },
            _ => false,
        };
        let levels = self
            .pins
            .iter()
            .filter(|(_, pin)| level(pin.role))
            .fold(0, |levels, (gpio, _)| levels | 1 << gpio);
        (levels, self.models.inputs_hold_until().saturating_mul(US))
    }

    fn reset(&mut self, at: u64, watchdog: bool) {
        self.models.advance(at / US);
        for pin in self.pins.clone().into_values() {
            self.set(pin, Drive::Released);
        }
        if watchdog {
            self.watchdog_resets.push(at / US);
        }
    }

    fn heard(&mut self, _at: u64, bytes: &[u8]) {
        self.heard.extend_from_slice(bytes);
    }

    fn found(&mut self, _at: u64, device: UsbDevice) {
        self.usb = Some(device);
    }
}

/// The emulated controller on its modelled bench.
#[derive(Debug)]
pub struct EmulatedBench {
    /// What is around the chip.
    pub around: Surroundings,
    process: Process,
    now_us: u64,
    plugged: bool,
    /// The state the operator has put the unit into since the last step.
    placed: Arc<Mutex<Option<StateId>>>,
}

impl EmulatedBench {
    /// Powers up a controller with a unit on its bench, and plugs its cable into a host that opens the port.
    ///
    /// # Panics
    /// If `spec` asks for what `fixture` cannot have, or no USB device turns up.
    pub fn start(fixture: &Fixture, spec: &Spec) -> Self {
        let mut bench = Self::power_up(fixture, spec);
        bench.plug(true);
        bench.open(true);
        bench
    }

    /// The same, and the conversation is open: the controller has been greeted.
    ///
    /// # Panics
    /// As [`start`](Self::start), and if it does not answer.
    pub fn greeted(fixture: &Fixture, spec: &Spec) -> Session<Self> {
        Session::open(Self::start(fixture, spec)).expect("a controller of our version")
    }

    /// Powers up a controller whose cable hangs loose.
    ///
    /// # Panics
    /// If `spec` asks for what `fixture` cannot have.
    pub fn power_up(fixture: &Fixture, spec: &Spec) -> Self {
        let mut models = Models::new(fixture, spec).expect("a spec for this fixture");
        models.trace().keep(true);
        Self {
            around: Surroundings::new(models),
            process: Process::start(),
            now_us: 0,
            plugged: false,
            placed: Arc::default(),
        }
    }

    /// Device time since power-up, µs.
    pub fn now_us(&self) -> u64 {
        self.now_us
    }

    /// Lets so much device time pass. The host says nothing meanwhile.
    pub fn pass(&mut self, micros: u64) {
        let until = self.now_us + micros;
        while self.now_us < until {
            self.step(until);
        }
    }

    /// Lets device time pass until then, or until the host heard something; it is kept.
    pub fn step(&mut self, until_us: u64) {
        let placed = self.placed.lock().expect("no panics").take();
        if let Some(state) = placed {
            self.place(state);
        }
        let at = self.process.run(until_us * US, &mut self.around);
        self.now_us = at.div_ceil(US).max(self.now_us);
    }

    /// What the host has heard since it last took it.
    pub fn take_heard(&mut self) -> Vec<u8> {
        std::mem::take(&mut self.around.heard)
    }

    /// Puts the unit into a state.
    pub fn place(&mut self, state: StateId) {
        self.around.models.advance(self.now_us);
        self.around.models.place(state);
    }

    /// Who puts the unit into its states while a session holds the bench.
    pub fn operator(&self) -> EmulatedOperator {
        EmulatedOperator(Arc::clone(&self.placed))
    }

    /// Plugs the cable in and waits until the host has set the device up, or pulls it.
    ///
    /// # Panics
    /// If no device turns up.
    pub fn plug(&mut self, inserted: bool) {
        self.process.plug(inserted);
        self.plugged = inserted;
        if inserted {
            self.around.usb = None;
            self.pass(SETTING_UP_US);
            assert!(self.around.usb.is_some(), "no USB device after {SETTING_UP_US} µs");
        }
    }

    /// A program opens or closes the port, and the operating system has told the device.
    pub fn open(&mut self, open: bool) {
        self.set_line(open);
        self.pass(1_000);
    }

    /// The same, not waiting until the device knows.
    pub fn set_line(&mut self, open: bool) {
        self.process.open(open);
    }

    /// Whether the host takes what the controller says.
    pub fn reading(&mut self, reading: bool) {
        self.process.reading(reading);
    }

    /// Bytes as they are.
    pub fn send_raw(&mut self, bytes: &[u8]) {
        self.process.send(bytes);
    }

    /// Breaks the firmware at the next step.
    pub fn break_firmware(&mut self, how: Break) {
        self.process.break_firmware(how);
    }

    /// Power off and on again, then time for the host to find the device.
    pub fn power_cycle(&mut self) {
        self.process.power_cycle();
        self.pass(SETTING_UP_US);
    }

    /// Deepest the firmware's stack has been, bytes.
    pub fn stack_used(&mut self) -> u32 {
        self.process.stack_used(&mut self.around)
    }
}

impl Transport for EmulatedBench {
    fn name(&self) -> String {
        "emulated controller".into()
    }

    /// Device time since power-up.
    fn now(&self) -> Duration {
        Duration::from_micros(self.now_us)
    }

    fn send(&mut self, frame: &[u8]) -> Result<(), Gone> {
        if !self.plugged {
            return Err(Gone("the cable is pulled".into()));
        }
        self.process.send(frame);
        Ok(())
    }

    fn receive(&mut self, deadline: Duration, bytes: &mut Vec<u8>) -> Result<(), Gone> {
        let until = u64::try_from(deadline.as_micros()).expect("shorter than the world's age");
        if self.around.heard.is_empty() && self.now_us < until {
            self.step(until);
        }
        bytes.append(&mut self.around.heard);
        Ok(())
    }
}

/// Moves the unit's switches before the next step of device time.
#[derive(Debug)]
pub struct EmulatedOperator(Arc<Mutex<Option<StateId>>>);

impl Operator for EmulatedOperator {
    fn place(&mut self, state: StateId, _prompt: &str, _watch: &mut dyn Watch) -> Result<(), Unattended> {
        *self.0.lock().expect("no panics") = Some(state);
        Ok(())
    }
}
