//! The conversation of a hunt by hand, without I/O: what to ask next, and what comes of an answer.
//!
//! ```text
//! Zero ──leads──▶ Ask ◀──answer── … ──▶ Done
//!                  ▲ │ contradiction: the later of the two touches again, then the earlier
//!                  └─┘
//! ```

use super::{
    answer::{self, AnswerError, Instrument, Said},
    bounds,
    choose::{self, Asked, Ways},
    judge,
    probe::{Hold, Probe, Stance},
    weigh::{LOCATED, Weigher},
};
use crate::{
    board::{Board, PointId, SegmentId},
    hypothesis::{Place, Rates},
    limits::LimitSet,
    measurement::{ByHand, Touch},
    quantity::Ohms,
};

/// What comes next.
#[derive(Clone, PartialEq, Debug)]
pub enum Next {
    /// The tips held together.
    Zero,
    /// Two points.
    Ask(Asking),
    /// Nothing more.
    Done(Done),
}

/// A question to be put.
#[derive(Clone, PartialEq, Debug)]
pub struct Asking {
    /// Where.
    pub probe: Probe,
    /// Expected information, bits.
    pub bits: f64,
    /// On the known-good unit?
    pub on_good_unit: bool,
    /// Put again because of an answer that contradicts another.
    pub again: bool,
}

/// Why it ended.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Done {
    /// The fault is located.
    Located,
    /// Nothing that can be asked tells anything worth a touch.
    NothingTells,
}

/// What came of an answer.
#[derive(Clone, PartialEq, Debug)]
pub enum Outcome {
    /// It counts.
    Taken,
    /// It counts, but not together with an earlier touch: their numbers, the later first.
    Contradicts([usize; 2]),
    /// The answer before is taken back.
    TakenBack,
    /// There is none to be taken back.
    NothingToTakeBack,
}

/// A hunt by hand on one unit.
#[derive(Debug)]
pub struct Session<'b> {
    board: &'b Board,
    limits: &'b LimitSet,
    rates: Rates,
    instrument: Instrument,
    ways: Ways,
    weigher: Weigher<'b>,
    stance: Stance,
    /// `None` until the tips were held together.
    lead: Option<Option<Ohms>>,
    touches: Vec<Touch>,
    asked: Asked,
    unreachable: Vec<PointId>,
    /// Is every touch repeated on a known-good unit?
    compares: bool,
    /// To be put before anything else, and whether for a contradiction.
    pending: Vec<(Probe, bool)>,
    /// Contradictions that were looked into, by the numbers of their touches.
    settled: Vec<[usize; 2]>,
    /// What the tips went through.
    effort: Effort,
}

/// What a hunt cost.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
pub struct Effort {
    /// Questions put.
    pub questions: u32,
    /// Tips set down somewhere else.
    pub moves: u32,
    /// Times the board was turned.
    pub flips: u32,
    /// Times the unit's state was changed.
    pub states: u32,
}

impl Effort {
    fn add(&mut self, stance: &Stance, probe: &Probe) {
        self.questions += 1;
        self.moves += stance.moves(probe);
        self.flips += u32::from(stance.flips(probe));
        self.states += u32::from(stance.changes_state(probe));
    }
}

impl<'b> Session<'b> {
    /// A new hunt. `compares`: every touch is repeated on a known-good unit, unless its reading is known.
    pub fn new(
        board: &'b Board,
        limits: &'b LimitSet,
        rates: Rates,
        instrument: Instrument,
        compares: bool,
    ) -> Self {
        Self {
            board,
            limits,
            // What leads its current over contacts of its own has no leads to be zeroed.
            lead: instrument.four_wire.then_some(None),
            instrument,
            ways: Ways::new(board),
            weigher: Weigher::new(board, limits, &rates),
            rates,
            stance: Stance::START,
            touches: Vec::new(),
            asked: Asked::new(),
            unreachable: Vec::new(),
            compares,
            pending: Vec::new(),
            settled: Vec::new(),
            effort: Effort::default(),
        }
    }

    /// Goes on from what was answered before. The tips are held together anew: they may be others.
    pub fn resume(&mut self, touches: Vec<Touch>) {
        for touch in &touches {
            if let Some(probe) = self.probe_of(touch) {
                self.asked.insert(choose::pair(&probe));
                self.note_unreachable(touch);
            }
        }
        self.weigher.see_all(&touches);
        self.touches = touches;
        let readings = bounds::readings(self.board, &self.touches);
        self.settled.extend(bounds::contradiction(&readings));
    }

