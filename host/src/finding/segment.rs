//! What is found about one segment: which of its readings counts, its value at 20 °C, verdict and class.
//!
//! Not every reading can prove everything. A steady one read by itself is judged in full. The quick dry survey of a
//! path that is not as it should be may see only a part of the current (the rest goes round by way of a capacitor or
//! a short), so it can prove a segment too high, never too low. A reading during which something moved proves the
//! least: only that a segment is far too high. But it is often the finer one, so it counts with a wider
//! interval, and a survey it contradicts proves nothing either. What any of them has proven outside its
//! limit stays outside, however kind a later reading is: load current may since have broken through the very film
//! that is the fault.

use std::collections::BTreeMap;

use copperwalk_wire::Source;

use super::{
    hidden,
    open::{self, Open},
    warmth::Warmth,
};
use crate::{
    board::{PointId, Segment, SegmentId, SegmentKind, StateId, placement, thermal},
    evidence::{RunEvidence, SegmentReading},
    fixture::Fixture,
    limits::{LimitSet, Limits},
    measure::{
        one_way::OneWay,
        ratio::{Motion, Reading},
        uncertainty::{Budget, Edges},
    },
    quantity::Ohms,
    verdict::{self, Class, Verdict},
};

/// A contact that moved by less than this share of its limit is settled enough.
pub const MOTION_SHARE: f64 = 0.25;
/// Motion of less than this share of the widest seen in the state is a neighbour's.
const NEIGHBOUR_SHARE: f64 = 0.1;
/// A contact that moves reaches at least so many times its lowest resistance.
pub(super) const MOTION_RATIO: f64 = 2.0;
/// A survey's reading, or one during which something moved, proves a segment too high only where it lies above the
/// limit by so many times its plain half width. What was read while something moved is taken to scatter so many times as
/// widely: its two voltages are not of the same moment, which its own scatter shows only in part.
const ROUGH_FACTOR: f64 = 3.0;
/// Above this a contact is called open rather than high: dry, less than 0.2 µA flow.
const OPEN: Ohms = Ohms(100e3);

/// One segment in one state.
#[derive(Clone, PartialEq, Debug)]
pub struct Finding {
    /// The segment.
    pub segment: SegmentId,
    /// The state.
    pub state: StateId,
    /// The value that counts, if there is one.
    pub value: Option<Value>,
    /// Verdict.
    pub verdict: Verdict,
    /// Class. Whatever lies outside its limits by more than its interval has another than `ok`, proven or not.
    pub class: Class,
    /// For what was located rather than measured: how it was.
    pub located: Option<Open>,
    /// Why nothing is proven; `None` unless the verdict is unproven.
    pub doubt: Option<Doubt>,
    /// For what conducts one way only: the reading that counts.
    pub one_way: Option<OneWay>,
}

impl Finding {
    /// Of a segment that was measured, both ways alike.
    pub fn new(
        segment: SegmentId,
        state: StateId,
        value: Option<Value>,
        verdict: Verdict,
        class: Class,
        doubt: Option<Doubt>,
    ) -> Self {
        Self { segment, state, value, verdict, class, located: None, doubt, one_way: None }
    }
}

/// Why a segment is neither proven good nor proven bad.
#[derive(Clone, Copy, PartialEq, Debug)]
pub enum Doubt {
    /// No current could be sent through it with both its sense pins in touch.
    NotReached,
    /// Likewise, but by the contact checks it conducts, with at most this resistance.
    Conducts(Ohms),
    /// The interval holds a limit although every sample allowed was taken.
    Straddles,
    /// It was read only while something in its loop moved: this segment, if it was caught.
    Disturbed(Option<SegmentId>),
    /// It was read only in the survey of a path that is not as it should be.
    SurveyOnly,
    /// The value lies above the range of the reading.
    OverRange,
    /// The current had not settled when it was read.
    Unsettled,
    /// It cannot be told whether it blocks well enough.
    Backwards,
    /// The rest shows only under power.
    Unpowered,
    /// It lies on a loop, and too small a share of the current took it to tell it.
    LittleCurrent,
    /// It lies on a loop whose currents do not add up, as if something joined these two points.
    Unaccounted([PointId; 2]),
    /// A wire fitted to the unit lies across it.
    Bypassed,
}

