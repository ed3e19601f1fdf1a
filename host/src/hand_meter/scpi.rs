//! What is said to a meter: common commands of IEEE 488.2 and the resistance subsystem of SCPI-99.
//!
//! Overload is 9.9E37 (SCPI-99, volume 1, 7.2.1.4), what is no number 9.91E37 (7.2.1.5). An identity has four fields
//! (IEEE 488.2, 10.14). An error queue answers `0,"No error"` when it is empty (SCPI-99, volume 2, 21.8.8). From memory.

use std::time::Duration;

use super::{Line, LineError, MeterError, shown};
use crate::quantity::Ohms;

/// From here on a number is an overload.
const OVERLOAD: f64 = 9.89e37;
/// From here on it is none, either way.
const NOT_A_NUMBER: f64 = 9.905e37;
/// A meter answers a question about itself within this.
const ANSWER: Duration = Duration::from_secs(3);
/// A reading takes longer: a range is found, and slow meters integrate over many mains cycles.
const READING: Duration = Duration::from_secs(8);

/// A meter that speaks SCPI.
#[derive(Debug)]
pub struct Scpi<L> {
    line: L,
    name: String,
    four_wire: bool,
}

/// One reading.
#[derive(Clone, Copy, PartialEq, Debug)]
pub enum Reading {
    /// A resistance.
    Reads(Ohms),
    /// More than the meter can read.
    Overload,
}

impl<L: Line> Scpi<L> {
    /// Asks who it is and sets it to resistance. `place` names it until it has said its name.
    ///
    /// # Errors
    /// See [`MeterError`].
    pub fn open(line: L, place: &str, kelvin: bool) -> Result<Self, MeterError> {
        let mut meter = Self { line, name: place.into(), four_wire: kelvin };
        meter.say("*CLS")?;
        let identity = meter.ask("*IDN?", ANSWER)?;
        let fields: Vec<&str> = identity.split(',').map(str::trim).collect();
        let [maker, model, serial, ..] = fields[..] else {
            return Err(meter.nonsense("*IDN?", &identity, "identity"));
        };
        meter.name = shown(&format!("{maker} {model}, serial number {serial}"));
        meter.say(if kelvin { "CONF:FRES" } else { "CONF:RES" })?;
        match (meter.error()?, kelvin) {
            (None, _) => Ok(meter),
            (Some(error), true) => Err(MeterError::NoFourWire { meter: meter.name, error }),
            (Some(error), false) => Err(MeterError::Reports { meter: meter.name, error }),
        }
    }

    /// Maker, model and serial number, as it says them.
    pub fn name(&self) -> &str {
        &self.name
    }

    /// Does it read with four wires?
    pub fn four_wire(&self) -> bool {
        self.four_wire
    }

    /// Reads once.
    ///
    /// # Errors
    /// See [`MeterError`].
    pub fn read(&mut self) -> Result<Reading, MeterError> {
        const READ: &str = "READ?";
        let answer = match self.ask(READ, READING) {
            // A meter that refuses keeps silent and says why in its queue.
            Err(silent @ MeterError::Silent { .. }) => return Err(self.reported().unwrap_or(silent)),
            other => other?,
        };
        // Some add a unit, or further fields: the first number counts.
        let first = answer.split([',', ' ']).find(|part| !part.is_empty()).unwrap_or_default();
        let Some(value) = first.parse::<f64>().ok().filter(|value| value.is_finite()) else {
            return Err(self.reported().unwrap_or_else(|| self.nonsense(READ, &answer, "number")));
        };
        if value.abs() >= NOT_A_NUMBER {
            return Err(self.reported().unwrap_or_else(|| self.nonsense(READ, &answer, "number")));
        }
        Ok(if value.abs() >= OVERLOAD { Reading::Overload } else { Reading::Reads(Ohms(value)) })
    }

    /// What stands in the error queue, if it can be asked.
    fn reported(&mut self) -> Option<MeterError> {
        let error = self.error().ok()??;
        Some(MeterError::Reports { meter: self.name.clone(), error })
    }

    /// The first error of the queue; `None` if there is none.
    fn error(&mut self) -> Result<Option<String>, MeterError> {
        const ERROR: &str = "SYST:ERR?";
        let answer = self.ask(ERROR, ANSWER)?;
        let number = answer.split(',').next().unwrap_or_default().trim();
        match number.parse::<i32>() {
            Ok(0) => Ok(None),
            Ok(_) => Ok(Some(shown(&answer))),
            Err(_) => Err(self.nonsense(ERROR, &answer, "error number")),
        }
    }

