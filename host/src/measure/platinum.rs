//! Temperature from the resistance of a Pt1000: the equation of Callendar and Van Dusen with the constants of IEC 60751, and
//! what the thermometer's class and its own warming leave unsure.
//!
//! R(t) = R₀ · (1 + A·t + B·t²) from 0 °C up, with C·(t − 100 °C)·t³ added below. Source of constants and classes: IEC 60751
//! (2008 and 2022), 4.2 and 5.1 (from memory).

use super::{ratio::Reading, uncertainty};
use crate::{
    fixture::{Accuracy, Thermometer},
    quantity::{Celsius, Ohms},
};

/// At 0 °C.
const R0: Ohms = Ohms(1000.0);
/// First coefficient, 1/K.
const A: f64 = 3.9083e-3;
/// Second, 1/K².
const B: f64 = -5.775e-7;
/// The one that counts below 0 °C, 1/K⁴.
const C: f64 = -4.183e-12;
/// Where the equation holds, °C.
const HOLDS: [f64; 2] = [-200.0, 850.0];
/// Newton's steps below 0 °C. The curve is so nearly straight that each squares an error of a few hundredths.
const STEPS: usize = 6;

/// By how much a Pt1000 warms itself while it is read, kelvin, half a width. A milliampere makes a milliwatt, which in still air
/// would come to 0.4 K at most (makers' figures, common practice); a reading lasts a tenth of a second, and a plate takes the heat.
const OWN_WARMTH_KELVIN: f64 = 0.1;

/// The temperature of what a thermometer is fixed to.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Temperature {
    /// Value.
    pub value: Celsius,
    /// How far it is unsure, kelvin: half the width of a rectangle of the same variance.
    pub half_kelvin: f64,
    /// Expanded uncertainty, kelvin, 95 %.
    pub u95_kelvin: f64,
}

/// What a Pt1000 has at a temperature.
pub fn resistance(at: Celsius) -> Ohms {
    let t = at.0;
    let below = if t < 0.0 { C * (t - 100.0) * t * t * t } else { 0.0 };
    R0 * (1.0 + A * t + B * t * t + below)
}

/// Ohm per kelvin at a temperature.
fn slope(at: Celsius) -> f64 {
    let t = at.0;
    let below = if t < 0.0 { C * (4.0 * t - 300.0) * t * t } else { 0.0 };
    R0.0 * (A + 2.0 * B * t + below)
}

/// The temperature at which a Pt1000 has this resistance; `None` outside −200 °C to 850 °C.
pub fn temperature(resistance_read: Ohms) -> Option<Celsius> {
    let [least, most] = HOLDS.map(|t| resistance(Celsius(t)));
    if !(least..=most).contains(&resistance_read) {
        return None;
    }
    let share = resistance_read / R0 - 1.0;
    // The quadratic's solution, without the difference of two nearly equal numbers.
    let quadratic = 2.0 * share / (A + (A * A + 4.0 * B * share).sqrt());
    let mut at = Celsius(quadratic);
    if share < 0.0 {
        for _ in 0..STEPS {
            at.0 -= (resistance(at) - resistance_read).0 / slope(at);
        }
    }
    Some(at)
}

/// How far a thermometer of this accuracy may be off at a temperature, kelvin.
pub fn tolerance_kelvin(accuracy: Accuracy, at: Celsius) -> f64 {
    let (fixed, share) = match accuracy {
        Accuracy::ClassAa => (0.1, 0.0017),
        Accuracy::ClassA => (0.15, 0.002),
        Accuracy::ClassB => (0.3, 0.005),
        Accuracy::Stated { kelvin } => (kelvin, 0.0),
    };
    fixed + share * at.0.abs()
}

/// What a thermometer's reading says; `None` where it is no temperature.
pub fn read(thermometer: &Thermometer, reading: &Reading) -> Option<Temperature> {
    let value = temperature(reading.resistance)?;
    let slope = slope(value);
    let of_sensor = tolerance_kelvin(thermometer.accuracy, value).hypot(OWN_WARMTH_KELVIN);
    let of_reading = reading.budget.standard();
    Some(Temperature {
        value,
        half_kelvin: of_sensor.hypot(3.0_f64.sqrt() * of_reading.0 / slope),
        u95_kelvin: uncertainty::expanded(of_reading, Ohms(of_sensor * slope)).0 / slope,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// IEC 60751, table of resistances of a Pt100, ten times as large (from memory): °C, Ω.
    const TABLE: [(f64, f64); 10] = [
        (-200.0, 185.20),
        (-100.0, 602.56),
        (-50.0, 803.06),
        (-20.0, 921.60),
        (0.0, 1000.00),
        (25.0, 1097.35),
        (50.0, 1193.97),
        (100.0, 1385.06),
        (200.0, 1758.56),
        (850.0, 3904.81),
    ];

    #[test]
    fn the_equation_gives_the_table_of_the_standard() {
        for (celsius, ohms) in TABLE {
            let found = resistance(Celsius(celsius));
            assert!((found.0 - ohms).abs() <= 0.0051, "{celsius} °C: {found:?} instead of {ohms} Ω");
        }
    }

    #[test]
    fn a_temperature_comes_back_from_its_resistance_to_a_microkelvin() {
        for tenths in -1999..=8500 {
            let at = f64::from(tenths) / 10.0;
            let back = temperature(resistance(Celsius(at))).unwrap();
            assert!((back.0 - at).abs() < 1e-6, "{at} °C comes back as {} °C", back.0);
        }
    }

    #[test]
    fn what_no_platinum_has_is_no_temperature() {
        for (ohms, is_one) in [(0.0, false), (185.0, false), (185.3, true), (3904.0, true), (3906.0, false)] {
            assert_eq!(temperature(Ohms(ohms)).is_some(), is_one, "{ohms} Ω");
        }
        assert_eq!(temperature(Ohms(f64::NAN)), None);
    }

    /// IEC 60751, table of tolerances (from memory): class A at 100 °C 0.35 K, class B 0.8 K; AA 0.27 K.
    #[test]
    fn the_classes_are_those_of_the_standard() {
        for (accuracy, at, kelvin) in [
            (Accuracy::ClassAa, 0.0, 0.10),
            (Accuracy::ClassAa, 100.0, 0.27),
            (Accuracy::ClassA, 0.0, 0.15),
            (Accuracy::ClassA, 100.0, 0.35),
            (Accuracy::ClassB, -20.0, 0.40),
            (Accuracy::ClassB, 100.0, 0.80),
            (Accuracy::Stated { kelvin: 0.5 }, 60.0, 0.5),
        ] {
            let found = tolerance_kelvin(accuracy, Celsius(at));
            assert!((found - kelvin).abs() < 1e-12, "{accuracy:?} at {at} °C: {found} K");
        }
    }

    #[test]
    fn the_slope_is_that_of_the_equation() {
        for t in [-150.0, -20.0, -0.01, 0.01, 25.0, 80.0] {
            let chord = (resistance(Celsius(t + 0.005)) - resistance(Celsius(t - 0.005))).0 / 0.01;
            assert!((slope(Celsius(t)) / chord - 1.0).abs() < 1e-6, "{t} °C");
        }
    }
}
