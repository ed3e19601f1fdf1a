//! Evidence: what the codes of a run say, shot by shot, before anything is concluded from it.
//!
//! Every shot gives typed observations about a segment, a pin, a relay or an isolation, by id; why the run was made
//! does not matter. `read` turns codes into observations, [`contacts`] holds the rules for pins and relays, `surroundings` says
//! how noisy it was.
//! Findings about the unit and the bench are drawn from here and from nowhere else, so that a stored measurement
//! can be judged again.

pub mod contacts;
mod read;
mod surroundings;

use copperwalk_wire::{Source, message::RunEnd};

pub use crate::fixture::Line;
pub use contacts::{Bus, ForceContact, Potential, RelayAnswer, SenseContact};
pub use read::{CONTACTS_DIFFER, EvidenceError};

use crate::{
    board::{PointId, SegmentId, StateId},
    fixture::Fixture,
    measure::{
        hum::Hum,
        isolation::Isolation,
        one_way::OneWay,
        ratio::{Reading, Surroundings},
    },
    measurement::{Measurement, Run},
    meter::{Meter, proven::Proven},
    quantity::{Celsius, Seconds, Volts},
};

/// What all runs so far said, in the order they were made.
#[derive(Clone, PartialEq, Debug, Default)]
pub struct Evidence {
    /// What a proof has found of the bench.
    proven: Option<Proven>,
    /// What everything is read with.
    meter: Meter,
    known: read::Known,
    surroundings: Surroundings,
    rested: Option<Seconds>,
    runs: Vec<RunEvidence>,
}

/// What one run said.
#[derive(Clone, PartialEq, Debug)]
pub struct RunEvidence {
    /// State of the unit.
    pub state: StateId,
    /// Why the run ended.
    pub end: RunEnd,
    /// Observations, in the order of the shots.
    pub observations: Vec<Observation>,
}

/// One observation.
#[derive(Clone, PartialEq, Debug)]
pub enum Observation {
    /// Voltage on the unit before anything was excited.
    Residual(Volts),
    /// The unit was discharged for a while.
    Bled,
    /// Air temperature.
    Air(Celsius),
    /// Hum was listened for.
    Hum(Hum),
    /// A sense contact was checked.
    SenseContact(SenseContact),
    /// A force contact was seen by an end-to-end reading.
    ForceContact(ForceContact),
    /// A relay to this bus is closed although none should be.
    StuckRelay(Bus),
    /// A stretch was read end to end.
    EndToEnd(EndToEnd),
    /// The voltage between two points of a way was read.
    Between(Between),
    /// A segment was read.
    Segment(SegmentReading),
    /// A segment of a mesh was read.
    Mesh(MeshReading),
    /// The voltage between the two neighbours of pins that do not answer.
    Around(PointId, Reading),
    /// Isolation was read: index into the board's list.
    Isolation(usize, Isolation),
    /// The same with its two sides exchanged.
    Exchanged(usize, Isolation),
    /// The same in the dry range, which no semiconductor conducts in.
    Below(usize, Reading),
    /// A diode or an unpowered transistor was read both ways; do the sense contacts at its anode and its cathode touch?
    OneWay(SegmentId, OneWay, [bool; 2]),
    /// A switch was read while it should be open.
    OpenSwitch(SegmentId, Isolation),
    /// A check standard was read: index into the fixture's list.
    Standard(usize, Reading),
    /// A thermometer of the bed was read.
    Thermometer {
        /// Index into the fixture's list.
        index: usize,
        /// Do the two sense contacts touch?
        touches: [bool; 2],
        /// Its resistance.
        reading: Reading,
    },
    /// A single relay was asked whether it connects its pin.
    RelayAnswer(RelayAnswer),
    /// A point's potential was compared with that of a bus on which a relay sticks.
    Potential(Potential),
}

/// A reading over a whole stretch.
#[derive(Clone, PartialEq, Debug)]
pub struct EndToEnd {
    /// Forced and sensed at +.
    pub from: PointId,
    /// Forced and sensed at -.
    pub to: PointId,
    /// Do the two sense contacts touch?
    pub touches: [bool; 2],
    /// The reading.
    pub reading: Reading,
}

/// A reading between two points of the way that a current is sent along.
#[derive(Clone, PartialEq, Debug)]
pub struct Between {
    /// Forced at + and at -.
    pub forced: [PointId; 2],
    /// Sensed at + and at -.
    pub sensed: [PointId; 2],
    /// Do the two sense contacts touch?
    pub touches: [bool; 2],
    /// The reading.
    pub reading: Reading,
}

/// One reading of one segment.
#[derive(Clone, PartialEq, Debug)]
pub struct SegmentReading {
    /// The segment.
    pub segment: SegmentId,
    /// Forced at + and at -, where the fixture has points there.
    pub forced: [Option<PointId>; 2],
    /// Its end nearer force+, then the other.
    pub ends: [PointId; 2],
    /// Do the two sense contacts touch?
    pub touches: [bool; 2],
    /// Excitation.
    pub source: Source,
    /// From the quick dry survey of a path that is not as it should be, where little current may flow.
    pub survey: bool,
    /// The reading.
    pub reading: Reading,
}

/// One reading between the ends of a segment of a mesh.
#[derive(Clone, PartialEq, Debug)]
pub struct MeshReading {
    /// The segment.
    pub segment: SegmentId,
    /// Its two ends; the voltage counts from the first to the second.
    pub ends: [PointId; 2],
    /// The points forced at + and -.
    pub forced: [PointId; 2],
    /// Do the two sense contacts touch?
    pub touches: [bool; 2],
    /// Excitation.
    pub source: Source,
    /// Did sense+ stand at the second end?
    pub swapped: bool,
    /// The reading: the voltage over the whole current, of which only a share flows through the segment.
    pub reading: Reading,
}

