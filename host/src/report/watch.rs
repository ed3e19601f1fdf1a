//! What a segment did while it was watched, to people and programs: plain data, put together once for the terminal, for JSON and for the
//! records.

use serde::Serialize;

use crate::{
    board::{SegmentId, StateId},
    disturbance::{Disturbance, Noise, Place, Step, Watched, rates::FALSE_ALARMS_AN_HOUR},
    fixture::Fixture,
    quantity::Ohms,
    records::summary::WatchEntry,
    verdict::{Class, Verdict},
};

/// A watch. Its JSON has these keys.
#[derive(Clone, PartialEq, Debug, Serialize)]
pub struct WatchSheet {
    /// Board name.
    pub board: String,
    /// Board revision.
    pub revision: String,
    /// Name of the segment.
    pub segment: String,
    /// Name of the state it was in.
    pub state: String,
    /// What watched.
    pub bench: String,
    /// Time watched, second.
    pub seconds: f64,
    /// Conversions.
    pub conversions: u64,
    /// Resistance at rest.
    pub ohms: Ohms,
    /// Its upper limit.
    pub max_ohms: Ohms,
    /// Standard deviation of one conversion at rest.
    pub noise_ohms: Ohms,
    /// Interruptions of the segment, in order; the first thousand.
    pub dropouts: Vec<Line>,
    /// How many there were.
    pub dropout_count: u64,
    /// The longest of them, ms.
    pub longest_dropout_ms: f64,
    /// Interruptions elsewhere in the path.
    pub elsewhere: Vec<Line>,
    /// How many there were.
    pub elsewhere_count: u64,
    /// Times a sense pin was off its pad.
    pub pins: Vec<Line>,
    /// How many there were.
    pub pin_count: u64,
    /// Interruptions too short to tell where.
    pub unplaced: Vec<Line>,
    /// How many there were.
    pub unplaced_count: u64,
    /// Steps.
    pub steps: Vec<StepLine>,
    /// Times of excess noise.
    pub noise: Vec<NoiseLine>,
    /// Time without a conversion, because the line had no room, ms.
    pub unwatched_ms: f64,
    /// False alarms that are allowed for, an hour.
    pub false_alarms_an_hour: f64,
    /// `time`, `stopped`, or what broke it off.
    pub ended: String,
    /// The verdict.
    pub verdict: Verdict,
    /// The class.
    pub class: Class,
}

/// An interruption.
#[derive(Clone, Copy, PartialEq, Debug, Serialize)]
pub struct Line {
    /// When it began, ms of watching.
    pub at_ms: f64,
    /// How long it lasted, ms.
    pub ms: f64,
}

/// A step.
#[derive(Clone, Copy, PartialEq, Debug, Serialize)]
pub struct StepLine {
    /// When, ms of watching.
    pub at_ms: f64,
    /// Resistance before.
    pub from_ohms: Ohms,
    /// After.
    pub to_ohms: Ohms,
}

/// Excess noise.
#[derive(Clone, Copy, PartialEq, Debug, Serialize)]
pub struct NoiseLine {
    /// When it began, ms of watching.
    pub at_ms: f64,
    /// How long it lasted, ms.
    pub ms: f64,
    /// Its largest standard deviation.
    pub rms_ohms: Ohms,
}

fn ms(micros: u64) -> f64 {
    micros as f64 / 1e3
}

impl WatchSheet {
    /// Of what was watched, and how that ended.
    pub fn new(
        fixture: &Fixture,
        segment: SegmentId,
        state: StateId,
        bench: &str,
        watched: &Watched,
        ended: String,
    ) -> Self {
        let board = &fixture.board;
        let at = |place: Place| {
            let found = watched.disturbances.iter().filter(|found| found.place == place);
            found.map(|&Disturbance { at_us, us, .. }| Line { at_ms: ms(at_us), ms: ms(us) }).collect()
        };
        let step =
            |&Step { at_us, from, to }: &Step| StepLine { at_ms: ms(at_us), from_ohms: from, to_ohms: to };
        let noise =
            |&Noise { at_us, us, rms }: &Noise| NoiseLine { at_ms: ms(at_us), ms: ms(us), rms_ohms: rms };
        Self {
            board: board.name.clone(),
            revision: board.revision.clone(),
            segment: board.segment(segment).name.clone(),
            state: board.state(state).name.clone(),
            bench: bench.into(),
            seconds: watched.us as f64 / 1e6,
            conversions: watched.conversions,
            ohms: watched.resistance,
            max_ohms: fixture.limits.of(segment).max,
            noise_ohms: watched.noise,
            dropouts: at(Place::Segment),
            dropout_count: watched.count(Place::Segment),
            longest_dropout_ms: ms(watched.longest_us),
            elsewhere: at(Place::Elsewhere),
            elsewhere_count: watched.count(Place::Elsewhere),
            pins: at(Place::Pin),
            pin_count: watched.count(Place::Pin),
            unplaced: at(Place::Unknown),
            unplaced_count: watched.count(Place::Unknown),
            steps: watched.steps.iter().map(step).collect(),
            noise: watched.noises.iter().map(noise).collect(),
            unwatched_ms: ms(watched.unwatched_us),
            false_alarms_an_hour: FALSE_ALARMS_AN_HOUR,
            ended,
            verdict: watched.verdict(),
            class: watched.class(),
        }
    }

    /// The same for the records.
    pub fn entry(&self, at_us: i64, sheet: String) -> WatchEntry {
        WatchEntry {
            at_us,
            segment: self.segment.clone(),
            state: self.state.clone(),
            bench_name: self.bench.clone(),
            watched_ms: (self.seconds * 1e3) as u64,
            dropouts: self.dropout_count,
            longest_us: (self.longest_dropout_ms * 1e3).round() as u64,
            steps: self.steps.len() as u64,
            noises: self.noise.len() as u64,
            verdict: self.verdict,
            sheet,
        }
    }
}
