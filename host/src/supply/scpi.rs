//! What is said to a supply: the source, output, measure and instrument subsystems of SCPI-99 (`VOLT`, `CURR`, their `PROT`, `OUTP`, `MEAS`, `INST:NSEL`),
//! each setting read back and the error queue asked after it. From memory; `PROT:STAT` and `PROT:TRIP` stand in volume 2, 19.

use std::{thread, time::Duration};

use super::{Bounds, Hand, Reading, Supply, SupplyError, Trip, same_current, same_voltage};
use crate::{
    instrument::{Line, Talk, Trouble},
    quantity::{Amps, Volts, si},
};

/// A supply answers a question about itself within this while its output is off.
const ANSWER: Duration = Duration::from_secs(3);
/// With the output on it answers within this, or is lost: with the pause between two looks that leaves an alarm within a second.
pub const ALARM: Duration = Duration::from_millis(600);
/// Whether an output has switched is asked so often before it counts as one that does not obey: relays take a moment.
const LOOKS: u32 = 5;
const BETWEEN_LOOKS: Duration = Duration::from_millis(40);

/// A supply that speaks SCPI. It is told to switch off when it is dropped.
#[derive(Debug)]
pub struct Scpi<L: Line> {
    talk: Talk<L>,
    name: String,
    /// Of a supply with several outputs, the number of the one that is used; else whichever it has chosen.
    output: Option<u8>,
    on: bool,
}

impl<L: Line> Scpi<L> {
    /// Asks who it is, chooses its output, and sees that it is off. `place` names it until it has said its name.
    ///
    /// # Errors
    /// See [`SupplyError`].
    pub fn open(line: L, place: &str, output: Option<u8>) -> Result<Self, SupplyError> {
        let mut talk = Talk::new(line, ANSWER);
        let unnamed = |trouble| SupplyError::of(place, trouble);
        talk.say("*CLS").map_err(unnamed)?;
        let name = talk.identity().map_err(unnamed)?;
        let mut supply = Self { talk, name, output, on: false };
        supply.choose()?;
        supply.switch(false)?;
        supply.accepted("OUTP OFF")?;
        Ok(supply)
    }

    fn failed(&self, trouble: Trouble) -> SupplyError {
        SupplyError::of(&self.name, trouble)
    }

    fn say(&mut self, command: &str) -> Result<(), SupplyError> {
        self.talk.say(command).map_err(|trouble| SupplyError::of(&self.name, trouble))
    }

    fn number(&mut self, question: &str) -> Result<f64, SupplyError> {
        self.talk.number(question).map_err(|trouble| SupplyError::of(&self.name, trouble))
    }

    fn truth(&mut self, question: &str) -> Result<bool, SupplyError> {
        self.talk.truth(question).map_err(|trouble| SupplyError::of(&self.name, trouble))
    }

    /// Its error queue is empty after it was told this.
    fn accepted(&mut self, after: &str) -> Result<(), SupplyError> {
        match self.talk.error() {
            Ok(None) => Ok(()),
            Ok(Some(error)) => {
                Err(SupplyError::Reports { supply: self.name.clone(), error, after: after.into() })
            }
            Err(trouble) => Err(self.failed(trouble)),
        }
    }

    fn disobeys(&self, what: &'static str, asked: String, answered: String) -> SupplyError {
        SupplyError::DoesNotObey { supply: self.name.clone(), what, asked, answered }
    }

    /// Sets a number and reads it back. One that does not know a command says so in its queue, and may answer the question with nothing.
    fn keep(
        &mut self,
        command: &str,
        what: &'static str,
        value: f64,
        unit: &str,
        same: impl Fn(f64, f64) -> bool,
    ) -> Result<(), SupplyError> {
        self.say(&format!("{command} {value:.4}"))?;
        self.accepted(command)?;
        let says = self.number(&format!("{command}?"))?;
        if same(value, says) {
            return Ok(());
        }
        Err(self.disobeys(what, si(value, 4, unit), si(says, 4, unit)))
    }

    fn keep_voltage(&mut self, command: &str, what: &'static str, value: Volts) -> Result<(), SupplyError> {
        self.keep(command, what, value.0, "V", |set, says| same_voltage(Volts(set), Volts(says)))
    }

    fn keep_current(&mut self, command: &str, what: &'static str, value: Amps) -> Result<(), SupplyError> {
        self.keep(command, what, value.0, "A", |set, says| same_current(Amps(set), Amps(says)))
    }