impl Evidence {
    /// Of nothing yet, on a bench of which a proof has found this.
    pub fn on(proven: Option<Proven>) -> Self {
        let meter = proven.map_or(Meter::PUBLISHED, |proven| proven.meter(None));
        Self { proven, meter, ..Self::default() }
    }

    /// Reads every run of a measurement.
    ///
    /// # Errors
    /// Codes that do not fit their shot, a state the board does not have.
    pub fn of(fixture: &Fixture, measurement: &Measurement) -> Result<Self, EvidenceError> {
        let mut evidence = Self::on(measurement.proven(fixture)).rested_for(measurement.rested());
        for run in &measurement.runs {
            evidence.read(fixture, run)?;
        }
        evidence.weigh();
        Ok(evidence)
    }

    /// Reads one more run. What it says of the surroundings is taken into account in all runs before it too.
    ///
    /// # Errors
    /// As [`Evidence::of`].
    pub fn add(&mut self, fixture: &Fixture, run: &Run) -> Result<(), EvidenceError> {
        self.read(fixture, run)?;
        self.weigh();
        Ok(())
    }

    fn read(&mut self, fixture: &Fixture, run: &Run) -> Result<(), EvidenceError> {
        if let Some((proven, air)) = self.proven.zip(read::air(run)?) {
            self.meter = proven.meter(Some(air));
        }
        self.runs.push(read::run(&self.meter, &mut self.known, fixture, run)?);
        Ok(())
    }

    /// Weighs every reading by what all of them say of the surroundings.
    fn weigh(&mut self) {
        self.surroundings = surroundings::of(&self.runs);
        let observations = self.runs.iter_mut().flat_map(|run| &mut run.observations);
        observations
            .filter_map(surroundings::reading_mut)
            .for_each(|reading| reading.weigh(&self.surroundings));
    }

    /// The same of a unit that has rested so long since a repair was noted, if one was.
    #[must_use]
    pub fn rested_for(self, rested: Option<Seconds>) -> Self {
        Self { rested, ..self }
    }

    /// How long the unit had rested since a repair of it was noted, if one was.
    pub fn rested(&self) -> Option<Seconds> {
        self.rested
    }

    /// The meter that everything was read with.
    pub fn meter(&self) -> &Meter {
        &self.meter
    }

    /// Noise and hum, as far as they are known.
    pub fn surroundings(&self) -> &Surroundings {
        &self.surroundings
    }

    /// All runs.
    pub fn runs(&self) -> &[RunEvidence] {
        &self.runs
    }

    /// The run made last.
    pub fn last(&self) -> Option<&RunEvidence> {
        self.runs.last()
    }

    /// The runs made in a state.
    pub fn in_state(&self, state: StateId) -> impl DoubleEndedIterator<Item = &RunEvidence> + Clone {
        self.runs.iter().filter(move |run| run.state == state)
    }

    /// Temperature of the air, if anybody read it.
    pub fn air(&self) -> Option<Celsius> {
        self.runs.iter().flat_map(|run| &run.observations).find_map(|seen| match seen {
            Observation::Air(temperature) => Some(*temperature),
            _ => None,
        })
    }
}

impl RunEvidence {
    /// Segment readings, in walking order.
    pub fn segments(&self) -> impl Iterator<Item = &SegmentReading> {
        self.observations.iter().filter_map(|seen| match seen {
            Observation::Segment(reading) => Some(reading),
            _ => None,
        })
    }

    /// Readings in meshes.
    pub fn meshes(&self) -> impl Iterator<Item = &MeshReading> {
        self.observations.iter().filter_map(|seen| match seen {
            Observation::Mesh(reading) => Some(reading),
            _ => None,
        })
    }

    /// End-to-end readings.
    pub fn end_to_ends(&self) -> impl Iterator<Item = &EndToEnd> {
        self.observations.iter().filter_map(|seen| match seen {
            Observation::EndToEnd(reading) => Some(reading),
            _ => None,
        })
    }

    /// Voltage on the unit, as the run's residual check read it.
    pub fn residual(&self) -> Option<Volts> {
        self.observations.iter().find_map(|seen| match seen {
            Observation::Residual(voltage) => Some(*voltage),
            _ => None,
        })
    }

    /// Did it begin with the residual check?
    pub fn is_checked(&self) -> bool {
        self.residual().is_some() || matches!(self.end, RunEnd::Residual | RunEnd::NoContact)
    }

    /// Is this the dry survey of a stretch?
    pub fn is_survey(&self) -> bool {
        self.segments().any(|reading| reading.survey)
    }

    /// Did a current flow through the segments that were read?
    pub fn carries(&self) -> bool {
        self.segments()
            .map(|seen| &seen.reading)
            .chain(self.meshes().map(|seen| &seen.reading))
            .any(|read| read.flows)
    }

    /// Did anything change while a path was read?
    pub fn moved(&self) -> bool {
        let moved = |seen: &Observation| match seen {
            Observation::EndToEnd(seen) => seen.reading.motion.is_some(),
            Observation::Between(seen) => seen.reading.motion.is_some(),
            Observation::Segment(seen) => seen.reading.motion.is_some(),
            Observation::Mesh(seen) => seen.reading.motion.is_some(),
            _ => false,
        };
        self.observations.iter().any(moved)
    }
}

#[cfg(test)]
impl FromIterator<RunEvidence> for Evidence {
    fn from_iter<T: IntoIterator<Item = RunEvidence>>(runs: T) -> Self {
        Self { runs: runs.into_iter().collect(), ..Self::default() }
    }
}
