//! A bench supply: one that a program sets and reads over SCPI, and one that a person sets by hand and reads aloud.
//!
//! Read [`Supply`] first (what either can do), then [`scpi`] and [`typed`], and [`choice`] (which of them was named). Whatever is set is read back. What
//! bounds a unit while nobody listens ([`Bounds`]) stands in the supply itself before its output goes on, so that a line that is cut does no
//! harm.

pub mod choice;
pub mod scpi;
pub mod typed;

use std::time::Duration;

pub use choice::Choice;
pub use scpi::Scpi;
pub use typed::Typed;

use crate::{
    instrument::{CannotReach, Trouble},
    operator::Unattended,
    quantity::{Amps, Volts, si},
};

/// What a supply is held to before its output goes on.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Bounds {
    /// It gives no more current than this.
    pub limit: Amps,
    /// It switches itself off above this voltage.
    pub over_voltage: Volts,
    /// It switches itself off above this current.
    pub over_current: Amps,
}

impl Bounds {
    /// In words, for messages.
    pub fn in_words(&self) -> String {
        format!(
            "at most {}, off above {} and {}",
            si(self.limit.0, 3, "A"),
            si(self.over_voltage.0, 3, "V"),
            si(self.over_current.0, 3, "A")
        )
    }
}

/// What a supply shows.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Reading {
    /// At its terminals.
    pub voltage: Volts,
    /// Out of them.
    pub current: Amps,
    /// It has switched its output off by itself.
    pub tripped: Option<Trip>,
}

/// Why a supply switched itself off.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Trip {
    /// Too much voltage.
    OverVoltage,
    /// Too much current.
    OverCurrent,
    /// It does not say.
    Unknown,
}

/// What a person is asked to do at a supply that is set by hand.
#[derive(Clone, Copy, PartialEq, Debug)]
pub enum Request {
    /// Set the limit and both trips, with the output off.
    Bound(Bounds),
    /// Switch the output on.
    On,
    /// Set a voltage, and say what the supply shows.
    Set(Volts),
    /// Say what it shows.
    Show,
    /// Switch the output off.
    Off,
}

/// Whoever has a hand at the supply.
pub trait Hand {
    /// Returns when it is done.
    ///
    /// # Errors
    /// Nobody does it, or it was said that all has to stop.
    fn done(&mut self, request: &Request) -> Result<(), Halt>;

    /// Returns what the supply shows once it is done.
    ///
    /// # Errors
    /// Likewise.
    fn shows(&mut self, request: &Request) -> Result<Reading, Halt>;
}

/// Why a person did not do what was asked.
#[derive(Clone, PartialEq, Debug)]
pub enum Halt {
    /// Somebody said that all has to stop.
    Said,
    /// Nobody is there, or the question was withdrawn.
    Unattended(Unattended),
}

impl From<Unattended> for Halt {
    fn from(error: Unattended) -> Self {
        Self::Unattended(error)
    }
}

/// A bench supply. Dropping it takes its output off, as far as it listens.
pub trait Supply {
    /// What it calls itself.
    fn name(&self) -> &str;

    /// Does it read by itself, as often as it is asked?
    fn reads_itself(&self) -> bool;

    /// With the output off: nothing set, the limit and both trips, each read back.
    ///
    /// # Errors
    /// See [`SupplyError`].
    fn bound(&mut self, bounds: &Bounds, hand: &mut dyn Hand) -> Result<(), SupplyError>;

    /// Switches the output on. From here on it answers within [`scpi::ALARM`], or is lost.
    ///
    /// # Errors
    /// See [`SupplyError`].
    fn on(&mut self, hand: &mut dyn Hand) -> Result<(), SupplyError>;

    /// Sets a voltage, and reads back what is set.
    ///
    /// # Errors
    /// See [`SupplyError`].
    fn set(&mut self, voltage: Volts, hand: &mut dyn Hand) -> Result<(), SupplyError>;

    /// What it shows.
    ///
    /// # Errors
    /// See [`SupplyError`].
    fn read(&mut self, hand: &mut dyn Hand) -> Result<Reading, SupplyError>;

    /// Switches the output off, and makes sure.
    ///
    /// # Errors
    /// See [`SupplyError`]: then it may be on.
    fn off(&mut self, hand: &mut dyn Hand) -> Result<(), SupplyError>;

