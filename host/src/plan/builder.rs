//! Writes shots one after the other, so that each next one moves as few relays as it can.

use copperwalk_wire::{Contacts, Gain, Input, Method, Rate, Shot, Source, hardware::BLEED_OHMS};

use super::{
    PlannedShot, Role,
    aim::{self, Sampling},
    mesh::{self, Current},
    stretch::Stretch,
};
use crate::{
    board::{Board, PointId, SegmentId, SegmentKind, placement, thermal},
    fixture::{Fixture, Standard, Thermometer},
    limits::{LimitSet, Limits},
    quantity::{Celsius, Farads, Ohms, Volts},
};

/// Bleeding lasts so many time constants; no unit: e⁻³ of the 200 mV of the isolation range is 10 mV, a fifth
/// of the 50 mV under which the residual-voltage check calls a unit dead.
const BLEED_TIME_CONSTANTS: f64 = 3.0;

/// Conversions of a millisecond each, until what charges 470 µF behind the dry clamp is less than the noise
/// of one conversion: a time constant is 13 ms, 16 ms where the capacitor holds a quarter more than it says.
const CHARGED_LOOKS: u8 = 150;

/// A diode that may not have more forward voltage than this is read under load too. Of the load source's 1 V, Rm takes 0.5 V at 50 mA
/// and the contacts some ten millivolts; a diode above it lets a smaller current run, which proves less.
const UNDER_LOAD: Volts = Volts(0.6);

/// How a hum is listened for: gain, rate, conversions. Forty of them span two periods of either mains.
pub const LISTEN: (Gain, Rate, u8) = (Gain::X128, Rate::Sps1000, 40);
/// A plan reckons with rooms so far from 20 °C, kelvin, and with a unit's temperature known to so many kelvin.
const ROOM_OFF_KELVIN: f64 = 5.0;
const WARMTH_KELVIN: f64 = 1.5;

/// Half width, relative to its limit, of what a segment's reading is uncertain by apart from the meter: its temperature and
/// where the pins stand.
fn unsure(fixture: &Fixture, id: SegmentId, limits: &Limits) -> f64 {
    let board = &fixture.board;
    let placement = placement::half_width(board, id, |point| fixture.pins(point).off_mm);
    let coefficient = thermal::coefficient(&board.segment(id).kind);
    let temperature = coefficient.unsure(Celsius(20.0 + ROOM_OFF_KELVIN), WARMTH_KELVIN);
    temperature.hypot(placement / limits.max)
}

/// The contacts of what is built into the bed.
pub fn four_wires(force: [u16; 2], sense: [u16; 2]) -> Contacts {
    let ([force_plus, force_minus], [sense_plus, sense_minus]) = (force.map(Some), sense.map(Some));
    Contacts { force_plus, force_minus, sense_plus, sense_minus }
}

/// Collects shots.
pub struct Builder<'f> {
    fixture: &'f Fixture,
    sampling: Sampling,
    shots: Vec<PlannedShot>,
    last: Contacts,
    /// Capacitance that may bridge an open on the supply's side, farad.
    bridging: Farads,
    /// What any path on the board has to wait for its current, µs: that of all inductances in series.
    settling_us: u16,
}

impl<'f> Builder<'f> {
    /// Starts with every relay open.
    pub fn new(fixture: &'f Fixture, sampling: Sampling) -> Self {
        let bridging = bridging(&fixture.board);
        let settling_us = aim::settling_us(fixture.board.segments.iter().map(|part| part.inductance).sum());
        Self { fixture, sampling, shots: Vec::new(), last: Contacts::default(), bridging, settling_us }
    }

    /// The shots so far.
    pub fn finish(self) -> Vec<PlannedShot> {
        self.shots
    }

    /// Takes the shots so far out, keeping the relays where they are.
    pub fn cut(&mut self) -> Vec<PlannedShot> {
        std::mem::take(&mut self.shots)
    }

    fn push(&mut self, role: Role, shot: Shot) {
        self.last = shot.contacts;
        // A standard has no choke in its path.
        let wait_us = if matches!(role, Role::Standard(_)) { 0 } else { self.settling_us };
        self.shots.push(PlannedShot { role, shot: aim::waiting(shot, wait_us) });
    }

    fn bridge_wait_us(&self, source: Source) -> u16 {
        aim::bridge_wait_us(self.bridging, source)
    }

    fn force(&self, plus: PointId, minus: PointId) -> Contacts {
        Contacts {
            force_plus: self.fixture.pins(plus).force,
            force_minus: self.fixture.pins(minus).force,
            ..Contacts::default()
        }
    }

