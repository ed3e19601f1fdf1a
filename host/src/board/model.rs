//! A board type after validation: everything later modules may trust.

use serde::{Deserialize, Serialize};

use super::{Assumed, outline};
use crate::copper::Neck;
use crate::quantity::{Amps, Farads, Henries, Ohms, Seconds, Volts};

/// Ids are handed out by a [`Board`], by name or in its order; nobody else makes one, so an id leads somewhere.
macro_rules! id {
    ($($id:ident),*) => {$(
        impl $id {
            pub(crate) const fn new(index: usize) -> Self {
                Self(index)
            }

            pub(crate) const fn index(self) -> usize {
                self.0
            }
        }
    )*};
}

id!(PointId, SegmentId, StateId);

/// Index of a point in [`Board::points`].
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug, Serialize, Deserialize)]
pub struct PointId(usize);

/// Index of a segment in [`Board::segments`].
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug, Serialize, Deserialize)]
pub struct SegmentId(usize);

/// Index of a state in [`Board::states`].
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug, Serialize, Deserialize)]
pub struct StateId(usize);

/// A board type. Built by [`super::read`] only, so names are unique, ids are in range, the supply path joins
/// up, and no state closes a loop.
#[derive(Clone, PartialEq, Debug)]
pub struct Board {
    /// Name as written in the file.
    pub name: String,
    /// Revision as written in the file.
    pub revision: String,
    /// Laminate thickness, mm: the length of a via barrel.
    pub thickness_mm: f64,
    /// Copper thickness, µm.
    pub copper_um: f64,
    /// Outline seen from the front, mm, in order round the edge.
    pub outline: Vec<[f64; 2]>,
    /// The supply this board hangs on.
    pub supply: Supply,
    /// States in the order they are walked; at least one. A board that declares none has the single state
    /// `as placed` with an empty prompt.
    pub states: Vec<State>,
    /// Points.
    pub points: Vec<Point>,
    /// Segments, in file order.
    pub segments: Vec<Segment>,
    /// Isolation to be proven.
    pub isolation: Vec<Isolation>,
    /// What somebody looks at on every unit and answers with yes or no, in file order; names are unique.
    pub checks: Vec<Check>,
    /// What the file does not say and is taken to be as usual, in the order of [`Assumed`].
    pub assumed: Vec<Assumed>,
    /// Where pins, posts and tips may not go, in file order.
    pub keep_outs: Vec<KeepOut>,
    /// Holes with nothing in them, in file order; names are unique.
    pub holes: Vec<Hole>,
    /// How it is first put under power; `None` where the file does not say.
    pub power: Option<Power>,
    /// Voltages under power, in file order; names are unique.
    pub rails: Vec<Rail>,
    /// The file's text, kept for the record.
    pub source: String,
    /// SHA-256 of the file's bytes, lower-case hex.
    pub hash: String,
    /// Nobody but this module puts a board together.
    pub(super) parsed: Parsed,
}

/// Mark of what came out of a file that was found to be in order.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) struct Parsed;

/// The supply and its budget.
#[derive(Clone, PartialEq, Debug)]
pub struct Supply {
    /// Where the path begins.
    pub from: PointId,
    /// Where it ends: one load, or several on branches. Never empty.
    pub to: Vec<PointId>,
    /// The other terminal.
    pub ret: PointId,
    /// Lowest and highest supply voltage.
    pub voltage: [Volts; 2],
    /// Current at full load.
    pub load: Amps,
    /// Voltage the path may cost at that load.
    pub max_drop: Volts,
    /// Internal resistance of the cell, if that is stated.
    pub source: Option<Ohms>,
    /// Lowest voltage at a load with which it works, if that is stated; below the highest supply voltage.
    pub brown_out: Option<Volts>,
    /// Bulk capacitance between the loads and the return; the plan waits for it.
    pub bulk: Farads,
}

/// How a board is first put under power, and what a good one draws.
#[derive(Clone, PartialEq, Debug)]
pub struct Power {
    /// Least and most current at rest; `None` where it is to be learnt from golden units.
    pub idle: Option<[Amps; 2]>,
    /// The most it may draw for a moment when the voltage rises, if that is said.
    pub inrush: Option<Amps>,
    /// What the supply is limited to; no less than `idle` and `inrush` allow.
    pub limit: Amps,
    /// The voltage it is run at, one of the supply's.
    pub nominal: Volts,
    /// Steps from nothing to the lowest supply voltage, at least one.
    pub steps: u32,
    /// How long each is left alone before it is read.
    pub settle: Seconds,
    /// How long after the last one the board is at rest.
    pub wait: Seconds,
    /// The state the unit is in.
    pub state: StateId,
    /// What gets warm first, to be felt or looked at; empty where nothing is said.
    pub hot: String,
}

/// A voltage that a good board has at a point while it is under power, against the supply's return.
#[derive(Clone, PartialEq, Debug)]
pub struct Rail {
    /// Name.
    pub name: String,
    /// Where it is read.
    pub at: PointId,
    /// Lowest and highest.
    pub voltage: [Volts; 2],
}

