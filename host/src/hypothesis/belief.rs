//! The posterior: every hypothesis with its probability.

use std::collections::BTreeMap;

use super::{
    answer::Answer,
    defect::{Defect, Hypothesis},
    look::{Course, Look, Question},
    rate::{self, Rates},
    values::{LEAST_LN, MOST, Range, Values},
};
use crate::{
    board::{Board, PointId, SegmentId, SegmentKind, StateId},
    limits::LimitSet,
    plan::forest::Forest,
    quantity::Ohms,
};

/// From this in its way on a current may not be seen to flow on a bed: 20 mV make a microampere, which the noise of a noisy converter hides …
pub(super) const STOPS_ABOVE: Ohms = Ohms(20e3);
/// … and up to this it may, where the converter is a quiet one.
const FLOWS_BELOW: Ohms = Ohms(300e3);
/// An answer that a hypothesis excludes comes all the same this often, by what is not among the hypotheses; probability.
const ODD: f64 = 1e-6;
/// So often does a sense pin of a proven bed not touch; probability.
const PIN_SILENT: f64 = 1e-4;
/// Something moves without being flaky this often: the unit was touched, a pin slid; probability.
const MOVES: f64 = 1e-3;
/// A flaky contact conducts well, badly, or not at all while it is read, or changes meanwhile; probabilities.
const FLAKY: Flaky = Flaky { well: 0.4, badly: 0.2, stops: 0.15, moves: 0.25 };

struct Flaky {
    well: f64,
    badly: f64,
    stops: f64,
    moves: f64,
}

/// Where something is wrong.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub enum Place {
    /// A segment.
    Segment(SegmentId),
    /// Between two nets: index into the board's isolation.
    Bridge(usize),
    /// A sense pin of the bench.
    Pin(PointId),
}

impl Place {
    /// Where a defect sits.
    pub fn of(defect: Defect) -> Self {
        match defect {
            Defect::Bridge(index) => Self::Bridge(index),
            Defect::SilentPin(point) => Self::Pin(point),
            Defect::Open(id)
            | Defect::High(id)
            | Defect::Film(id)
            | Defect::Flaky(id)
            | Defect::BarrelLost(id)
            | Defect::Low(id)
            | Defect::StaysClosed(id) => Self::Segment(id),
        }
    }
}

/// The places of a board, numbered without gaps: sums over tens of thousands of pairs need no search.
struct Numbering {
    segments: usize,
    insulations: usize,
    points: usize,
}

impl Numbering {
    fn of(board: &Board) -> Self {
        Self {
            segments: board.segments.len(),
            insulations: board.isolation.len(),
            points: board.points.len(),
        }
    }

    fn places(&self) -> usize {
        self.segments + self.insulations + self.points
    }

    fn number(&self, place: Place) -> usize {
        match place {
            Place::Segment(id) => id.index(),
            Place::Bridge(index) => self.segments + index,
            Place::Pin(point) => self.segments + self.insulations + point.index(),
        }
    }
}

/// The hypotheses about one unit, and what was answered.
#[derive(Clone, Debug)]
pub struct Belief<'b> {
    board: &'b Board,
    limits: &'b LimitSet,
    hypotheses: Vec<Weighed>,
    answered: Vec<(Question, Answer)>,
    values: Values,
    /// Which bridges an insulation of the board's list, read in a state, would show.
    bridges: Vec<Bridge>,
}

/// A hypothesis and what the answers so far make of it.
#[derive(Clone, Debug)]
struct Weighed {
    hypothesis: Hypothesis,
    /// Log of its prior, and of the probability of every answer without a value.
    odds: f64,
    /// What answers without a value have left of the excesses that its defects are.
    ranges: [Option<Range>; 2],
    /// Its probability.
    posterior: f64,
}

/// Where a bridge shows, given what is open.
#[derive(Clone, Debug)]
struct Bridge {
    /// Index into the board's isolation.
    of: usize,
    read: (usize, StateId),
    /// Segments between the bridge and the points it is read at.
    way: Vec<SegmentId>,
}

