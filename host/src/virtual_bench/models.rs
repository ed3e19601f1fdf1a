//! The bench at the level of its chips: what the controller's pins and buses reach.
//!
//! Two users drive these models: the controller logic in the same process, and a whole emulated microcontroller in
//! another one that hands over times, pin changes and bus bytes. So everything here speaks of lines, bytes and
//! microseconds, and nothing of messages. Time only ever moves in [`Models::advance`]; whatever else is called
//! happens at that moment.

use std::mem;

use super::{
    SpecError,
    adc::{Adc, AdcPin, Conversion, Selected},
    amplifier::Amplifier,
    chain::Chain,
    circuit::{Bed, Circuit, FIRST_POINT},
    front_end::{self, FrontEnd},
    hum::Hum,
    network::{Branch, Network, Sources},
    relay::Relay,
    seat::{self, Seat},
    spec::{self, Injected, Spec},
    thermometer,
    trace::{Change, Trace},
    transient::{Charges, Transient},
    unit::{Truth, Unit},
};
use crate::{
    board::StateId,
    fixture::Fixture,
    operator::Lying,
    quantity::{Amps, Celsius, Volts},
    random::Rng,
};

/// While a capacitor charges from a source, what the source can do is looked at again this often, µs.
const LOOK_US: u64 = 500;
/// A capacitor is at rest while it changes by less than this in [`LOOK_US`].
const REST: Volts = Volts(1e-6);

/// An inductance is at rest below this.
const STILL: Amps = Amps(1e-9);

/// A line the controller drives. Levels as on the wire: see `hardware/pins.toml`.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[allow(missing_docs)]
pub enum Line {
    ShiftClear,
    OutputEnable,
    LoadEnable,
    DryClamp,
    IsolationClamp,
    Reverse,
}

/// The models of one bench with one unit on it.
#[derive(Debug)]
pub struct Models {
    now_us: u64,
    /// Voltages and charges are worked out up to here; nothing has switched since.
    settled_us: u64,
    chain: Chain,
    relays: Vec<Relay>,
    /// Which contacts are closed now.
    closed: Vec<bool>,
    /// Relays whose contact is still to move.
    moving: Vec<usize>,
    bed: Bed,
    seat: Seat,
    front_end: FrontEnd,
    adc: Adc,
    amplifier: Amplifier,
    hum: Hum,
    unit: Unit,
    fixture: Fixture,
    /// Those of the unit while it lies there.
    charges: Charges,
    charging: bool,
    air: Celsius,
    lid_opens_us: Option<u64>,
    /// The network as it stands; `None` once something has switched.
    circuit: Option<Circuit>,
    /// The source is at its compliance.
    limited: bool,
    /// Volt · µs at both inputs so far in this conversion.
    sampled: [f64; 2],
    /// Excitation and burn-out as last noted.
    noted: [bool; 2],
    trace: Trace,
}

