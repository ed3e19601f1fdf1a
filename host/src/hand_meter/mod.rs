//! Meters that a person's two tips hang on: any that speaks SCPI over a network, a serial port or USB, and the bench's own.
//!
//! Read [`scpi`] first (what is said; over which lines stands in [`instrument`](crate::instrument)), then [`tips`] (the bench's own meter), [`stable`] (when a reading
//! stands, so that nobody needs a third hand for a key) and [`choice`] (which of them was named).

pub mod choice;
pub mod scpi;
pub mod stable;
pub mod tips;

pub use choice::{Choice, Reached};
pub use scpi::Scpi;
pub use stable::Stable;
pub use tips::{Channels, Tips};

use crate::instrument::{CannotReach, Trouble};

/// Why a meter gives no reading.
#[derive(Debug, thiserror::Error)]
pub enum MeterError {
    /// No line to it.
    #[error(
        "the meter at {meter} cannot be reached: {why}; see that it is switched on, joined, and that the name is right"
    )]
    CannotReach {
        /// Where it was looked for.
        meter: String,
        /// Why not, by the system.
        why: String,
    },
    /// Nothing came.
    #[error(
        "the meter {meter} did not answer {asked} within {seconds:.0} s: see that its remote interface is switched on, speaks SCPI, and that \
         no other program holds it"
    )]
    Silent {
        /// The meter.
        meter: String,
        /// What it was asked.
        asked: String,
        /// How long was waited.
        seconds: f64,
    },
    /// The line was cut.
    #[error("the line to the meter {meter} was cut ({why}): join it again, then go on with --resume")]
    Cut {
        /// The meter.
        meter: String,
        /// By the system.
        why: String,
    },
    /// Something else than was asked for.
    #[error(
        "the meter {meter} answered {asked} with {answered:?}, which is no {wanted}: set it to SCPI and to resistance, and see that nothing else \
         speaks with it"
    )]
    Nonsense {
        /// The meter.
        meter: String,
        /// What it was asked.
        asked: String,
        /// The beginning of what came.
        answered: String,
        /// What should have come.
        wanted: &'static str,
    },
    /// It says that something is wrong.
    #[error(
        "the meter {meter} reports the error {error}: look at its display, switch it off and on, and go on with --resume"
    )]
    Reports {
        /// The meter.
        meter: String,
        /// In its words.
        error: String,
    },
    /// The bench's own meter cannot go on.
    #[error("the bench {meter} gives no reading: {why}; see its lid and its cable, then go on with --resume")]
    Bench {
        /// The bench.
        meter: String,
        /// Why not.
        why: String,
    },
    /// The bench saw voltage between its tips.
    #[error(
        "the bench {meter} sees voltage between the tips: take the battery out, let capacitors discharge, then go on with --resume"
    )]
    Live {
        /// The bench.
        meter: String,
    },
    /// Channels that a bench does not have.
    #[error(
        "the bench {meter} has {force} force and {sense} sense channels, counted from 0: name others with --tips"
    )]
    NoChannels {
        /// The bench.
        meter: String,
        /// Force channels.
        force: u16,
        /// Sense channels.
        sense: u16,
    },
    /// The bench's meter without its line or its channels.
    #[error(
        "--meter bench needs the bench's --port and, with --tips, the channels that the two tips hang on"
    )]
    NoBench,
    /// It cannot read with four wires.
    #[error(
        "the meter {meter} refuses to read with four wires ({error}): leave --kelvin out, or take a meter with four sockets"
    )]
    NoFourWire {
        /// The meter.
        meter: String,
        /// In its words.
        error: String,
    },
}

impl From<CannotReach> for MeterError {
    fn from(CannotReach { place, why }: CannotReach) -> Self {
        Self::CannotReach { meter: place, why }
    }
}

impl MeterError {
    /// What befell a meter of this name.
    fn of(meter: &str, trouble: Trouble) -> Self {
        let meter = meter.to_owned();
        match trouble {
            Trouble::Silent { asked, seconds } => Self::Silent { meter, asked, seconds },
            Trouble::Cut(why) => Self::Cut { meter, why },
            Trouble::Nonsense { asked, answered, wanted } => {
                Self::Nonsense { meter, asked, answered, wanted }
            }
        }
    }
}
