//! From the codes of a run to observations, one shot after the other.

use copperwalk_wire::{
    Contacts, Input, Method,
    codes::{CHECK_GAIN, decode},
    contact::{NOMINAL_BIAS, touches},
    hardware::RM_OHMS,
};

use super::{
    Between, Bus, EndToEnd, ForceContact, Line, MeshReading, Observation, Potential, RelayAnswer,
    RunEvidence, SegmentReading, SenseContact,
};
use crate::{
    board::{PointId, SegmentId, StateId},
    fixture::Fixture,
    measure::{
        self, Malformed,
        hum::Hum,
        isolation, one_way,
        ratio::{self, Reading, Surroundings},
        uncertainty::Noise,
    },
    measurement::{Run, RunShot},
    meter::Meter,
    plan::{self, Role, forest::Forest},
    quantity::{Amps, Celsius, Farads, Ohms, Volts},
};

/// A sense bus that nothing ties to the bias node stands more than this above it under the burn-out current: it goes
/// to the supply rail.
const FLOATS: Volts = Volts(0.5);
/// Less than this is no current in the dry range: offset (30 µV) and common mode (20 µV) of the worst converter make 5 µA over Rm,
/// and 1 kΩ of contact behind the clamp still lets 18 µA through.
const NO_CURRENT: Amps = Amps(8e-6);
/// The two ways out of the unit, contact, relay and reversal switch, differ by at most this: a common mode that turns round
/// with the current even where the unit has no resistance.
pub const CONTACTS_DIFFER: Ohms = Ohms(1.0);
/// By at least this a contact is read, of which the converter's offset and common mode, 60 µV at worst, make 0.6 Ω. Less flows through
/// capacitors that bridge an open, and a contact is told by less only where most of the source's voltage falls at it.
const CONTACT_CURRENT: Amps = Amps(0.1e-3);
/// A unit without current that hangs on the source's side stands 18 mV above Rm; more than this is that.
const HANGS: Volts = Volts(5e-3);

/// Why a run says nothing.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum EvidenceError {
    /// Codes that do not fit their shot.
    #[error(transparent)]
    Malformed(#[from] Malformed),
    /// A state that the board does not have.
    #[error("a run was made in state \"{0}\", which the board file does not have")]
    State(String),
    /// A segment was read through channels on which the fixture has no pins.
    #[error("segment \"{0}\" was read through a channel on which the fixture file has no pin")]
    Channel(String),
}

/// Reads every shot of a run, with what is known from the runs before it.
pub(super) fn run(
    meter: &Meter,
    known: &mut Known,
    fixture: &Fixture,
    run: &Run,
) -> Result<RunEvidence, EvidenceError> {
    let states = &fixture.board.states;
    let state = states.iter().position(|state| state.name == run.state).map(StateId::new);
    let state = state.ok_or_else(|| EvidenceError::State(run.state.clone()))?;
    let mut reader = Reader { meter, fixture, state, bias: NOMINAL_BIAS, known, observations: Vec::new() };
    for ran in &run.shots {
        reader.shot(ran)?;
    }
    Ok(RunEvidence { state, end: run.end, observations: reader.observations })
}

/// Temperature of the air, if the run read it.
pub(super) fn air(run: &Run) -> Result<Option<Celsius>, EvidenceError> {
    let read = run.shots.iter().find(|ran| ran.role == Role::Temperature);
    let read = read
        .map(|ran| decode(&ran.shot, &ran.codes)?.sample().map(|sample| measure::temperature(sample.first)));
    Ok(read.transpose()?)
}

/// What earlier shots have said that later ones are read by.
#[derive(Clone, PartialEq, Debug, Default)]
pub(super) struct Known {
    /// Hum in the sense lines.
    hum: Option<Hum>,
    /// What was read end to end: through these force channels, this much.
    paths: Vec<([Option<u16>; 2], Ohms)>,
}

/// The channels closed to force+ and force-.
fn force_channels(contacts: Contacts) -> [Option<u16>; 2] {
    [contacts.force_plus, contacts.force_minus]
}

struct Reader<'f> {
    meter: &'f Meter,
    fixture: &'f Fixture,
    state: StateId,
    /// Code of the bias node as the residual check of this run read it, at gain 1.
    bias: i32,
    known: &'f mut Known,
    observations: Vec<Observation>,
}