    fn sense(&self, contacts: Contacts, plus: PointId, minus: PointId) -> Contacts {
        Contacts {
            sense_plus: self.fixture.pins(plus).sense,
            sense_minus: self.fixture.pins(minus).sense,
            ..contacts
        }
    }

    /// Forced and sensed at two points.
    pub fn both(&self, plus: PointId, minus: PointId) -> Contacts {
        self.sense(self.force(plus, minus), plus, minus)
    }

    /// Two points sensed in whichever way keeps a closed relay closed. Also: is sense+ at `down`?
    fn leapfrog(&self, force: Contacts, up: PointId, down: PointId) -> (Contacts, bool) {
        let straight = self.sense(force, up, down);
        let swapped = self.sense(force, down, up);
        if self.kept(&swapped) > self.kept(&straight) { (swapped, true) } else { (straight, false) }
    }

    /// How many sense relays these contacts leave closed.
    fn kept(&self, contacts: &Contacts) -> usize {
        usize::from(contacts.sense_plus == self.last.sense_plus)
            + usize::from(contacts.sense_minus == self.last.sense_minus)
    }

    /// No voltage on the unit, contacts of the supply in touch.
    pub fn residual(&mut self) {
        let supply = &self.fixture.board.supply;
        let contacts = self.both(supply.from, supply.ret);
        self.push(Role::Residual, Shot { contacts, source: Source::Off, method: Method::Residual });
    }

    /// Discharges whatever stands between two points; the capacitance sets the time.
    pub fn bleed(&mut self, plus: PointId, minus: PointId, charged: Farads) {
        let millis = bleed_millis(charged);
        let contacts = self.both(plus, minus);
        self.push(Role::Bleed, Shot { contacts, source: Source::Off, method: Method::Bleed { millis } });
    }

    /// Air temperature, with the relays left as they are.
    pub fn temperature(&mut self) {
        let method = look(Input::Temperature, false, false, Gain::X1, 1);
        self.push(Role::Temperature, Shot { contacts: self.last, source: Source::Off, method });
    }

    /// Hum between the supply's sense pins, source off.
    pub fn hum(&mut self) {
        let supply = &self.fixture.board.supply;
        let contacts = self.both(supply.from, supply.ret);
        let (gain, rate, count) = LISTEN;
        let method =
            Method::Sample { input: Input::Sense, reversed: false, burnout: false, gain, rate, count };
        self.push(Role::Hum, Shot { contacts, source: Source::Off, method });
    }

    /// A built-in standard.
    pub fn standard(&mut self, index: usize, standard: &Standard) {
        let contacts = four_wires(standard.force, standard.sense);
        let shot = aim::standard(contacts, standard.resistance, standard.tolerance, self.sampling);
        self.push(Role::Standard(index), shot);
    }

    /// A built-in thermometer.
    pub fn thermometer(&mut self, index: usize, thermometer: &Thermometer) {
        let contacts = four_wires(thermometer.force, thermometer.sense);
        self.push(Role::Thermometer(index), aim::thermometer(contacts));
    }

    /// Before the first current through a tree of segments: does any relay of force- stick, and do both sense
    /// buses float?
    pub fn guard_before(&mut self, stretch: &Stretch) {
        let both = self.force(stretch.from, stretch.to);
        self.force_guard(Contacts { force_minus: None, ..both });
        for input in [Input::PlusAlone, Input::MinusAlone] {
            let method = look(input, false, true, Gain::X1, 1);
            self.push(Role::SenseGuard, Shot { contacts: both, source: Source::Off, method });
        }
    }

    /// After the last: does any relay of force+ stick?
    pub fn guard_after(&mut self, stretch: &Stretch) {
        let both = self.force(stretch.from, stretch.to);
        self.force_guard(Contacts { force_plus: None, ..both });
    }

    fn force_guard(&mut self, contacts: Contacts) {
        let method = look(Input::Current, false, false, Gain::X64, 1);
        self.push(Role::ForceGuard, Shot { contacts, source: Source::Dry, method });
    }

    /// End to end.
    pub fn whole(&mut self, stretch: &Stretch, expected: Ohms, gate: Ohms) {
        let contacts = self.both(stretch.from, stretch.to);
        let wait_us = self.bridge_wait_us(Source::Dry);
        let shot = aim::whole(contacts, expected, gate, wait_us, self.sampling);
        self.push(Role::EndToEnd { from: stretch.from, to: stretch.to }, shot);
    }

