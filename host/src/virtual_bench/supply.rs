//! A modelled bench supply with a board behind it: it hears SCPI and answers as the standard says, in time of its own.
//!
//! What it is told is kept in [`Talked`], so that a test can see in which order that was. Faults are written as those of the bench,
//! `NAME=WHAT`:
//!
//! ```text
//! short=2 ohm        across the supply's terminals     load=open          the board draws nothing
//! load=7 mA          at rest                           load=latch-up      draws ever more as the voltage rises
//! supply=silent      falls silent half way up          supply=error       reports one when it is set
//! supply=deaf        keeps what was set before         supply=+0.3 V      gives more than it says
//! RAIL=2.9 V         reads that                        CHECK=no           is answered so
//! nose=smoke         smells that (or `hot`, `smell`)
//! ```

use std::{cell::RefCell, collections::BTreeMap, rc::Rc, time::Duration};

use crate::random::Rng;
use crate::{
    board::Board,
    document::suggestion,
    instrument::{Line, LineError},
    quantity::{self, Amps, Ohms, Unit, Volts},
};

/// One exchange takes this, second: a supply on a network (common practice).
const EXCHANGE_S: f64 = 8e-3;
/// What a step charges fades with this time constant, second: the supply's own slope and the board's capacitors.
const CHARGING_S: f64 = 0.02;
/// Relative standard deviation of units' currents at rest, and of one reading.
const UNITS: f64 = 0.06;
const NOISE: f64 = 2e-3;
/// A board without a stated window draws this share of its full load at rest.
const AT_REST: f64 = 0.05;
/// From this share of its lowest supply voltage on a board wakes up.
const WAKES: f64 = 0.6;

/// A fault that nobody knows.
#[derive(Clone, PartialEq, Eq, Debug, thiserror::Error)]
#[error("fault {text:?}: {help}")]
pub struct SupplySpecError {
    /// As given.
    pub text: String,
    /// What would be one.
    pub help: String,
}

/// What was said to the supply, with the time it had been on for, second. Shared with whoever looks.
pub type Talked = Rc<RefCell<Vec<(f64, String)>>>;

/// What is wrong with the supply itself.
#[derive(Clone, Copy, PartialEq, Debug)]
enum Quirk {
    Silent,
    Error,
    Deaf,
    Gives(Volts),
}

/// What the board draws.
#[derive(Clone, Copy, PartialEq, Debug)]
enum Load {
    Rests(Amps),
    Open,
    LatchUp,
}

/// The board, for whoever reads its rails and looks at it.
#[derive(Clone, PartialEq, Debug)]
pub struct Bystander {
    rails: BTreeMap<String, Volts>,
    checks: BTreeMap<String, bool>,
    nose: Option<&'static str>,
}

impl Bystander {
    /// What a rail reads.
    pub fn rail(&self, name: &str) -> Option<Volts> {
        self.rails.get(name).copied()
    }

    /// Is a check so?
    pub fn check(&self, name: &str) -> bool {
        self.checks.get(name).copied().unwrap_or(true)
    }

    /// What is smelt or felt.
    pub fn nose(&self) -> Option<&'static str> {
        self.nose
    }
}

/// A supply with a board behind it.
#[derive(Debug)]
pub struct VirtualSupply {
    rng: Rng,
    talked: Talked,
    seconds: f64,
    lowest: Volts,
    bulk_coulombs_per_volt: f64,
    load: Load,
    short: Option<Ohms>,
    quirk: Option<Quirk>,
    set: Volts,
    limit: Amps,
    trips: [(f64, bool, bool); 2],
    on: bool,
    stepped: (f64, f64),
    errors: Vec<&'static str>,
    answer: Option<String>,
}

/// Index of the trips in their list.
const OVER_VOLTAGE: usize = 0;
const OVER_CURRENT: usize = 1;

impl VirtualSupply {
    /// A supply, and what somebody beside it sees. Every seed is a unit of its own.
    ///
    /// # Errors
    /// A fault that is none.
    pub fn new(board: &Board, seed: u64, faults: &[String]) -> Result<(Self, Bystander), SupplySpecError> {
        let mut rng = Rng::new(seed);
        let middle = match board.power.as_ref().and_then(|power| power.idle) {
            Some([low, high]) => 0.5 * (low + high),
            None => AT_REST * board.supply.load,
        };
        let rests = middle * (1.0 + UNITS * rng.normal()).max(0.1);
        let mut supply = Self {
            lowest: board.supply.voltage[0].max(Volts(0.1)),
            bulk_coulombs_per_volt: board.supply.bulk.0.max(1e-6),
            load: Load::Rests(rests),
            short: None,
            quirk: None,
            set: Volts::ZERO,
            limit: Amps(1.0),
            trips: [(60.0, false, false), (10.0, false, false)],
            on: false,
            stepped: (0.0, 0.0),
            errors: Vec::new(),
            answer: None,
            seconds: 0.0,
            talked: Talked::default(),
            rng: rng.fork(),
        };
        let rails = board.rails.iter().map(|rail| {
            let [low, high] = rail.voltage;
            (rail.name.clone(), low + rng.between(0.45, 0.55) * (high - low))
        });
        let mut by = Bystander { rails: rails.collect(), checks: BTreeMap::new(), nose: None };
        for check in &board.checks {
            by.checks.insert(check.name.clone(), true);
        }
        for fault in faults {
            supply.put(&mut by, fault)?;
        }
        Ok((supply, by))
    }

