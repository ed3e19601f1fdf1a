//! A bench in memory that knows the rules and fails the test the moment one is broken.
//!
//! It models the two chips at their pins and nothing of the unit but two numbers. A relay's contact counts as
//! closed from the moment its coil is on until a release time after the coil is off, so that break before make
//! is checked on contacts and not on intentions.

use std::{cell::RefCell, convert::Infallible, rc::Rc};

use copperwalk_core::{Controller, Instant, Layout, Parts};
use copperwalk_wire::{
    FrameReader, FromBench, MAX_FRAME, PROTOCOL, Packet, Shot, ToBench, encode,
    hardware::{BIAS_VOLTS, VREF_VOLTS, wait},
};
use embedded_hal::{
    digital::{self, InputPin, OutputPin},
    spi::{self, Operation, SpiDevice},
};

pub const LAYOUT: Layout = Layout { force_channels: 4, sense_channels: 12 };
/// A contact may conduct for so long after its coil is off. Published for the reed switch: 70 µs at most; the
/// controller promises to wait longer, and is held to that.
const RELEASE_US: u64 = wait::RELEASE_US as u64;

/// What goes wrong on purpose.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
pub struct Faults {
    /// DRDY never falls.
    pub ready_stuck_high: bool,
    /// DRDY never rises.
    pub ready_stuck_low: bool,
    /// The ADC forgets its registers.
    pub adc_reset: bool,
    /// Transfers on the ADC's bus fail.
    pub adc_bus: bool,
    /// Transfers on the chain's bus fail.
    pub matrix_bus: bool,
    pub lid_open: bool,
    /// This register's output stays high.
    pub register_high: Option<usize>,
}

#[derive(Debug)]
pub struct World {
    pub now: u64,
    pub faults: Faults,
    // The chain.
    shift: Vec<u8>,
    latched: Vec<u8>,
    enabled: bool,
    /// For every relay: when its coil went off last.
    released: Vec<u64>,
    /// Every state the relays were in, with its time.
    pub relay_log: Vec<(u64, Vec<usize>)>,
    // The front end.
    load: bool,
    dry_clamp: bool,
    isolation_clamp: bool,
    reversed: bool,
    /// Since when no current flows.
    quiet_since: u64,
    /// Since when the load source is off.
    load_off_since: Option<u64>,
    /// When the reversal switch was last told to turn.
    turned_at: Option<u64>,
    /// Nothing may be converted under current before then.
    settled_at: u64,
    // The converter.
    registers: [u8; 4],
    ready_at: Option<u64>,
    unread: bool,
    result: i32,
    /// The ADC is this slow.
    pub adc_extra_us: u64,
    /// Codes of pair A and pair B in forward polarity while excited, and an offset on A.
    pub pair_a: i32,
    pub pair_b: i32,
    pub offset_a: i32,
    /// Voltage on the unit while nothing is excited.
    pub residual_volts: f64,
    /// Sense contacts touch.
    pub contacts: (bool, bool),
    /// Do relays have to stay until it is quiet? Not when a new host or a panic forces everything open.
    pub strict: bool,
    pub conversions: Vec<[u8; 4]>,
}

pub fn code(volts: f64) -> i32 {
    ((volts / VREF_VOLTS * 8_388_608.0) as i32).clamp(-0x80_0000, 0x7F_FFFF)
}

impl World {
    fn new() -> Self {
        Self {
            now: 0,
            faults: Faults::default(),
            // Anything may be in the latches after power-up; G's pull-up keeps the outputs off.
            shift: vec![0x5A; LAYOUT.registers()],
            latched: vec![0xFF; LAYOUT.registers()],
            enabled: false,
            released: vec![0; LAYOUT.relays()],
            relay_log: Vec::new(),
            load: false,
            dry_clamp: false,
            isolation_clamp: false,
            reversed: false,
            quiet_since: 0,
            load_off_since: None,
            turned_at: None,
            settled_at: 0,
            registers: [0; 4],
            ready_at: None,
            unread: true,
            result: 0x12_3456,
            adc_extra_us: 0,
            pair_a: 1_000,
            pair_b: 100_000,
            offset_a: 0,
            residual_volts: 0.0,
            contacts: (true, true),
            strict: true,
            conversions: Vec::new(),
        }
    }

