//! What comes next in a first power: readings and answers in, one act out. No I/O, no clock.
//!
//! ```text
//! cautions → state → joined → bounds set → on → each step: set, settle → at rest → warm? → meter → rails → warm? → checks → over
//! ```
//!
//! Whatever ends it early ([`End`]) leads to `over`; whoever drives it switches the supply off then.

use super::{
    caution::CAUTIONS,
    plan::Plan,
    question::{Answer, Question},
    rule::{self, End},
};
use crate::{
    quantity::{Amps, Seconds, Volts},
    supply::{Bounds, Reading},
};

/// So many readings one after the other above what is allowed for stop it while a person is being asked: a lamp that blinks is no latched chip.
const AGREE: u32 = 3;

/// What is to be done.
#[derive(Clone, PartialEq, Debug)]
pub enum Act {
    /// Ask this.
    Ask(Question),
    /// Set the limit and the trips, with the output off.
    Bound(Bounds),
    /// Switch the output on.
    On,
    /// Set a voltage.
    Set(Volts),
    /// Read for so long.
    Settle(Seconds),
    /// Switch off; it is over.
    Over,
}

#[derive(Clone, Copy, PartialEq, Eq, Debug)]
enum Phase {
    Caution(usize),
    State,
    Join,
    Bound,
    On,
    Set(usize),
    Settle(usize),
    Warm,
    Meter,
    Rail(usize),
    WarmAgain,
    Check(usize),
    Over,
}

/// A step that was gone through.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Step {
    /// What was set.
    pub set: Volts,
    /// What the supply showed at its end.
    pub reading: Reading,
    /// The highest current in it.
    pub peak: Amps,
}

/// A first power under way.
#[derive(Clone, PartialEq, Debug)]
pub struct Machine {
    plan: Plan,
    phase: Phase,
    set: Volts,
    /// Currents of the step under way, the latest reading, and how many in a row were above what is allowed for.
    currents: Vec<Amps>,
    latest: Option<Reading>,
    above: u32,
    steps: Vec<Step>,
    steady: Option<Amps>,
    rails: Vec<Option<Volts>>,
    checks: Vec<Option<bool>>,
    end: Option<End>,
}

impl Machine {
    /// Nothing has happened yet.
    pub fn new(plan: Plan) -> Self {
        Self {
            plan,
            phase: Phase::Caution(0),
            set: Volts::ZERO,
            currents: Vec::new(),
            latest: None,
            above: 0,
            steps: Vec::new(),
            steady: None,
            rails: Vec::new(),
            checks: Vec::new(),
            end: None,
        }
    }

    /// What it goes by.
    pub fn plan(&self) -> &Plan {
        &self.plan
    }

    /// What comes next.
    pub fn next(&self) -> Act {
        let warm = || Act::Ask(Question::Warm { what: self.plan.hot.clone() });
        match self.phase {
            Phase::Caution(number) => Act::Ask(Question::Caution(number)),
            Phase::State => {
                let [_, prompt] = &self.plan.state;
                Act::Ask(Question::State { prompt: prompt.clone() })
            }
            Phase::Join => Act::Ask(Question::Join { terminals: self.plan.terminals.clone() }),
            Phase::Bound => Act::Bound(self.plan.bounds),
            Phase::On => Act::On,
            Phase::Set(number) => self.plan.steps.get(number).map_or(Act::Over, |volts| Act::Set(*volts)),
            Phase::Settle(number) => {
                let last = number + 1 >= self.plan.steps.len();
                Act::Settle(if last { self.plan.wait.max(self.plan.settle) } else { self.plan.settle })
            }
            Phase::Warm | Phase::WarmAgain => warm(),
            Phase::Meter => Act::Ask(Question::Meter),
            Phase::Rail(number) => self
                .plan
                .rails
                .get(number)
                .map_or(Act::Over, |rail| Act::Ask(Question::rail(&self.plan, rail))),
            Phase::Check(number) => self.plan.checks.get(number).map_or(Act::Over, |[name, help]| {
                Act::Ask(Question::Check { name: name.clone(), help: help.clone() })
            }),
            Phase::Over => Act::Over,
        }
    }

