//! Questions: where a current is sent, and what is looked at meanwhile.

use super::{
    defect::{Defect, Hypothesis},
    values::sigma,
};
use crate::{
    board::{Board, PointId, SegmentId, StateId},
    plan::forest::Forest,
};

/// A question to a unit.
#[derive(Clone, PartialEq, Debug)]
pub enum Question {
    /// A current along a way, and the voltage between two points of it.
    Look(Look),
    /// Do two nets conduct that should not? Index into the board's isolation, read in a state.
    Insulation {
        /// Which.
        index: usize,
        /// In which state.
        state: StateId,
    },
}

/// A current from one point to another, and the voltage between two points of its way. By hand all four are two.
#[derive(Clone, PartialEq, Debug)]
pub struct Look {
    /// State of the unit.
    pub state: StateId,
    /// The two points between which the current is sent.
    pub forced: [PointId; 2],
    /// The two points between which the voltage is read, in the order of the way.
    pub sensed: [PointId; 2],
    /// Segments of the way, from the first forced point on.
    way: Vec<SegmentId>,
    /// For each segment of the board, where on the way it lies; [`NOWHERE`].
    positions: Vec<u32>,
    /// The sensed points, as numbers of points along the way.
    between: [usize; 2],
    /// What a healthy unit usually reads between them, and its variance, Ω and Ω².
    usual: f64,
    variance: f64,
}

/// No place on a way.
const NOWHERE: u32 = u32::MAX;

/// What becomes of a current that is sent along a way with opens in it.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) enum Course {
    /// It flows.
    Flows,
    /// It does not; which sensed points still hang on an end, and does the source's voltage stand between them?
    Stops {
        /// The two sensed points.
        touches: [bool; 2],
        /// Between them?
        across: bool,
    },
}

impl Look {
    /// A look in a state; `None` where no way leads between the forced points, where it leads through a mesh, whose segments share the
    /// current, or where the sensed points do not lie on it.
    pub fn new(board: &Board, state: StateId, forced: [PointId; 2], sensed: [PointId; 2]) -> Option<Self> {
        Self::within(board, &Forest::new(board, state, &[]), state, forced, sensed)
    }

    /// The same in what conducts in that state, where many looks are made of it.
    pub fn within(
        board: &Board,
        forest: &Forest,
        state: StateId,
        forced: [PointId; 2],
        sensed: [PointId; 2],
    ) -> Option<Self> {
        if !forest.crossings(forced[0], forced[1]).is_empty() {
            return None;
        }
        let steps = forest.path(forced[0], forced[1])?;
        let points: Vec<PointId> =
            std::iter::once(forced[0]).chain(steps.iter().map(|step| step.to)).collect();
        let mut between = [0; 2];
        for (at, point) in between.iter_mut().zip(sensed) {
            *at = points.iter().position(|other| *other == point)?;
        }
        let mut sensed = sensed;
        if between[0] > between[1] {
            between.reverse();
            sensed.reverse();
        }
        let way: Vec<SegmentId> = steps.iter().map(|step| step.segment).collect();
        let mut positions = vec![NOWHERE; board.segments.len()];
        for (at, id) in way.iter().enumerate() {
            positions[id.index()] = at as u32;
        }
        let inside = way[between[0]..between[1]].iter().map(|&id| board.segment(id));
        let usual = inside.clone().map(|segment| segment.expected.typical.0).sum();
        let variance = inside.map(|segment| sigma(segment).powi(2)).sum();
        Some(Self { state, forced, sensed, way, positions, between, usual, variance })
    }

    /// The two forced points looked at themselves, as two tips held by hand do.
    pub fn two_points(board: &Board, state: StateId, points: [PointId; 2]) -> Option<Self> {
        Self::new(board, state, points, points)
    }

    /// Segments that the current has to pass.
    pub fn way(&self) -> &[SegmentId] {
        &self.way
    }

    /// Segments between the sensed points.
    pub fn between(&self) -> &[SegmentId] {
        &self.way[self.between[0]..self.between[1]]
    }

    /// What a healthy unit usually reads, Ω.
    pub(super) fn usual(&self) -> f64 {
        self.usual
    }

    /// Variance of what healthy units read, Ω².
    pub(super) fn variance(&self) -> f64 {
        self.variance
    }

    /// Where on the way a segment lies.
    pub(super) fn position(&self, id: SegmentId) -> Option<usize> {
        let at = self.positions[id.index()];
        (at != NOWHERE).then_some(at as usize)
    }

    /// Does a place on the way lie between the sensed points?
    pub(super) fn is_between(&self, position: usize) -> bool {
        (self.between[0]..self.between[1]).contains(&position)
    }

    /// What becomes of the current with opens at these places of the way, in any order.
    pub(super) fn course(&self, opens: impl Iterator<Item = usize>) -> Course {
        let ends = opens.fold(None, |ends: Option<[usize; 2]>, at| {
            Some(ends.map_or([at, at], |[first, last]| [first.min(at), last.max(at)]))
        });
        let Some([first, last]) = ends else { return Course::Flows };
        let near = |point: usize| point <= first;
        let far = |point: usize| point > last;
        let [a, b] = self.between;
        Course::Stops { touches: [near(a) || far(a), near(b) || far(b)], across: near(a) && far(b) }
    }

    /// The same for those opens of a hypothesis that `opens` tells.
    pub(super) fn course_of(&self, hypothesis: &Hypothesis, opens: impl Fn(Defect) -> bool) -> Course {
        self.course(
            hypothesis
                .defects()
                .filter(|&defect| opens(defect))
                .filter_map(|defect| self.position(defect.segment()?)),
        )
    }
}