impl Reader<'_> {
    fn see(&mut self, observation: Observation) {
        self.observations.push(observation);
    }

    fn shot(&mut self, ran: &RunShot) -> Result<(), EvidenceError> {
        let (shot, codes) = (&ran.shot, ran.codes.as_slice());
        let contacts = shot.contacts;
        match ran.role {
            Role::Bleed => {
                decode(shot, codes)?;
                self.see(Observation::Bled);
            }
            Role::Residual => {
                let residual = decode(shot, codes)?.residual()?;
                self.bias = residual.bias;
                self.check_sense(contacts, residual.contacts);
                self.see(Observation::Residual(measure::voltage(residual.across, CHECK_GAIN)));
            }
            Role::Temperature => {
                let sample = decode(shot, codes)?.sample()?;
                self.see(Observation::Air(measure::temperature(sample.first)));
            }
            Role::Hum => {
                let sample = decode(shot, codes)?.sample()?;
                if let Some(hum) = Hum::find(&sample) {
                    self.known.hum = Some(hum);
                    self.see(Observation::Hum(hum));
                }
            }
            Role::ForceGuard => {
                let sample = decode(shot, codes)?.sample()?;
                if (measure::voltage(sample.first, sample.gain) / Ohms(RM_OHMS)).abs() > NO_CURRENT {
                    let plus = contacts.force_plus.is_some();
                    self.see(Observation::StuckRelay(if plus { Bus::ForceMinus } else { Bus::ForcePlus }));
                }
            }
            Role::SenseGuard => {
                let sample = decode(shot, codes)?.sample()?;
                let bias = measure::voltage(self.bias, CHECK_GAIN);
                if measure::voltage(sample.first, sample.gain) <= bias + FLOATS {
                    let plus = sample.input == Input::PlusAlone;
                    self.see(Observation::StuckRelay(if plus { Bus::SensePlus } else { Bus::SenseMinus }));
                }
            }
            Role::EndToEnd { from, to } => {
                let reading = self.ratio(ran, false, Some(CONTACTS_DIFFER))?;
                if reading.flows && reading.motion.is_none() {
                    self.known.paths.push((force_channels(contacts), reading.resistance.abs()));
                }
                let touches = self.check_reading(contacts, &reading);
                self.force_contacts(from, to, &reading, touches);
                self.see(Observation::EndToEnd(EndToEnd { from, to, touches, reading }));
            }
            Role::Between { from, to } => {
                let reading = self.ratio(ran, false, self.path(contacts))?;
                let touches = self.check_reading(contacts, &reading);
                if let [Some(plus), Some(minus)] = self.forced(contacts) {
                    let (forced, sensed) = ([plus, minus], [from, to]);
                    self.see(Observation::Between(Between { forced, sensed, touches, reading }));
                }
            }
            Role::Segment { segment, swapped } => self.segment(ran, segment, swapped, false)?,
            Role::Survey { segment, swapped } => self.segment(ran, segment, swapped, true)?,
            Role::Mesh { segment, swapped } => self.mesh(ran, segment, swapped)?,
            Role::PastPin { around } => {
                let reading = self.ratio(ran, false, None)?;
                self.check_reading(contacts, &reading);
                self.see(Observation::Around(around, reading));
            }
            Role::Isolation(index) if matches!(shot.method, Method::Ratio(_)) => {
                let reading = self.ratio(ran, false, None)?;
                if self.check_reading(contacts, &reading) == [true; 2] {
                    self.see(Observation::Below(index, reading));
                }
            }
            Role::Isolation(index) => {
                let forced = self.forced(contacts);
                let forest = Forest::new(&self.fixture.board, self.state, &[]);
                let bulk = match forced {
                    [Some(a), Some(b)] => plan::bulk_behind(&self.fixture.board, &forest, (a, b)),
                    _ => Farads::ZERO,
                };
                let reading = isolation::read(self.meter, shot, codes, bulk, self.known.hum)?;
                let touch = self.check_sense(contacts, reading.contacts);
                if let ([Some(a), Some(b)], false, [true, true]) = (forced, reading.driven, touch) {
                    self.undriven(&forest, (a, b));
                }
                let second = self.fixture.board.isolation.get(index).map(|entry| entry.between[1]);
                let exchanged = forced[0].zip(second).is_some_and(|(plus, b)| forest.tree(b).contains(&plus));
                self.see(if exchanged {
                    Observation::Exchanged(index, reading)
                } else {
                    Observation::Isolation(index, reading)
                });
            }
            Role::OneWay(id) => {
                let reading = one_way::read(self.meter, shot, codes)?;
                let touches = reading.contacts.map_or([true; 2], |codes| self.check_sense(contacts, codes));
                self.see(Observation::OneWay(id, reading, touches));
            }
            Role::OpenSwitch(id) => {
                let reading = isolation::read(self.meter, shot, codes, Farads::ZERO, self.known.hum)?;
                self.check_sense(contacts, reading.contacts);
                self.see(Observation::OpenSwitch(id, reading));
            }
            Role::Standard(index) => {
                let reading = self.ratio(ran, false, Some(CONTACTS_DIFFER))?;
                self.check_reading(contacts, &reading);
                self.see(Observation::Standard(index, reading));
            }
            Role::Thermometer(index) => {
                let reading = self.ratio(ran, false, None)?;
                // No pin of the unit hangs on it, and a sweep can do without: nothing is asked about its contacts.
                let touches =
                    reading.contacts.map_or([true; 2], |codes| codes.map(|code| touches(code, self.bias)));
                self.see(Observation::Thermometer { index, touches, reading });
            }
            Role::OtherRelay { point, plus } => {
                let sample = decode(shot, codes)?.sample()?;
                let (line, answers) = match sample.input {
                    Input::Current => (
                        Line::Force,
                        measure::voltage(sample.last(), sample.gain).abs() > NO_CURRENT * Ohms(RM_OHMS),
                    ),
                    _ => (Line::Sense, touches(sample.last(), self.bias)),
                };
                let forced = self.forced(contacts);
                self.see(Observation::RelayAnswer(RelayAnswer { point, line, plus, forced, answers }));
            }
            Role::WeldSearch { point } => {
                let sample = decode(shot, codes)?.sample()?;
                let sum: Volts = sample.all.iter().map(|&code| measure::voltage(code, sample.gain)).sum();
                self.potential(contacts, point, sample.reversed, sum / sample.all.len() as f64);
            }
        }
        Ok(())
    }

    /// A ratio, weighed by what is known so far, so that neither hum nor a noisy converter is taken for a contact that moves. It
    /// is weighed again when everything is known.
    fn ratio(&self, ran: &RunShot, swapped: bool, path: Option<Ohms>) -> Result<Reading, Malformed> {
        let surroundings = Surroundings { noise: Noise::LOUDEST, hum: self.known.hum };
        ratio::read(self.meter, &ran.shot, &ran.codes, ran.why, swapped, path, &surroundings)
    }

    /// Resistance between the force rails, as far as it was read through the same pins.
    fn path(&self, contacts: Contacts) -> Option<Ohms> {
        let forced = force_channels(contacts);
        let path = self.known.paths.iter().rev().find(|(channels, _)| *channels == forced);
        path.map(|(_, whole)| *whole + CONTACTS_DIFFER)
    }

    fn segment(
        &mut self,
        ran: &RunShot,
        segment: SegmentId,
        swapped: bool,
        survey: bool,
    ) -> Result<(), EvidenceError> {
        let (reading, ends, touches) = self.between_pins(ran, segment, swapped)?;
        let (source, forced) = (ran.shot.source, self.forced(ran.shot.contacts));
        self.see(Observation::Segment(SegmentReading {
            segment,
            forced,
            ends,
            touches,
            source,
            survey,
            reading,
        }));
        Ok(())
    }

    fn mesh(&mut self, ran: &RunShot, segment: SegmentId, swapped: bool) -> Result<(), EvidenceError> {
        let (reading, ends, touches) = self.between_pins(ran, segment, swapped)?;
        let [Some(plus), Some(minus)] = self.forced(ran.shot.contacts) else {
            return Err(EvidenceError::Channel(self.fixture.board.segment(segment).name.clone()));
        };
        let source = ran.shot.source;
        let forced = [plus, minus];
        self.see(Observation::Mesh(MeshReading { segment, ends, forced, touches, source, swapped, reading }));
        Ok(())
    }

    /// A reading of a segment, the points its two pins stand on, that of sense+ first unless swapped, and whether they touch.
    fn between_pins(
        &mut self,
        ran: &RunShot,
        segment: SegmentId,
        swapped: bool,
    ) -> Result<(Reading, [PointId; 2], [bool; 2]), EvidenceError> {
        let contacts = ran.shot.contacts;
        let reading = self.ratio(ran, swapped, self.path(contacts))?;
        let mut touches = self.check_reading(contacts, &reading);
        let point = |channel: Option<u16>| channel.and_then(|channel| self.fixture.sense_point(channel));
        let (Some(plus), Some(minus)) = (point(contacts.sense_plus), point(contacts.sense_minus)) else {
            return Err(EvidenceError::Channel(self.fixture.board.segment(segment).name.clone()));
        };
        let mut ends = [plus, minus];
        if swapped {
            ends.reverse();
            touches.reverse();
        }
        Ok((reading, ends, touches))
    }

    /// The points forced at + and -.
    fn forced(&self, contacts: Contacts) -> [Option<PointId>; 2] {
        [contacts.force_plus, contacts.force_minus]
            .map(|channel| channel.and_then(|channel| self.fixture.force_point(channel)))
    }

    fn check_reading(&mut self, contacts: Contacts, reading: &Reading) -> [bool; 2] {
        reading.contacts.map_or([true; 2], |codes| self.check_sense(contacts, codes))
    }

    /// The contact check of both sense contacts.
    fn check_sense(&mut self, contacts: Contacts, codes: [i32; 2]) -> [bool; 2] {
        let touches = codes.map(|code| touches(code, self.bias));
        let bias = measure::voltage(self.bias, CHECK_GAIN);
        let lifts = codes.map(|code| measure::voltage(code, CHECK_GAIN) - bias);
        let channels = [(true, contacts.sense_plus), (false, contacts.sense_minus)];
        for ((plus, channel), (touches, lift)) in channels.into_iter().zip(touches.into_iter().zip(lifts)) {
            if let Some(channel) = channel {
                self.see(Observation::SenseContact(SenseContact { channel, plus, touches, lift, contacts }));
            }
        }
        touches
    }

    fn force_contacts(&mut self, from: PointId, to: PointId, reading: &Reading, touches: [bool; 2]) {
        let Some([minus, plus]) = reading.end_drops else { return };
        let ends = [(to, from, false, minus, touches[1]), (from, to, true, plus, touches[0])];
        for (point, other, is_plus, drop, seen) in ends {
            // What is read through a sense contact that does not touch says nothing.
            if !seen {
                continue;
            }
            // While something moves, the drop and the current are not of the same moment.
            let told = reading.current.abs() > CONTACT_CURRENT || drop.abs() > HANGS;
            let steady = reading.flows && told && reading.motion.is_none();
            let resistance = steady.then(|| (drop / reading.current).abs());
            let missing = !reading.flows && drop.abs() > HANGS;
            let contact = ForceContact { point, other, plus: is_plus, resistance, missing };
            self.see(Observation::ForceContact(contact));
        }
    }

    /// An isolation that nothing drives cannot tell which of its two force contacts is missing; each is suspected,
    /// with another forced point of its own tree to ask it by.
    fn undriven(&mut self, forest: &Forest, (a, b): (PointId, PointId)) {
        for (point, plus) in [(a, true), (b, false)] {
            let others = forest.tree(point).into_iter().skip(1);
            if let Some(other) = others.into_iter().find(|&other| self.fixture.pins(other).force.is_some()) {
                let contact = ForceContact { point, other, plus, resistance: None, missing: true };
                self.see(Observation::ForceContact(contact));
            }
        }
    }

    /// Forward and reversed come in two shots, one after the other.
    fn potential(&mut self, contacts: Contacts, point: PointId, reversed: bool, voltage: Volts) {
        let bus = match (contacts.sense_plus, contacts.sense_minus) {
            (None, _) => Bus::SensePlus,
            (_, None) => Bus::SenseMinus,
            _ if contacts.force_plus.is_none() => Bus::ForcePlus,
            _ => Bus::ForceMinus,
        };
        if let Some(Observation::Potential(seen)) = self.observations.last_mut()
            && reversed
            && (seen.bus, seen.point) == (bus, point)
        {
            seen.reversed = voltage;
            return;
        }
        self.see(Observation::Potential(Potential { bus, point, forward: voltage, reversed: voltage }));
    }
}