    /// What was said to it.
    pub fn talked(&self) -> Talked {
        Rc::clone(&self.talked)
    }

    fn put(&mut self, by: &mut Bystander, text: &str) -> Result<(), SupplySpecError> {
        let wrong = |help: &str| SupplySpecError { text: text.into(), help: help.into() };
        let Some((name, what)) = text.rsplit_once('=') else {
            return Err(wrong("write NAME=WHAT, such as short=2 ohm, load=open or supply=silent"));
        };
        match (name, what) {
            ("short", ohms) => {
                let ohms = quantity::parse(ohms, Unit::Ohm).map_err(|error| wrong(&error.help))?;
                self.short = Some(Ohms(ohms.max(1e-3)));
            }
            ("load", "open") => self.load = Load::Open,
            ("load", "latch-up") => self.load = Load::LatchUp,
            ("load", amps) => {
                let amps = quantity::parse(amps, Unit::Ampere)
                    .map_err(|error| wrong(&format!("write load=open, load=latch-up, or {}", error.help)))?;
                self.load = Load::Rests(Amps(amps));
            }
            ("supply", "silent") => self.quirk = Some(Quirk::Silent),
            ("supply", "error") => self.quirk = Some(Quirk::Error),
            ("supply", "deaf") => self.quirk = Some(Quirk::Deaf),
            ("supply", volts) => {
                let volts = quantity::parse(volts, Unit::Volt)
                    .map_err(|_| wrong("write supply=silent, supply=error, supply=deaf or supply=+0.3 V"))?;
                self.quirk = Some(Quirk::Gives(Volts(volts)));
            }
            ("nose", sign) => {
                let sign = ["hot", "smell", "smoke"].into_iter().find(|word| *word == sign);
                by.nose = Some(sign.ok_or_else(|| wrong("write nose=hot, nose=smell or nose=smoke"))?);
            }
            (rail, volts) if by.rails.contains_key(rail) => {
                let volts = quantity::parse(volts, Unit::Volt).map_err(|error| wrong(&error.help))?;
                by.rails.insert(rail.into(), Volts(volts));
            }
            (check, answer) if by.checks.contains_key(check) => {
                let answer = match answer {
                    "yes" => true,
                    "no" => false,
                    _ => return Err(wrong("a check is answered yes or no")),
                };
                by.checks.insert(check.into(), answer);
            }
            (name, _) => {
                let own = ["short", "load", "supply", "nose"];
                let names = by.rails.keys().chain(by.checks.keys()).map(String::as_str);
                let known: Vec<&str> = own.into_iter().chain(names).collect();
                return Err(wrong(&suggestion(name, &known)));
            }
        }
        Ok(())
    }

    /// What the board takes at a voltage, once it is charged.
    fn drawn(&self, volts: f64) -> f64 {
        let share = volts / self.lowest.0;
        let awake = ((share - WAKES) / (1.0 - WAKES)).clamp(0.0, 1.0);
        let own = match self.load {
            Load::Open => 0.0,
            Load::Rests(rests) => rests.0 * awake,
            // From half of the way on a parasitic thyristor holds: 20 Ω beyond it.
            Load::LatchUp => (volts - 0.5 * self.lowest.0).max(0.0) / 20.0,
        };
        own + self.short.map_or(0.0, |short| volts / short.0)
    }

    /// Voltage and current at the terminals.
    fn now(&mut self) -> (f64, f64) {
        if !self.on {
            return (0.0, 0.0);
        }
        let gives = match self.quirk {
            Some(Quirk::Gives(more)) => self.set.0 + more.0,
            _ => self.set.0,
        };
        let (since, volts) = self.stepped;
        let charging = self.bulk_coulombs_per_volt * volts / CHARGING_S
            * libm::exp(-(self.seconds - since) / CHARGING_S);
        let wanted = self.drawn(gives) + charging;
        if wanted <= self.limit.0 {
            return (gives, wanted);
        }
        // The limit acts: the voltage falls to where the board takes no more.
        let (mut low, mut high) = (0.0, gives);
        for _ in 0..50 {
            let middle = 0.5 * (low + high);
            if self.drawn(middle) > self.limit.0 { high = middle } else { low = middle }
        }
        (low, self.limit.0)
    }

