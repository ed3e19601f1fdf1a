//! What the codes of one run say, shot by shot, before anything is concluded from them.

use copperwalk_wire::{
    Contacts, Input, Source,
    codes::{CHECK_GAIN, decode},
    contact::{NOMINAL_BIAS, touches},
    hardware::RM_OHMS,
};

use crate::{
    board::{PointId, SegmentId, StateId},
    fixture::Fixture,
    measure::{
        self, Malformed,
        insulation::{self, Insulation},
        ratio::{self, Reading},
    },
    measurement::{Purpose, Run},
    plan::{self, Role, forest::Forest},
};

/// A sense bus with a contact to the unit stays this close to the bias node under the burn-out current; one that
/// floats goes to the supply rail, volt.
const FLOATS_VOLTS: f64 = 0.5;
/// A current in the dry range that is no current, ampere: ten times the noise of one look.
const NO_CURRENT_AMPS: f64 = 2e-6;

/// Everything one run said.
#[derive(Clone, PartialEq, Debug)]
pub struct Facts {
    /// State of the unit.
    pub state: StateId,
    /// Why the run was made.
    pub purpose: Purpose,
    /// Voltage on the unit before anything was excited, volt.
    pub residual_volts: Option<f64>,
    /// Air temperature.
    pub celsius: Option<f64>,
    /// Contact proofs of sense pins.
    pub proofs: Vec<Proof>,
    /// Force contacts as seen by end-to-end shots.
    pub forces: Vec<ForceContact>,
    /// Relays that stick, as far as the guards see: which bus.
    pub welded: Vec<Bus>,
    /// End-to-end readings.
    pub wholes: Vec<Whole>,
    /// Segments, in walking order.
    pub segments: Vec<SegmentFact>,
    /// Readings past a pin.
    pub bridges: Vec<(PointId, Reading)>,
    /// Insulations: index, reading.
    pub insulations: Vec<(usize, Insulation)>,
    /// Open switches.
    pub switches: Vec<(SegmentId, Insulation)>,
    /// Standards: index, reading.
    pub standards: Vec<(usize, Reading)>,
    /// Single contacts on the relay they do not usually take: point, + relay, does it answer?
    pub others: Vec<(PointId, bool, bool)>,
    /// Points compared with a welded bus.
    pub seeks: Vec<Seek>,
}

/// The voltage between a bus with a welded relay and a point, while current flows one way and the other.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Seek {
    /// The point.
    pub point: PointId,
    /// Forward, volt.
    pub forward: f64,
    /// Reversed, volt.
    pub reversed: f64,
}

impl Seek {
    /// What the current makes of it: offset and EMF cancel.
    pub fn driven(&self) -> f64 {
        ((self.forward - self.reversed) / 2.0).abs()
    }

    /// The larger of the two as they are.
    pub fn most(&self) -> f64 {
        self.forward.abs().max(self.reversed.abs())
    }
}

/// A matrix bus.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[allow(missing_docs)]
pub enum Bus {
    ForcePlus,
    ForceMinus,
    SensePlus,
    SenseMinus,
}

/// One sense contact, proven or not.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Proof {
    /// Sense channel.
    pub channel: u16,
    /// On the + relay?
    pub plus: bool,
    /// Touches?
    pub good: bool,
    /// The relays of its shot.
    pub contacts: Contacts,
}

/// The two force contacts of an end-to-end shot.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct ForceContact {
    /// The point.
    pub point: PointId,
    /// The other end of its stretch.
    pub other: PointId,
    /// On the + relay?
    pub plus: bool,
    /// Resistance of pin, relay and switch, ohm; `None` when no current came through.
    pub ohms: Option<f64>,
    /// With no current: did the unit stand at the source's end, so that this contact is the missing one?
    pub missing: bool,
}

/// End to end.
#[derive(Clone, PartialEq, Debug)]
pub struct Whole {
    /// Forced and sensed at +.
    pub from: PointId,
    /// Forced and sensed at -.
    pub to: PointId,
    /// The reading.
    pub reading: Reading,
}