#[cfg(test)]
mod tests {
    use copperwalk_wire::message::{RunEnd, ShotEnd};

    use super::*;
    use crate::{
        limits::LimitSet,
        measurement::Purpose,
        meter::noise::code_step,
        plan::{PlannedShot, Sampling},
    };

    /// What the first shot of the tide gauge head's plan that has this role says to these codes.
    fn said(role: fn(&Role) -> bool, codes: impl Fn(&PlannedShot) -> Vec<i32>) -> Vec<Observation> {
        let path = concat!(env!("CARGO_MANIFEST_DIR"), "/../fixtures/tide-gauge-head/fixture.toml");
        let fixture = crate::fixture::read(path.as_ref()).unwrap();
        let plan = plan::compile(&fixture, &LimitSet::of_board(&fixture.board), Sampling::Quick).unwrap();
        let legs = plan.stages.iter().flat_map(|stage| &stage.legs);
        let planned = legs.flat_map(|leg| &leg.shots).find(|planned| role(&planned.role)).unwrap();
        let shot = RunShot {
            role: planned.role,
            shot: planned.shot,
            codes: codes(planned),
            why: ShotEnd::Complete,
            from_us: 0,
            to_us: 1,
        };
        let run = Run {
            state: "on".into(),
            purpose: Purpose::Plan,
            end: RunEnd::Complete,
            closures: 0,
            device_us: 1,
            shots: vec![shot],
        };
        super::run(&Meter::PUBLISHED, &mut Known::default(), &fixture, &run).unwrap().observations
    }

