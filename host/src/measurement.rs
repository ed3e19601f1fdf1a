//! What one sweep or hunt brought back, from the bench or from two tips held by hand: written once, judged any number of times.
//!
//! Nothing here is a conclusion. The raw codes stand with everything they need to be read again: the shots as they
//! were sent, what each was for, why it stopped, and which files the plan was compiled from.

use copperwalk_wire::{
    Shot,
    message::{RunEnd, ShotEnd},
};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use crate::{
    board::Board,
    fitted::Wire,
    fixture::Fixture,
    hypothesis::Rates,
    meter::proven::Proven,
    plan::{Role, Sampling},
    proof::{self, Proof},
    quantity::{Ohms, Seconds},
};

/// Everything one sweep brought back.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct Measurement {
    /// Serial number of the unit.
    pub serial: String,
    /// Lot it came in.
    pub lot: Option<String>,
    /// Start, microseconds since 1970-01-01 UTC.
    pub started_us: i64,
    /// When the last repair of the unit before it was noted, likewise; `None`: none was.
    pub repaired_us: Option<i64>,
    /// Wires that repairs had fitted to the unit before it.
    #[serde(default)]
    pub wires: Vec<Wire>,
    /// What measured it: `virtual, seed 7`, or a port and a controller's serial number.
    pub bench_name: String,
    /// How it was made.
    pub manner: Manner,
    /// The files it stands on.
    pub basis: Basis,
    /// How long its plan looks; says nothing of what was read by hand.
    pub sampling: Sampling,
    /// The latest proof of the bench with this bed on it, if there was one, whether or not it holds.
    #[serde(default)]
    pub proof: Option<Proof>,
    /// Every run of the bench with its shots and codes, in order; none by hand.
    pub runs: Vec<Run>,
    /// What a hunt took for how often something is wrong; the table alone for everything else.
    #[serde(default)]
    pub rates: Rates,
    /// What was read by hand; `None` on the bench.
    pub by_hand: Option<ByHand>,
}

impl Measurement {
    /// What budgets may use of the proof.
    pub fn proven(&self, fixture: &Fixture) -> Option<Proven> {
        proof::usable(self.proof.as_ref(), fixture, self.started_us)
    }

    /// How long before its start the last repair was noted.
    pub fn rested(&self) -> Option<Seconds> {
        rested(self.repaired_us, self.started_us)
    }

    /// What the bench did, summed over the runs.
    pub fn work(&self) -> BenchWork {
        self.runs.iter().fold(BenchWork::default(), |work, run| BenchWork {
            shots: work.shots + run.shots.len() as u32,
            closures: work.closures + run.closures,
            device_us: work.device_us + u64::from(run.device_us),
        })
    }
}

/// From when a repair was noted, if one was, to a start, both microseconds.
pub fn rested(repaired_us: Option<i64>, started_us: i64) -> Option<Seconds> {
    let micros = started_us.checked_sub(repaired_us?)?;
    (micros >= 0).then_some(Seconds(micros as f64 * 1e-6))
}

/// How a measurement was made.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Manner {
    /// Every segment, on the bench.
    Sweep,
    /// On the bench, until the fault was located or the unit shown good.
    Hunt,
    /// The same with two tips held by a person.
    ByHand,
}

/// What kind of reading stands behind a value: what it can prove depends on it.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Method {
    /// A meter beeped, or did not: no number.
    Continuity,
    /// A resistance with the tips and leads in it, less what they read held together.
    TwoWire,
    /// Current and voltage have contacts of their own.
    FourWire,
}

/// What somebody read by hand.
#[derive(Clone, PartialEq, Debug, Default, Serialize, Deserialize)]
pub struct ByHand {
    /// In the order they were made.
    pub touches: Vec<Touch>,
    /// Ended by the operator before it was decided.
    pub stopped: bool,
}