/// One segment read once.
#[derive(Clone, PartialEq, Debug)]
pub struct SegmentFact {
    /// The segment.
    pub segment: SegmentId,
    /// Its end nearer force+, then the other.
    pub ends: [PointId; 2],
    /// Do the two sense contacts touch?
    pub proven: [bool; 2],
    /// Excitation.
    pub source: Source,
    /// From the quick dry look along a path that is not as it should be, where little current may flow.
    pub rough: bool,
    /// The reading.
    pub reading: Reading,
}

impl Facts {
    /// Reads every shot of a run.
    pub fn of(fixture: &Fixture, state: StateId, run: &Run) -> Result<Self, Malformed> {
        let mut facts = Self {
            state,
            purpose: run.purpose,
            residual_volts: None,
            celsius: None,
            proofs: Vec::new(),
            forces: Vec::new(),
            welded: Vec::new(),
            wholes: Vec::new(),
            segments: Vec::new(),
            bridges: Vec::new(),
            insulations: Vec::new(),
            switches: Vec::new(),
            standards: Vec::new(),
            others: Vec::new(),
            seeks: Vec::new(),
        };
        let mut bias = NOMINAL_BIAS;
        for ran in &run.shots {
            let (shot, codes) = (&ran.shot, ran.codes.as_slice());
            let contacts = shot.contacts;
            match ran.role {
                Role::Bleed => drop(decode(shot, codes)?),
                Role::Residual => {
                    let residual = decode(shot, codes)?.residual()?;
                    bias = residual.bias;
                    facts.prove(contacts, residual.contacts, bias);
                    facts.residual_volts = Some(measure::volts(residual.across, CHECK_GAIN));
                }
                Role::Temperature => {
                    facts.celsius = Some(measure::celsius(decode(shot, codes)?.look()?.first));
                }
                Role::ForceGuard => {
                    let look = decode(shot, codes)?.look()?;
                    let amps = measure::volts(look.first, look.gain) / RM_OHMS;
                    if amps.abs() > NO_CURRENT_AMPS {
                        let bus = match contacts.force_plus {
                            Some(_) => Bus::ForceMinus,
                            None => Bus::ForcePlus,
                        };
                        facts.welded.push(bus);
                    }
                }
                Role::SenseGuard => {
                    let look = decode(shot, codes)?.look()?;
                    let bias_volts = measure::volts(bias, CHECK_GAIN);
                    if measure::volts(look.first, look.gain) <= bias_volts + FLOATS_VOLTS {
                        let bus = match look.input {
                            Input::PlusAlone => Bus::SensePlus,
                            _ => Bus::SenseMinus,
                        };
                        facts.welded.push(bus);
                    }
                }
                Role::Whole { from, to } => {
                    let reading = ratio::read(shot, codes, false)?;
                    let proven = facts.prove_reading(contacts, &reading, bias);
                    facts.force_contacts(from, to, &reading, proven);
                    facts.wholes.push(Whole { from, to, reading });
                }
                Role::Segment { segment, turned } => {
                    let reading = ratio::read(shot, codes, turned)?;
                    let proven = facts.prove_reading(contacts, &reading, bias);
                    let point = |channel: Option<u16>| channel.and_then(|c| fixture.sense_point(c));
                    let (Some(plus), Some(minus)) = (point(contacts.sense_plus), point(contacts.sense_minus))
                    else {
                        continue;
                    };
                    let (mut ends, mut proven) = ([plus, minus], proven);
                    if turned {
                        ends.reverse();
                        proven.reverse();
                    }
                    let rough = run.purpose == Purpose::DryLook;
                    facts.segments.push(SegmentFact {
                        segment,
                        ends,
                        proven,
                        source: shot.source,
                        rough,
                        reading,
                    });
                }
                Role::Bridge { around } => {
                    let reading = ratio::read(shot, codes, false)?;
                    facts.prove_reading(contacts, &reading, bias);
                    facts.bridges.push((around, reading));
                }
                Role::Insulation(index) => {
                    let ends = (contacts.force_plus, contacts.force_minus);
                    let point = |channel: Option<u16>| channel.and_then(|c| fixture.force_point(c));
                    let (Some(a), Some(b)) = (point(ends.0), point(ends.1)) else { continue };
                    let forest = Forest::new(&fixture.board, state, &[]);
                    let farads = plan::bulk_behind(&fixture.board, &forest, (a, b));
                    let reading = insulation::read(shot, codes, farads)?;
                    let proven = facts.prove(contacts, reading.contacts, bias);
                    if !reading.driven && proven == [true; 2] {
                        facts.undriven(fixture, &forest, (a, b));
                    }
                    facts.insulations.push((index, reading));
                }
                Role::OpenSwitch(id) => {
                    let reading = insulation::read(shot, codes, 0.0)?;
                    facts.prove(contacts, reading.contacts, bias);
                    facts.switches.push((id, reading));
                }
                Role::Standard(index) => {
                    let reading = ratio::read(shot, codes, false)?;
                    facts.prove_reading(contacts, &reading, bias);
                    facts.standards.push((index, reading));
                }
                Role::OtherRelay { point, plus } => {
                    let look = decode(shot, codes)?.look()?;
                    let answers = match look.input {
                        Input::Current => {
                            measure::volts(look.last(), look.gain).abs() > NO_CURRENT_AMPS * RM_OHMS
                        }
                        _ => touches(look.last(), bias),
                    };
                    facts.others.push((point, plus, answers));
                }
                Role::Seek { point } => {
                    let look = decode(shot, codes)?.look()?;
                    let mean = look.all.iter().map(|&c| measure::volts(c, look.gain)).sum::<f64>()
                        / look.all.len() as f64;
                    match facts.seeks.last_mut() {
                        Some(seek) if look.reversed && seek.point == point => seek.reversed = mean,
                        _ => facts.seeks.push(Seek { point, forward: mean, reversed: mean }),
                    }
                }
            }
        }
        Ok(facts)
    }