    fn code(volts: f64, gain: copperwalk_wire::Gain) -> i32 {
        (volts / code_step(gain).0).round() as i32
    }

    #[test]
    fn a_bus_that_floats_stands_half_a_volt_above_the_bias_node() {
        let bias = measure::voltage(NOMINAL_BIAS, CHECK_GAIN).0;
        for (above, stuck) in [(0.45, true), (0.55, false)] {
            let seen =
                said(|role| matches!(role, Role::SenseGuard), |_| vec![code(bias + above, CHECK_GAIN)]);
            assert_eq!(!seen.is_empty(), stuck, "{above} V: {seen:?}");
        }
    }

    #[test]
    fn eight_microamperes_on_a_guarded_bus_are_a_stuck_relay() {
        let gain = copperwalk_wire::Gain::X64;
        for (amps, stuck) in [(7.5e-6, false), (8.5e-6, true), (-8.5e-6, true)] {
            let seen = said(|role| matches!(role, Role::ForceGuard), |_| vec![code(amps * RM_OHMS, gain)]);
            assert_eq!(!seen.is_empty(), stuck, "{amps} A: {seen:?}");
        }
    }

    #[test]
    fn without_current_five_millivolts_at_an_end_are_a_missing_force_contact() {
        use copperwalk_wire::codes::{Code, ENDS_GAIN, code_at, possible_counts};
        for (volts, missing) in [(4.5e-3, false), (5.5e-3, true)] {
            let codes = |planned: &PlannedShot| {
                let method = &planned.shot.method;
                let of = |index| match code_at(method, index) {
                    Some(Code::PlusAlone | Code::MinusAlone) => NOMINAL_BIAS,
                    Some(Code::PlusEnd) => code(volts, ENDS_GAIN),
                    _ => 0,
                };
                (0..possible_counts(&planned.shot).least).map(of).collect()
            };
            let seen = said(|role| matches!(role, Role::EndToEnd { .. }), codes);
            let found = seen.iter().any(|seen| matches!(seen, Observation::ForceContact(c) if c.missing));
            assert_eq!(found, missing, "{volts} V: {seen:?}");
        }
    }
}