    /// Lets so much time pass.
    fn rest(&mut self, time: Duration);
}

/// What a supply refuses, or does instead of what it was told.
#[derive(Clone, PartialEq, Debug, thiserror::Error)]
pub enum SupplyError {
    /// No line to it.
    #[error(
        "the supply at {place} cannot be reached: {why}; see that it is switched on, joined, and that the name is right"
    )]
    CannotReach {
        /// Where it was looked for.
        place: String,
        /// Why not, by the system.
        why: String,
    },
    /// It fell silent, or its line was cut.
    #[error("contact with the supply {supply} is lost ({why}): see that it is off, then join it again")]
    Lost {
        /// The supply.
        supply: String,
        /// How.
        why: String,
    },
    /// Something else than was asked for.
    #[error(
        "the supply {supply} answered {asked} with {answered:?}, which is no {wanted}: set it to SCPI, and see that nothing else speaks with it"
    )]
    Nonsense {
        /// The supply.
        supply: String,
        /// What it was asked.
        asked: String,
        /// The beginning of what came.
        answered: String,
        /// What should have come.
        wanted: &'static str,
    },
    /// It says that something is wrong.
    #[error(
        "the supply {supply} reports the error {error} after {after}: look at its display and its manual; one that does not know the command can \
         be used with --supply typed"
    )]
    Reports {
        /// The supply.
        supply: String,
        /// In its words.
        error: String,
        /// What it was told.
        after: String,
    },
    /// It says that something else is set than it was told.
    #[error(
        "the supply {supply} does not obey: {what} was set to {asked}, and it says {answered}; see that its range allows that, and that its keys \
         are locked"
    )]
    DoesNotObey {
        /// The supply.
        supply: String,
        /// What was set.
        what: &'static str,
        /// To what.
        asked: String,
        /// What it says.
        answered: String,
    },
    /// An output was named of a supply that no program sets.
    #[error(
        "--supply-output {output} chooses an output by program, and this supply is set by hand: leave it out, and join the unit to the output you set"
    )]
    ByHand {
        /// The output.
        output: u8,
    },
    /// A person did not do what was asked at it.
    #[error("{}", match halt { Halt::Said => "stopped as asked".into(), Halt::Unattended(error) => error.to_string() })]
    Halted {
        /// Why not.
        halt: Halt,
    },
}

impl SupplyError {
    /// Is nothing known of the supply any more?
    pub fn is_lost(&self) -> bool {
        matches!(self, Self::Lost { .. })
    }

    /// What befell a supply of this name.
    fn of(supply: &str, trouble: Trouble) -> Self {
        let supply = supply.to_owned();
        match trouble {
            Trouble::Silent { asked, seconds } => {
                Self::Lost { supply, why: format!("no answer to {asked} within {seconds:.1} s") }
            }
            Trouble::Cut(why) => Self::Lost { supply, why },
            Trouble::Nonsense { asked, answered, wanted } => {
                Self::Nonsense { supply, asked, answered, wanted }
            }
        }
    }
}

impl From<CannotReach> for SupplyError {
    fn from(CannotReach { place, why }: CannotReach) -> Self {
        Self::CannotReach { place, why }
    }
}

impl From<Halt> for SupplyError {
    fn from(halt: Halt) -> Self {
        Self::Halted { halt }
    }
}

/// Set and read-back voltages are the same within this: steps of usual supplies are 1 to 10 mV (common practice).
fn same_voltage(set: Volts, says: Volts) -> bool {
    (set - says).abs() <= Volts(0.012).max(5e-3 * set.abs())
}

/// The same for currents, whose steps are 1 to 10 mA.
fn same_current(set: Amps, says: Amps) -> bool {
    (set - says).abs() <= Amps(6e-3).max(1e-2 * set.abs())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_read_back_may_be_off_by_a_step_of_a_usual_supply() {
        assert!(same_voltage(Volts(3.0), Volts(3.0149)) && !same_voltage(Volts(3.0), Volts(3.0151)));
        assert!(same_voltage(Volts(0.4), Volts(0.411)) && !same_voltage(Volts(0.4), Volts(0.413)));
        assert!(same_current(Amps(0.1), Amps(0.0945)) && !same_current(Amps(0.1), Amps(0.0935)));
        assert!(!same_voltage(Volts(1.0), Volts(f64::NAN)));
    }
}