    fn keep_armed(&mut self, command: &str, what: &'static str) -> Result<(), SupplyError> {
        self.say(&format!("{command} ON"))?;
        self.accepted(command)?;
        if self.truth(&format!("{command}?"))? {
            return Ok(());
        }
        Err(self.disobeys(what, "on".into(), "off".into()))
    }

    /// Chooses the output: every later command is about that one.
    fn choose(&mut self) -> Result<(), SupplyError> {
        let Some(output) = self.output else { return Ok(()) };
        self.say(&format!("INST:NSEL {output}"))?;
        self.accepted("INST:NSEL")?;
        self.chosen()
    }

    /// Nobody has chosen another output since, at its keys or from elsewhere.
    fn chosen(&mut self) -> Result<(), SupplyError> {
        let Some(output) = self.output else { return Ok(()) };
        let says = self.number("INST:NSEL?")?;
        if says == f64::from(output) {
            return Ok(());
        }
        Err(self.disobeys("the output chosen", output.to_string(), says.to_string()))
    }

    /// Switches the output, and sees that it has.
    fn switch(&mut self, on: bool) -> Result<(), SupplyError> {
        let word = if on { "ON" } else { "OFF" };
        // From here on it may be on.
        self.on = true;
        self.say(&format!("OUTP {word}"))?;
        for _ in 0..LOOKS {
            if self.truth("OUTP?")? == on {
                self.on = on;
                return Ok(());
            }
            self.talk.rest(BETWEEN_LOOKS);
        }
        Err(self.disobeys("the output", word.to_lowercase(), if on { "off" } else { "on" }.into()))
    }

    /// Which trip has acted; one that does not know the question is not asked twice.
    fn trip(&mut self) -> Trip {
        if self.truth("CURR:PROT:TRIP?").unwrap_or(false) {
            Trip::OverCurrent
        } else if self.truth("VOLT:PROT:TRIP?").unwrap_or(false) {
            Trip::OverVoltage
        } else {
            Trip::Unknown
        }
    }
}

impl<L: Line> Supply for Scpi<L> {
    fn name(&self) -> &str {
        &self.name
    }

    fn reads_itself(&self) -> bool {
        true
    }

    fn bound(&mut self, bounds: &Bounds, _hand: &mut dyn Hand) -> Result<(), SupplyError> {
        self.switch(false)?;
        self.keep_voltage("VOLT", "the voltage", Volts::ZERO)?;
        self.keep_current("CURR", "the current limit", bounds.limit)?;
        self.keep_voltage("VOLT:PROT", "the over-voltage trip", bounds.over_voltage)?;
        self.keep_armed("VOLT:PROT:STAT", "the over-voltage trip")?;
        self.keep_current("CURR:PROT", "the over-current trip", bounds.over_current)?;
        self.keep_armed("CURR:PROT:STAT", "the over-current trip")
    }

    fn on(&mut self, _hand: &mut dyn Hand) -> Result<(), SupplyError> {
        self.talk.set_patience(ALARM);
        self.chosen()?;
        self.switch(true)?;
        self.accepted("OUTP ON")
    }

    fn set(&mut self, voltage: Volts, _hand: &mut dyn Hand) -> Result<(), SupplyError> {
        self.keep_voltage("VOLT", "the voltage", voltage)
    }

    fn read(&mut self, _hand: &mut dyn Hand) -> Result<Reading, SupplyError> {
        self.chosen()?;
        let voltage = Volts(self.number("MEAS:VOLT?")?);
        let current = Amps(self.number("MEAS:CURR?")?);
        let tripped = if self.truth("OUTP?")? { None } else { Some(self.trip()) };
        Ok(Reading { voltage, current, tripped })
    }

    fn off(&mut self, _hand: &mut dyn Hand) -> Result<(), SupplyError> {
        // Whatever is wrong with the choice, off is said.
        let chosen = self.choose();
        self.switch(false)?;
        chosen
    }

    fn rest(&mut self, time: Duration) {
        self.talk.rest(time);
    }
}

impl<L: Line> Drop for Scpi<L> {
    fn drop(&mut self) {
        if self.on {
            // Whether it hears that nobody can say any more; a line needs a moment to carry it.
            if let Some(output) = self.output {
                let _ = self.talk.say(&format!("INST:NSEL {output}"));
            }
            let _ = self.talk.say("OUTP OFF");
            thread::sleep(BETWEEN_LOOKS);
        }
    }
}
