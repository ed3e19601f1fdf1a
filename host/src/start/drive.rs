//! A first power with a supply and a person: does what the machine says, looks at the supply while the person thinks, and takes the output off at
//! every end.

use std::time::{Duration, Instant};

use super::{
    machine::{Act, Machine},
    question::{Answer, Question},
    rule::End,
    verdict::{self, Subject},
};
use crate::{
    link::CancelToken,
    operator::Unattended,
    quantity::{Seconds, si},
    report::start::StartSheet,
    supply::{Halt, Hand, Reading, Request, Supply, SupplyError},
};

/// Between two looks at a supply that is on. With the patience for its answer ([`ALARM`](crate::supply::scpi::ALARM)) that makes less than a second.
const LOOK: Duration = Duration::from_millis(200);
/// Between two readings of a step.
const READ: Duration = Duration::from_millis(50);

/// Whoever stands beside the unit.
pub trait Attendant {
    /// Puts a question.
    fn ask(&mut self, question: &Question);

    /// The answer, if one comes within [`operator::LOOK`](crate::operator::LOOK).
    ///
    /// # Errors
    /// If nobody is there, or everything is cancelled.
    fn answer(&mut self, question: &Question) -> Result<Option<String>, Unattended>;

    /// Why an answer was none.
    fn refuse(&mut self, why: &str);

    /// What is going on.
    fn tell(&mut self, text: &str);

    /// What has to be done at once.
    fn alarm(&mut self, text: &str);
}

/// A first power under way.
pub struct Starter<'s> {
    /// The supply.
    pub supply: &'s mut dyn Supply,
    /// The person.
    pub attendant: &'s mut dyn Attendant,
    /// What comes next.
    pub machine: Machine,
    /// Stops it.
    pub cancel: CancelToken,
}

/// What came of it.
#[derive(Clone, PartialEq, Debug)]
pub struct Started {
    /// Everything that was seen.
    pub sheet: StartSheet,
    /// Why it ended before everything was looked at.
    pub end: Option<End>,
    /// Was the output on, or may it have been? If not, nothing was done to the unit.
    pub was_on: bool,
    /// The supply has said that its output is off.
    pub is_off: bool,
}