    /// Eight clocks: every register's byte moves to the next, the new one enters the nearest, the farthest one's comes out.
    fn shift(&mut self, byte: u8) -> u8 {
        self.shift.insert(0, byte);
        if let Some(register) = self.faults.register_high {
            // What it hands on is ones, whatever it holds.
            let next = self.shift.get_mut(register + 1).expect("a register of the chain");
            *next = 0xFF;
        }
        self.shift.pop().expect("a chain of registers")
    }

    /// Numbers of the closed relays.
    pub fn closed(&self) -> Vec<usize> {
        if !self.enabled {
            return Vec::new();
        }
        (0..LAYOUT.relays()).filter(|bit| self.latched[bit / 8] >> (bit % 8) & 1 == 1).collect()
    }

    /// Does any current reach the unit's side? Burn-out currents count.
    pub fn current(&self) -> bool {
        self.load || self.idac() || self.registers[1] & 1 == 1
    }

    /// The ADC's own source is programmed and routed to the source node.
    fn idac(&self) -> bool {
        self.registers[2] & 7 != 0 && self.registers[3] >> 5 == 5
    }

    pub fn safe(&self) -> bool {
        let idle = self.isolation_clamp && !self.dry_clamp && !self.reversed;
        self.closed().is_empty() && !self.current() && !self.enabled && idle
    }

    /// Does something to the front end or the converter and watches the current.
    fn source_change(&mut self, change: impl FnOnce(&mut Self)) {
        let (before, idac, reversed, load) = (self.current(), self.idac(), self.reversed, self.load);
        change(self);
        if load && !self.load {
            self.load_off_since = Some(self.now);
        }
        if reversed != self.reversed {
            let quiet = self.load_off_since.map_or(u64::MAX, |since| self.now - since);
            let gone = !self.load && quiet >= u64::from(wait::LOAD_TURN_US);
            assert!(gone || !self.strict, "{} µs: the load current is broken by the reversal", self.now);
            self.turned_at = Some(self.now);
        }
        if self.load && !load {
            let turned = self.turned_at.is_none_or(|at| self.now - at >= u64::from(wait::TURN_US));
            assert!(turned, "{} µs: load current while the reversal turns", self.now);
        }
        if before && !self.current() {
            self.quiet_since = self.now;
        }
        if (self.load || self.idac()) && (!before || reversed != self.reversed) {
            let start = if self.idac() && !idac { wait::IDAC_START_US } else { 0 };
            let wait = if reversed == self.reversed { wait::SETTLE_US } else { wait::REVERSE_US };
            self.settled_at = self.now + u64::from(wait + start);
        }
    }

    /// Does something to the relays and checks every rule about them.
    fn relay_change(&mut self, change: impl FnOnce(&mut Self)) {
        let before = self.closed();
        change(self);
        let after = self.closed();
        if before == after {
            return;
        }
        if self.faults.register_high.is_some() {
            // Whatever a broken register closes, G opens at once.
            return self.relay_log.push((self.now, after));
        }
        // With the converter's bus dead its source cannot be turned off; all that is left is to open.
        if !self.faults.adc_bus {
            assert!(!self.current(), "{} µs: relays move under current: {before:?} to {after:?}", self.now);
            if self.strict {
                let since = |at| self.now - at;
                let quiet = since(self.quiet_since);
                let least = u64::from(wait::QUIET_US);
                assert!(quiet >= least, "{} µs: relays move {quiet} µs after the current", self.now);
                let moved = before.iter().filter(|bit| !after.contains(bit));
                let moved: Vec<_> = moved.chain(after.iter().filter(|bit| !before.contains(bit))).collect();
                let sense = |bit: &&usize| matches!(bus_of(**bit), Some(2 | 3));
                let load = self.load_off_since.map_or(u64::MAX, since);
                assert!(
                    moved.iter().all(sense) || load >= u64::from(wait::LOAD_QUIET_US),
                    "{} µs: a force relay moves {load} µs after the load current",
                    self.now
                );
            }
        }
        for bit in before.iter().filter(|bit| !after.contains(bit)) {
            self.released[*bit] = self.now;
        }
        let conducting: Vec<usize> = (0..LAYOUT.relays())
            .filter(|bit| {
                after.contains(bit) || (self.now > 0 && self.now < self.released[*bit] + RELEASE_US)
            })
            .collect();
        for bus in 0..4 {
            let on_bus: Vec<_> = conducting.iter().filter(|bit| bus_of(**bit) == Some(bus)).collect();
            assert!(on_bus.len() <= 1 || after.is_empty(), "{} µs: bus {bus} has {on_bus:?}", self.now);
        }
        self.relay_log.push((self.now, after));
    }