    /// How the board lies before the first question.
    pub fn lies(&mut self, hold: Hold) {
        self.stance.hold = hold;
    }

    /// Takes over what a known-good unit read earlier.
    pub fn know_good(&mut self, mut touches: Vec<Touch>) {
        for touch in &mut touches {
            touch.on_good_unit = true;
        }
        self.touches.extend(touches);
    }

    /// The board.
    pub fn board(&self) -> &'b Board {
        self.board
    }

    /// What was answered so far.
    pub fn touches(&self) -> &[Touch] {
        &self.touches
    }

    /// What it cost so far.
    pub fn effort(&self) -> Effort {
        self.effort
    }

    /// How tips and board are.
    pub fn stance(&self) -> &Stance {
        &self.stance
    }

    /// What is most probable.
    pub fn weigher(&self) -> &Weigher<'b> {
        &self.weigher
    }

    /// What comes next. A tip that stays where it is keeps its letter.
    pub fn next(&self) -> Next {
        match self.wanted() {
            Next::Ask(asking) => Next::Ask(Asking { probe: self.stance.lettered(asking.probe), ..asking }),
            other => other,
        }
    }

    fn wanted(&self) -> Next {
        if self.lead.is_none() {
            return Next::Zero;
        }
        if let Some((probe, again)) = self.pending.last() {
            return Next::Ask(Asking { probe: *probe, bits: 0.0, on_good_unit: false, again: *again });
        }
        if let Some(probe) = self.to_compare() {
            return Next::Ask(Asking { probe, bits: 0.0, on_good_unit: true, again: false });
        }
        let ask = |probe, bits| Next::Ask(Asking { probe, bits, on_good_unit: false, again: false });
        // One fault at a time: what else may be wrong shows when the unit is hunted again after the repair.
        if self.is_proven() {
            return Next::Done(Done::Located);
        }
        if let Some((place, probability)) = self.weigher.most_probable()
            && probability >= LOCATED
        {
            return self.confirmation(place).map_or(Next::Done(Done::Located), |probe| ask(probe, 0.0));
        }
        let scale = self.weigher.scale(self.instrument.four_wire);
        match choose::choose(self.board, &self.ways, &self.stance, &self.asked, &self.unreachable, &scale) {
            Some((probe, bits)) => ask(probe, bits),
            None => Next::Done(Done::NothingTells),
        }
    }

    /// Is the fault proven?
    fn is_proven(&self) -> bool {
        judge::proves_a_fault(self.board, self.limits, &self.touches)
    }

    /// Tips on the very ends of what is most probable, unless that was asked.
    fn confirmation(&self, place: Place) -> Option<Probe> {
        match place {
            Place::Segment(id) => self.over(id),
            Place::Bridge(index) => self.board.isolation.get(index).map(|entry| {
                choose::probe_at(self.board, entry.state, entry.between, self.stance.hold, Some(index))
            }),
            Place::Pin(_) => None,
        }
        .filter(|probe| self.is_new(probe))
    }

    /// A segment by itself, in the state the unit is in if it conducts in that.
    fn over(&self, id: SegmentId) -> Option<Probe> {
        let segment = self.board.segment(id);
        let conducts = |state: &_| segment.conducts_in(*state);
        let state = self
            .stance
            .state
            .filter(conducts)
            .or_else(|| self.board.state_ids().find(|state| conducts(state)))?;
        Some(choose::probe_at(self.board, state, [segment.from, segment.to], self.stance.hold, None))
    }

    fn is_new(&self, probe: &Probe) -> bool {
        !self.asked.contains(&choose::pair(probe))
            && !probe.points.iter().any(|point| self.unreachable.contains(point))
    }

    /// The pair last touched on the unit, if it is not known of the good one.
    fn to_compare(&self) -> Option<Probe> {
        let last = self.touches.iter().rev().find(|touch| !touch.on_good_unit)?;
        if !self.compares || last.method.is_none() {
            return None;
        }
        let known = self.touches.iter().any(|touch| touch.on_good_unit && same_place(touch, last));
        (!known).then(|| self.probe_of(last)).flatten()
    }

    /// What the leads read, with the tips held together.
    ///
    /// # Errors
    /// An answer that is no number, or too large a one.
    pub fn zeroed(&mut self, said: Said) -> Result<(), AnswerError> {
        self.lead = Some(answer::leads(said)?);
        Ok(())
    }

    /// Holds the tips together once more before the next question.
    pub fn zero_again(&mut self) {
        self.lead = None;
    }

    /// The answer to a question.
    ///
    /// # Errors
    /// An answer that cannot be one.
    pub fn answered(&mut self, asking: &Asking, said: Said, text: &str) -> Result<Outcome, AnswerError> {
        if said == Said::Again {
            return Ok(self.take_back());
        }
        let probe = &asking.probe;
        let [from, to] = probe.points.map(|point| self.board.point(point).name.clone());
        let touch = Touch {
            from,
            to,
            state: self.board.state(probe.state).name.clone(),
            on_good_unit: asking.on_good_unit,
            ..answer::shown(said, text, &self.instrument, self.lead.flatten())?
        };
        self.effort.add(&self.stance, probe);
        self.stance = Stance::after(probe);
        if asking.on_good_unit {
            self.touches.push(touch);
            return Ok(Outcome::Taken);
        }
        self.pending.pop();
        self.asked.insert(choose::pair(probe));
        self.note_unreachable(&touch);
        // A touch that is made again stands in the place of the one before.
        let before = self.touches.iter().position(|other| !other.on_good_unit && same_place(other, &touch));
        match before {
            Some(at) => {
                self.touches[at] = touch;
                self.weigher = Weigher::new(self.board, self.limits, &self.rates);
                self.weigher.see_all(&self.touches);
            }
            None => {
                self.weigher.see(&touch);
                self.touches.push(touch);
            }
        }
        Ok(self.look_for_contradictions())
    }

    /// Two touches that contradict each other are made again, the later one first; each pair once.
    fn look_for_contradictions(&mut self) -> Outcome {
        let found = bounds::contradiction(&bounds::readings(self.board, &self.touches));
        let Some(pair) = found.filter(|pair| !self.settled.contains(pair)) else {
            return Outcome::Taken;
        };
        self.settled.push(pair);
        let [later, earlier] =
            pair.map(|number| self.touches.get(number).and_then(|touch| self.probe_of(touch)));
        self.pending.extend(earlier.into_iter().chain(later).map(|probe| (probe, true)));
        Outcome::Contradicts(pair)
    }

    fn take_back(&mut self) -> Outcome {
        let Some(at) = self.touches.iter().rposition(|touch| !touch.on_good_unit) else {
            return Outcome::NothingToTakeBack;
        };
        // With what the good unit read at the same place after it.
        let back = self.touches.split_off(at);
        if let Some(probe) = back.first().and_then(|touch| self.probe_of(touch)) {
            self.asked.remove(&choose::pair(&probe));
            self.unreachable.retain(|point| !probe.points.contains(point));
            self.pending.push((probe, false));
        }
        self.weigher = Weigher::new(self.board, self.limits, &self.rates);
        self.weigher.see_all(&self.touches);
        Outcome::TakenBack
    }

    /// `skip NAME` names the point that cannot be reached; `skip` alone only this pair.
    fn note_unreachable(&mut self, touch: &Touch) {
        let named = touch.answered.strip_prefix("skip ").and_then(|name| self.board.point_named(name.trim()));
        self.unreachable.extend(named);
    }

    fn probe_of(&self, touch: &Touch) -> Option<Probe> {
        let state = self.board.state_named(&touch.state)?;
        let points = [self.board.point_named(&touch.from)?, self.board.point_named(&touch.to)?];
        let insulation = self.board.isolation.iter().position(|entry| {
            entry.state == state && (entry.between == points || entry.between == [points[1], points[0]])
        });
        Some(choose::probe_at(self.board, state, points, self.stance.hold, insulation))
    }

    /// How the board is to be held for a question, where that differs from how it is held.
    pub fn turn(&self, probe: &Probe) -> Option<Hold> {
        self.stance.flips(probe).then_some(probe.hold)
    }

    /// Everything that was read; `stopped`: before it was decided.
    pub fn finish(self, stopped: bool) -> ByHand {
        ByHand { touches: self.touches, stopped }
    }
}

/// The same two points in the same state.
pub fn same_place(one: &Touch, other: &Touch) -> bool {
    let ends = |touch: &Touch| {
        let mut ends = [touch.from.clone(), touch.to.clone()];
        ends.sort();
        ends
    };
    one.state == other.state && ends(one) == ends(other)
}
