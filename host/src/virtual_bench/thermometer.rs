//! The thermometers of a modelled bed: Pt1000s inside their class at the bed's temperature, or with what is wrong with them.

use super::{
    circuit::Bed,
    figures::{platinum_kelvin, platinum_ohms},
    spec::{Injected, ThermometerFault},
};
use crate::{
    fixture::Fixture,
    quantity::{Celsius, Ohms},
    random::Rng,
};

/// A wire that is broken …
const BROKEN_WIRE: Ohms = Ohms(1e12);
/// … and two leads that touch.
const TOUCHING_LEADS: Ohms = Ohms(0.5);

/// Brings the bed's thermometers to its temperature.
pub fn warm(bed: &mut Bed, fixture: &Fixture, at: Celsius, faults: &[Injected], rng: &mut Rng) {
    let thermometers = fixture.thermometers.iter().zip(&mut bed.thermometers);
    for (index, (thermometer, (_, resistance))) in thermometers.enumerate() {
        let most_kelvin = platinum_kelvin(thermometer.accuracy, at.0);
        let drawn = rng.between(-most_kelvin, most_kelvin);
        let fault = faults.iter().rev().find_map(|fault| match fault {
            Injected::Thermometer(of, fault) if *of == index => Some(*fault),
            _ => None,
        });
        *resistance = match fault {
            None => Ohms(platinum_ohms(at.0 + drawn)),
            Some(ThermometerFault::Off(kelvin)) => Ohms(platinum_ohms(at.0 + kelvin)),
            Some(ThermometerFault::Open) => BROKEN_WIRE,
            Some(ThermometerFault::Shorted) => TOUCHING_LEADS,
        };
    }
}
