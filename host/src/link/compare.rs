//! Answers of a run, held against its plan as they come.
//!
//! A controller can only give what its plan asks for: shots in order, the codes of each in order and as many as its method may
//! give, ends that fit. Anything else means that frames were lost, or that whoever answers is no controller; none of it may
//! be booked on a unit.

use copperwalk_core::{
    matrix::Closed,
    residual::{self, Residual},
};
use copperwalk_wire::{
    FromBench, Method, Ratio, Shot,
    codes::{Codes, decode, possible_counts},
    message::{RunEnd, ShotEnd},
};

use super::{deadline, error::BrokenPromise, report::RanShot, words};

/// How far a run has come.
#[derive(Debug)]
pub(super) struct Course<'p> {
    plan: &'p [Shot],
    /// The longest device time the run can have taken, µs.
    longest_us: u64,
    shots: Vec<RanShot>,
    /// Codes of the shot under way.
    codes: Vec<i32>,
    /// Relays closed by the whole shots.
    closures: u32,
    /// The controller's own residual check ends the run like this.
    must_end: Option<RunEnd>,
}

/// How a run ended.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) struct End {
    pub why: RunEnd,
    pub closures: u32,
    pub device_us: u32,
}

impl<'p> Course<'p> {
    pub(super) fn new(plan: &'p [Shot]) -> Self {
        let longest_us = u64::try_from(deadline::run(plan).as_micros()).unwrap_or(u64::MAX);
        Self { plan, longest_us, shots: Vec::new(), codes: Vec::new(), closures: 0, must_end: None }
    }

    /// The shots that are over.
    pub(super) fn shots(&self) -> &[RanShot] {
        &self.shots
    }

    /// The codes of the shot under way.
    pub(super) fn codes(&self) -> &[i32] {
        &self.codes
    }

    pub(super) fn into_shots(self) -> Vec<RanShot> {
        self.shots
    }

    /// Takes the next answer under the run's number; the end of the run, once it is there.
    pub(super) fn take(&mut self, body: FromBench) -> Result<Option<End>, BrokenPromise> {
        match body {
            FromBench::Codes { shot, first, ref codes } => {
                let planned = self.under_way(&body)?;
                let (number, taken) = (self.shots.len(), self.codes.len());
                let room = possible_counts(planned).most.saturating_sub(taken);
                let fits = usize::from(shot) == number
                    && usize::from(first) == taken
                    && (1..=room).contains(&codes.len());
                if !fits {
                    let expected = match room {
                        0 => format!("the end of reading {}", number + 1),
                        _ => format!(
                            "1 to {room} conversions of reading {} from number {taken} on",
                            number + 1
                        ),
                    };
                    return Err(self.broken(expected, words::answer(&body)));
                }
                self.codes.extend_from_slice(codes);
                Ok(None)
            }
            FromBench::Shot { shot, codes, why, from_us, to_us } => {
                let planned = self.under_way(&body)?;
                let (number, taken) = (self.shots.len(), self.codes.len());
                if usize::from(shot) != number || usize::from(codes) != taken {
                    let expected =
                        format!("more of reading {}, of which {taken} conversions came", number + 1);
                    return Err(self.broken(expected, words::answer(&body)));
                }
                let end = decode(planned, &self.codes).map(must_end).map_err(|malformed| {
                    self.broken("conversions that fit the reading".into(), format!("others: {malformed}"))
                })?;
                if !may_end(planned, taken, why) {
                    let expected = "an end that fits the reading and its conversions".into();
                    return Err(self.broken(expected, words::answer(&body)));
                }
                self.check_clock(from_us, to_us)?;
                self.closures += closures(self.before(), planned);
                self.must_end = end;
                let codes = std::mem::take(&mut self.codes);
                self.shots.push(RanShot { codes, why, span_us: (from_us, to_us) });
                Ok(None)
            }
            FromBench::Ended { why, shots, closures, device_us } => {
                if usize::from(shots) != self.shots.len() || !self.may_end_run(why) {
                    return Err(self.broken(self.expected(), words::answer(&body)));
                }
                self.check_closures(why, closures)?;
                self.check_clock(self.clock_us(), device_us)?;
                Ok(Some(End { why, closures, device_us }))
            }
            other => Err(self.broken(self.expected(), words::answer(&other))),
        }
    }