/// A resistance.
#[derive(Clone, PartialEq, Debug)]
pub struct Value {
    /// As measured.
    pub resistance: Ohms,
    /// Referred to 20 °C where the kind's coefficient is known; its uncertainty counts for all kinds.
    pub at_20c: Ohms,
    /// Budget of `resistance` (no temperature part).
    pub as_measured: Budget,
    /// Budget of `at_20c`.
    pub budget: Budget,
}

impl Value {
    /// The value of a reading that scatters `widened` times as widely as its own budget says. What the meter is uncertain by has
    /// nothing to do with what moves.
    fn new(segment: &Segment, placement: Ohms, reading: &Reading, warmth: Warmth, widened: f64) -> Self {
        let mut as_measured = reading.budget;
        if widened > 1.0 {
            as_measured.noise = as_measured.noise * widened;
            as_measured.spread = as_measured.spread.certain();
        }
        as_measured.edges.placement = placement;
        Self::of(&segment.kind, reading.resistance, as_measured, warmth)
    }

    /// A resistance as measured, referred to 20 °C.
    pub(super) fn of(kind: &SegmentKind, resistance: Ohms, as_measured: Budget, warmth: Warmth) -> Self {
        let follows = thermal::coefficient(kind);
        let factor = follows.to_20c(warmth.unit);
        let at_20c = resistance * factor;
        let mut budget = as_measured.scaled(factor);
        budget.edges.temperature = at_20c.abs() * follows.unsure(warmth.unit, warmth.half_kelvin);
        Self { resistance, at_20c, as_measured, budget }
    }

    /// Would it be proven one way or the other without noise and hum? If not, no number of samples helps.
    pub fn is_decided_when_quiet(&self, limits: &Limits) -> bool {
        let edges = Edges { hum: Ohms::ZERO, ..self.budget.edges };
        let least = Budget { noise: Ohms::ZERO, edges, ..self.budget }.guard();
        verdict::judge(self.at_20c, least, limits) != Verdict::Unproven
    }

    /// Expanded uncertainty of `at_20c`, 95 %.
    pub fn expanded(&self) -> Ohms {
        self.budget.expanded()
    }
}

/// What a reading can prove.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
enum Weight {
    /// Inside or outside: steady, the segment's own turn.
    Full,
    /// Inside, or far too high: the steady survey of a path.
    Survey,
    /// Far too high: something moved meanwhile, or the value is a lower bound.
    Upward,
}

/// One reading, judged.
struct Judged<'r> {
    seen: &'r SegmentReading,
    weight: Weight,
    value: Value,
    verdict: Verdict,
}

impl Judged<'_> {
    fn is_dry(&self) -> bool {
        self.seen.source == Source::Dry
    }
}

/// Everything read in one state, for all its segments.
pub struct Scene<'r> {
    fixture: &'r Fixture,
    limits: &'r LimitSet,
    state: StateId,
    warmth: Warmth,
    opens: Vec<Open>,
    /// What conducts behind them, and at most how much it reads.
    conducts: BTreeMap<SegmentId, Ohms>,
    /// Readings with current and both contacts, with whether anything moved in their run.
    readings: Vec<(&'r SegmentReading, bool)>,
    /// The widest motion of any segment.
    widest: Ohms,
    /// The segment it was.
    mover: Option<SegmentId>,
}

impl<'r> Scene<'r> {
    /// Looks through the runs of one state.
    pub fn new(
        fixture: &'r Fixture,
        limits: &'r LimitSet,
        state: StateId,
        runs: impl Iterator<Item = &'r RunEvidence> + Clone,
        warmth: Warmth,
    ) -> Self {
        let widest = runs
            .clone()
            .flat_map(|run| run.segments())
            .filter_map(|seen| match seen.reading.motion {
                Some(Motion::Here([low, high])) => Some((seen.segment, high - low)),
                _ => None,
            })
            .max_by(|a, b| a.1.total_cmp(&b.1));
        let readings = runs
            .clone()
            .flat_map(|run| {
                let moved = run.moved();
                run.segments().map(move |seen| (seen, moved))
            })
            .filter(|(seen, _)| seen.reading.flows && seen.touches == [true; 2])
            .collect();
        let opens = open::opens(runs.clone());
        let mut scene = Self {
            conducts: hidden::conducts(fixture, state, runs, &opens),
            fixture,
            limits,
            state,
            warmth,
            opens,
            readings,
            widest: widest.map_or(Ohms::ZERO, |(_, width)| width),
            mover: None,
        };
        scene.mover = widest
            .map(|(segment, _)| segment)
            .filter(|&id| scene.of(id).any(|(seen, _)| scene.moves(id, &seen.reading)));
        scene
    }