    /// Neither end of an insulation can be told from the other by it; each is suspected, with another forced point
    /// of its own tree to ask it by.
    fn undriven(&mut self, fixture: &Fixture, forest: &Forest, (a, b): (PointId, PointId)) {
        for (point, plus) in [(a, true), (b, false)] {
            let others = forest.tree(point).into_iter().skip(1);
            if let Some(other) = others.into_iter().find(|&p| fixture.pins(p).force.is_some()) {
                self.forces.push(ForceContact { point, other, plus, ohms: None, missing: true });
            }
        }
    }

    fn prove_reading(&mut self, contacts: Contacts, reading: &Reading, bias: i32) -> [bool; 2] {
        reading.contacts.map_or([true; 2], |codes| self.prove(contacts, codes, bias))
    }

    /// Takes the contact check of both sense contacts.
    fn prove(&mut self, contacts: Contacts, codes: [i32; 2], bias: i32) -> [bool; 2] {
        let good = codes.map(|code| touches(code, bias));
        for (plus, channel) in [(true, contacts.sense_plus), (false, contacts.sense_minus)] {
            if let Some(channel) = channel {
                self.proofs.push(Proof { channel, plus, good: good[usize::from(!plus)], contacts });
            }
        }
        good
    }

    fn force_contacts(&mut self, from: PointId, to: PointId, reading: &Reading, proven: [bool; 2]) {
        /// Without current, a unit that hangs on the source's side stands 18 mV above Rm.
        const HANGS_VOLTS: f64 = 5e-3;
        let Some([minus, plus]) = reading.end_volts else { return };
        let [plus_proven, minus_proven] = proven;
        for (point, other, is_plus, drop, seen) in
            [(to, from, false, minus, minus_proven), (from, to, true, plus, plus_proven)]
        {
            // What is read through a sense contact that does not touch says nothing.
            if !seen {
                continue;
            }
            // While something moves, the drop and the current are not of the same moment.
            let steady = reading.flows && reading.motion.is_none();
            let ohms = steady.then(|| (drop / reading.amps).abs());
            let missing = !reading.flows && drop.abs() > HANGS_VOLTS;
            self.forces.push(ForceContact { point, other, plus: is_plus, ohms, missing });
        }
    }
}