    /// What was to be done is done: bounds, switching on, a voltage.
    pub fn done(&mut self) {
        match self.phase {
            Phase::Bound => self.go(Phase::On),
            Phase::On => self.go(Phase::Set(0)),
            Phase::Set(number) => {
                self.set = self.plan.steps.get(number).copied().unwrap_or_default();
                self.currents.clear();
                self.latest = None;
                self.go(Phase::Settle(number));
            }
            _ => {}
        }
    }

    /// The supply was read.
    pub fn reads(&mut self, reading: Reading) {
        if self.end.is_some() {
            return;
        }
        if let Some(end) = rule::at_once(&self.plan, self.set, &reading) {
            return self.stop(end);
        }
        self.latest = Some(reading);
        if let Phase::Settle(_) = self.phase {
            return self.currents.push(reading.current);
        }
        // Keys are pressed and screens lit while checks are answered.
        let most = match self.phase {
            Phase::Check(_) => self.plan.bounds.limit,
            _ => self.plan.ceiling(),
        };
        match rule::settled(&self.plan, self.set, &reading, most) {
            None => self.above = 0,
            Some(end) => {
                self.above += 1;
                if self.above >= AGREE {
                    self.stop(end);
                }
            }
        }
    }

    /// The time of a step is over.
    pub fn settled(&mut self) {
        let (Phase::Settle(number), Some(reading)) = (self.phase, self.latest) else { return };
        let peak = self.currents.iter().copied().fold(reading.current, Amps::max);
        self.steps.push(Step { set: self.set, reading, peak });
        if let Some(end) = rule::settled(&self.plan, self.set, &reading, self.plan.ceiling()) {
            return self.stop(end);
        }
        if number + 1 < self.plan.steps.len() {
            return self.go(Phase::Set(number + 1));
        }
        let rest = self.currents.get(self.currents.len() / 2..).unwrap_or_default();
        let mean = rest.iter().copied().sum::<Amps>() / rest.len().max(1) as f64;
        self.steady = Some(mean);
        match rule::at_rest(&self.plan, mean) {
            Some(end) => self.stop(end),
            None => self.go(Phase::Warm),
        }
    }

    /// A question was answered.
    pub fn answered(&mut self, answer: Answer) {
        match answer {
            Answer::Sign(sign) => return self.stop(End::Noticed(sign)),
            Answer::Stop => return self.stop(End::Asked),
            _ => {}
        }
        match self.phase {
            Phase::Caution(number) if number + 1 < CAUTIONS.len() => self.go(Phase::Caution(number + 1)),
            Phase::Caution(_) if self.plan.state.iter().all(|text| !text.is_empty()) => self.go(Phase::State),
            Phase::Caution(_) | Phase::State => self.go(Phase::Join),
            Phase::Join => self.go(Phase::Bound),
            Phase::Warm if self.plan.rails.is_empty() => self.first_check(),
            Phase::Warm if self.plan.meter_within.is_none() => self.go(Phase::Meter),
            Phase::Warm => self.go(Phase::Rail(0)),
            Phase::Meter => {
                if let Answer::Within(within) = answer {
                    self.plan.meter_within = Some(within);
                }
                self.go(Phase::Rail(0));
            }
            Phase::Rail(number) => {
                self.rails.push(if let Answer::Volts(volts) = answer { Some(volts) } else { None });
                let more = number + 1 < self.plan.rails.len();
                self.go(if more { Phase::Rail(number + 1) } else { Phase::WarmAgain });
            }
            Phase::WarmAgain => self.first_check(),
            Phase::Check(number) => {
                self.checks.push(match answer {
                    Answer::Yes => Some(true),
                    Answer::No => Some(false),
                    _ => None,
                });
                let more = number + 1 < self.plan.checks.len();
                self.go(if more { Phase::Check(number + 1) } else { Phase::Over });
            }
            Phase::Bound | Phase::On | Phase::Set(_) | Phase::Settle(_) | Phase::Over => {}
        }
    }

    fn first_check(&mut self) {
        self.go(if self.plan.checks.is_empty() { Phase::Over } else { Phase::Check(0) });
    }

    fn go(&mut self, phase: Phase) {
        self.above = 0;
        self.phase = phase;
    }

    /// It ends here. The first reason counts.
    pub fn stop(&mut self, end: End) {
        self.end.get_or_insert(end);
        self.phase = Phase::Over;
    }