    /// The shot under way, if there may be one.
    fn under_way(&self, body: &FromBench) -> Result<&'p Shot, BrokenPromise> {
        self.plan
            .get(self.shots.len())
            .filter(|_| self.must_end.is_none())
            .ok_or_else(|| self.broken(self.expected(), words::answer(body)))
    }

    /// The shot before the one under way.
    fn before(&self) -> Option<&'p Shot> {
        self.plan.get(self.shots.len().checked_sub(1)?)
    }

    /// Device time of the last end of a shot, µs.
    fn clock_us(&self) -> u32 {
        self.shots.last().map_or(0, |shot| shot.span_us.1)
    }

    /// Whether the run may end like this now.
    fn may_end_run(&self, why: RunEnd) -> bool {
        match why {
            RunEnd::Fault(_) | RunEnd::Stopped => true,
            _ if !self.codes.is_empty() => false,
            RunEnd::Residual | RunEnd::NoContact => self.must_end == Some(why),
            RunEnd::Complete => self.must_end.is_none() && self.shots.len() == self.plan.len(),
            RunEnd::Gate => {
                let gated = |shot: &Shot| matches!(shot.method, Method::Ratio(Ratio { gate: Some(_), .. }));
                self.before().is_some_and(gated)
            }
        }
    }

    /// The shot under way may have closed relays that no end of a shot accounts for.
    fn check_closures(&self, why: RunEnd, told: u32) -> Result<(), BrokenPromise> {
        let under_way = match why {
            RunEnd::Fault(_) | RunEnd::Stopped => {
                self.plan.get(self.shots.len()).map_or(0, |shot| closures(self.before(), shot))
            }
            _ => 0,
        };
        if (self.closures..=self.closures + under_way).contains(&told) {
            return Ok(());
        }
        Err(self.broken(format!("{} relays closed in the run", self.closures), format!("{told}")))
    }

    /// The controller's clock runs forward, and not for longer than the run can last.
    fn check_clock(&self, from_us: u32, to_us: u32) -> Result<(), BrokenPromise> {
        if self.clock_us() <= from_us && from_us <= to_us && u64::from(to_us) <= self.longest_us {
            return Ok(());
        }
        let expected = format!("times from {} to {} µs", self.clock_us(), self.longest_us);
        Err(self.broken(expected, format!("{from_us} to {to_us} µs")))
    }

    /// What may come now, in words.
    fn expected(&self) -> String {
        let number = self.shots.len() + 1;
        match self.must_end {
            Some(why) => format!("the end of the run {}", words::run_end(why)),
            None if number > self.plan.len() => {
                format!("the end of the run, {}", words::run_end(RunEnd::Complete))
            }
            None => format!("reading {number}, of which {} conversions came", self.codes.len()),
        }
    }

    fn broken(&self, expected: String, got: String) -> BrokenPromise {
        let of = self.plan.len();
        BrokenPromise { shot: Some(((self.shots.len() + 1).min(of), of)), expected, got }
    }
}

/// Whether a shot that gave so many codes, which fit its method, may end like this.
fn may_end(shot: &Shot, codes: usize, why: ShotEnd) -> bool {
    let decides = match &shot.method {
        Method::Residual | Method::Bleed { .. } | Method::Sample { .. } | Method::Watch(_) => false,
        Method::Ratio(ratio) => ratio.stop.is_some(),
        Method::Settle(_) => true,
    };
    match why {
        ShotEnd::Decided => decides,
        ShotEnd::Budget => decides && codes == possible_counts(shot).most,
        ShotEnd::Complete => !decides,
    }
}

/// How the controller's own judgement of these codes ends the run, if it does.
fn must_end(codes: Codes<'_>) -> Option<RunEnd> {
    let Codes::Residual(codes) = codes else { return None };
    match residual::judge(codes) {
        Residual::Dead => None,
        Residual::Alive => Some(RunEnd::Residual),
        Residual::NoContact => Some(RunEnd::NoContact),
    }
}

/// Relays that close between two shots; before the first everything is open.
fn closures(before: Option<&Shot>, shot: &Shot) -> u32 {
    Closed::of(shot).closures_after(&before.map_or(Closed::NONE, Closed::of))
}