    fn of(&self, id: SegmentId) -> impl Iterator<Item = (&'r SegmentReading, bool)> {
        self.readings.iter().copied().filter(move |(seen, _)| seen.segment == id)
    }

    /// The value of a reading of a segment.
    fn value(&self, id: SegmentId, reading: &Reading, widened: f64) -> Value {
        let board = &self.fixture.board;
        let placement = placement::half_width(board, id, |point| self.fixture.pins(point).off_mm);
        Value::new(board.segment(id), placement, reading, self.warmth, widened)
    }

    /// Finds out about one segment.
    pub fn find(&self, id: SegmentId) -> Finding {
        let (segment, limits) = (self.fixture.board.segment(id), self.limits.of(id));
        let finding =
            |value, verdict, class, doubt| Finding::new(id, self.state, value, verdict, class, doubt);
        if let Some(open) = self.opens.iter().find(|open| open.segment == id) {
            return Finding { located: Some(*open), ..finding(None, Verdict::Fail, Class::Open, None) };
        }
        let readings: Vec<Judged<'_>> =
            self.of(id).map(|(seen, moved)| self.judge(id, seen, moved)).collect();
        if let Some(moved) = readings.iter().find(|judged| self.moves(id, &judged.seen.reading)) {
            let value = self.value(id, &moved.seen.reading, 1.0);
            return finding(Some(value), Verdict::Fail, Class::Flaky, None);
        }
        let failed: Vec<&Judged<'_>> =
            readings.iter().filter(|judged| judged.verdict == Verdict::Fail).collect();
        if let Some(worst) = authoritative(segment, &failed) {
            let class = outside_class(limits, &worst.value, &readings);
            return finding(Some(worst.value.clone()), Verdict::Fail, class, None);
        }
        let all: Vec<&Judged<'_>> = readings.iter().collect();
        let Some(best) = authoritative(segment, &all) else {
            let doubt = self.conducts.get(&id).map_or(Doubt::NotReached, |most| Doubt::Conducts(*most));
            return finding(None, Verdict::Unproven, Class::NotReached, Some(doubt));
        };
        let class = doubtful_class(segment, limits, &best.value);
        let passes = match best.weight {
            Weight::Full => best.verdict == Verdict::Pass,
            // A survey that passes counts only while the finer reading, if there is one, says the same.
            Weight::Survey | Weight::Upward => {
                readings.iter().any(|judged| judged.verdict == Verdict::Pass)
                    && verdict::judge(best.value.at_20c, best.value.budget.guard(), limits) == Verdict::Pass
                    && (class == Class::RedundancyLost || !may_have_lost_a_barrel(segment, &best.value))
            }
        };
        let doubt = match best.weight {
            _ if !best.seen.reading.settled && best.seen.reading.motion.is_none() => Doubt::Unsettled,
            Weight::Full => Doubt::Straddles,
            Weight::Survey => Doubt::SurveyOnly,
            Weight::Upward if best.seen.reading.over_range && best.seen.reading.motion.is_none() => {
                Doubt::OverRange
            }
            Weight::Upward => Doubt::Disturbed(self.mover.filter(|&mover| mover != id)),
        };
        let (verdict, doubt) = if passes { (Verdict::Pass, None) } else { (Verdict::Unproven, Some(doubt)) };
        finding(Some(best.value.clone()), verdict, class, doubt)
    }