impl Starter<'_> {
    /// Goes through it all. Its output is off at the end, or an alarm was given.
    pub fn run(mut self, subject: Subject) -> Started {
        let mut was_on = false;
        let mut alarm = None;
        while !self.machine.is_over() {
            let act = self.machine.next();
            was_on |= act == Act::On;
            if let Err(error) = self.act(act, was_on) {
                // Before anything else is done: the unit may be under power with nobody in control.
                if error.is_lost() && was_on {
                    alarm = Some(self.alarm(&error));
                }
                self.machine.stop(of(error));
            }
        }
        let mut is_off = !was_on;
        if was_on {
            let mut hand =
                AtHand { attendant: self.attendant, machine: &mut self.machine, switching_off: true };
            match self.supply.off(&mut hand) {
                Ok(()) => {
                    is_off = true;
                    if alarm.is_some() {
                        self.attendant.tell("The supply answers again, and says that its output is off.");
                    }
                }
                Err(error) => {
                    alarm = alarm.or_else(|| Some(self.alarm(&error)));
                    self.machine.stop(of(error));
                }
            }
        }
        let sheet = verdict::sheet(&self.machine, subject, self.supply.name(), alarm);
        Started { sheet, end: self.machine.end().cloned(), was_on, is_off }
    }

    fn alarm(&mut self, error: &SupplyError) -> String {
        let text = format!(
            "SWITCH THE SUPPLY OFF BY HAND, NOW. {error}. Its output may still be on; until you are there its own limits hold: {}.",
            self.machine.plan().bounds.in_words()
        );
        self.attendant.alarm(&text);
        text
    }

    fn act(&mut self, act: Act, live: bool) -> Result<(), SupplyError> {
        let mut hand = AtHand { attendant: self.attendant, machine: &mut self.machine, switching_off: false };
        match act {
            Act::Ask(question) => return self.ask(&question, live),
            Act::Bound(bounds) => self.supply.bound(&bounds, &mut hand)?,
            Act::On => self.supply.on(&mut hand)?,
            Act::Set(volts) => self.supply.set(volts, &mut hand)?,
            Act::Settle(time) => return self.settle(time),
            Act::Over => return Ok(()),
        }
        self.machine.done();
        Ok(())
    }

    /// Asks until there is an answer, or until the supply shows that there is no time for one.
    fn ask(&mut self, question: &Question, live: bool) -> Result<(), SupplyError> {
        self.attendant.ask(question);
        let mut looked = Instant::now();
        loop {
            let told = self.attendant.answer(question).map_err(Halt::from)?;
            if live && self.supply.reads_itself() && (told.is_some() || looked.elapsed() >= LOOK) {
                self.look()?;
                looked = Instant::now();
                if self.machine.is_over() {
                    return Ok(());
                }
            }
            match told.map(|text| question.parse(&text)) {
                None => {}
                Some(Ok(answer)) => {
                    self.machine.answered(answer);
                    return Ok(());
                }
                Some(Err(why)) => self.attendant.refuse(&why),
            }
        }
    }

    fn look(&mut self) -> Result<Reading, SupplyError> {
        let mut hand = AtHand { attendant: self.attendant, machine: &mut self.machine, switching_off: false };
        let reading = self.supply.read(&mut hand)?;
        self.machine.reads(reading);
        Ok(reading)
    }

    /// Reads for so long; a supply that a person reads once, at the end.
    fn settle(&mut self, time: Seconds) -> Result<(), SupplyError> {
        let time = Duration::try_from_secs_f64(time.0).unwrap_or_default();
        let mut spent = Duration::ZERO;
        let mut latest = None;
        while spent < time {
            if self.cancel.is_cancelled() {
                return Err(Halt::Unattended(Unattended::Cancelled).into());
            }
            let piece = READ.min(time.saturating_sub(spent));
            self.supply.rest(piece);
            spent += piece;
            if self.supply.reads_itself() || spent >= time {
                latest = Some(self.look()?);
            }
            if self.machine.is_over() {
                return Ok(());
            }
        }
        if let Some(reading) = latest {
            let plan = self.machine.plan();
            self.attendant.tell(&format!(
                "{:>8} set: {:>8}, {:>8}  (limit {})",
                si(self.machine.set().0, 3, "V"),
                si(reading.voltage.0, 3, "V"),
                si(reading.current.0, 3, "A"),
                si(plan.bounds.limit.0, 3, "A"),
            ));
        }
        self.machine.settled();
        Ok(())
    }
}

/// What ended it, by what the supply or a person at it said.
fn of(error: SupplyError) -> End {
    match error {
        SupplyError::Halted { halt: Halt::Said } => End::Asked,
        SupplyError::Halted { halt: Halt::Unattended(error) } => {
            End::Nobody { cancelled: error == Unattended::Cancelled, why: error.to_string() }
        }
        error => End::Supply { lost: error.is_lost(), why: error.to_string() },
    }
}

/// A person at a supply that is set by hand.
struct AtHand<'h> {
    attendant: &'h mut dyn Attendant,
    machine: &'h mut Machine,
    /// Whatever is said now, the output goes off.
    switching_off: bool,
}

impl AtHand<'_> {
    fn ask(&mut self, request: &Request) -> Result<Answer, Halt> {
        let question = Question::Supply(*request);
        self.attendant.ask(&question);
        loop {
            let Some(text) = self.attendant.answer(&question)? else { continue };
            match question.parse(&text) {
                Ok(Answer::Sign(_) | Answer::Stop) if self.switching_off => {
                    self.attendant.refuse("switch the output off first, then press Enter");
                }
                Ok(answer @ (Answer::Sign(_) | Answer::Stop)) => {
                    // The machine knows why; the first reason counts.
                    self.machine.answered(answer);
                    return Err(Halt::Said);
                }
                Ok(answer) => return Ok(answer),
                Err(why) => self.attendant.refuse(&why),
            }
        }
    }
}

impl Hand for AtHand<'_> {
    fn done(&mut self, request: &Request) -> Result<(), Halt> {
        self.ask(request).map(drop)
    }

    fn shows(&mut self, request: &Request) -> Result<Reading, Halt> {
        loop {
            if let Answer::Shows(reading) = self.ask(request)? {
                return Ok(reading);
            }
        }
    }
}
