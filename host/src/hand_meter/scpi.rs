//! What is said to a meter: the resistance subsystem of SCPI-99. What every instrument understands stands in
//! [`talk`](crate::instrument::talk).

use std::time::Duration;

use super::MeterError;
use crate::{
    instrument::{
        Line, Talk, Trouble,
        talk::{nonsense, number},
    },
    quantity::Ohms,
};

/// From here on a number is an overload, which SCPI writes as 9.9E37.
const OVERLOAD: f64 = 9.89e37;
/// A meter answers a question about itself within this.
const ANSWER: Duration = Duration::from_secs(3);
/// A reading takes longer: a range is found, and slow meters integrate over many mains cycles.
const READING: Duration = Duration::from_secs(8);

/// A meter that speaks SCPI.
#[derive(Debug)]
pub struct Scpi<L> {
    talk: Talk<L>,
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
        let mut talk = Talk::new(line, ANSWER);
        let unnamed = |trouble| MeterError::of(place, trouble);
        talk.say("*CLS").map_err(unnamed)?;
        let name = talk.identity().map_err(unnamed)?;
        let mut meter = Self { talk, name, four_wire: kelvin };
        let set = meter.talk.say(if kelvin { "CONF:FRES" } else { "CONF:RES" });
        match (set.and_then(|()| meter.talk.error()), kelvin) {
            (Err(trouble), _) => Err(meter.failed(trouble)),
            (Ok(None), _) => Ok(meter),
            (Ok(Some(error)), true) => Err(MeterError::NoFourWire { meter: meter.name, error }),
            (Ok(Some(error)), false) => Err(MeterError::Reports { meter: meter.name, error }),
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
        let answer = match self.talk.ask_within(READ, READING) {
            // A meter that refuses keeps silent and says why in its queue.
            Err(silent @ Trouble::Silent { .. }) => {
                return Err(self.reported().unwrap_or_else(|| self.failed(silent)));
            }
            Err(trouble) => return Err(self.failed(trouble)),
            Ok(answer) => answer,
        };
        let Some(value) = number(&answer) else {
            return Err(self.reported().unwrap_or_else(|| self.failed(nonsense(READ, &answer, "number"))));
        };
        Ok(if value.abs() >= OVERLOAD { Reading::Overload } else { Reading::Reads(Ohms(value)) })
    }

    /// What stands in the error queue, if it can be asked.
    fn reported(&mut self) -> Option<MeterError> {
        let error = self.talk.error().ok()??;
        Some(MeterError::Reports { meter: self.name.clone(), error })
    }

    fn failed(&self, trouble: Trouble) -> MeterError {
        MeterError::of(&self.name, trouble)
    }
}

#[cfg(test)]
mod tests {
    use std::collections::VecDeque;

    use super::*;
    use crate::instrument::LineError;

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
        assert_eq!(
            meter.talk.line().said,
            ["*CLS", "*IDN?", "CONF:FRES", "SYST:ERR?", "READ?", "READ?", "READ?"]
        );
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