impl<'b> Belief<'b> {
    /// Before anything was asked, by these rates. `pins`: the points with a sense pin; empty by hand.
    pub fn new(board: &'b Board, limits: &'b LimitSet, rates: &Rates, pins: &[PointId]) -> Self {
        let weighed = |(hypothesis, prior): (Hypothesis, f64)| Weighed {
            ranges: [0, 1].map(|which| range(board, limits, &hypothesis, which)),
            hypothesis,
            odds: prior.ln(),
            posterior: prior,
        };
        Self {
            board,
            limits,
            hypotheses: prior(board, rates, pins).into_iter().map(weighed).collect(),
            answered: Vec::new(),
            values: Values::new(board, &[]),
            bridges: bridges(board),
        }
    }

    /// The board.
    pub fn board(&self) -> &'b Board {
        self.board
    }

    /// The limits that defects are defects against.
    pub fn limits(&self) -> &'b LimitSet {
        self.limits
    }

    /// Takes one more answer into account.
    pub fn see(&mut self, question: Question, answer: Answer) {
        self.see_all([(question, answer)]);
    }

    /// Takes several more.
    pub fn see_all(&mut self, answered: impl IntoIterator<Item = (Question, Answer)>) {
        let mut hypotheses = std::mem::take(&mut self.hypotheses);
        for (question, answer) in answered {
            for weighed in &mut hypotheses {
                weighed.odds += self.ln_answer(weighed, &question, &answer);
            }
            self.answered.push((question, answer));
        }
        self.hypotheses = hypotheses;
        self.weigh();
    }

    /// Everything answered so far.
    pub fn answered(&self) -> &[(Question, Answer)] {
        &self.answered
    }

    /// Every hypothesis with its probability, in no order.
    pub fn weighed(&self) -> impl Iterator<Item = (&Hypothesis, f64)> + Clone {
        self.hypotheses.iter().map(|weighed| (&weighed.hypothesis, weighed.posterior))
    }

    /// Every hypothesis with its probability, most probable first.
    pub fn posterior(&self) -> Vec<(Hypothesis, f64)> {
        let mut all: Vec<(Hypothesis, f64)> =
            self.weighed().map(|(hypothesis, probability)| (*hypothesis, probability)).collect();
        all.sort_by(|a, b| b.1.total_cmp(&a.1).then(a.0.cmp(&b.0)));
        all
    }

    /// Probability that nothing is wrong.
    pub fn healthy(&self) -> f64 {
        self.weighed().filter(|(hypothesis, _)| hypothesis.defects().next().is_none()).map(|(_, p)| p).sum()
    }

    /// Probability that something is wrong at each place, most probable first. They add up to more than one where two things may
    /// be wrong.
    pub fn places(&self) -> Vec<(Place, f64)> {
        let numbering = Numbering::of(self.board);
        let mut sums = vec![None; numbering.places()];
        for (hypothesis, probability) in self.weighed() {
            // Two defects of a hypothesis sit at two places.
            for place in hypothesis.defects().map(Place::of) {
                sums[numbering.number(place)].get_or_insert((place, 0.0)).1 += probability;
            }
        }
        let mut places: Vec<(Place, f64)> = sums.into_iter().flatten().collect();
        places.sort_by(|a, b| b.1.total_cmp(&a.1).then(a.0.cmp(&b.0)));
        places
    }

    /// What is most probably wrong at a place.
    pub fn most_probable_at(&self, place: Place) -> Option<Defect> {
        let mut sums: BTreeMap<Defect, f64> = BTreeMap::new();
        for (hypothesis, probability) in self.weighed() {
            for defect in hypothesis.defects().filter(|&defect| Place::of(defect) == place) {
                *sums.entry(defect).or_default() += probability;
            }
        }
        sums.into_iter().max_by(|a, b| a.1.total_cmp(&b.1)).map(|(defect, _)| defect)
    }

    /// Entropy of the places, bits: how many questions with yes or no are open.
    pub fn entropy(&self) -> f64 {
        let numbering = Numbering::of(self.board);
        // One row and one column more for no place.
        let side = numbering.places() + 1;
        let mut sums = vec![0.0; side * side];
        for (hypothesis, probability) in self.weighed() {
            let mut numbers = hypothesis.defects().map(|defect| numbering.number(Place::of(defect)) + 1);
            let mut next = || numbers.next().unwrap_or(0);
            sums[next() * side + next()] += probability;
        }
        super::information::entropy(sums.into_iter())
    }

    pub(super) fn values(&self) -> &Values {
        &self.values
    }

    /// Does an insulation, read in a state, show one of the defects of a hypothesis?
    pub(super) fn shows(&self, hypothesis: &Hypothesis, index: usize, state: StateId) -> bool {
        let opens = |id: &SegmentId| {
            hypothesis.defects().any(|defect| matches!(defect, Defect::Open(open) if open == *id))
        };
        hypothesis.defects().any(|defect| match defect {
            Defect::Bridge(of) => self.bridges.iter().any(|bridge| {
                bridge.of == of && bridge.read == (index, state) && !bridge.way.iter().any(opens)
            }),
            _ => false,
        })
    }

    fn weigh(&mut self) {
        let readings: Vec<(&Look, Ohms, Ohms)> = self
            .answered
            .iter()
            .filter_map(|(question, answer)| match (question, answer) {
                (Question::Look(look), &Answer::Reads { resistance, standard }) => {
                    Some((look, resistance, standard))
                }
                _ => None,
            })
            .collect();
        self.values = Values::new(self.board, &readings);
        let log = |weighed: &Weighed| weighed.odds + self.ln_values(weighed).max(LEAST_LN);
        let logs: Vec<f64> = self.hypotheses.iter().map(log).collect();
        let most = logs.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        let total: f64 = logs.iter().map(|log| (log - most).exp()).sum();
        for (weighed, log) in self.hypotheses.iter_mut().zip(logs) {
            weighed.posterior = (log - most).exp() / total;
        }
    }

    /// Log probability of an answer under a hypothesis but for its value, against that of a healthy unit's reading.
    fn ln_answer(&self, weighed: &mut Weighed, question: &Question, answer: &Answer) -> f64 {
        let Weighed { hypothesis, ranges, .. } = weighed;
        match question {
            Question::Insulation { index, state } => self.ln_insulation(hypothesis, *index, *state, answer),
            Question::Look(look) => self.ln_look(hypothesis, ranges, look, answer),
        }
    }

    fn ln_insulation(&self, hypothesis: &Hypothesis, index: usize, state: StateId, answer: &Answer) -> f64 {
        match (answer, self.shows(hypothesis, index, state)) {
            (Answer::Apart, true) | (Answer::Bridged, false) => ODD.ln(),
            _ => 0.0,
        }
    }

    /// What a look's answer without its value says; bounds narrow the ranges of excesses.
    fn ln_look(
        &self,
        hypothesis: &Hypothesis,
        ranges: &mut [Option<Range>; 2],
        look: &Look,
        answer: &Answer,
    ) -> f64 {
        let flaky = hypothesis.defects().find_map(|defect| match defect {
            Defect::Flaky(id) => look.position(id),
            _ => None,
        });
        let course = look.course_of(hypothesis, |defect| matches!(defect, Defect::Open(_)));
        let between = |id| look.position(id).is_some_and(|at| look.is_between(at));
        let silent_pins =
            || look.sensed.map(|point| hypothesis.defects().any(|defect| defect == Defect::SilentPin(point)));
        match *answer {
            Answer::Moves => {
                if flaky.is_some() {
                    FLAKY.moves.ln()
                } else {
                    MOVES.ln()
                }
            }
            Answer::Reads { .. } | Answer::AtMost(_) | Answer::Silent { .. } => {
                let mut odds = match course {
                    Course::Flows => 0.0,
                    Course::Stops { .. } => ODD.ln(),
                };
                if flaky.is_some() && !matches!(answer, Answer::Reads { .. }) {
                    odds += (FLAKY.well + FLAKY.badly).ln();
                }
                // Whatever its size, an excess on the way lets the current flow.
                narrow(
                    hypothesis,
                    ranges,
                    |id| look.position(id).is_some(),
                    |range| range[1] = range[1].min(FLOWS_BELOW.0),
                );
                match *answer {
                    Answer::AtMost(most) => {
                        let rest = look.usual();
                        narrow(hypothesis, ranges, between, |range| {
                            range[1] = range[1].min((most.0 - rest).max(0.0));
                        });
                    }
                    Answer::Silent { silent } => {
                        for (silent, known) in silent.into_iter().zip(silent_pins()) {
                            odds += if silent && !known { PIN_SILENT.ln() } else { 0.0 };
                        }
                    }
                    _ => {}
                }
                if !matches!(answer, Answer::Silent { .. }) && silent_pins() != [false; 2] {
                    odds += ODD.ln();
                }
                odds
            }
            Answer::Stops { across } => match (course, flaky) {
                (Course::Stops { touches: [true, true], across: there }, _) if there == across => 0.0,
                (Course::Flows, Some(at)) if look.is_between(at) == across => FLAKY.stops.ln(),
                (Course::Flows, _) => {
                    // An excess so large that nothing is seen to flow, on the side where the voltage stands.
                    let inside = |id| look.position(id).is_some_and(|at| look.is_between(at) == across);
                    if narrow(hypothesis, ranges, inside, |range| range[0] = range[0].max(STOPS_ABOVE.0)) {
                        0.0
                    } else {
                        ODD.ln()
                    }
                }
                _ => ODD.ln(),
            },
            Answer::Floats { floats } => {
                let silent = silent_pins();
                match course {
                    Course::Stops { touches, .. } => floats
                        .into_iter()
                        .zip(touches.into_iter().zip(silent))
                        .map(|(floats, (touches, silent))| match (floats, touches && !silent) {
                            (true, false) | (false, true) => 0.0,
                            (true, true) => PIN_SILENT.ln(),
                            (false, false) => ODD.ln(),
                        })
                        .sum(),
                    Course::Flows => ODD.ln(),
                }
            }
            Answer::AtLeast(least) => match (course, flaky) {
                (Course::Stops { across: true, .. }, _) => 0.0,
                (Course::Flows, Some(at)) if look.is_between(at) => FLAKY.stops.ln(),
                (Course::Flows, _) => {
                    let rest = look.usual();
                    let least = least.0 - rest;
                    if least <= 0.0
                        || narrow(hypothesis, ranges, between, |range| range[0] = range[0].max(least))
                    {
                        0.0
                    } else {
                        ODD.ln()
                    }
                }
                _ => ODD.ln(),
            },
            Answer::Apart | Answer::Bridged => 0.0,
        }
    }

    fn ln_values(&self, Weighed { hypothesis, ranges, .. }: &Weighed) -> f64 {
        let mut places = hypothesis.defects().filter_map(Defect::segment).map(SegmentId::index);
        if let [Some(first), Some(second)] = ranges
            && let (Some(one), Some(other)) = (places.next(), places.next())
        {
            return self.values.of_two((one, first), (other, second));
        }
        let each = hypothesis.defects().zip(ranges);
        each.map(|(defect, range)| self.ln_value(defect, range.as_ref())).sum()
    }

    fn ln_value(&self, defect: Defect, range: Option<&Range>) -> f64 {
        let Some(id) = defect.segment() else { return 0.0 };
        if let Some(range) = range {
            return self.values.of_range(id.index(), range);
        }
        let segment = self.board.segment(id);
        match (defect, &segment.kind) {
            (Defect::Flaky(_), _) => {
                let least = least_excess(self.board, self.limits, id);
                self.values.of_flaky(id.index(), [FLAKY.well, FLAKY.badly], [least, FLOWS_BELOW.0])
            }
            (Defect::BarrelLost(_), SegmentKind::Via { count, .. }) if *count > 1 => {
                let share = 1.0 / f64::from(count - 1);
                self.values.of_size(id.index(), share * segment.expected.typical.0)
            }
            (Defect::Low(_), _) => {
                let (typical, min) = (segment.expected.typical, self.limits.of(id).min);
                let least = (typical - min.unwrap_or(Ohms::ZERO)).0.max(0.0);
                self.values.of_lack(id.index(), [least.min(0.99 * typical.0), typical.0])
            }
            _ => 0.0,
        }
    }
}

