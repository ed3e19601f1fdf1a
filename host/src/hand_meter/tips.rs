//! The bench's own meter through two Kelvin tips: four wires on channels of the matrix, and milliohms by hand.
//!
//! Every reading is a run of its own: the check for voltage and contacts that begins each run tells lifted tips too. The current is dry,
//! so that no film breaks under a tip.

use std::str::FromStr;

use copperwalk_wire::{
    Contacts, Method, Shot, Source,
    message::{Fault, RunEnd},
};

use super::{MeterError, scpi::Reading};
use crate::{
    link::{LinkError, Session, Transport},
    measure::ratio::{self, Surroundings},
    meter::Meter,
    plan::aim,
    quantity::Ohms,
};

/// Half width of a dry reading up to [`OVER_RANGE`] on a bench that nobody has proven, 95 %: gains and Rm at their published worst, what offset
/// and common mode make of the smallest current, and noise at the fewest triples.
pub const WITHIN: (f64, Ohms) = (2e-2, Ohms(3e-3));
/// Above this the dry clamp leaves less than 20 µA, and offsets count for more.
pub const OVER_RANGE: Ohms = Ohms(1e3);

/// The channels of the two tips.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Channels {
    /// Force channels of tip A and tip B.
    pub force: [u16; 2],
    /// Sense channels likewise.
    pub sense: [u16; 2],
}

/// A text that names no channels.
#[derive(Clone, PartialEq, Eq, Debug, thiserror::Error)]
#[error(
    "{0:?} names no tips: write the force and the sense channel of tip A, then those of tip B, as 14,46,15,47"
)]
pub struct NoTips(String);

impl FromStr for Channels {
    type Err = NoTips;

    fn from_str(text: &str) -> Result<Self, NoTips> {
        let numbers: Vec<u16> = text.split(',').filter_map(|part| part.trim().parse().ok()).collect();
        match numbers[..] {
            [a, sense_a, b, sense_b] if a != b && sense_a != sense_b && text.matches(',').count() == 3 => {
                Ok(Self { force: [a, b], sense: [sense_a, sense_b] })
            }
            _ => Err(NoTips(text.into())),
        }
    }
}

/// Two Kelvin tips on a bench.
pub struct Tips<T: Transport> {
    session: Session<T>,
    name: String,
    shots: [Shot; 2],
}

impl<T: Transport> Tips<T> {
    /// On these channels.
    ///
    /// # Errors
    /// Channels that the controller does not have.
    pub fn new(session: Session<T>, channels: Channels) -> Result<Self, MeterError> {
        let (identity, name) = (session.identity(), session.name());
        let here = [identity.force_channels, identity.sense_channels];
        let beyond = |channels: [u16; 2], count: u16| channels.iter().any(|&channel| channel >= count);
        if beyond(channels.force, here[0]) || beyond(channels.sense, here[1]) {
            return Err(MeterError::NoChannels { meter: name, force: here[0], sense: here[1] });
        }
        let ([force_plus, force_minus], [sense_plus, sense_minus]) =
            (channels.force.map(Some), channels.sense.map(Some));
        let contacts = Contacts { force_plus, force_minus, sense_plus, sense_minus };
        let check = Shot { contacts, source: Source::Off, method: Method::Residual };
        Ok(Self { session, name, shots: [check, aim::look_dry(contacts, 0)] })
    }

    /// What the bench calls itself.
    pub fn name(&self) -> &str {
        &self.name
    }

    /// Reads once; tips that do not touch read as an overload.
    ///
    /// # Errors
    /// Voltage between the tips, an open lid, a bench that does not answer.
    pub fn read(&mut self) -> Result<Reading, MeterError> {
        let meter = self.name.clone();
        let report = match self.session.run(&self.shots) {
            Ok(report) => report,
            Err(LinkError::Cancelled { .. }) => {
                return Err(MeterError::Cut { meter, why: "cancelled".into() });
            }
            Err(error) => return Err(MeterError::Bench { meter, why: error.to_string() }),
        };
        match report.end {
            RunEnd::Complete | RunEnd::NoContact => {}
            RunEnd::Residual => return Err(MeterError::Live { meter }),
            RunEnd::Fault(Fault::Lid) => {
                return Err(MeterError::Bench { meter, why: "the lid is open".into() });
            }
            end => {
                return Err(MeterError::Bench {
                    meter,
                    why: format!("it ended a reading by itself ({end:?})"),
                });
            }
        }
        let Some(ran) = report.shots.get(1) else { return Ok(Reading::Overload) };
        let read = ratio::read(
            &Meter::PUBLISHED,
            &self.shots[1],
            &ran.codes,
            ran.why,
            false,
            None,
            &Surroundings::UNKNOWN,
        );
        match read {
            Ok(reading) if reading.flows && reading.resistance <= OVER_RANGE => {
                Ok(Reading::Reads(reading.resistance))
            }
            Ok(_) => Ok(Reading::Overload),
            Err(error) => Err(MeterError::Bench { meter, why: error.to_string() }),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::virtual_bench::{Spec, VirtualBench};

    /// The tips stand where two pins of a bed do: that is all that a modelled bench can hold.
    fn read(spec: Spec, from: &str, to: &str) -> Result<Reading, MeterError> {
        let path = concat!(env!("CARGO_MANIFEST_DIR"), "/../fixtures/tide-gauge-head/fixture.toml");
        let fixture = crate::fixture::read(path.as_ref()).unwrap();
        let pins = |name: &str| fixture.pins(fixture.board.point_named(name).unwrap());
        let [a, b] = [pins(from), pins(to)];
        let channels = Channels {
            force: [a.force.unwrap(), b.force.unwrap()],
            sense: [a.sense.unwrap(), b.sense.unwrap()],
        };
        let mut bench = VirtualBench::new(&fixture, &spec).unwrap();
        bench.place(fixture.board.state_named("on").unwrap());
        Tips::new(Session::open(bench).unwrap(), channels)?.read()
    }

    #[test]
    fn tips_read_resistances_opens_and_voltage() {
        let Ok(Reading::Reads(whole)) = read(Spec::new(1), "cell+", "reg.in") else { panic!() };
        assert!((0.1..1.1).contains(&whole.0), "{whole:?}");
        let Ok(Reading::Reads(bad)) = read(Spec::new(1).fault("power switch=330 ohm"), "cell+", "reg.in")
        else {
            panic!()
        };
        assert!((bad.0 - 330.0).abs() < 330.0 * WITHIN.0 + whole.0, "{bad:?}");
        assert!(matches!(
            read(Spec::new(1).fault("power switch=open"), "cell+", "reg.in"),
            Ok(Reading::Overload)
        ));
        let live = read(Spec::new(1).fault("battery=3.0 V"), "cell+", "cell-");
        assert!(matches!(live, Err(MeterError::Live { .. })), "{live:?}");
        let lifted = read(Spec::new(1).fault("reg.in:sense=open"), "cell+", "reg.in");
        assert!(matches!(lifted, Ok(Reading::Overload)), "{lifted:?}");
    }

    #[test]
    fn channels_are_four_different_numbers() {
        assert_eq!("14,46,15,47".parse(), Ok(Channels { force: [14, 15], sense: [46, 47] }));
        for text in ["", "14", "14,46,15", "14,46,14,47", "14,46,15,46", "a,46,15,47", "14,46,15,47,1"] {
            assert!(text.parse::<Channels>().is_err(), "{text}");
        }
    }
}