    fn convert(&mut self) {
        let [zero, one, two, _] = self.registers;
        self.conversions.push(self.registers);
        let rate = one >> 5;
        // Periods of 4.096 MHz per single-shot conversion, normal mode; µs, rounded up.
        let clocks = [204_850_u64, 91_218, 46_226, 23_762, 12_562, 6_994, 4_242][usize::from(rate)];
        assert_eq!(one & 0b1_1100, 0, "normal mode, single-shot");
        assert_eq!(two & 0b1100_1000, 0, "internal reference, switch open");
        assert!(two & 0b11_0000 == 0 || rate == 0, "mains filter only at 20 SPS");
        self.ready_at = Some(self.now + (clocks * 1_000).div_ceil(4_096) + self.adc_extra_us);
        self.unread = false;
        let burnout = one & 1 == 1;
        let excited = self.load || self.idac();
        assert!(!excited || self.now >= self.settled_at, "{} µs: not settled", self.now);
        assert!(two & 7 == 0 || two & 7 == 6, "1000 µA or nothing");
        let sign = if self.reversed { -1 } else { 1 };
        let alone = |touches: bool| if burnout && !touches { code(3.3) } else { code(BIAS_VOLTS + 1e-4) };
        self.result = match (zero >> 4, excited) {
            (0x0, false) => code(self.residual_volts),
            (0x0, true) => sign * self.pair_a + self.offset_a,
            (0x5 | 0x7, false) => 0,
            // Rm's current keeps its direction; only the pair is swapped.
            (0x5, true) => self.pair_b,
            (0x7, true) => -self.pair_b,
            (0x8, _) => alone(self.contacts.0),
            (0x9, _) => alone(self.contacts.1),
            (0xB, _) => code(BIAS_VOLTS),
            (0xE, _) => 3,
            _ => 42,
        };
        if matches!(zero >> 4, 0x8 | 0x9 | 0xB) {
            assert_eq!(zero & 1, 1, "single-ended inputs need the amplifier bypassed");
        }
    }

    fn data_ready(&mut self) -> bool {
        if self.faults.ready_stuck_high || self.faults.ready_stuck_low {
            return self.faults.ready_stuck_low;
        }
        if self.ready_at.is_some_and(|at| self.now >= at) {
            self.ready_at = None;
            self.unread = true;
        }
        self.unread
    }

    fn adc_frame(&mut self, frame: &mut [u8]) {
        if std::mem::take(&mut self.faults.adc_reset) {
            self.source_change(|world| world.registers = [0; 4]);
        }
        let [head, body @ ..] = frame else { return };
        let (first, count) = (usize::from(*head >> 2 & 3), usize::from(*head & 3) + 1);
        match *head {
            0x08 => self.convert(),
            0x10 => {
                body.copy_from_slice(&self.result.to_be_bytes()[1..]);
                self.unread = false;
            }
            0x20..=0x2F => {
                assert_eq!(body.len(), count);
                body.copy_from_slice(&self.registers[first..first + count]);
            }
            0x40..=0x4F => {
                assert_eq!(body.len(), count);
                self.source_change(|world| world.registers[first..first + count].copy_from_slice(body));
            }
            other => panic!("no such command: {other:02X}"),
        }
    }
}

/// The bus a relay belongs to; the bleed relay belongs to none.
fn bus_of(bit: usize) -> Option<usize> {
    let force = 2 * usize::from(LAYOUT.force_channels);
    let sense = force + 2 * usize::from(LAYOUT.sense_channels);
    (bit < sense).then_some(if bit < force { bit % 2 } else { 2 + bit % 2 })
}

pub type Shared = Rc<RefCell<World>>;

/// The pins, by what hangs on them.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
enum Wire {
    ShiftClear,
    OutputEnable,
    LoadEnable,
    DryClamp,
    IsolationClamp,
    Reverse,
    Lid,
    DataReady,
}

