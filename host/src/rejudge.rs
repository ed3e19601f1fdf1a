//! Stored measurements judged again, with today's program and, if asked for, other limits.

use std::{
    collections::BTreeMap,
    num::NonZero,
    path::Path,
    sync::{Arc, Mutex},
    thread,
};

use serde::Serialize;

use crate::{
    evidence::EvidenceError,
    judge::{self, Change},
    limits::{self, LimitSet},
    plan::{self, Plan, Sampling},
    problem::Problems,
    records::{self, Records, Stored, SweepId},
    sweep::Judgement,
    verdict::Verdict,
};

/// Measurements held at a time.
const BATCH: usize = 256;

/// One measurement judged again.
#[derive(Clone, PartialEq, Debug, Serialize)]
pub struct Rejudged {
    /// Its number.
    pub sweep: SweepId,
    /// Serial number of the unit.
    pub serial: String,
    /// Name of the board.
    pub board: String,
    /// The latest verdict kept.
    pub before: Verdict,
    /// The verdict it would get.
    pub after: Verdict,
    /// Rows whose verdict or class would change.
    pub changes: Vec<Change>,
    /// The judgement itself.
    #[serde(skip)]
    pub judgement: Judgement,
}

impl Rejudged {
    /// Would anything change?
    pub fn differs(&self) -> bool {
        self.before != self.after || !self.changes.is_empty()
    }
}

/// A measurement that could not be judged again.
#[derive(Clone, PartialEq, Debug, Serialize)]
pub struct Skipped {
    /// Its number.
    pub sweep: SweepId,
    /// Why, in words.
    pub why: String,
}

/// What came of it.
#[derive(Clone, PartialEq, Debug, Default, Serialize)]
pub struct Outcome {
    /// Judged again.
    pub judged: usize,
    /// Those that would change.
    pub changed: Vec<Rejudged>,
    /// Those that could not be judged.
    pub skipped: Vec<Skipped>,
}

/// Why none can be judged.
#[derive(Debug, thiserror::Error)]
pub enum RejudgeError {
    /// The file of limits.
    #[error("{0}")]
    Limits(Problems),
    /// The record store.
    #[error(transparent)]
    Records(#[from] records::Error),
}

/// Why one cannot be judged.
#[derive(Debug, thiserror::Error)]
enum Unjudged {
    #[error("the stored files give no plan: {0}")]
    Plan(String),
    #[error(transparent)]
    Evidence(#[from] EvidenceError),
}

/// Judges sweeps again. With `keep`, every new judgement is kept beside the old ones, made at that time
/// (microseconds since 1970-01-01 UTC).
///
/// # Errors
/// A file of limits that does not fit a board in question; a record store that cannot be read or written. What is
/// wrong with a single sweep is in the outcome.
pub fn again(
    records: &Records,
    sweeps: &[SweepId],
    limits: Option<&Path>,
    keep: Option<i64>,
) -> Result<Outcome, RejudgeError> {
    let mut bases = Bases { file: limits, known: BTreeMap::new() };
    let mut outcome = Outcome::default();
    for batch in sweeps.chunks(BATCH) {
        let mut stored = Vec::with_capacity(batch.len());
        for (&sweep, read) in batch.iter().zip(records.read(batch)?) {
            match read {
                Ok(read) => stored.push((bases.of(&read)?, read)),
                Err(error) => outcome.skipped.push(Skipped { sweep, why: error.to_string() }),
            }
        }
        for (judged, (_, stored)) in in_parallel(&stored).into_iter().zip(&stored) {
            match judged {
                Ok(judged) => {
                    outcome.judged += 1;
                    if let Some(made_us) = keep {
                        records.keep_judgement(judged.sweep, &judged.judgement, made_us)?;
                    }
                    if judged.differs() {
                        outcome.changed.push(judged);
                    }
                }
                Err(error) => outcome.skipped.push(Skipped { sweep: stored.id, why: error.to_string() }),
            }
        }
    }
    Ok(outcome)
}

/// What the sweeps of one board, fixture and sampling are judged by.
struct Basis {
    limits: LimitSet,
    plan: Result<Plan, String>,
}

impl Basis {
    fn judge(&self, stored: &Stored) -> Result<Rejudged, Unjudged> {
        let plan = self.plan.as_ref().map_err(|error| Unjudged::Plan(error.clone()))?;
        let judgement = judge::judge(&stored.fixture, &self.limits, plan, &stored.measurement)?;
        Ok(Rejudged {
            sweep: stored.id,
            serial: stored.measurement.serial.clone(),
            board: stored.fixture.board.name.clone(),
            before: stored.judgement.verdict,
            after: judgement.verdict,
            changes: judge::changes(&stored.judgement, &judgement),
            judgement,
        })
    }
}

/// Every basis met so far, so that each is worked out once.
struct Bases<'a> {
    file: Option<&'a Path>,
    known: BTreeMap<(String, String, bool), Arc<Basis>>,
}

impl Bases<'_> {
    fn of(&mut self, stored: &Stored) -> Result<Arc<Basis>, RejudgeError> {
        let measurement = &stored.measurement;
        let full = measurement.sampling == Sampling::Full;
        let key = (measurement.basis.board_hash.clone(), measurement.basis.fixture_hash.clone(), full);
        if let Some(known) = self.known.get(&key) {
            return Ok(Arc::clone(known));
        }
        let board = &stored.fixture.board;
        let limits = match self.file {
            Some(file) => limits::read(file, board).map_err(RejudgeError::Limits)?,
            None => LimitSet::of_board(board),
        };
        let plan = plan::compile(&stored.fixture, measurement.sampling).map_err(|error| error.to_string());
        let basis = Arc::new(Basis { limits, plan });
        self.known.insert(key, Arc::clone(&basis));
        Ok(basis)
    }
}

/// Judges a batch on as many threads as there are cores, and keeps the order.
fn in_parallel(stored: &[(Arc<Basis>, Stored)]) -> Vec<Result<Rejudged, Unjudged>> {
    let threads = thread::available_parallelism().map_or(1, NonZero::get);
    let next = Mutex::new(stored.iter().enumerate());
    let work = || {
        let mut done = Vec::new();
        loop {
            let Some((at, (basis, stored))) = next.lock().ok().and_then(|mut next| next.next()) else {
                return done;
            };
            done.push((at, basis.judge(stored)));
        }
    };
    let mut all: Vec<_> = thread::scope(|scope| {
        let handles: Vec<_> = (0..threads).map(|_| scope.spawn(work)).collect();
        handles
            .into_iter()
            .flat_map(|handle| handle.join().unwrap_or_else(|panic| std::panic::resume_unwind(panic)))
            .collect()
    });
    all.sort_by_key(|(at, _)| *at);
    all.into_iter().map(|(_, judged)| judged).collect()
}
