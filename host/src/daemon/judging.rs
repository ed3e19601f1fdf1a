//! Stored measurements judged again: one such job at a time, on a thread of its own, so that the bench is not held up.

use std::{
    collections::VecDeque,
    io,
    path::PathBuf,
    sync::{Arc, Mutex, MutexGuard, PoisonError},
    thread,
};

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use crate::{
    board::Board,
    limits,
    link::CancelToken,
    records::{Of, Records, now_us},
    rejudge::{self, Outcome, StatedLimits},
};

/// Jobs that are over and still shown.
const MOST_OVER: usize = 20;

/// Which measurements are judged again, and by what.
#[derive(Clone, PartialEq, Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Asked {
    /// Every sweep of this unit.
    pub serial: Option<String>,
    /// Every sweep of the units of this lot. Without unit and lot: every sweep in the records.
    pub lot: Option<String>,
    /// The text of a file of limits, which count where it states some; the board file's count for the rest.
    pub limits: Option<String>,
    /// Add the new judgements to the records; the old ones stay.
    #[serde(default)]
    pub keep: bool,
}

/// How such a job stands.
#[derive(Clone, PartialEq, Debug, Serialize, ToSchema)]
pub struct JudgingPicture {
    /// Its number, counted from 1 since the daemon was started.
    pub id: u64,
    /// Where it stands.
    pub stage: JudgingStage,
    /// Are the new judgements kept?
    pub keep: bool,
    /// What came of it; `None` until it is done.
    pub outcome: Option<Outcome>,
    /// Why it failed or was cancelled; `None` otherwise.
    pub error: Option<String>,
}

/// Where such a job stands.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum JudgingStage {
    /// Under way.
    Running,
    /// Done.
    Done,
    /// It ended early.
    Failed,
}

/// Why a job is refused.
#[derive(Debug, thiserror::Error)]
pub enum JudgingRefused {
    /// One is under way.
    #[error("measurements are being judged again by job {0}; wait until it is done, or cancel it")]
    Busy(u64),
    /// No such job.
    #[error(
        "there is no such job {0}; the daemon numbers them from 1 each time it starts and shows the last {MOST_OVER}"
    )]
    NoJob(u64),
    /// No thread.
    #[error("the system gives no thread to judge on: {0}")]
    Thread(#[from] io::Error),
}

/// All of them.
#[derive(Debug)]
pub struct Judgings {
    store: PathBuf,
    state: Mutex<State>,
}

#[derive(Debug, Default)]
struct State {
    last: u64,
    /// The latest last; only the last one may be running.
    jobs: VecDeque<JudgingPicture>,
    cancel: CancelToken,
}

impl Judgings {
    /// None yet, of the measurements in this store.
    pub fn of(store: PathBuf) -> Self {
        Self { store, state: Mutex::default() }
    }

    /// Begins one.
    ///
    /// # Errors
    /// One is under way; there is no thread for it.
    pub fn begin(self: &Arc<Self>, asked: Asked) -> Result<JudgingPicture, JudgingRefused> {
        let mut state = self.lock();
        if let Some(running) = state.jobs.back().filter(|job| job.stage == JudgingStage::Running) {
            return Err(JudgingRefused::Busy(running.id));
        }
        let id = state.last + 1;
        let cancel = CancelToken::default();
        let picture =
            JudgingPicture { id, stage: JudgingStage::Running, keep: asked.keep, outcome: None, error: None };
        let body = {
            let (judgings, cancel) = (Arc::clone(self), cancel.clone());
            move || {
                let judged = judge(judgings.store.clone(), &asked, &cancel);
                judgings.end(id, judged);
            }
        };
        thread::Builder::new().name("judging".into()).spawn(body)?;
        state.last = id;
        state.cancel = cancel;
        state.jobs.push_back(picture.clone());
        if state.jobs.len() > MOST_OVER {
            state.jobs.pop_front();
        }
        Ok(picture)
    }

    /// How they stand, the latest first.
    pub fn all(&self) -> Vec<JudgingPicture> {
        self.lock().jobs.iter().rev().cloned().collect()
    }

    /// How one stands.
    ///
    /// # Errors
    /// There is none of this number.
    pub fn one(&self, id: u64) -> Result<JudgingPicture, JudgingRefused> {
        self.lock().jobs.iter().find(|job| job.id == id).cloned().ok_or(JudgingRefused::NoJob(id))
    }

    /// Ends the one under way early, if this is it: judgements kept until then stay, each whole.
    ///
    /// # Errors
    /// There is none of this number.
    pub fn cancel(&self, id: u64) -> Result<JudgingPicture, JudgingRefused> {
        let job = self.one(id)?;
        if job.stage == JudgingStage::Running {
            self.lock().cancel.cancel();
        }
        Ok(job)
    }

    /// Ends whichever is under way.
    pub fn stop(&self) {
        self.lock().cancel.cancel();
    }

    fn end(&self, id: u64, judged: Result<Outcome, String>) {
        let mut state = self.lock();
        let Some(job) = state.jobs.iter_mut().find(|job| job.id == id) else { return };
        match judged {
            Ok(outcome) => (job.stage, job.outcome) = (JudgingStage::Done, Some(outcome)),
            Err(error) => (job.stage, job.error) = (JudgingStage::Failed, Some(error)),
        }
    }

    fn lock(&self) -> MutexGuard<'_, State> {
        // Nothing is left half done while the lock is held.
        self.state.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

fn judge(store: PathBuf, asked: &Asked, cancel: &CancelToken) -> Result<Outcome, String> {
    let records = if asked.keep { Records::open(&store) } else { Records::open_to_read(&store) };
    let records = records.map_err(|error| error.to_string())?;
    let of = match (&asked.serial, &asked.lot) {
        (Some(serial), _) => Of::Unit(serial),
        (None, Some(lot)) => Of::Lot(lot),
        (None, None) => Of::All,
    };
    let sweeps = records.numbers(of).map_err(|error| error.to_string())?;
    let limits =
        asked.limits.as_deref().map(|text| move |board: &Board| limits::parse("limits", text, board));
    let limits = limits.as_ref().map(|limits| limits as &StatedLimits<'_>);
    rejudge::again(&records, &sweeps, limits, asked.keep.then(now_us), cancel)
        .map_err(|error| error.to_string())
}