#[derive(Clone, Debug)]
pub struct Pin(Shared, Wire);

impl digital::ErrorType for Pin {
    type Error = Infallible;
}

impl Pin {
    fn set(&mut self, high: bool) -> Result<(), Infallible> {
        let mut world = self.0.borrow_mut();
        match self.1 {
            Wire::ShiftClear if !high => world.shift.fill(0),
            Wire::ShiftClear | Wire::Lid | Wire::DataReady => {}
            Wire::OutputEnable => world.relay_change(|world| world.enabled = !high),
            Wire::LoadEnable => world.source_change(|world| world.load = high),
            Wire::DryClamp => world.dry_clamp = high,
            Wire::IsolationClamp => world.isolation_clamp = high,
            Wire::Reverse => world.source_change(|world| world.reversed = high),
        }
        Ok(())
    }
}

impl OutputPin for Pin {
    fn set_low(&mut self) -> Result<(), Infallible> {
        self.set(false)
    }
    fn set_high(&mut self) -> Result<(), Infallible> {
        self.set(true)
    }
}

impl InputPin for Pin {
    fn is_high(&mut self) -> Result<bool, Infallible> {
        let mut world = self.0.borrow_mut();
        Ok(match self.1 {
            Wire::Lid => world.faults.lid_open,
            _ => !world.data_ready(),
        })
    }
    fn is_low(&mut self) -> Result<bool, Infallible> {
        self.is_high().map(|high| !high)
    }
}

#[derive(Clone, Copy, PartialEq, Eq, Debug)]
enum Chip {
    Matrix,
    Adc,
}

#[derive(Clone, Debug)]
pub struct Bus(Shared, Chip);

impl spi::ErrorType for Bus {
    type Error = spi::ErrorKind;
}

impl SpiDevice for Bus {
    fn transaction(&mut self, operations: &mut [Operation<'_, u8>]) -> Result<(), spi::ErrorKind> {
        let mut world = self.0.borrow_mut();
        let broken = match self.1 {
            Chip::Matrix => world.faults.matrix_bus,
            Chip::Adc => world.faults.adc_bus,
        };
        if broken {
            return Err(spi::ErrorKind::Other);
        }
        if self.1 == Chip::Matrix {
            for operation in operations {
                match operation {
                    Operation::Write(bytes) => bytes.iter().for_each(|byte| {
                        world.shift(*byte);
                    }),
                    Operation::TransferInPlace(bytes) => {
                        bytes.iter_mut().for_each(|byte| *byte = world.shift(*byte));
                    }
                    other => panic!("{other:?}"),
                }
            }
            world.relay_change(|world| world.latched = world.shift.clone());
            return Ok(());
        }
        let [operation] = operations else { panic!("one command per chip select") };
        match (self.1, operation) {
            (Chip::Adc, Operation::Write(bytes)) => world.adc_frame(&mut bytes.to_vec()),
            (Chip::Adc, Operation::TransferInPlace(bytes)) => world.adc_frame(bytes),
            (chip, other) => panic!("{chip:?}: {other:?}"),
        }
        Ok(())
    }
}

/// The controller on its bench, and a host at the other end of the line.
pub struct Setup {
    pub world: Shared,
    pub controller: Controller<Bus, Bus, Pin, Pin>,
    pub heard: Vec<Packet<FromBench>>,
    reader: FrameReader,
    seq: u16,
    next_poll: u64,
    /// The host says `Status` this often, µs; 0: never.
    pub heartbeat_us: u64,
    last_said: u64,
    /// The host reads at all.
    pub reads: bool,
}

impl Setup {
    pub fn new() -> Self {
        let world: Shared = Rc::new(RefCell::new(World::new()));
        let pin = |wire| Pin(world.clone(), wire);
        let parts = Parts {
            matrix: Bus(world.clone(), Chip::Matrix),
            adc: Bus(world.clone(), Chip::Adc),
            shift_clear: pin(Wire::ShiftClear),
            output_enable: pin(Wire::OutputEnable),
            load_enable: pin(Wire::LoadEnable),
            dry_clamp: pin(Wire::DryClamp),
            isolation_clamp: pin(Wire::IsolationClamp),
            reverse: pin(Wire::Reverse),
            lid: pin(Wire::Lid),
            data_ready: pin(Wire::DataReady),
        };
        let controller = Controller::new(parts, LAYOUT, *b"12345678", (1, 2, 3), true, Instant(0));
        assert!(world.borrow().safe());
        assert!(world.borrow().isolation_clamp && !world.borrow().dry_clamp, "idle clamp");
        Self {
            world,
            controller,
            heard: Vec::new(),
            reader: FrameReader::new(),
            seq: 0,
            next_poll: 0,
            heartbeat_us: 200_000,
            last_said: 0,
            reads: true,
        }
    }

