//! What every instrument that speaks SCPI understands: common commands of IEEE 488.2, and the error queue of SCPI-99.
//!
//! An identity has four fields (IEEE 488.2, 10.14). An error queue answers `0,"No error"` when it is empty (SCPI-99, volume 2, 21.8.8). What is
//! no number is 9.91E37, and an overload 9.9E37 (SCPI-99, volume 1, 7.2.1.4 and 7.2.1.5). From memory.

use std::time::Duration;

use super::{Line, LineError};
use crate::quantity::clip;

/// Why an instrument gave no answer that can be used.
#[derive(Clone, PartialEq, Debug)]
pub enum Trouble {
    /// Nothing came.
    Silent {
        /// What it was asked.
        asked: String,
        /// How long was waited, second.
        seconds: f64,
    },
    /// The line was cut: why, by the system.
    Cut(String),
    /// Something else than was asked for.
    Nonsense {
        /// What it was asked.
        asked: String,
        /// The beginning of what came.
        answered: String,
        /// What should have come.
        wanted: &'static str,
    },
}

/// A conversation with an instrument.
#[derive(Debug)]
pub struct Talk<L> {
    line: L,
    patience: Duration,
}

impl<L: Line> Talk<L> {
    /// Over a line, with this patience for every answer.
    pub fn new(line: L, patience: Duration) -> Self {
        Self { line, patience }
    }

    /// Waits so long for an answer from now on.
    pub fn set_patience(&mut self, patience: Duration) {
        self.patience = patience;
    }

    /// The line.
    pub fn line(&self) -> &L {
        &self.line
    }

    /// Lets so much time pass.
    pub fn rest(&mut self, time: Duration) {
        self.line.rest(time);
    }

    /// Says a command, which is not answered.
    ///
    /// # Errors
    /// A line that is gone.
    pub fn say(&mut self, command: &str) -> Result<(), Trouble> {
        self.line.send(command).map_err(|error| failed(error, command, self.patience))
    }

    /// Asks a question.
    ///
    /// # Errors
    /// A line that is gone; no answer within the patience.
    pub fn ask(&mut self, question: &str) -> Result<String, Trouble> {
        self.ask_within(question, self.patience)
    }

    /// The same with another patience.
    ///
    /// # Errors
    /// Likewise.
    pub fn ask_within(&mut self, question: &str, within: Duration) -> Result<String, Trouble> {
        self.say(question)?;
        self.line.receive(within).map_err(|error| failed(error, question, within))
    }

    /// Maker, model and serial number, as it says them.
    ///
    /// # Errors
    /// As [`ask`](Self::ask), and an answer that is no identity.
    pub fn identity(&mut self) -> Result<String, Trouble> {
        const IDENTITY: &str = "*IDN?";
        let answer = self.ask(IDENTITY)?;
        let fields: Vec<&str> = answer.split(',').map(str::trim).collect();
        let [maker, model, serial, ..] = fields[..] else {
            return Err(nonsense(IDENTITY, &answer, "identity"));
        };
        Ok(clip(&format!("{maker} {model}, serial number {serial}")))
    }

    /// The first error of its queue; `None` if there is none.
    ///
    /// # Errors
    /// As [`ask`](Self::ask), and an answer that is no error number.
    pub fn error(&mut self) -> Result<Option<String>, Trouble> {
        const ERROR: &str = "SYST:ERR?";
        let answer = self.ask(ERROR)?;
        let number = answer.split(',').next().unwrap_or_default().trim();
        match number.parse::<i32>() {
            Ok(0) => Ok(None),
            Ok(_) => Ok(Some(clip(&answer))),
            Err(_) => Err(nonsense(ERROR, &answer, "error number")),
        }
    }

    /// A number that it answers.
    ///
    /// # Errors
    /// As [`ask`](Self::ask), and an answer that is no number.
    pub fn number(&mut self, question: &str) -> Result<f64, Trouble> {
        let answer = self.ask(question)?;
        number(&answer).ok_or_else(|| nonsense(question, &answer, "number"))
    }

    /// A truth value that it answers.
    ///
    /// # Errors
    /// As [`ask`](Self::ask), and an answer that is none.
    pub fn truth(&mut self, question: &str) -> Result<bool, Trouble> {
        let answer = self.ask(question)?;
        match answer.trim() {
            "1" | "+1" | "ON" => Ok(true),
            "0" | "+0" | "OFF" => Ok(false),
            _ => Err(nonsense(question, &answer, "0 or 1")),
        }
    }
}

fn failed(error: LineError, asked: &str, within: Duration) -> Trouble {
    match error {
        LineError::Silent => Trouble::Silent { asked: asked.into(), seconds: within.as_secs_f64() },
        LineError::Cut(why) => Trouble::Cut(why),
    }
}

/// An answer that is not what was wanted.
pub fn nonsense(asked: &str, answered: &str, wanted: &'static str) -> Trouble {
    Trouble::Nonsense { asked: asked.into(), answered: clip(answered), wanted }
}

/// From here on a number is none, either way; an overload lies below.
const NOT_A_NUMBER: f64 = 9.905e37;

/// The number an answer begins with, an overload included: some add a unit, or further fields.
pub fn number(answer: &str) -> Option<f64> {
    let first = answer.split([',', ' ']).find(|part| !part.is_empty()).unwrap_or_default();
    first.parse::<f64>().ok().filter(|value| value.is_finite() && value.abs() < NOT_A_NUMBER)
}