/// What a segment reads above the usual from its limit on, Ω.
fn least_excess(board: &Board, limits: &LimitSet, id: SegmentId) -> f64 {
    let typical = board.segment(id).expected.typical;
    (limits.of(id).max - typical).0.max(0.05 * typical.0).max(1e-6)
}

/// The range of the excess that one of a hypothesis' defects is.
fn range(board: &Board, limits: &LimitSet, hypothesis: &Hypothesis, which: usize) -> Option<Range> {
    match hypothesis.defects().nth(which)? {
        Defect::High(id) | Defect::Film(id) => {
            let least = least_excess(board, limits, id);
            Some(Range { prior: [least, MOST.0], left: [least, MOST.0] })
        }
        _ => None,
    }
}

/// Narrows the ranges of those excesses that sit in one of the segments; tells whether one does.
fn narrow(
    hypothesis: &Hypothesis,
    ranges: &mut [Option<Range>; 2],
    sits: impl Fn(SegmentId) -> bool,
    mut by: impl FnMut(&mut [f64; 2]),
) -> bool {
    let mut any = false;
    for (defect, range) in hypothesis.defects().zip(ranges) {
        if let (Some(id), Some(range)) = (defect.segment(), range)
            && sits(id)
        {
            by(&mut range.left);
            any = true;
        }
    }
    any
}

