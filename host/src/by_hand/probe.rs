//! A question put by hand, and what it costs to put it.

use super::place::Face;
use crate::board::{Board, PointId, StateId};

/// Lifting one tip and setting it down elsewhere on the same face, seconds (common practice).
const TIP_SECONDS: f64 = 2.0;
/// Turning the board over, or onto its edge, and finding one's way again, seconds (common practice).
const FLIP_SECONDS: f64 = 4.0;
/// Working a switch, tips laid down meanwhile, seconds (common practice).
const STATE_SECONDS: f64 = 7.0;
/// Reading what the meter shows and answering, seconds (common practice).
const ANSWER_SECONDS: f64 = 12.0;
/// Holding both faces at once, the board on its edge, is harder than turning it once, seconds (common practice).
const EDGE_SECONDS: f64 = 1.0;

/// How the board is held.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub enum Hold {
    /// One face up.
    Face(Face),
    /// On its edge, one tip on each face: between a point of the front and one of the back there is no other way.
    Edge,
}

impl Hold {
    /// The word for JSON.
    pub fn word(self) -> &'static str {
        match self {
            Self::Face(face) => face.word(),
            Self::Edge => "both",
        }
    }
}

/// Two tips on two points in a state.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub struct Probe {
    /// State of the unit.
    pub state: StateId,
    /// The points.
    pub points: [PointId; 2],
    /// How the board is held.
    pub hold: Hold,
    /// Insulation that is read, as an index into the board's list; `None`: what should conduct.
    pub insulation: Option<usize>,
}

/// How the unit and the tips are.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Stance {
    /// State of the unit, once it is known.
    pub state: Option<StateId>,
    /// Where the tips rest.
    pub tips: Option<[PointId; 2]>,
    /// How the board is held.
    pub hold: Hold,
}

impl Stance {
    /// At the beginning: the front up, the tips in the hands.
    pub const START: Self = Self { state: None, tips: None, hold: Hold::Face(Face::Front) };

    /// After a probe.
    pub fn after(probe: &Probe) -> Self {
        Self { state: Some(probe.state), tips: Some(probe.points), hold: probe.hold }
    }

    /// The same probe with its points in the order in which the tips rest on them.
    pub fn lettered(&self, mut probe: Probe) -> Probe {
        let [a, b] = probe.points;
        if self.tips.is_some_and(|[first, second]| (first == b && second != b) || (second == a && first != a))
        {
            probe.points = [b, a];
        }
        probe
    }

    /// Tips to be moved, 0 to 2.
    pub fn moves(&self, probe: &Probe) -> u32 {
        match self.tips {
            None => 2,
            Some(tips) => probe.points.iter().filter(|point| !tips.contains(point)).count() as u32,
        }
    }

    /// Is the board to be turned?
    pub fn flips(&self, probe: &Probe) -> bool {
        self.hold != probe.hold
    }

    /// Does the unit's state change?
    pub fn changes_state(&self, probe: &Probe) -> bool {
        self.state != Some(probe.state)
    }

    /// What it costs to put a question from here, seconds.
    pub fn cost(&self, probe: &Probe) -> f64 {
        let mut seconds = ANSWER_SECONDS + TIP_SECONDS * f64::from(self.moves(probe));
        if self.flips(probe) {
            seconds += FLIP_SECONDS;
        }
        if probe.hold == Hold::Edge {
            seconds += EDGE_SECONDS;
        }
        // A board without states has one, which nobody has to reach.
        if self.changes_state(probe) && self.state.is_some() {
            seconds += STATE_SECONDS;
        }
        seconds
    }
}

/// How two points can be held, from the way it is held now: as it is if that will do.
pub fn hold(board: &Board, points: [PointId; 2], now: Hold) -> Hold {
    let reaches = |face: Face| points.iter().all(|&point| face.reaches(board.point(point)));
    let faces = [Face::Front, Face::Back];
    let stays = faces.into_iter().find(|&face| now == Hold::Face(face) && reaches(face));
    stays.or_else(|| faces.into_iter().find(|&face| reaches(face))).map_or(Hold::Edge, Hold::Face)
}