#[cfg(test)]
mod tests {
    use copperwalk_wire::{
        Contacts, Gain, Input, Rate, Settle, Source, Stop,
        message::{Fault, Refusal},
    };

    use super::*;

    const CONTACTS: Contacts =
        Contacts { force_plus: Some(0), force_minus: Some(1), sense_plus: Some(2), sense_minus: Some(3) };
    const STOP: Stop = Stop { lo: -1.0, hi: 1.0, close: 0.1, sigma_a: 1.0, sigma_b: 1.0, rel: 0.0, k: 2.0 };

    fn ratio(stop: Option<Stop>, gate: Option<f32>) -> Method {
        Method::Ratio(Ratio {
            gain_a: Gain::X1,
            gain_b: Gain::X1,
            rate: Rate::Sps1000,
            wait_us: 0,
            contact_check: true,
            ends: true,
            triples_min: 1,
            triples_max: 3,
            stop,
            gate,
        })
    }

    fn settle() -> Method {
        Method::Settle(Settle {
            gain_a: Gain::X1,
            gain_b: Gain::X1,
            rate: Rate::Sps1000,
            window: 2,
            windows_max: 3,
            pass: 1.0,
            slope: 0.1,
            floor: 1.0,
            turned: false,
        })
    }

    fn look() -> Method {
        let (input, gain, rate) = (Input::Sense, Gain::X1, Rate::Sps1000);
        Method::Sample { input, reversed: false, burnout: false, gain, rate, count: 3 }
    }

    fn shot(method: Method) -> Shot {
        Shot { contacts: CONTACTS, source: Source::Off, method }
    }

    /// A residual check, a gated ratio, a bleed.
    fn plan() -> Vec<Shot> {
        vec![shot(Method::Residual), shot(ratio(Some(STOP), Some(1.0))), shot(Method::Bleed { millis: 1 })]
    }

    fn codes(shot: u16, first: u16, codes: &[i32]) -> FromBench {
        FromBench::Codes { shot, first, codes: codes.iter().copied().collect() }
    }

    fn over(shot: u16, codes: u16, why: ShotEnd) -> FromBench {
        let from_us = u32::from(shot) * 100_000;
        FromBench::Shot { shot, codes, why, from_us, to_us: from_us + 50_000 }
    }

    fn ended(why: RunEnd, shots: u16, closures: u32) -> FromBench {
        FromBench::Ended { why, shots, closures, device_us: 1_000_000 }
    }

    /// An honest run of the plan: contacts closed once, the bleed relay once.
    fn honest() -> Vec<FromBench> {
        vec![
            codes(0, 0, &[0; 4]),
            over(0, 4, ShotEnd::Complete),
            codes(1, 0, &[1; 7]),
            codes(1, 7, &[1; 3]),
            over(1, 10, ShotEnd::Decided),
            over(2, 0, ShotEnd::Complete),
            ended(RunEnd::Complete, 3, 5),
        ]
    }

    /// Takes the first `count` of the honest answers, then one more.
    fn then(count: usize, more: FromBench) -> Result<Option<End>, String> {
        let plan = plan();
        let mut course = Course::new(&plan);
        for answer in honest().into_iter().take(count) {
            assert_eq!(course.take(answer), Ok(None));
        }
        course.take(more).map_err(|broken| broken.to_string())
    }

    #[test]
    fn an_honest_run_is_taken_as_it_comes() {
        let plan = plan();
        let mut course = Course::new(&plan);
        let mut end = None;
        for answer in honest() {
            assert_eq!(end, None);
            end = course.take(answer).unwrap();
        }
        assert_eq!(end, Some(End { why: RunEnd::Complete, closures: 5, device_us: 1_000_000 }));
        let counts: Vec<_> = course.into_shots().iter().map(|shot| shot.codes.len()).collect();
        assert_eq!(counts, [4, 10, 0]);
    }