impl Models {
    /// Draws a bench and a unit. Both lie open and unpowered until the controller's first word.
    ///
    /// # Errors
    /// A fault that this fixture cannot have.
    pub fn new(fixture: &Fixture, spec: &Spec) -> Result<Self, SpecError> {
        let faults: Vec<Injected> =
            spec.faults.iter().map(|text| spec::parse(text, fixture)).collect::<Result<_, _>>()?;
        let figures = spec.parts.figures();
        // Each part draws from its own stream, so a fault in one leaves all others as they were.
        let mut rng = Rng::new(spec.bench_seed ^ 0xBE9C);
        let (mut bed, mut seat) = seat::bed(fixture, &figures, &mut rng.fork());
        let mut relays_rng = rng.fork();
        let mut relays: Vec<Relay> =
            (0..=bed.bleed_relay()).map(|_| Relay::new(&figures, &mut relays_rng)).collect();
        let chain = Chain::new(relays.len(), &mut rng.fork());
        let mut front_end = FrontEnd::new(&figures, spec.air, &mut rng.fork());
        let adc = Adc::new(&mut rng.fork());
        let mut amplifier = Amplifier::new(&figures, spec.air, &mut rng.fork());
        let mut hum_rng = rng.fork();
        let mut hum = Hum::new(Volts(figures.hum_volts.draw(&mut hum_rng)), &mut hum_rng);
        let (mut lid_opens_us, mut bed_kelvin) = (None, 0.0);
        for fault in &faults {
            match *fault {
                Injected::Pin(pin, contact) => seat.dirty(&mut bed, pin, contact),
                Injected::Touching(pins) => bed.touching.push(pins),
                Injected::Exchanged([a, b]) => bed.leads.swap(a, b),
                Injected::Relay(relay, fault) => relays[relay].fault = Some(fault),
                Injected::Standard(standard, off) => bed.standards[standard].1.0 *= 1.0 + off,
                Injected::Lid(at_us) => lid_opens_us = Some(at_us),
                Injected::Bed(kelvin) => bed_kelvin = kelvin,
                Injected::Hum(peak) => hum.set_peak(peak),
                Injected::Noise(factor) => amplifier.set_noise(factor),
                Injected::GainError(gain, error) => amplifier.set_gain_error(gain, error),
                Injected::CommonMode(volts) => amplifier.set_common_mode(volts),
                Injected::Rm(off) => front_end.set_rm(off),
                Injected::Usb(volts) => front_end.set_usb(volts),
                Injected::Displaced(point, mm) => seat.displace(&mut bed, fixture, point.index(), mm),
                Injected::Segment(..)
                | Injected::Bridge(..)
                | Injected::Junction(..)
                | Injected::Wire(..)
                | Injected::Absorption(_)
                | Injected::Battery(_)
                | Injected::Charge(_)
                | Injected::Thermometer(..)
                | Injected::Warmer(_) => {}
            }
        }
        let bed_at = Celsius(spec.air.0 + bed_kelvin);
        thermometer::warm(&mut bed, fixture, bed_at, &faults, &mut rng.fork());
        let unit_rng = &mut Rng::new(spec.unit_seed);
        let unit = Unit::new(&fixture.board, &faults, spec.parts, bed_at, unit_rng);
        let charges = unit.charges(FIRST_POINT);
        Ok(Self {
            now_us: 0,
            settled_us: 0,
            chain,
            closed: relays.iter().map(|relay| relay.closed(0)).collect(),
            moving: Vec::new(),
            relays,
            bed,
            seat,
            front_end,
            adc,
            amplifier,
            hum,
            charging: !charges.capacitors.is_empty(),
            unit,
            fixture: fixture.clone(),
            charges,
            air: spec.air,
            lid_opens_us,
            circuit: None,
            limited: false,
            sampled: [0.0; 2],
            noted: [false; 2],
            trace: Trace::default(),
        })
    }

    /// Model time, µs since power-up.
    pub fn now_us(&self) -> u64 {
        self.now_us
    }

    /// Lets time pass until `to_us`.
    pub fn advance(&mut self, to_us: u64) {
        while let Some(at) = self.next_event().filter(|&at| at <= to_us) {
            self.now_us = at;
            self.settle();
            self.happen();
        }
        // The controller asks often whether a conversion is over. Until something happens there is nothing to
        // work out.
        self.now_us = self.now_us.max(to_us);
    }

    /// One byte into the relay drivers' shift register, and the one that comes out of its end.
    pub fn chain_byte(&mut self, byte: u8) -> u8 {
        self.chain.shift(byte)
    }

    /// RCK rises: what was shifted in reaches the relays.
    pub fn chain_latch(&mut self) {
        self.chain.latch();
        self.drive_relays();
    }

    /// A line changes its level (or is set to the one it has).
    pub fn set_line(&mut self, line: Line, high: bool) {
        self.settle();
        let switch = match line {
            Line::ShiftClear => return self.chain.set_clear(high),
            Line::OutputEnable => {
                self.chain.set_output_enable(high);
                return self.drive_relays();
            }
            Line::LoadEnable => &mut self.front_end.load_enable,
            Line::DryClamp => &mut self.front_end.dry_clamp,
            Line::IsolationClamp => &mut self.front_end.isolation_clamp,
            Line::Reverse => return self.turn(high),
        };
        if *switch != high {
            *switch = high;
            self.switched();
            self.note_currents();
        }
    }

    /// The ADC's chip select falls.
    pub fn adc_select(&mut self) {
        self.adc.select();
    }

    /// One byte each way on the ADC's bus.
    pub fn adc_byte(&mut self, byte: u8) -> u8 {
        self.settle();
        let before = self.adc.conversion();
        let answer = self.adc.exchange(byte, self.now_us);
        if self.adc.conversion() != before {
            self.sampled = [0.0; 2];
        }
        self.note_currents();
        answer
    }

    /// Level of the ADC's ready line: low while a code waits.
    pub fn data_ready(&self) -> bool {
        self.adc.data_ready()
    }

    /// Level of the lid switch: high while it is open.
    pub fn lid(&self) -> bool {
        self.lid_opens_us.is_some_and(|at| at <= self.now_us)
    }

    /// Until when ready line and lid keep their levels if the controller does nothing, µs: who asks over a
    /// slow line need not ask before.
    pub fn inputs_hold_until(&self) -> u64 {
        let lid = self.lid_opens_us.filter(|at| *at > self.now_us);
        self.next_event().into_iter().chain(lid).min().unwrap_or(u64::MAX)
    }

