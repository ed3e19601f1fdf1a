//! Stored measurements judged again, with today's program and, if asked for, other limits.

use std::{collections::BTreeMap, sync::Arc};

use serde::Serialize;
use utoipa::ToSchema;

use crate::{
    board::Board,
    by_hand,
    evidence::EvidenceError,
    judge::{self, Change},
    limits::LimitSet,
    link::CancelToken,
    parallel,
    plan::{self, Plan, Sampling},
    problem::Problems,
    records::{self, Records, Setup, Stored, SweepId},
    sweep::Judgement,
    verdict::Verdict,
};

/// Measurements held at a time.
const BATCH: usize = 256;

/// One measurement judged again.
#[derive(Clone, PartialEq, Debug, Serialize, ToSchema)]
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
#[derive(Clone, PartialEq, Debug, Serialize, ToSchema)]
pub struct Skipped {
    /// Its number.
    pub sweep: SweepId,
    /// Why, in words.
    pub why: String,
}

/// What came of it.
#[derive(Clone, PartialEq, Debug, Default, Serialize, ToSchema)]
pub struct Outcome {
    /// Judged again.
    pub judged: usize,
    /// Of those, how many judgements were kept: all, or none.
    pub kept: usize,
    /// Those that would change.
    pub changed: Vec<Rejudged>,
    /// Those that could not be judged.
    pub skipped: Vec<Skipped>,
}

/// Why none can be judged.
#[derive(Debug, thiserror::Error)]
pub enum RejudgeError {
    /// The file of limits. Nothing was kept.
    #[error("{problems}")]
    Limits {
        /// What is wrong with it.
        problems: Problems,
        /// The board it does not fit, where it could fit another one in question.
        board: Option<String>,
    },
    /// Somebody asked for this end.
    #[error("cancelled after {judged} of {asked} sweeps; new judgements kept: {kept}")]
    Cancelled {
        /// Judged again until then.
        judged: usize,
        /// Asked for.
        asked: usize,
        /// Judgements kept until then, each whole.
        kept: usize,
    },
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
    ByHand(#[from] by_hand::JudgeError),
    #[error(transparent)]
    Evidence(#[from] EvidenceError),
}

/// Limits that somebody states for a board instead of its file's own, or what is wrong with the statement.
pub type StatedLimits<'l> = dyn Fn(&Board) -> Result<LimitSet, Problems> + 'l;

/// Judges sweeps again. With `keep`, every new judgement is kept beside the old ones, made at that time
/// (microseconds since 1970-01-01 UTC).
///
/// # Errors
/// A file of limits that does not fit every board in question, told before anything is kept; a record store that
/// cannot be read or written; cancellation. What is wrong with a single sweep is in the outcome.
pub fn again(
    records: &Records,
    sweeps: &[SweepId],
    limits: Option<&StatedLimits<'_>>,
    keep: Option<i64>,
    cancel: &CancelToken,
) -> Result<Outcome, RejudgeError> {
    let stated = match limits {
        Some(limits) => stated(limits, &records.boards(sweeps)?)?,
        None => BTreeMap::new(),
    };
    let mut bases = Bases { stated, known: BTreeMap::new() };
    let mut outcome = Outcome::default();
    let go_on = |outcome: &Outcome| match cancel.is_cancelled() {
        true => {
            Err(RejudgeError::Cancelled { judged: outcome.judged, asked: sweeps.len(), kept: outcome.kept })
        }
        false => Ok(()),
    };
    for batch in sweeps.chunks(BATCH) {
        go_on(&outcome)?;
        let mut stored = Vec::with_capacity(batch.len());
        for (&sweep, read) in batch.iter().zip(records.read(batch)?) {
            match read {
                Ok(read) => stored.push((bases.of(&read), read)),
                Err(error) => outcome.skipped.push(Skipped { sweep, why: error.to_string() }),
            }
        }
        let judged = parallel::map(&stored, |(basis, stored)| basis.judge(stored));
        for (judged, (_, stored)) in judged.into_iter().zip(&stored) {
            match judged {
                Ok(judged) => {
                    outcome.judged += 1;
                    if let Some(made_us) = keep {
                        go_on(&outcome)?;
                        records.keep_judgement(judged.sweep, &judged.judgement, made_us)?;
                        outcome.kept += 1;
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

/// What is stated for each of these boards, by the hash of the board.
fn stated(limits: &StatedLimits<'_>, boards: &[Board]) -> Result<BTreeMap<String, LimitSet>, RejudgeError> {
    let mut sets = BTreeMap::new();
    let mut misfits = Vec::new();
    for board in boards {
        match limits(board) {
            Ok(set) => drop(sets.insert(board.hash.clone(), set)),
            Err(problems) => misfits.push((board, problems)),
        }
    }
    // The same problems with every board are the file's own: no choice of board mends them.
    let own = sets.is_empty() && misfits.windows(2).all(|pair| pair[0].1 == pair[1].1);
    match misfits.into_iter().next() {
        None => Ok(sets),
        Some((board, problems)) => {
            let board = (!own).then(|| board.name.clone());
            Err(RejudgeError::Limits { problems, board })
        }
    }
}

/// What the sweeps of one board, fixture and sampling are judged by.
struct Basis {
    limits: LimitSet,
    /// None by hand.
    plan: Option<Result<Plan, String>>,
}

impl Basis {
    fn judge(&self, stored: &Stored) -> Result<Rejudged, Unjudged> {
        let judgement = match (&stored.setup, &self.plan) {
            (Setup::Bed(fixture), Some(Ok(plan))) => {
                judge::judge(fixture, &self.limits, plan, &stored.measurement)?
            }
            (Setup::Bed(_), Some(Err(error))) => return Err(Unjudged::Plan(error.clone())),
            (board, _) => by_hand::judge(board.board(), &self.limits, &stored.measurement)?,
        };
        Ok(Rejudged {
            sweep: stored.id,
            serial: stored.measurement.serial.clone(),
            board: stored.setup.board().name.clone(),
            before: stored.judgement.verdict,
            after: judgement.verdict,
            changes: judge::changes(&stored.judgement, &judgement),
            judgement,
        })
    }
}

/// Every basis met so far, so that each is worked out once.
struct Bases {
    /// Limits that a file states instead of the board's own, by the hash of the board.
    stated: BTreeMap<String, LimitSet>,
    known: BTreeMap<(String, Option<String>, bool), Arc<Basis>>,
}

impl Bases {
    fn of(&mut self, stored: &Stored) -> Arc<Basis> {
        let measurement = &stored.measurement;
        let full = measurement.sampling == Sampling::Full;
        let bed = measurement.basis.bed.as_ref().map(|bed| bed.fixture_hash.clone());
        let key = (measurement.basis.board_hash.clone(), bed, full);
        if let Some(known) = self.known.get(&key) {
            return Arc::clone(known);
        }
        let board = stored.setup.board();
        let (usual, plan) = match &stored.setup {
            // What was measured is what the plan for the fixture's own limits asked for.
            Setup::Bed(fixture) => {
                let plan = plan::compile(fixture, &fixture.limits, measurement.sampling);
                (fixture.limits.clone(), Some(plan.map_err(|error| error.to_string())))
            }
            Setup::ByHand(board) => (LimitSet::of_board(board), None),
        };
        let limits = self.stated.get(&board.hash).cloned().unwrap_or(usual);
        let basis = Arc::new(Basis { limits, plan });
        self.known.insert(key, Arc::clone(&basis));
        basis
    }
}