    fn say(&mut self, command: &'static str) -> Result<(), MeterError> {
        self.line.send(command).map_err(|error| self.failed(error, command, ANSWER))
    }

    fn ask(&mut self, question: &'static str, within: Duration) -> Result<String, MeterError> {
        self.say(question)?;
        self.line.receive(within).map_err(|error| self.failed(error, question, within))
    }

    fn failed(&self, error: LineError, asked: &'static str, within: Duration) -> MeterError {
        let meter = self.name.clone();
        match error {
            LineError::Silent => MeterError::Silent { meter, asked, seconds: within.as_secs_f64() },
            LineError::Cut(why) => MeterError::Cut { meter, why },
        }
    }

    fn nonsense(&self, asked: &'static str, answered: &str, wanted: &'static str) -> MeterError {
        MeterError::Nonsense { meter: self.name.clone(), asked, answered: shown(answered), wanted }
    }
}

#[cfg(test)]
mod tests {
    use std::collections::VecDeque;

    use super::*;

    /// Answers what it is told to, question by question.
    #[derive(Debug, Default)]
    struct Script {
        answers: VecDeque<Result<&'static str, &'static str>>,
        said: Vec<String>,
    }

    impl Line for Script {
        fn send(&mut self, text: &str) -> Result<(), LineError> {
            self.said.push(text.into());
            Ok(())
        }

        fn receive(&mut self, _within: Duration) -> Result<String, LineError> {
            match self.answers.pop_front() {
                Some(Ok(answer)) => Ok(answer.into()),
                Some(Err(why)) => Err(LineError::Cut(why.into())),
                None => Err(LineError::Silent),
            }
        }
    }

    const IDENTITY: &str = "ACME INSTRUMENTS,M1,0042,1.0";

    fn open(
        answers: &[Result<&'static str, &'static str>],
        kelvin: bool,
    ) -> Result<Scpi<Script>, MeterError> {
        Scpi::open(
            Script { answers: answers.iter().copied().collect(), said: Vec::new() },
            "meter:5025",
            kelvin,
        )
    }

    #[test]
    fn readings_are_numbers_and_overload_is_the_standards() {
        let answers =
            [Ok(IDENTITY), Ok("+0,\"No error\""), Ok("+1.234500E+00"), Ok("+9.90000000E+37"), Ok("0.5,OHM")];
        let mut meter = open(&answers, true).unwrap();
        assert_eq!(meter.name(), "ACME INSTRUMENTS M1, serial number 0042");
        assert_eq!(meter.read().unwrap(), Reading::Reads(Ohms(1.2345)));
        assert_eq!(meter.read().unwrap(), Reading::Overload);
        assert_eq!(meter.read().unwrap(), Reading::Reads(Ohms(0.5)));
        assert_eq!(meter.line.said, ["*CLS", "*IDN?", "CONF:FRES", "SYST:ERR?", "READ?", "READ?", "READ?"]);
    }

    #[test]
    fn what_goes_wrong_names_the_meter_and_the_remedy() {
        let said = |result: Result<Scpi<Script>, MeterError>| result.unwrap_err().to_string();
        assert!(said(open(&[], false)).contains("meter:5025 did not answer *IDN?"));
        assert!(said(open(&[Ok("hello")], false)).contains("is no identity"));
        let refused = said(open(&[Ok(IDENTITY), Ok("-113,\"Undefined header\"")], true));
        assert!(refused.contains("ACME") && refused.contains("leave --kelvin out"), "{refused}");
        let cut = said(open(&[Ok(IDENTITY), Err("reset by peer")], false));
        assert!(cut.contains("was cut (reset by peer)") && cut.contains("--resume"), "{cut}");
        let read = |answers: &[Result<&'static str, &'static str>]| {
            let all = [&[Ok(IDENTITY), Ok("0,\"No error\"")], answers].concat();
            open(&all, false).unwrap().read().unwrap_err().to_string()
        };
        assert!(read(&[Ok("hot"), Ok("0,\"No error\"")]).contains("answered READ? with \"hot\""));
        assert!(read(&[Ok("hot"), Ok("-230,\"Data stale\"")]).contains("reports the error -230"));
        assert!(read(&[Ok("9.91E37"), Ok("0")]).contains("is no number"));
        assert!(read(&[]).contains("did not answer READ?"));
        assert!(read(&[Ok("nan"), Ok("0")]).contains("is no number"));
    }
}