    /// Every wanted segment of a stretch, leapfrogging.
    pub fn walk(&mut self, limits: &LimitSet, stretch: &Stretch, mode: Walk) {
        let force = self.force(stretch.from, stretch.to);
        for step in stretch.steps.iter().filter(|step| stretch.wanted.contains(&step.segment)) {
            let judged = (self.fixture.board.segment(step.segment), limits.of(step.segment));
            let unsure = unsure(self.fixture, step.segment, judged.1);
            let (contacts, swapped) = self.leapfrog(force, step.from, step.to);
            let shot = match mode {
                Walk::Usual => {
                    let source = aim::source_for(judged);
                    aim::segment(judged.1, contacts, swapped, source, 0, unsure, self.sampling)
                }
                Walk::Patient => {
                    let source = aim::source_for(judged);
                    aim::segment(judged.1, contacts, swapped, source, aim::PATIENT_US, unsure, self.sampling)
                }
                Walk::Survey => aim::look_dry(contacts, self.bridge_wait_us(Source::Dry)),
                Walk::Load => {
                    let wait_us = self.bridge_wait_us(Source::Load);
                    aim::segment(judged.1, contacts, swapped, Source::Load, wait_us, unsure, self.sampling)
                }
            };
            let segment = step.segment;
            let role = match mode {
                Walk::Survey => Role::Survey { segment, swapped },
                Walk::Usual | Walk::Load | Walk::Patient => Role::Segment { segment, swapped },
            };
            self.push(role, shot);
        }
    }

    /// Every segment of a mesh while a current flows through it. Each is read with every excitation that any of them asks for, dry before
    /// load: what one carries is told by all.
    pub fn mesh(&mut self, limits: &LimitSet, current: &Current, mode: Walk) {
        let board = &self.fixture.board;
        let asked: Vec<Source> = current
            .mesh
            .segments
            .iter()
            .map(|&id| aim::source_for((board.segment(id), limits.of(id))))
            .collect();
        let (most, force) =
            (mesh::most_read(limits, &current.mesh), self.force(current.path.from, current.path.to));
        for source in [Source::Dry, Source::Load, Source::Wide] {
            let read = match mode {
                Walk::Survey => source == Source::Dry,
                Walk::Load => source != Source::Dry && asked.contains(&source),
                Walk::Usual | Walk::Patient => asked.contains(&source),
            };
            let mut left = if read { current.mesh.segments.clone() } else { Vec::new() };
            // The next one is that which leaves most relays closed, of several the first.
            while let Some((at, segment, contacts, swapped)) = left
                .iter()
                .enumerate()
                .map(|(at, &id)| {
                    let (contacts, swapped) =
                        self.leapfrog(force, board.segment(id).from, board.segment(id).to);
                    (at, id, contacts, swapped)
                })
                .max_by_key(|(at, _, contacts, _)| (self.kept(contacts), std::cmp::Reverse(*at)))
            {
                left.remove(at);
                let wait_us = self.bridge_wait_us(source);
                let shot = match mode {
                    Walk::Survey => aim::look_dry(contacts, wait_us),
                    Walk::Patient => aim::mesh(most, contacts, source, aim::PATIENT_US, self.sampling),
                    Walk::Usual => aim::mesh(most, contacts, source, 0, self.sampling),
                    Walk::Load => aim::mesh(most, contacts, source, wait_us, self.sampling),
                };
                self.push(Role::Mesh { segment, swapped }, shot);
            }
        }
    }

    /// A diode, or a transistor without power, forced at these points of its anode's side and its cathode's, and read both ways.
    pub fn one_way(&mut self, id: SegmentId, forced: (PointId, PointId)) {
        let segment = self.fixture.board.segment(id);
        let contacts = self.sense(self.force(forced.0, forced.1), segment.from, segment.to);
        self.push(Role::OneWay(id), aim::one_way(contacts, Source::Wide));
        if matches!(segment.kind, SegmentKind::Diode { max_forward, .. } if max_forward < UNDER_LOAD) {
            self.push(Role::OneWay(id), aim::one_way(contacts, Source::Load));
        }
    }

    /// Isolation between two forced points, and the discharge after it.
    pub fn isolation(&mut self, role: Role, plus: PointId, minus: PointId, min: Ohms, bulk: Farads) {
        let shot = aim::isolation(self.both(plus, minus), min, bulk);
        self.push(role, shot);
        if bulk > Farads::ZERO {
            self.bleed(plus, minus, bulk);
        }
    }