/// A position the unit is put in.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct State {
    /// Name.
    pub name: String,
    /// What the operator is asked to do; empty where nothing is to be done.
    pub prompt: String,
}

/// A place a pin can touch.
#[derive(Clone, PartialEq, Debug)]
pub struct Point {
    /// Name.
    pub name: String,
    /// Position seen from the front, mm.
    pub at: [f64; 2],
    /// Side.
    pub side: Side,
    /// What it is.
    pub kind: PointKind,
    /// Least width of the metal there, mm, if that is said: what a wire can be soldered to.
    pub pad_mm: Option<f64>,
}

/// Which side of the board.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[allow(missing_docs)]
pub enum Side {
    Front,
    Back,
    Both,
}

/// One face of the board.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
#[allow(missing_docs)]
pub enum Face {
    Front,
    Back,
}

impl Face {
    /// The face behind it.
    pub fn other(self) -> Self {
        match self {
            Self::Front => Self::Back,
            Self::Back => Self::Front,
        }
    }

    /// The word used in board files.
    pub fn word(self) -> &'static str {
        match self {
            Self::Front => "front",
            Self::Back => "back",
        }
    }
}

impl Side {
    /// Can a point on this side be touched on that face?
    pub fn touches(self, face: Face) -> bool {
        match self {
            Self::Front => face == Face::Front,
            Self::Back => face == Face::Back,
            Self::Both => true,
        }
    }
}

/// Where nothing may touch or stand on a face of the board: a part, a label, copper that must not be scratched.
#[derive(Clone, PartialEq, Debug)]
pub struct KeepOut {
    /// The face.
    pub side: Face,
    /// Its edge seen from the front, mm, in order.
    pub polygon: Vec<[f64; 2]>,
    /// How high what stands there is above the board, mm, if that is said.
    pub height_mm: Option<f64>,
    /// Why; empty where nothing is said.
    pub why: String,
}

impl KeepOut {
    /// Does a disc round a place reach into it, both in mm?
    pub fn covers(&self, at: [f64; 2], radius_mm: f64) -> bool {
        outline::contains(&self.polygon, at) || outline::distance(&self.polygon, at) < radius_mm
    }
}

/// A hole with nothing in it, which a wire may be led through.
#[derive(Clone, PartialEq, Debug)]
pub struct Hole {
    /// Name.
    pub name: String,
    /// Its middle seen from the front, mm.
    pub at: [f64; 2],
    /// Its diameter, mm.
    pub diameter_mm: f64,
}

/// What a point is; only drawings and advice depend on it.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[allow(missing_docs)]
pub enum PointKind {
    Terminal,
    Pad,
    Via,
    Leg,
    Test,
}

/// One piece of the supply path.
#[derive(Clone, PartialEq, Debug)]
pub struct Segment {
    /// Name.
    pub name: String,
    /// Kind, with the geometry or rating it was described by.
    pub kind: SegmentKind,
    /// One end.
    pub from: PointId,
    /// The other end.
    pub to: PointId,
    /// States it conducts in; `None` = always. Only switches have `Some`.
    pub closed: Option<Vec<StateId>>,
    /// What a healthy one reads at 20 °C.
    pub expected: Expected,
    /// What the file says of its limits.
    pub stated: StatedLimits,
    /// Least resistance while open; only switches have one.
    pub open_min: Option<Ohms>,
    /// Inductance of a usual one; zero where the kind has none worth speaking of.
    pub inductance: Henries,
}

/// Where copper lies: what may be thin, and how warm it gets, depends on it.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
pub enum Layer {
    /// On a face of the board, where plating is added to the foil.
    #[default]
    Outer,
    /// Inside it: foil alone.
    Inner,
}

/// The shape of a pour, and what [`copper`](crate::copper) found between its ends.
#[derive(Clone, PartialEq, Debug)]
pub struct Pour {
    /// Its outline, mm.
    pub outline: Vec<[f64; 2]>,
    /// What is cut out of it, mm.
    pub holes: Vec<Vec<[f64; 2]>>,
    /// Its resistance over that of a square of its copper.
    pub squares: f64,
    /// Half-width of the error of `squares`.
    pub error_squares: f64,
    /// Where it gets hottest.
    pub neck: Option<Neck>,
}

/// Kinds of segments.
#[derive(Clone, PartialEq, Debug)]
#[allow(missing_docs)]
pub enum SegmentKind {
    Trace {
        length_mm: f64,
        width_mm: f64,
        layer: Layer,
    },
    /// Copper of any shape on one layer.
    Pour {
        /// Its shape; nothing where the file states `typical` instead.
        shape: Option<Pour>,
        layer: Layer,
    },
    /// Parallel barrels.
    Via {
        count: u32,
        drill_mm: f64,
        plating_um: f64,
    },
    Joint,
    Fuse {
        rating: Option<Amps>,
    },
    Resettable {
        hold: Option<Amps>,
    },
    Ferrite,
    Inductor,
    Shunt {
        resistance: Ohms,
    },
    Switch,
    Connector,
    Wire {
        length_mm: f64,
        awg: u32,
    },
    /// In series with the supply, anode at `from`.
    Diode {
        /// Forward voltage at the supply's full load, at most.
        max_forward: Volts,
        /// Current it lets through backwards, at most.
        max_reverse: Amps,
    },
    /// A MOSFET against a reversed battery. Without power its channel is off, and its body diode leads from `from` to `to`.
    Transistor {
        /// Current it lets through backwards, at most.
        max_reverse: Amps,
    },
}