    /// Acts as its trips do.
    fn guard(&mut self) {
        let (volts, amps) = self.now();
        for (which, value) in [(OVER_VOLTAGE, volts), (OVER_CURRENT, amps)] {
            if let Some((level, armed, acted)) = self.trips.get_mut(which)
                && *armed
                && value > *level
            {
                (*acted, self.on) = (true, false);
            }
        }
    }

    fn number(&mut self, text: &str) -> Option<f64> {
        let number = text.trim().parse::<f64>().ok().filter(|number| number.is_finite() && *number >= 0.0);
        if number.is_none() {
            self.errors.push("-104,\"Data type error\"");
        }
        number
    }

    fn hear(&mut self, text: &str) {
        let (head, rest) = text.split_once(' ').unwrap_or((text, ""));
        let flag = |flag: bool| Some(if flag { "1" } else { "0" }.to_owned());
        let noise = 1.0 + NOISE * self.rng.normal();
        let (volts, amps) = self.now();
        let which = usize::from(head.starts_with("CURR"));
        let trip = self.trips.get(which).copied().unwrap_or_default();
        self.answer = match head {
            "*IDN?" => Some("MODELLED,SUPPLY,0001,1.0".into()),
            "*OPC?" | "*TST?" => flag(true),
            "SYST:ERR?" => {
                let first = if self.errors.is_empty() { "0,\"No error\"" } else { self.errors.remove(0) };
                Some(first.into())
            }
            "MEAS:VOLT?" => Some(format!("{volts:.4}")),
            "MEAS:CURR?" => Some(format!("{:.6}", amps * noise)),
            "VOLT?" => Some(format!("{:.4}", self.set.0)),
            "CURR?" => Some(format!("{:.4}", self.limit.0)),
            "OUTP?" => flag(self.on),
            "VOLT:PROT?" | "CURR:PROT?" => Some(format!("{:.4}", trip.0)),
            "VOLT:PROT:STAT?" | "CURR:PROT:STAT?" => flag(trip.1),
            "VOLT:PROT:TRIP?" | "CURR:PROT:TRIP?" => flag(trip.2),
            _ => None,
        };
        match head {
            "*CLS" => self.errors.clear(),
            "*RST" => self.on = false,
            "OUTP" => {
                self.on = matches!(rest, "ON" | "1");
                self.stepped = (self.seconds, self.set.0);
            }
            "VOLT" => {
                if let Some(volts) = self.number(rest) {
                    if self.quirk == Some(Quirk::Error) && volts > 0.0 {
                        self.errors.push("-222,\"Data out of range\"");
                    }
                    if self.quirk != Some(Quirk::Deaf) || volts == 0.0 {
                        self.stepped = (self.seconds, (volts - self.set.0).max(0.0));
                        self.set = Volts(volts);
                    }
                }
            }
            "CURR" => {
                if let Some(amps) = self.number(rest) {
                    self.limit = Amps(amps);
                }
            }
            "VOLT:PROT" | "CURR:PROT" => {
                let level = self.number(rest);
                if let (Some(level), Some(trip)) = (level, self.trips.get_mut(which)) {
                    trip.0 = level;
                }
            }
            "VOLT:PROT:STAT" | "CURR:PROT:STAT" => {
                if let Some(trip) = self.trips.get_mut(which) {
                    trip.1 = matches!(rest, "ON" | "1");
                }
            }
            _ if self.answer.is_none() => self.errors.push("-113,\"Undefined header\""),
            _ => {}
        }
    }
}

impl Line for VirtualSupply {
    fn send(&mut self, text: &str) -> Result<(), LineError> {
        self.seconds += EXCHANGE_S;
        self.talked.borrow_mut().push((self.seconds, text.to_owned()));
        if self.quirk == Some(Quirk::Silent) && self.on && self.set >= 0.5 * self.lowest {
            self.answer = None;
            return Ok(());
        }
        self.guard();
        self.hear(text);
        Ok(())
    }

    fn receive(&mut self, within: Duration) -> Result<String, LineError> {
        match self.answer.take() {
            Some(answer) => Ok(answer),
            None => {
                self.seconds += within.as_secs_f64();
                Err(LineError::Silent)
            }
        }
    }

    fn rest(&mut self, time: Duration) {
        self.seconds += time.as_secs_f64();
        self.guard();
    }
}
