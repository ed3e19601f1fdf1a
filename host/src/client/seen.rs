//! What is read of a daemon's answers. The rest of them is passed over, so that a newer daemon may say more.

use serde::{Deserialize, Serialize};

use crate::{
    daemon::job::{JobId, Stage},
    quantity::Ohms,
    records::SweepId,
    verdict::Verdict,
};

/// How the bench stands.
#[derive(Clone, PartialEq, Debug, Deserialize)]
pub struct Bench {
    /// The controller; `None` while there is none.
    pub controller: Option<Controller>,
    /// Is the lid open?
    pub lid_open: Option<bool>,
    /// What is wrong and what to do.
    pub trouble: Option<String>,
}

/// A controller.
#[derive(Clone, PartialEq, Eq, Debug, Deserialize)]
pub struct Controller {
    /// Serial number.
    pub serial: String,
    /// Firmware version.
    pub firmware: String,
    /// Force channels.
    pub force_channels: u16,
    /// Sense channels.
    pub sense_channels: u16,
}

/// The fixtures that the daemon knows.
#[derive(Clone, PartialEq, Eq, Debug, Deserialize)]
pub struct FixtureList {
    /// Those that can be used.
    pub fixtures: Vec<Fixture>,
}

/// A fixture.
#[derive(Clone, PartialEq, Eq, Debug, Deserialize)]
pub struct Fixture {
    /// Name.
    pub name: String,
    /// SHA-256 of its file.
    pub hash: String,
    /// SHA-256 of its board's file.
    pub board_hash: String,
}

/// A sweep that is asked for.
#[derive(Clone, PartialEq, Eq, Debug, Serialize)]
pub struct Asked<'a> {
    /// Serial number.
    pub serial: &'a str,
    /// Lot.
    pub lot: Option<&'a str>,
    /// Name of the fixture.
    pub fixture: &'a str,
    /// Spend every reading's whole budget.
    pub full: bool,
    /// Go on although the records speak of a slip.
    pub yes: bool,
}

/// A job.
#[derive(Clone, PartialEq, Eq, Debug, Deserialize)]
pub struct Job {
    /// Its number.
    pub id: JobId,
    /// How it stands.
    pub stage: Stage,
    /// The one thing to do now.
    pub ask: Option<String>,
    /// What came of it.
    pub result: Option<Outcome>,
    /// Why it failed.
    pub error: Option<String>,
    /// Did it fail by what was asked for, and not by the bench?
    #[serde(default)]
    pub by_input: bool,
}

/// What a recorded sweep comes to.
#[derive(Clone, PartialEq, Eq, Debug, Deserialize)]
pub struct Outcome {
    /// Its number in the records.
    pub sweep: SweepId,
}

/// News of the bench that a sweep's progress is made of.
#[derive(Clone, PartialEq, Debug, Deserialize)]
#[serde(tag = "event", rename_all = "snake_case")]
pub enum News {
    /// The bench stands otherwise.
    Bench(Bench),
    /// A job stands otherwise.
    Job(Job),
    /// A run of readings begins.
    Run {
        /// The job.
        job: JobId,
        /// Why, in words.
        why: Option<String>,
    },
    /// A segment was read.
    Segment {
        /// The job.
        job: JobId,
        /// Its name.
        name: String,
        /// As measured.
        #[serde(rename = "ohms")]
        resistance: Ohms,
        /// Expanded uncertainty, 95 %.
        #[serde(rename = "u95_ohms")]
        u95: Ohms,
        /// What this reading says by itself.
        verdict: Verdict,
    },
}