    #[test]
    fn the_first_answer_that_cannot_be_is_named() {
        use RunEnd::{Complete, Gate, NoContact, Residual};
        let [above, below] = [0x80_0000, i32::MIN].map(|code| {
            let plan = plan();
            let mut course = Course::new(&plan);
            assert_eq!(course.take(codes(0, 0, &[0, 0, 0, code])), Ok(None));
            course.take(over(0, 4, ShotEnd::Complete)).unwrap_err().got
        });
        assert!(above.contains("8388608, beyond the 24 bits of the converter"), "{above}");
        assert!(below.contains("-2147483648, beyond the 24 bits of the converter"), "{below}");
        let cases: Vec<(&str, usize, FromBench, &str)> = vec![
            (
                "codes of the next shot",
                0,
                codes(1, 0, &[0]),
                "reading 1 of 3: expected 1 to 4 conversions of reading 1 from number 0 on, got 1 conversions of reading 2 from number 0 on",
            ),
            ("codes of no shot", 0, codes(u16::MAX, 0, &[0]), "got 1 conversions of reading 65536"),
            ("a gap", 3, codes(1, 8, &[0]), "expected 1 to 15 conversions of reading 2 from number 7 on"),
            (
                "a repeat",
                3,
                codes(1, 0, &[1; 7]),
                "expected 1 to 15 conversions of reading 2 from number 7 on",
            ),
            ("no codes", 0, codes(0, 0, &[]), "got 0 conversions of reading 1"),
            ("too many codes", 0, codes(0, 0, &[0; 5]), "got 5 conversions of reading 1"),
            (
                "codes after enough of them",
                1,
                codes(0, 4, &[0]),
                "expected the end of reading 1, got 1 conversions",
            ),
            (
                "the end of another shot",
                1,
                over(1, 4, ShotEnd::Complete),
                "expected more of reading 1, of which 4 conversions came",
            ),
            (
                "an end with another count",
                1,
                over(0, 3, ShotEnd::Complete),
                "got the end of reading 1 after 3 conversions, complete",
            ),
            (
                "an end too early",
                0,
                over(0, 0, ShotEnd::Complete),
                "expected conversions that fit the reading, got others: ",
            ),
            (
                "an end that does not fit",
                1,
                over(0, 4, ShotEnd::Decided),
                "expected an end that fits the reading and its conversions",
            ),
            (
                "part of a triple",
                3,
                over(1, 7, ShotEnd::Decided),
                "expected conversions that fit the reading, got others: ",
            ),
            (
                "a budget that is not spent",
                4,
                over(1, 10, ShotEnd::Budget),
                "expected an end that fits the reading and its conversions",
            ),
            (
                "complete with a stop rule",
                4,
                over(1, 10, ShotEnd::Complete),
                "expected an end that fits the reading and its conversions",
            ),
            ("codes after the last shot", 6, codes(3, 0, &[0]), "expected the end of the run, complete"),
            (
                "too few shots",
                5,
                ended(Complete, 2, 4),
                "expected reading 3, of which 0 conversions came, got the end of the run after 2 readings, complete",
            ),
            ("another count of shots", 6, ended(Complete, 2, 5), "got the end of the run after 2 readings"),
            (
                "an end in the middle of a shot",
                3,
                ended(Gate, 1, 4),
                "expected reading 2, of which 7 conversions came",
            ),
            ("a gate where none is", 2, ended(Gate, 1, 4), "at a gate"),
            ("voltage, and no check", 5, ended(Residual, 2, 4), "for voltage on the unit"),
            ("voltage that its codes deny", 2, ended(Residual, 1, 4), "for voltage on the unit"),
            ("contacts, and nothing ran", 0, ended(NoContact, 0, 0), "for contacts of the residual check"),
            ("too many closures", 6, ended(Complete, 3, 6), "expected 5 relays closed in the run, got 6"),
            ("too few closures", 6, ended(Complete, 3, 0), "expected 5 relays closed in the run, got 0"),
            (
                "closures of a later shot",
                2,
                ended(RunEnd::Fault(Fault::Lid), 1, 5),
                "expected 4 relays closed",
            ),
            ("a greeting", 0, FromBench::Done, "got \"done\""),
            (
                "a refusal",
                3,
                FromBench::Refused(Refusal::LidOpen),
                "got a refusal (the lid is open; close it)",
            ),
        ];
        for (name, before, answer, words) in cases {
            let broken = then(before, answer).expect_err(name);
            assert!(
                broken.starts_with("the controller gave an impossible answer at reading "),
                "{name}: {broken}"
            );
            assert!(broken.contains(words), "{name}: {broken}");
        }
    }