    pub fn greeted() -> Self {
        let mut setup = Self::new();
        setup.ask(ToBench::Hello { protocol: PROTOCOL });
        setup.heard.clear();
        setup
    }

    pub fn now(&self) -> u64 {
        self.world.borrow().now
    }

    /// Bytes as they are.
    pub fn say_bytes(&mut self, bytes: &[u8]) {
        let now = self.now();
        self.controller.receive(bytes, Instant(now));
        self.next_poll = now;
    }

    pub fn say_as(&mut self, seq: u16, body: ToBench) {
        let mut buffer = [0; MAX_FRAME];
        let frame = encode(&Packet { seq, body }, &mut buffer).unwrap().to_vec();
        self.last_said = self.now();
        self.say_bytes(&frame);
    }

    pub fn say(&mut self, body: ToBench) -> u16 {
        self.seq += 1;
        self.say_as(self.seq, body);
        self.seq
    }

    /// Says it, and returns what comes back under its number before time moves on.
    pub fn ask(&mut self, body: ToBench) -> Option<FromBench> {
        let seq = self.say(body);
        self.read();
        self.heard.iter().find(|packet| packet.seq == seq).map(|packet| packet.body.clone())
    }

    pub fn load(&mut self, shots: &[Shot]) {
        assert_eq!(self.ask(ToBench::Plan { shots: shots.len() as u16 }), Some(FromBench::Done));
        for (index, shot) in (0..).zip(shots) {
            assert_eq!(self.ask(ToBench::Shot { index, shot: *shot }), None);
        }
    }

    fn read(&mut self) {
        if !self.reads {
            return;
        }
        let bytes = self.controller.outgoing().to_vec();
        self.controller.sent(bytes.len());
        for byte in bytes {
            if let Some(packet) = self.reader.push(byte) {
                self.heard.push(packet.expect("the controller speaks whole frames"));
            }
        }
    }

    /// Lets so much time pass.
    pub fn pass(&mut self, micros: u64) {
        let end = self.now() + micros;
        loop {
            let now = self.now();
            let due = self.controller.poll(Instant(now)).0;
            assert!(due > now, "asks to be called at once, for ever");
            self.read();
            self.next_poll = due.min(end);
            if now >= end {
                return;
            }
            self.world.borrow_mut().now = self.next_poll;
            if self.heartbeat_us > 0 && self.now() >= self.last_said + self.heartbeat_us {
                self.say(ToBench::Status);
            }
        }
    }

    /// Lets time pass until the run has ended; the run's end.
    pub fn finish(&mut self) -> FromBench {
        for _ in 0..100_000 {
            self.pass(1_000);
            let ended = |packet: &Packet<FromBench>| matches!(packet.body, FromBench::Ended { .. });
            if let Some(packet) = self.heard.iter().find(|packet| ended(packet)) {
                assert!(self.world.borrow().safe());
                return packet.body.clone();
            }
        }
        panic!("the run never ended");
    }

    /// Loads and runs a plan to its end.
    pub fn run(&mut self, shots: &[Shot]) -> FromBench {
        self.load(shots);
        assert_eq!(self.ask(ToBench::Run), Some(FromBench::Done));
        self.finish()
    }

    /// Codes streamed for one shot, checked to be without a gap.
    pub fn codes(&self, wanted: u16) -> Vec<i32> {
        let mut all = Vec::new();
        for packet in &self.heard {
            if let FromBench::Codes { shot, first, codes } = &packet.body
                && *shot == wanted
            {
                assert_eq!(usize::from(*first), all.len());
                all.extend(codes);
            }
        }
        all
    }
}
