//! What the answers make of the hypotheses.

use std::{cell::RefCell, collections::HashMap};

use super::{answer, choose::Weigh, probe::Probe};
use crate::{
    board::{Board, PointId, StateId},
    hypothesis::{Answer, Belief, Look, Place, Question, Rates, information::Chooser},
    judge::left_of,
    limits::LimitSet,
    measurement::Touch,
    plan::forest::Forest,
    quantity::Ohms,
    sweep::Left,
};

/// Hypotheses that a first, rough look at all questions weighs.
const ROUGHLY: usize = 200;
/// Standard uncertainty that a question is weighed with, of a two-wire reading.
const TWO_WIRE: Ohms = Ohms(0.2);
/// The same of a four-wire one.
const FOUR_WIRE: Ohms = Ohms(0.5e-3);
/// More probable than not, something is taken to be wrong at a place, and looked at by itself next: a guess that fails costs one touch.
pub const LOCATED: f64 = 0.5;

/// Looks between two points in a state, as questions; `None` where no way leads.
type Looks = HashMap<(StateId, [PointId; 2]), Option<Question>>;

/// The hypotheses about a unit, and every way between two of its points that was asked about.
#[derive(Debug)]
pub struct Weigher<'b> {
    board: &'b Board,
    belief: Belief<'b>,
    forests: Vec<Forest>,
    looks: RefCell<Looks>,
}

impl<'b> Weigher<'b> {
    /// Before anything was asked.
    pub fn new(board: &'b Board, limits: &'b LimitSet, rates: &Rates) -> Self {
        Self {
            board,
            belief: Belief::new(board, limits, rates, &[]),
            forests: board.state_ids().map(|state| Forest::new(board, state, &[])).collect(),
            looks: RefCell::default(),
        }
    }

    /// Takes a touch on the unit into account, if it says anything.
    pub fn see(&mut self, touch: &Touch) {
        self.see_all(std::slice::from_ref(touch));
    }

    /// The same of several.
    pub fn see_all(&mut self, touches: &[Touch]) {
        let answered: Vec<_> = touches.iter().flat_map(|touch| answered(self.board, touch)).collect();
        if !answered.is_empty() {
            self.belief.see_all(answered);
        }
    }

    /// Most probable first.
    pub fn left(&self) -> Vec<Left> {
        left_of(&self.belief)
    }

    /// Bits that are open.
    pub fn entropy(&self) -> f64 {
        self.belief.entropy()
    }

    /// The belief itself.
    pub fn belief(&self) -> &Belief<'b> {
        &self.belief
    }

    /// The place at which something is most probably wrong.
    pub fn most_probable(&self) -> Option<(Place, f64)> {
        self.belief.places().into_iter().next()
    }

    /// What a choice between questions is made by; `four_wire`: how the meter reads.
    pub fn scale(&self, four_wire: bool) -> Scale<'b, '_> {
        let closely = Chooser::new(&self.belief);
        Scale {
            weigher: self,
            roughly: closely.at_most(ROUGHLY),
            places: self.belief.places().into_iter().collect(),
            closely,
            standard: if four_wire { FOUR_WIRE } else { TWO_WIRE },
        }
    }

    /// What is told of a probe's question; `None` where it asks nothing. Thousands are weighed for each that is put, so none is copied.
    fn of_question<T>(&self, probe: &Probe, tell: impl FnOnce(&Question) -> T) -> Option<T> {
        if let Some(index) = probe.insulation {
            return Some(tell(&Question::Insulation { index, state: probe.state }));
        }
        let mut points = probe.points;
        points.sort();
        let mut looks = self.looks.borrow_mut();
        let look = looks.entry((probe.state, points)).or_insert_with(|| {
            let forest = self.forests.get(probe.state.index())?;
            Look::within(self.board, forest, probe.state, points, points).map(Question::Look)
        });
        look.as_ref().map(tell)
    }
}

/// The weights of one moment.
#[derive(Debug)]
pub struct Scale<'b, 'w> {
    weigher: &'w Weigher<'b>,
    roughly: Chooser<'b, 'w>,
    closely: Chooser<'b, 'w>,
    places: HashMap<Place, f64>,
    standard: Ohms,
}

impl Weigh for Scale<'_, '_> {
    fn roughly(&self, probe: &Probe) -> f64 {
        let bits = |question: &Question| self.roughly.information(question, self.standard);
        self.weigher.of_question(probe, bits).unwrap_or_default()
    }

    fn proves(&self, probe: &Probe) -> f64 {
        let place = |question: &Question| match question {
            Question::Insulation { index, .. } => Some(Place::Bridge(*index)),
            Question::Look(look) => match look.way() {
                [alone] => Some(Place::Segment(*alone)),
                _ => None,
            },
        };
        let place = self.weigher.of_question(probe, place).flatten();
        place.and_then(|place| self.places.get(&place).copied()).unwrap_or_default()
    }

    fn closely(&self, probe: &Probe) -> f64 {
        let bits = |question: &Question| self.closely.information(question, self.standard);
        self.weigher.of_question(probe, bits).unwrap_or_default()
    }
}

/// What a touch answers, if it answers anything about this board's unit: about the way between its points, and about
/// insulation between them.
fn answered(board: &Board, touch: &Touch) -> Vec<(Question, Answer)> {
    let ids = (board.state_named(&touch.state), board.point_named(&touch.from), board.point_named(&touch.to));
    let (Some(state), Some(from), Some(to)) = ids else { return Vec::new() };
    if touch.on_good_unit {
        return Vec::new();
    }
    if let Some(look) = Look::two_points(board, state, [from, to]) {
        return answer::of_way(touch).map(|answer| (Question::Look(look), answer)).into_iter().collect();
    }
    let between = |entry: &[PointId; 2]| *entry == [from, to] || *entry == [to, from];
    let entries = board.isolation.iter().enumerate().filter(|(_, entry)| between(&entry.between));
    entries
        .filter_map(|(index, entry)| {
            Some((Question::Insulation { index, state }, answer::of_insulation(touch, entry.min)?))
        })
        .collect()
}