    /// An isolation that failed: with its two sides exchanged, and in the dry range.
    pub fn exchanged(&mut self, index: usize, failed: Shot, bulk: Farads) {
        let Contacts { force_plus, force_minus, sense_plus, sense_minus } = failed.contacts;
        let contacts = Contacts {
            force_plus: force_minus,
            force_minus: force_plus,
            sense_plus: sense_minus,
            sense_minus: sense_plus,
        };
        self.push(Role::Isolation(index), Shot { contacts, ..failed });
        if bulk > Farads::ZERO {
            let millis = bleed_millis(bulk);
            self.push(Role::Bleed, Shot { contacts, source: Source::Off, method: Method::Bleed { millis } });
        }
        self.push(Role::Isolation(index), aim::below(contacts, bulk));
    }

    /// The voltage between two points of a way, dry.
    pub fn between(&mut self, forced: [PointId; 2], sensed: [PointId; 2]) {
        let contacts = self.sense(self.force(forced[0], forced[1]), sensed[0], sensed[1]);
        let shot = aim::look_dry(contacts, self.bridge_wait_us(Source::Dry));
        self.push(Role::Between { from: sensed[0], to: sensed[1] }, shot);
    }

    /// Drains what load current along a stretch with a bad piece has left on capacitors between branches.
    pub fn drain(&mut self, stretch: &Stretch) {
        if self.bridging > Farads::ZERO {
            self.bleed(stretch.from, stretch.to, self.fixture.board.supply.bulk);
        }
    }

    /// The two neighbours of a pin that does not answer, read dry past it.
    pub fn bridge(&mut self, stretch: &Stretch, around: PointId, before: PointId, after: PointId) {
        let contacts = self.sense(self.force(stretch.from, stretch.to), before, after);
        self.push(Role::PastPin { around }, aim::look_dry(contacts, self.bridge_wait_us(Source::Dry)));
    }

    /// One sense contact proven on the relay of the given polarity, both ends of the unit tied to the bias node.
    pub fn prove_sense(&mut self, ends: (PointId, PointId), point: PointId, plus: bool) {
        let channel = self.fixture.pins(point).sense;
        let force = self.force(ends.0, ends.1);
        let (contacts, input) = match plus {
            true => (Contacts { sense_plus: channel, ..force }, Input::PlusAlone),
            false => (Contacts { sense_minus: channel, ..force }, Input::MinusAlone),
        };
        let method = look(input, false, true, Gain::X1, 1);
        self.push(Role::OtherRelay { point, plus }, Shot { contacts, source: Source::Off, method });
    }

    /// Current through a stretch, for a force contact on the relay it does not usually take.
    pub fn prove_force(&mut self, point: PointId, plus: PointId, minus: PointId) {
        let contacts = self.force(plus, minus);
        let method = look(Input::Current, false, false, Gain::X64, 1);
        self.push(
            Role::OtherRelay { point, plus: point == plus },
            Shot { contacts, source: Source::Dry, method },
        );
    }

    /// Does a direct current flow through one force pin alone, by way of a relay that sticks?
    pub fn prove_alone(&mut self, point: PointId, plus: bool) {
        let channel = self.fixture.pins(point).force;
        let contacts = match plus {
            true => Contacts { force_plus: channel, ..Contacts::default() },
            false => Contacts { force_minus: channel, ..Contacts::default() },
        };
        let method = look(Input::Current, false, false, Gain::X64, CHARGED_LOOKS);
        self.push(Role::OtherRelay { point, plus }, Shot { contacts, source: Source::Dry, method });
    }

    /// Voltage between a sense bus with a welded relay and one point after the other, while load
    /// current flows, in both polarities.
    pub fn seek_sense(&mut self, ends: (PointId, PointId), welded_plus: bool) {
        let force = self.force(ends.0, ends.1);
        let points = (0..self.fixture.pins.len()).map(PointId::new);
        for point in points.filter(|&p| self.fixture.pins(p).sense.is_some()).collect::<Vec<_>>() {
            let channel = self.fixture.pins(point).sense;
            let contacts = match welded_plus {
                true => Contacts { sense_minus: channel, ..force },
                false => Contacts { sense_plus: channel, ..force },
            };
            self.seek(point, contacts, Gain::X64);
        }
    }

    /// Voltage between a forced end and one force point after the other, to find where a welded force relay
    /// lets the current in.
    pub fn seek_force(&mut self, welded_plus: bool, end: PointId, points: &[PointId]) {
        let channel = self.fixture.pins(end).force;
        let force = match welded_plus {
            true => Contacts { force_minus: channel, ..Contacts::default() },
            false => Contacts { force_plus: channel, ..Contacts::default() },
        };
        for &point in points {
            let pins = self.fixture.pins(point);
            if point != end && pins.force.is_some() && pins.sense.is_some() {
                // A whole path may lie between them: 5 Ω drop 250 mV.
                self.seek(point, self.sense(force, point, end), Gain::X8);
            }
        }
    }