    /// Has it ended?
    pub fn is_over(&self) -> bool {
        self.phase == Phase::Over
    }

    /// Why it ended before everything was looked at.
    pub fn end(&self) -> Option<&End> {
        self.end.as_ref()
    }

    /// The voltage that was set last.
    pub fn set(&self) -> Volts {
        self.set
    }

    /// Steps gone through.
    pub fn steps(&self) -> &[Step] {
        &self.steps
    }

    /// The highest current that was read in a step.
    pub fn inrush(&self) -> Option<Amps> {
        let under_way = self.currents.iter().copied();
        self.steps.iter().map(|step| step.peak).chain(under_way).reduce(Amps::max)
    }

    /// Current at rest.
    pub fn steady(&self) -> Option<Amps> {
        self.steady
    }

    /// What rails read, as far as they were asked; `None`: left out.
    pub fn rails(&self) -> &[Option<Volts>] {
        &self.rails
    }

    /// Answers to the checks, as far as they were asked; `None`: left out.
    pub fn checks(&self) -> &[Option<bool>] {
        &self.checks
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{
        start::{question::Sign, sample, within::Within},
        supply::Trip,
        verdict::Verdict,
    };

    fn reading(volts: Volts, amps: f64) -> Reading {
        Reading { voltage: volts, current: Amps(amps), tripped: None }
    }

    /// Goes on until the first question after power is on, with a board that draws what `draws` says.
    fn run(machine: &mut Machine, draws: impl Fn(Volts) -> Reading) {
        loop {
            match machine.next() {
                Act::Ask(Question::Warm { .. }) | Act::Over => return,
                Act::Ask(_) => machine.answered(Answer::Yes),
                Act::Bound(_) | Act::On | Act::Set(_) => machine.done(),
                Act::Settle(_) => {
                    let reading = draws(machine.set());
                    // The first of a step has the capacitors' charge in it.
                    machine.reads(Reading { current: reading.current + Amps(3e-3), ..reading });
                    for _ in 0..4 {
                        machine.reads(reading);
                    }
                    machine.settled();
                }
            }
        }
    }

    fn good(set: Volts) -> Reading {
        reading(set, if set > Volts(1.5) { 5e-3 } else { 0.0 })
    }

    #[test]
    fn a_good_unit_goes_all_the_way_in_this_order() {
        let mut machine = Machine::new(sample::plan());
        let mut said = Vec::new();
        loop {
            let act = machine.next();
            said.push(match &act {
                Act::Ask(Question::Caution(_)) => "caution",
                Act::Ask(Question::State { .. }) => "state",
                Act::Ask(Question::Join { .. }) => "join",
                Act::Ask(Question::Warm { .. }) => "warm",
                Act::Ask(Question::Meter) => "meter",
                Act::Ask(Question::Rail { .. }) => "rail",
                Act::Ask(Question::Check { .. }) => "check",
                Act::Ask(Question::Supply(_)) => "supply",
                Act::Bound(_) => "bound",
                Act::On => "on",
                Act::Set(_) => "set",
                Act::Settle(_) => "settle",
                Act::Over => "over",
            });
            match act {
                Act::Over => break,
                Act::Ask(Question::Meter) => machine.answered(Answer::Within(Within::METER)),
                Act::Ask(Question::Rail { .. }) => machine.answered(Answer::Volts(Volts(2.6))),
                Act::Ask(_) => machine.answered(Answer::Yes),
                Act::Bound(_) | Act::On | Act::Set(_) => machine.done(),
                Act::Settle(_) => {
                    machine.reads(good(machine.set()));
                    machine.settled();
                }
            }
        }
        let ramp = ["set", "settle"].repeat(6);
        let before = ["caution", "caution", "caution", "caution", "state", "join", "bound", "on"];
        let after = ["warm", "meter", "rail", "warm", "check", "check", "over"];
        assert_eq!(said, [&before[..], &ramp, &after].concat());
        assert_eq!(machine.end(), None);
        assert_eq!((machine.rails(), machine.checks()), (&[Some(Volts(2.6))][..], &[Some(true); 2][..]));
    }

    #[test]
    fn rest_is_what_is_drawn_in_the_second_half_and_the_inrush_is_the_highest_of_all() {
        let mut machine = Machine::new(sample::plan());
        run(&mut machine, good);
        assert!((machine.steady().unwrap().0 - 5e-3).abs() < 1e-9);
        assert!((machine.inrush().unwrap().0 - 8e-3).abs() < 1e-9);
        assert_eq!(machine.steps().len(), 6);
    }

    #[test]
    fn a_short_stops_at_the_first_step_where_the_limit_acts() {
        let mut machine = Machine::new(sample::plan());
        run(&mut machine, |_| reading(Volts(0.24), 0.12));
        assert!(matches!(machine.end(), Some(End::Sags { at, .. }) if (at.0 - 0.4).abs() < 1e-9));
        assert_eq!((machine.next(), machine.steps().len()), (Act::Over, 1));
    }

    #[test]
    fn a_latched_chip_stops_before_the_nominal_voltage() {
        let mut machine = Machine::new(sample::plan());
        run(&mut machine, |set| reading(set, 0.05 * (set.0 - 1.0).max(0.0)));
        // 20 mA at 1.4 V would pass; 30 mA at 1.6 V are more than three times 9 mA.
        assert!(matches!(machine.end(), Some(End::OverCurrent { at, .. }) if (at.0 - 1.6).abs() < 1e-9));
    }

    #[test]
    fn nothing_drawn_at_full_voltage_is_no_load() {
        let mut machine = Machine::new(sample::plan());
        run(&mut machine, |set| reading(set, 0.0));
        // The charge of capacitors in the first readings is not the current at rest.
        assert_eq!(machine.end(), Some(&End::NoLoad { at: Volts(2.6) }));
        assert_eq!(machine.steps().len(), 6);
    }

    #[test]
    fn a_trip_and_another_voltage_stop_at_once() {
        let mut machine = Machine::new(sample::plan());
        run(&mut machine, |_| Reading { tripped: Some(Trip::OverCurrent), ..reading(Volts::ZERO, 0.0) });
        assert!(matches!(machine.end(), Some(End::Tripped { trip: Trip::OverCurrent, .. })));
        let mut machine = Machine::new(sample::plan());
        run(&mut machine, |set| reading(set + Volts(0.3), 0.0));
        assert_eq!(machine.end().map(End::verdict), Some(Verdict::Void));
    }

    #[test]
    fn whatever_is_asked_a_sign_ends_it_and_the_first_reason_counts() {
        let mut machine = Machine::new(sample::plan());
        run(&mut machine, good);
        machine.answered(Answer::Sign(Sign::Smell));
        machine.stop(End::Asked);
        assert_eq!((machine.next(), machine.end()), (Act::Over, Some(&End::Noticed(Sign::Smell))));
    }

    #[test]
    fn a_unit_that_draws_more_while_a_person_is_asked_is_stopped_and_a_blink_is_not() {
        let mut machine = Machine::new(sample::plan());
        run(&mut machine, good);
        let at = Volts(2.6);
        for amps in [0.03, 0.03, 5e-3, 0.03, 0.03] {
            machine.reads(reading(at, amps));
        }
        assert!(!machine.is_over());
        machine.reads(reading(at, 0.03));
        assert!(matches!(machine.end(), Some(End::OverCurrent { .. })));
        // While checks are answered it may draw what the limit gives.
        let mut machine = Machine::new(Plan { rails: Vec::new(), ..sample::plan() });
        run(&mut machine, good);
        machine.answered(Answer::Yes);
        (0..9).for_each(|_| machine.reads(reading(at, 0.1)));
        assert!(!machine.is_over());
    }

    #[test]
    fn a_board_without_rails_checks_and_states_is_asked_for_none() {
        let bare = Plan {
            rails: Vec::new(),
            checks: Vec::new(),
            state: ["as placed".into(), String::new()],
            ..sample::plan()
        };
        let mut machine = Machine::new(bare);
        for _ in 0..CAUTIONS.len() {
            machine.answered(Answer::Yes);
        }
        assert!(matches!(machine.next(), Act::Ask(Question::Join { .. })));
        run(&mut machine, good);
        machine.answered(Answer::Yes);
        assert_eq!((machine.next(), machine.end()), (Act::Over, None));
    }
}