    fn judge(&self, id: SegmentId, seen: &'r SegmentReading, moved: bool) -> Judged<'r> {
        let (reading, limits) = (&seen.reading, self.limits.of(id));
        let disturbed = reading.motion.is_some() || !reading.settled || (seen.survey && moved);
        let weight = match (disturbed || reading.over_range, seen.survey) {
            (true, _) => Weight::Upward,
            (false, true) => Weight::Survey,
            (false, false) => Weight::Full,
        };
        let widened = if disturbed { ROUGH_FACTOR } else { 1.0 };
        let value = self.value(id, reading, widened);
        let (ohms, u) = (value.at_20c, value.budget.guard());
        // At the end of the range the value is a lower bound, and its interval as good as any.
        let rough = if seen.survey && !disturbed { ROUGH_FACTOR } else { 1.0 };
        let verdict = match (weight, verdict::judge(ohms, u, limits)) {
            (Weight::Full, verdict) => verdict,
            _ if ohms - rough * value.budget.plain() > limits.max => Verdict::Fail,
            (Weight::Survey, Verdict::Pass) => Verdict::Pass,
            _ => Verdict::Unproven,
        };
        Judged { seen, weight, value, verdict }
    }

    /// Did the segment itself move, by a good part of its limit? A contact that makes and breaks shakes the
    /// readings of its neighbours too, by far less than its own.
    fn moves(&self, id: SegmentId, reading: &Reading) -> bool {
        match reading.motion {
            Some(Motion::Here([low, high])) => {
                let least = (MOTION_SHARE * self.limits.of(id).max).max(NEIGHBOUR_SHARE * self.widest);
                high - low > least && high > MOTION_RATIO * low
            }
            _ => false,
        }
    }
}

/// Of several readings the one to go by. Contacts: dry; all else: under load, or dry where load was out of the
/// question; one within its range before one at its end; a steady one of the segment's own before any other; of several
/// the least uncertain.
fn authoritative<'a, 'r>(segment: &Segment, readings: &[&'a Judged<'r>]) -> Option<&'a Judged<'r>> {
    let unusual = |judged: &Judged<'_>| judged.is_dry() != segment.kind.is_contact();
    let rank = |judged: &Judged<'_>| {
        (judged.seen.reading.over_range, unusual(judged), judged.weight != Weight::Full)
    };
    readings
        .iter()
        .copied()
        .min_by(|a, b| rank(a).cmp(&rank(b)).then(a.value.expanded().total_cmp(&b.value.expanded())))
}

/// The class of a value that is proven outside its limits.
fn outside_class(limits: &Limits, value: &Value, readings: &[Judged<'_>]) -> Class {
    if limits.min.is_some_and(|min| value.at_20c < min) {
        return Class::Low;
    }
    if value.at_20c > OPEN {
        return Class::Open;
    }
    let under_load =
        |judged: &Judged<'_>| judged.seen.source == Source::Load && judged.verdict == Verdict::Pass;
    let high_dry = |judged: &Judged<'_>| judged.is_dry() && judged.verdict == Verdict::Fail;
    if readings.iter().any(under_load) && readings.iter().any(high_dry) { Class::Film } else { Class::High }
}

/// The class of a value that is not proven outside.
pub(super) fn doubtful_class(segment: &Segment, limits: &Limits, value: &Value) -> Class {
    match verdict::judge(value.at_20c, value.budget.guard(), limits) {
        Verdict::Fail if value.at_20c > limits.max => Class::High,
        Verdict::Fail => Class::Low,
        _ if barrel_line(segment).is_some_and(|line| value.at_20c - value.expanded() > line) => {
            Class::RedundancyLost
        }
        _ => Class::Ok,
    }
}

/// Is the interval too wide to exclude that a group of barrels has lost one?
fn may_have_lost_a_barrel(segment: &Segment, value: &Value) -> bool {
    barrel_line(segment).is_some_and(|line| value.at_20c + value.expanded() > line)
}

/// Above this no healthy group of parallel barrels reads: some of its copper is gone. Below it, thin plating explains what a
/// lost barrel would, and of three barrels or more nobody can tell which it is.
fn barrel_line(segment: &Segment) -> Option<Ohms> {
    matches!(segment.kind, SegmentKind::Via { count: 2.., .. }).then_some(segment.expected.high)
}