impl SegmentKind {
    /// The word used in board files.
    pub fn word(&self) -> &'static str {
        match self {
            Self::Trace { .. } => "trace",
            Self::Pour { .. } => "pour",
            Self::Via { .. } => "via",
            Self::Joint => "joint",
            Self::Fuse { .. } => "fuse",
            Self::Resettable { .. } => "resettable",
            Self::Ferrite => "ferrite",
            Self::Inductor => "inductor",
            Self::Shunt { .. } => "shunt",
            Self::Switch => "switch",
            Self::Connector => "connector",
            Self::Wire { .. } => "wire",
            Self::Diode { .. } => "diode",
            Self::Transistor { .. } => "transistor",
        }
    }

    /// The current it may let through from `to` to `from`, of what conducts one way only: a diode, or a transistor without
    /// power. At the 20 mV of a dry reading such a piece is an open either way, so no series current is led over it.
    pub fn one_way(&self) -> Option<Amps> {
        match self {
            Self::Diode { max_reverse, .. } | Self::Transistor { max_reverse } => Some(*max_reverse),
            _ => None,
        }
    }

    /// Copper is referred to 20 °C by its coefficient; everything else is judged as measured.
    pub fn is_copper(&self) -> bool {
        matches!(self, Self::Trace { .. } | Self::Pour { .. } | Self::Via { .. } | Self::Wire { .. })
    }

    /// Metal pressed on metal: read dry, so that a film is seen before it is punctured.
    pub fn is_contact(&self) -> bool {
        matches!(self, Self::Switch | Self::Connector | Self::Joint)
    }
}

/// What a healthy segment reads at 20 °C.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Expected {
    /// Middle of what is usual.
    pub typical: Ohms,
    /// Upper end of what a healthy one may read.
    pub high: Ohms,
}

/// What the board file says of a segment's limits at 20 °C; [`LimitSet`](crate::limits::LimitSet) fills the gaps.
#[derive(Clone, Copy, PartialEq, Debug, Default)]
pub struct StatedLimits {
    /// Lower limit.
    pub min: Option<Ohms>,
    /// Upper limit.
    pub max: Option<Ohms>,
}

/// Isolation between two points.
#[derive(Clone, PartialEq, Debug)]
pub struct Isolation {
    /// Semiconductors of a good unit conduct between the points one way, or above some tenths of a volt.
    pub junction: bool,
    /// The points.
    pub between: [PointId; 2],
    /// Least resistance.
    pub min: Ohms,
    /// The state it is judged in.
    pub state: StateId,
}

/// Something to look at that no probe can tell, answered with yes or no.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Check {
    /// Name: what is so if the answer is yes.
    pub name: String,
    /// How to look; empty where nothing needs saying.
    pub help: String,
}

impl Board {
    /// A point by id.
    pub fn point(&self, id: PointId) -> &Point {
        &self.points[id.0]
    }

    /// A segment by id.
    pub fn segment(&self, id: SegmentId) -> &Segment {
        &self.segments[id.0]
    }

    /// A state by id.
    pub fn state(&self, id: StateId) -> &State {
        &self.states[id.0]
    }

    /// A point by name.
    pub fn point_named(&self, name: &str) -> Option<PointId> {
        self.points.iter().position(|p| p.name == name).map(PointId)
    }

    /// A segment by name.
    pub fn segment_named(&self, name: &str) -> Option<SegmentId> {
        self.segments.iter().position(|s| s.name == name).map(SegmentId)
    }

    /// A state by name.
    pub fn state_named(&self, name: &str) -> Option<StateId> {
        self.states.iter().position(|s| s.name == name).map(StateId)
    }

    /// Ids of all states, in the order they are walked.
    pub fn state_ids(&self) -> impl Iterator<Item = StateId> + use<> {
        (0..self.states.len()).map(StateId)
    }

    /// A check by name.
    pub fn check_named(&self, name: &str) -> Option<&Check> {
        self.checks.iter().find(|check| check.name == name)
    }

    /// Ids of all segments, in file order.
    pub fn segment_ids(&self) -> impl Iterator<Item = SegmentId> + use<> {
        (0..self.segments.len()).map(SegmentId)
    }
}

impl Segment {
    /// Does it conduct in this state when healthy?
    pub fn conducts_in(&self, state: StateId) -> bool {
        self.closed.as_ref().is_none_or(|states| states.contains(&state))
    }
}