    /// Somebody opens or closes the lid.
    pub fn set_lid(&mut self, open: bool) {
        self.lid_opens_us = open.then_some(self.now_us);
    }

    /// The operator puts the unit into a state.
    pub fn place(&mut self, state: StateId) {
        self.settle();
        self.unit.place(state);
        self.switched();
        self.trace.note(self.now_us, Change::Placed(state));
    }

    /// Somebody lays something else on the pins, or the unit anew.
    pub fn lay(&mut self, lying: Lying) {
        self.settle();
        self.seat.lay(&mut self.bed, &self.fixture, lying);
        self.charges = match lying {
            Lying::Unit => self.unit.charges(FIRST_POINT),
            Lying::Nothing | Lying::Plate => Charges::default(),
        };
        self.switched();
    }

    /// The record of changes.
    pub fn trace(&mut self) -> &mut Trace {
        &mut self.trace
    }

    /// What the unit really is.
    pub fn truth(&self, fixture: &Fixture) -> Truth {
        self.unit.truth(&fixture.board)
    }

    /// The network as it stands, what drives it, and every node's voltage: for comparing with another solver.
    pub fn snapshot(&mut self) -> (&Network, Sources, Vec<Volts>) {
        let circuit = self.circuit.take().unwrap_or_else(|| self.assemble());
        let circuit = self.circuit.insert(circuit);
        let mut sources = circuit.sources(&self.front_end, &self.relays, &self.adc, self.now_us);
        let at = circuit.hold(&mut sources, &mut self.charges);
        (circuit.factored.network(), sources, at)
    }

    /// Charges and currents at this moment, and what they run through where there are inductances or junctions: for comparing with
    /// another solver. Sources are those without them.
    pub fn transient(&mut self) -> (&Network, Sources, &Charges, Option<&Transient>) {
        self.settle();
        let circuit = self.circuit.take().unwrap_or_else(|| self.assemble());
        let circuit = self.circuit.insert(circuit);
        let sources = circuit.sources(&self.front_end, &self.relays, &self.adc, self.now_us);
        (circuit.factored.network(), sources, &self.charges, circuit.transient())
    }

    /// Branches of the capacitors, in the order of their charges.
    pub fn capacitor_branches(&self) -> &[Branch] {
        self.circuit.as_ref().map_or(&[], Circuit::capacitors)
    }

    fn turn(&mut self, reversed: bool) {
        let before = self.front_end.turns_at();
        self.front_end.turn(reversed, self.now_us);
        if self.front_end.turns_at() != before {
            self.trace.note(self.now_us, Change::Reverse { on: reversed });
        }
    }

    fn drive_relays(&mut self) {
        for relay in 0..self.relays.len() {
            let on = self.chain.drives(relay);
            if on != self.relays[relay].driven() {
                self.relays[relay].drive(on, self.now_us);
                self.trace.note(self.now_us, Change::Relay { relay, on });
                if !self.moving.contains(&relay) {
                    self.moving.push(relay);
                }
            }
        }
    }

    fn next_event(&self) -> Option<u64> {
        let now = self.now_us;
        let contacts = self.moving.iter().filter_map(|&relay| self.relays[relay].moves_at(now));
        let conversion = self.adc.conversion().into_iter().flat_map(|c| [c.from_us, c.to_us]);
        let look = self.is_charging().then_some(self.settled_us + LOOK_US);
        contacts
            .chain(conversion)
            .chain(self.adc.starts_at(now))
            .chain(self.front_end.turns_at())
            .chain(self.unit.changes_at())
            .chain(look)
            .filter(|&at| at > now)
            .min()
    }

    /// Lets what is due now happen.
    fn happen(&mut self) {
        let now = self.now_us;
        let moved = |relay: &usize| self.relays[*relay].closed(now) != self.closed[*relay];
        if self.moving.iter().any(moved) {
            for &relay in &self.moving {
                self.closed[relay] = self.relays[relay].closed(now);
            }
            self.switched();
        }
        let relays = &self.relays;
        self.moving.retain(|&relay| relays[relay].moves_at(now).is_some());
        let contacts = self.unit.change(now);
        if self.front_end.turn_over(now) | !contacts.is_empty() {
            self.switched();
        }
        for (segment, good) in contacts {
            self.trace.note(now, Change::Contact { segment, good });
        }
        if let Some(conversion) = self.adc.conversion().filter(|c| c.to_us <= now) {
            let code = self.code(&conversion);
            self.adc.finish(code);
            self.sampled = [0.0; 2];
        }
        self.note_currents();
    }