    fn seek(&mut self, point: PointId, contacts: Contacts, gain: Gain) {
        for reversed in [false, true] {
            let method = look(Input::Sense, reversed, false, gain, 4);
            self.push(Role::WeldSearch { point }, Shot { contacts, source: Source::Load, method });
        }
    }
}

/// How long so much capacitance is bled, ms.
fn bleed_millis(charged: Farads) -> u16 {
    let seconds = BLEED_TIME_CONSTANTS * 1.25 * charged * Ohms(BLEED_OHMS + 5.0);
    (seconds.0 * 1e3).ceil().clamp(1.0, 10_000.0) as u16
}

/// Capacitance that may bridge an open. With two loads, the bulk capacitors of both lie in series between the branches
/// by way of the return; a quarter of their sum is the most that can be. With one load nothing leads around.
fn bridging(board: &Board) -> Farads {
    if board.supply.to.len() > 1 { 1.25 * board.supply.bulk / 4.0 } else { Farads::ZERO }
}

/// How a stretch is walked.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Walk {
    /// Each segment with the excitation its kind asks for.
    Usual,
    /// Everything dry, with a gain that nothing saturates: the first look at a path that is not as it should be.
    Survey,
    /// Everything under load.
    Load,
    /// Each segment with its own excitation, and a long wait after every change of it: where the current did not settle.
    Patient,
}

fn look(input: Input, reversed: bool, burnout: bool, gain: Gain, count: u8) -> Method {
    Method::Sample { input, reversed, burnout, gain, rate: Rate::Sps1000, count }
}

#[cfg(test)]
mod tests {
    use copperwalk_wire::hardware::{DRY_CLAMP_OHMS, RESIDUAL_VOLTS, RM_OHMS};

    use super::*;
    use crate::{board, fixture, meter::noise::conversion_noise};

    /// The method of the one shot that `write` writes for the tide gauge's fixture.
    fn method(write: impl FnOnce(&mut Builder<'_>, PointId, PointId)) -> Method {
        let board = include_str!("../../../fixtures/tide-gauge-head/board.toml");
        let board = board::parse("board.toml", board).unwrap();
        let (from, ret) = (board.supply.from, board.supply.ret);
        let text = include_str!("../../../fixtures/tide-gauge-head/fixture.toml");
        let fixture = fixture::parse("fixture.toml", text, board).unwrap();
        let mut builder = Builder::new(&fixture, Sampling::Quick);
        write(&mut builder, from, ret);
        builder.finish().remove(0).shot.method
    }

    /// The largest that a capacitor of 470 µF may be, farad.
    const FARADS: f64 = 1.25 * 470e-6;

    #[test]
    fn a_bleed_just_reaches_a_fifth_of_the_residual_voltage_and_a_slightly_shorter_one_does_not() {
        let method = method(|builder, from, ret| builder.bleed(from, ret, Farads(470e-6)));
        let Method::Bleed { millis } = method else { panic!("{method:?}") };
        let left_volts = |share: f64| 0.2 * (-share * f64::from(millis) * 1e-3 / (FARADS * 105.0)).exp();
        let enough_volts = 1.05 * RESIDUAL_VOLTS / 5.0;
        assert!(left_volts(1.0) < enough_volts, "{} V", left_volts(1.0));
        assert!(left_volts(0.95) > enough_volts, "{} V", left_volts(0.95));
    }

    #[test]
    fn the_last_conversion_finds_a_capacitor_charged_and_a_tenth_fewer_would_not() {
        let method = method(|builder, from, _| builder.prove_alone(from, true));
        let Method::Sample { gain, rate, count, .. } = method else { panic!("{method:?}") };
        let seconds = f64::from(count) * f64::from(rate.micros()) * 1e-6;
        let tau = FARADS * (DRY_CLAMP_OHMS + RM_OHMS);
        let left_volts =
            |share: f64| aim::dry_current(Ohms::ZERO).0 * RM_OHMS * (-share * seconds / tau).exp();
        let noise = conversion_noise(gain, rate).0;
        assert!(left_volts(1.0) < noise, "{} V", left_volts(1.0));
        assert!(left_volts(0.9) > noise, "{} V", left_volts(0.9));
    }
}
