//! How warm the unit is: by a thermometer in the bed where one can be believed, else by the sensor in the meter.
//!
//! A thermometer without contact, broken or shorted leaves the sensor, with its wider interval: nothing stated becomes wrong, so
//! the sweep counts, and a note names the thermometer. A thermometer that contradicts the sensor leaves nothing: one of the two is
//! wrong, nobody knows which, and every value at 20 °C would be off with it. That is a fault of the bench.
//!
//! A unit that was repaired a moment ago may still be warm from the iron. Nobody knows by how much, so its interval is wider for as
//! long as that can be.

use super::bench::BenchFinding;
use crate::{
    evidence::{Evidence, Observation},
    fixture::{Fixture, RESTED_KELVIN, Thermometer},
    measure::{
        platinum::{self, Temperature},
        ratio::Reading,
    },
    quantity::{Celsius, Ohms, Seconds},
    statistics::rectangle,
};

/// A unit that nobody measured the temperature of lies in a room, °C, which is known to so many kelvin.
const ROOM: (Celsius, f64) = (Celsius(23.0), 5.0);
/// No bed is colder or warmer, °C.
const BED: [Celsius; 2] = [Celsius(-20.0), Celsius(80.0)];

/// A board that was soldered on is at most so much warmer than the bed when the repair is noted, kelvin: the joint was far hotter, but
/// copper is read over the whole board (common practice).
const SOLDERED_KELVIN: f64 = 20.0;
/// It cools with this time constant, second: 1.6 mm of laminate hold 3.5 kJ/(m²·K), and both faces together give 20 W/(m²·K) to
/// still air (common practice).
const COOLING: Seconds = Seconds(175.0);
/// Less than this is within what a rested unit may differ by, kelvin. It is reached after eleven minutes.
const LEAST_KELVIN: f64 = 0.5;

/// The unit's temperature, and how far it is unsure, kelvin, half a width.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Warmth {
    /// Taken to be that of what was read.
    pub unit: Celsius,
    /// The error of what was read, and the unit against it.
    pub half_kelvin: f64,
    /// The thermometer it was read from: index into the fixture's list; `None`: the meter's sensor, or nobody.
    pub thermometer: Option<usize>,
}

/// Why a thermometer says nothing.
#[derive(Clone, Copy, PartialEq, Debug)]
pub enum Silent {
    /// A sense contact does not answer.
    Contact,
    /// No current flows.
    Open,
    /// This resistance is that of no bed's temperature.
    NoTemperature(Ohms),
}

/// A thermometer that was read, by its index in the fixture's list.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Read {
    /// Index.
    pub index: usize,
    /// What it says.
    pub said: Result<Temperature, Silent>,
}

/// What a thermometer says; `None` where no current flows, or where that is no temperature that a bed can have.
pub fn said(thermometer: &Thermometer, reading: &Reading) -> Option<Temperature> {
    if !reading.flows || reading.over_range {
        return None;
    }
    platinum::read(thermometer, reading).filter(|read| (BED[0].0..=BED[1].0).contains(&read.value.0))
}

/// What each thermometer said when it was read last.
pub fn thermometers(fixture: &Fixture, evidence: &Evidence) -> Vec<Read> {
    let seen = || evidence.runs().iter().rev().flat_map(|run| run.observations.iter().rev());
    let said = |index, thermometer: &Thermometer| {
        seen().find_map(|seen| match seen {
            Observation::Thermometer { index: of, touches, reading } if *of == index => {
                Some(if *touches != [true; 2] {
                    Err(Silent::Contact)
                } else if !reading.flows {
                    Err(Silent::Open)
                } else {
                    said(thermometer, reading).ok_or(Silent::NoTemperature(reading.resistance))
                })
            }
            _ => None,
        })
    };
    let listed = fixture.thermometers.iter().enumerate();
    listed.filter_map(|(index, thermometer)| Some(Read { index, said: said(index, thermometer)? })).collect()
}

/// How much warmer than the bed a repair may have left the unit, kelvin, where that counts.
pub fn left_by_repair(rested: Option<Seconds>) -> Option<f64> {
    let kelvin = SOLDERED_KELVIN * (-(rested? / COOLING)).exp();
    (kelvin >= LEAST_KELVIN).then_some(kelvin)
}

/// How warm the unit is. Of several thermometers that say something the first in the file counts.
pub fn of(fixture: &Fixture, evidence: &Evidence) -> Warmth {
    let read =
        thermometers(fixture, evidence).into_iter().find_map(|read| Some((read.index, read.said.ok()?)));
    let read = read.and_then(|(index, said)| Some((index, said, fixture.thermometers.get(index)?)));
    let repair_kelvin = left_by_repair(evidence.rested()).unwrap_or(0.0);
    let both = |read_kelvin, rested_kelvin| {
        rectangle::of_sum(rectangle::of_sum(read_kelvin, rested_kelvin), repair_kelvin)
    };
    if let Some((index, said, thermometer)) = read {
        let half_kelvin = both(said.half_kelvin, thermometer.rested_kelvin);
        return Warmth { unit: said.value, half_kelvin, thermometer: Some(index) };
    }
    let sensor_kelvin = evidence.meter().sensor_kelvin;
    let (unit, sensor_kelvin) = evidence.air().map_or(ROOM, |air| (air, sensor_kelvin));
    Warmth { unit, half_kelvin: both(sensor_kelvin, RESTED_KELVIN), thermometer: None }
}

/// Thermometers that contradict the meter's sensor.
pub fn contradictions(fixture: &Fixture, evidence: &Evidence) -> Vec<BenchFinding> {
    let Some(air) = evidence.air() else { return Vec::new() };
    let off = |read: Read| {
        let (said, thermometer) = (read.said.ok()?, fixture.thermometers.get(read.index)?);
        ((said.value.0 - air.0).abs() > thermometer.apart_kelvin)
            .then_some(BenchFinding::ThermometerOff(read.index, said.value, air))
    };
    thermometers(fixture, evidence).into_iter().filter_map(off).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_repair_warms_for_eleven_minutes_and_less_from_minute_to_minute() {
        assert_eq!(left_by_repair(None), None);
        for (minutes, kelvin) in [(0.0, 20.0), (2.0, 10.07), (5.0, 3.60), (10.5, 0.546)] {
            let found = left_by_repair(Some(Seconds(60.0 * minutes))).unwrap();
            assert!((found / kelvin - 1.0).abs() < 0.01, "{minutes} min: {found} K");
        }
        assert_eq!(left_by_repair(Some(Seconds(60.0 * 11.0))), None);
        // Years, in seconds.
        assert_eq!(left_by_repair(Some(Seconds(1e9))), None);
    }
}