/// Two tips held on two points once, and what came of it.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct Touch {
    /// Name of the point of one tip.
    pub from: String,
    /// Name of the point of the other.
    pub to: String,
    /// State of the unit meanwhile.
    pub state: String,
    /// Made on a known-good unit for comparison?
    pub on_good_unit: bool,
    /// What came, as it was typed or as the meter said it.
    pub answered: String,
    /// What read it: `typed`, or what a meter calls itself.
    pub meter: String,
    /// What kind of reading it is; `None`: nothing was read, the points cannot be reached.
    pub method: Option<Method>,
    /// What the leads read with the tips together, taken off below.
    pub lead: Option<Ohms>,
    /// The resistance, if there was a number.
    pub resistance: Option<Ohms>,
    /// It is at least this, 95 %.
    pub at_least: Option<Ohms>,
    /// It is at most this, 95 %.
    pub at_most: Option<Ohms>,
}

/// The files a measurement stands on.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize, ToSchema)]
pub struct Basis {
    /// Board name.
    pub board: String,
    /// Board revision.
    pub revision: String,
    /// SHA-256 of the board file.
    pub board_hash: String,
    /// The bed, and what was planned for it; `None` by hand.
    #[serde(flatten)]
    pub bed: Option<BedBasis>,
}

/// What a measurement on a bed stands on besides.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize, ToSchema)]
pub struct BedBasis {
    /// Fixture name.
    pub fixture: String,
    /// SHA-256 of the fixture file.
    pub fixture_hash: String,
    /// SHA-256 of the compiled plan.
    pub plan_hash: String,
}

impl Basis {
    /// A board, and the bed if there is one.
    pub fn of(board: &Board, bed: Option<BedBasis>) -> Self {
        let (name, revision, board_hash) = (board.name.clone(), board.revision.clone(), board.hash.clone());
        Self { board: name, revision, board_hash, bed }
    }

    /// Every file with its name and hash, for people who compare them.
    pub fn hashes(&self) -> Vec<(&'static str, &str, &str)> {
        let mut all = vec![("Board file", self.board.as_str(), self.board_hash.as_str())];
        if let Some(bed) = &self.bed {
            all.push(("Fixture file", &bed.fixture, &bed.fixture_hash));
            all.push(("Plan", "compiled from both", &bed.plan_hash));
        }
        all
    }
}

/// What the bench did.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default, Serialize, Deserialize, ToSchema)]
pub struct BenchWork {
    /// Shots run.
    pub shots: u32,
    /// Relays closed.
    pub closures: u32,
    /// Device time, µs, waiting for the operator not counted.
    pub device_us: u64,
}

/// Why a run was made.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Purpose {
    /// The plan as compiled, or what is left of it after a gate.
    Plan,
    /// To discharge the unit.
    Bleed,
    /// Every segment of a stretch dry, because its end-to-end reading was not as expected.
    DrySurvey,
    /// The stretch's segments under load, after the dry look.
    LoadSurvey,
    /// Past a pin that does not answer.
    PastPin,
    /// Between force pins on one side of an open.
    Reforce,
    /// A hunt's next look.
    Look,
    /// The segment that a hunt has led to, read by itself.
    Proof,
    /// The whole budget for what was left undecided.
    FullBudget,
    /// Which pin or relay of the bench is at fault.
    Diagnosis,
}

impl Purpose {
    /// The word kept in records.
    pub fn word(self) -> &'static str {
        match self {
            Self::Plan => "plan",
            Self::Bleed => "bleed",
            Self::DrySurvey => "dry_survey",
            Self::LoadSurvey => "load_survey",
            Self::PastPin => "past_pin",
            Self::Reforce => "reforce",
            Self::Look => "look",
            Self::Proof => "proof",
            Self::FullBudget => "full_budget",
            Self::Diagnosis => "diagnosis",
        }
    }
}

/// One run of the controller.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct Run {
    /// State of the unit during the run.
    pub state: String,
    /// Why it was made.
    pub purpose: Purpose,
    /// Why it ended.
    pub end: RunEnd,
    /// Relays closed.
    pub closures: u32,
    /// Device time, µs.
    pub device_us: u32,
    /// Shots with their codes, as far as they were run.
    pub shots: Vec<RunShot>,
}

/// One shot as it was run.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct RunShot {
    /// What it was for.
    pub role: Role,
    /// The shot.
    pub shot: Shot,
    /// Raw codes in the order of the shot's method.
    pub codes: Vec<i32>,
    /// Why its sampling stopped.
    pub why: ShotEnd,
    /// Device time at its start and its end since the run began, µs.
    pub from_us: u32,
    /// End.
    pub to_us: u32,
}