    #[test]
    fn a_run_may_end_in_a_fault_anywhere() {
        let lid = RunEnd::Fault(Fault::Lid);
        for (before, shots, closures) in [(0, 0, 0), (0, 0, 4), (1, 0, 4), (3, 1, 4), (5, 2, 5), (6, 3, 5)] {
            assert!(then(before, ended(lid, shots, closures)).is_ok(), "{before}");
            assert!(then(before, ended(RunEnd::Stopped, shots, closures)).is_ok(), "{before}");
        }
        assert!(then(5, ended(RunEnd::Gate, 2, 4)).is_ok());
    }

    /// Thresholds of the residual check are tested where it stands; 300,000 codes are 73 mV.
    #[test]
    fn a_failed_residual_check_ends_the_run_as_its_codes_say() {
        for (seen, why) in [([0, 0, 0, 300_000], RunEnd::Residual), ([0, 300_000, 0, 0], RunEnd::NoContact)] {
            let plan = plan();
            let checked = || {
                let mut course = Course::new(&plan);
                assert_eq!(course.take(codes(0, 0, &seen)), Ok(None));
                assert_eq!(course.take(over(0, 4, ShotEnd::Complete)), Ok(None));
                course
            };
            assert!(checked().take(ended(why, 1, 4)).is_ok());
            assert!(checked().take(ended(RunEnd::Fault(Fault::Matrix), 1, 4)).is_ok());
            let other = if why == RunEnd::Residual { RunEnd::NoContact } else { RunEnd::Residual };
            for wrong in [codes(1, 0, &[0]), ended(RunEnd::Complete, 1, 4), ended(other, 1, 4)] {
                let broken = checked().take(wrong).unwrap_err();
                assert_eq!(broken.expected, format!("the end of the run {}", words::run_end(why)));
            }
        }
    }

    #[test]
    fn the_controllers_clock_runs_forward_and_not_for_ever() {
        let end =
            |from_us, to_us| FromBench::Shot { shot: 1, codes: 10, why: ShotEnd::Decided, from_us, to_us };
        assert!(then(4, end(50_000, 50_000)).is_ok());
        for (from_us, to_us) in
            [(49_999, 60_000), (60_000, 59_999), (0, 0), (60_000, u32::MAX), (u32::MAX, 0)]
        {
            let broken = then(4, end(from_us, to_us)).unwrap_err();
            assert!(broken.contains("expected times from 50000 to "), "{broken}");
            assert!(broken.contains(&format!("got {from_us} to {to_us} µs")), "{broken}");
        }
        let device_us = u32::MAX;
        let late = FromBench::Ended { why: RunEnd::Complete, shots: 3, closures: 5, device_us };
        assert!(then(6, late).is_err());
    }

    /// Counts of codes are tested where they stand; here, which end goes with which.
    #[test]
    fn shots_end_as_their_stop_rule_allows() {
        use ShotEnd::{Budget, Complete, Decided};
        let (stopped, spent) = (ratio(Some(STOP), None), ratio(None, None));
        for (method, count, why, expected) in [
            (Method::Residual, 4, Complete, true),
            (Method::Residual, 4, Decided, false),
            (Method::Bleed { millis: 9 }, 0, Complete, true),
            (Method::Bleed { millis: 9 }, 0, Budget, false),
            (look(), 3, Complete, true),
            (look(), 3, Budget, false),
            // Four codes, then triples of six, three at most.
            (stopped, 10, Decided, true),
            (stopped, 10, Complete, false),
            (stopped, 16, Budget, false),
            (stopped, 22, Budget, true),
            (stopped, 22, Decided, true),
            (spent, 22, Complete, true),
            (spent, 22, Decided, false),
            (spent, 22, Budget, false),
            // Six codes, then windows of four, three at most.
            (settle(), 14, Decided, true),
            (settle(), 14, Budget, false),
            (settle(), 18, Decided, true),
            (settle(), 18, Budget, true),
            (settle(), 18, Complete, false),
        ] {
            assert_eq!(may_end(&shot(method), count, why), expected, "{method:?} {count} {why:?}");
        }
    }
}