/// Every hypothesis with its prior probability.
fn prior(board: &Board, rates: &Rates, pins: &[PointId]) -> Vec<(Hypothesis, f64)> {
    let mut single = rates.weights(board);
    let in_all: f64 = single.iter().map(|(_, weight)| weight).sum();
    let of_pins = rate::silent_pin() * in_all / single.len().max(1) as f64;
    single.extend(pins.iter().map(|&point| (Defect::SilentPin(point), of_pins)));
    let total: f64 = single.iter().map(|(_, weight)| weight).sum();
    let pairs = pairs(board, &single);
    let in_pairs: f64 = pairs.iter().map(|(_, weight)| weight).sum();
    let (healthy, faulty) = (rates.healthy(), 1.0 - rates.healthy());
    let second = if pairs.is_empty() { 0.0 } else { Rates::second() };
    let ones = single
        .iter()
        .map(|&(defect, weight)| (Hypothesis::one(defect), faulty * (1.0 - second) * weight / total));
    let twos = pairs.into_iter().map(|(pair, weight)| (pair, faulty * second * weight / in_pairs));
    std::iter::once((Hypothesis::HEALTHY, healthy)).chain(ones).chain(twos).collect()
}

/// Two defects at two places, each of which alone makes a unit dead: opens, highs and bridges.
fn pairs(board: &Board, single: &[(Defect, f64)]) -> Vec<(Hypothesis, f64)> {
    let kills = |defect: Defect| matches!(defect, Defect::Open(_) | Defect::High(_) | Defect::Bridge(_));
    let kills: Vec<&(Defect, f64)> = single.iter().filter(|(defect, _)| kills(*defect)).collect();
    let mut pairs = Vec::new();
    for (at, (first, weight)) in kills.iter().enumerate() {
        for (second, other) in kills.iter().skip(at + 1).copied() {
            if Place::of(*first) != Place::of(*second) {
                pairs.push((Hypothesis::two(*first, *second), weight * other));
            }
        }
    }
    debug_assert!(pairs.len() <= (2 * board.segments.len() + board.isolation.len()).pow(2));
    pairs
}

/// Where every bridge of the board's list shows.
fn bridges(board: &Board) -> Vec<Bridge> {
    let mut found = Vec::new();
    for (index, entry) in board.isolation.iter().enumerate() {
        for state in board.state_ids() {
            let forest = Forest::new(board, state, &[]);
            let [a, b] = entry.between;
            for (of, other) in board.isolation.iter().enumerate() {
                let [c, d] = other.between;
                let ways = |from: [PointId; 2]| {
                    let near = forest.path(a, from[0])?;
                    let far = forest.path(b, from[1])?;
                    Some(near.into_iter().chain(far).map(|step| step.segment).collect::<Vec<_>>())
                };
                if let Some(way) = ways([c, d]).or_else(|| ways([d, c])) {
                    found.push(Bridge { of, read: (index, state), way });
                }
            }
        }
    }
    found
}