    fn code(&mut self, conversion: &Conversion) -> i32 {
        let Conversion { selected, gain, bypass, rate, from_us, to_us } = *conversion;
        let [mut plus, minus] = self.sampled.map(|sum| Volts(sum / (to_us - from_us).max(1) as f64));
        // The loop that picks it up is the one of the two sense lines.
        if matches!(selected, Selected::Pair(AdcPin::Ain0, AdcPin::Ain1)) {
            plus = plus + self.hum.mean(from_us, to_us);
        }
        match selected {
            Selected::Pair(..) => self.amplifier.code(plus, minus, gain, bypass, rate),
            Selected::Quarter(..) => self.amplifier.code((plus - minus) / 4.0, Volts::ZERO, gain, true, rate),
            Selected::Temperature => self.amplifier.temperature(self.air),
        }
    }

    /// Works out what has become of voltages and charges since something last switched, if anything depends on
    /// it. To be called before anything switches.
    fn settle(&mut self) {
        let from_us = mem::replace(&mut self.settled_us, self.now_us);
        let micros = self.now_us - from_us;
        if micros == 0 {
            return;
        }
        let sampling =
            self.adc.conversion().filter(|c| c.from_us <= from_us && c.selected != Selected::Temperature);
        let straining = self.excited() && self.unit.has_film();
        if sampling.is_none() && !straining && !self.has_charge() {
            return;
        }
        let middle = from_us + micros / 2;
        let before = self.charges.clone();
        let current = self.front_end.excitation(&self.adc, from_us);
        let mut at;
        let mut tries = 2;
        loop {
            let circuit = self.circuit.take().unwrap_or_else(|| self.assemble());
            let sources = circuit.sources(&self.front_end, &self.relays, &self.adc, middle);
            at = circuit.pass(&sources, micros, &mut self.charges);
            self.circuit = Some(circuit);
            // Where currents swing, the network holds the compliance itself.
            let limited = !self.swings() && self.front_end.is_limited(self.limited, current, &at);
            if limited == self.limited || tries == 0 {
                break;
            }
            tries -= 1;
            self.limited = limited;
            self.circuit = None;
            self.charges.clone_from(&before);
        }
        let fastest = before
            .capacitors
            .iter()
            .zip(&self.charges.capacitors)
            .map(|(before, after)| (after.voltage - before.voltage).abs())
            .fold(Volts::ZERO, Volts::max);
        self.charging = self.relaxes() && fastest > REST * micros as f64 / LOOK_US as f64;
        if let Some(Selected::Pair(plus, minus) | Selected::Quarter(plus, minus)) =
            sampling.map(|c| c.selected)
        {
            self.sampled[0] += front_end::voltage(plus, &at).0 * micros as f64;
            self.sampled[1] += front_end::voltage(minus, &at).0 * micros as f64;
        }
        if straining && self.unit.strain(&at, FIRST_POINT) {
            self.switched();
        }
    }

    fn assemble(&self) -> Circuit {
        let Self { front_end, relays, closed, bed, unit, charges, limited, .. } = self;
        Circuit::new(front_end, relays, closed, bed, unit, charges, *limited)
    }

    /// Something switched: the network has to be put together anew.
    fn switched(&mut self) {
        self.circuit = None;
        self.charging = self.relaxes();
    }

    /// Do currents in what lies on the pins swing, or run one way only?
    fn swings(&self) -> bool {
        self.bed.unit_lies && self.unit.swings()
    }

    /// Are there capacitors among nothing but resistors?
    fn relaxes(&self) -> bool {
        !self.charges.capacitors.is_empty() && !self.swings()
    }

    fn excited(&self) -> bool {
        self.noted[0] || self.noted[1]
    }

    fn is_charging(&self) -> bool {
        self.charging && self.excited()
    }

    /// Can the charge of a capacitor change?
    fn has_charge(&self) -> bool {
        let stores = !self.charges.capacitors.is_empty() || !self.charges.currents.is_empty();
        stores && (self.excited() || self.unit.has_battery() || self.charges.any(REST, STILL))
    }

    fn note_currents(&mut self) {
        let current = self.front_end.excitation(&self.adc, self.now_us);
        let now = [current > Amps::ZERO, self.adc.burnout().is_some()];
        let before = mem::replace(&mut self.noted, now);
        if before == now {
            return;
        }
        self.charging = self.relaxes();
        if mem::take(&mut self.limited) {
            self.switched();
        }
        if before[0] != now[0] {
            self.trace.note(self.now_us, Change::Excitation { on: now[0] });
        }
        if before[1] != now[1] {
            self.trace.note(self.now_us, Change::Burnout { on: now[1] });
        }
    }
}
