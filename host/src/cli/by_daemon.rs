//! A sweep by the daemon that has the controller: asked for, followed, and shown as if this command had measured.
//!
//! What a person sees and answers is the same as alone. The unit lies on the pins when the command begins, which confirms the
//! daemon's first question; behind other jobs it may be laid down later, and the question is asked.

use std::{
    fs,
    io::{Write, stderr},
    net::SocketAddr,
    path::{Path, PathBuf},
    time::{Duration, Instant},
};

use super::{Failure, Status, output::complain, progress::Progress};
use crate::{
    client::{
        ClientError, Daemon, Listening,
        seen::{Asked, Job, News},
    },
    daemon::job::Stage,
    fixture::Fixture,
    job::JobError,
    link::CancelToken,
    operator::{LOOK, TerminalOperator, Unattended},
    records::{self, SweepId},
    visible::{clean, path as shown},
};

/// A cancelled job is over as soon as every relay is open: twice the two seconds in which a daemon ends.
const FAREWELL: Duration = Duration::from_secs(4);
/// Streams of news that may be lost in one sweep; a line inside one computer loses none.
const MOST_LOSSES: u32 = 5;

/// Why a daemon gave no sweep.
#[derive(Debug, thiserror::Error)]
pub enum AskError {
    /// It was not asked, or did not take the job.
    #[error("{0}")]
    Client(#[from] ClientError),
    /// It was lost while the job was under way.
    #[error("{error}; `copperwalk unit` tells whether unit {serial:?} was recorded")]
    Lost {
        /// The unit.
        serial: String,
        /// How.
        error: ClientError,
    },
    /// Records are to go elsewhere than the daemon's do.
    #[error(
        "the daemon at {address} keeps its records in {}, not in {}: leave out --records and COPPERWALK_RECORDS, or stop the daemon",
        shown(its),
        shown(named)
    )]
    OtherRecords {
        /// The daemon.
        address: SocketAddr,
        /// Its store.
        its: PathBuf,
        /// The store that the arguments or the environment name.
        named: PathBuf,
    },
    /// It knows no such fixture.
    #[error(
        "the daemon at {address} knows no fixture {name:?}: put {} and its board file into the folder that it was given with \
         --fixtures, or stop the daemon",
        shown(file)
    )]
    NoFixture {
        /// The daemon.
        address: SocketAddr,
        /// The fixture's name.
        name: String,
        /// The fixture's file.
        file: PathBuf,
    },
    /// Its fixture of this name is another.
    #[error(
        "the daemon at {address} knows another fixture {name:?} than {}, or another board file beside it: put these files into \
         the folder that it was given with --fixtures, or stop the daemon",
        shown(file)
    )]
    OtherFixture {
        /// The daemon.
        address: SocketAddr,
        /// The fixture's name.
        name: String,
        /// The fixture's file.
        file: PathBuf,
    },
    /// Its controller is gone.
    #[error("the daemon at {address} has no controller now: {trouble}")]
    NoController {
        /// The daemon.
        address: SocketAddr,
        /// In its own words.
        trouble: String,
    },
    /// The sweep came to nothing.
    #[error("{why}")]
    Failed {
        /// In the daemon's words.
        why: String,
        /// By what was asked for, and not by the bench.
        by_input: bool,
    },
    /// Somebody cancelled it, here or at the daemon.
    #[error("cancelled at the daemon at {address}; nothing was recorded")]
    Cancelled {
        /// The daemon.
        address: SocketAddr,
    },
    /// It was cancelled, and the daemon does not say that it is over.
    #[error("the daemon at {address} does not say that the sweep is cancelled; see its page")]
    NotCancelled {
        /// The daemon.
        address: SocketAddr,
    },
}

impl AskError {
    /// The exit status, the same as without a daemon.
    pub fn status(&self) -> Status {
        let by_input = |input| if input { Status::Input } else { Status::Void };
        match self {
            Self::Client(error) => by_input(error.is_input()),
            Self::Failed { by_input: input, .. } => by_input(*input),
            Self::OtherRecords { .. } | Self::NoFixture { .. } | Self::OtherFixture { .. } => Status::Input,
            Self::Lost { .. } | Self::NoController { .. } => Status::Void,
            Self::Cancelled { .. } | Self::NotCancelled { .. } => Status::Cancelled,
        }
    }
}

impl From<ClientError> for Failure {
    fn from(error: ClientError) -> Self {
        Self::Daemon(error.into())
    }
}

/// The daemon that holds the controller at this port, if one does.
pub fn holding(port: &str, store: Option<&PathBuf>) -> Result<Option<Daemon>, Failure> {
    // Where no store can be named, the daemon may still have one.
    let own = records::path(store.cloned()).unwrap_or_default();
    Ok(Daemon::holding(port, &own)?)
}

/// Sees to it that no daemon has the controller at this port, for work that wants it for itself: `the bench is proven`.
pub fn has_not(port: &str, store: Option<&PathBuf>, work: &'static str) -> Result<(), Failure> {
    match holding(port, store)? {
        Some(daemon) => {
            Err(Failure::Held { port: port.to_owned(), address: daemon.address().to_string(), work })
        }
        None => Ok(()),
    }
}

/// Says that a daemon is asked, and sees to it that it sweeps with this fixture and into these records.
pub fn agree(daemon: &Daemon, fixture: &Fixture, file: &Path, store: Option<PathBuf>) -> Result<(), Failure> {
    let address = daemon.address();
    complain(&format!("the daemon at {address} has this controller; asking it"));
    let is_named = records::is_named(store.as_deref());
    let real = |path: &Path| fs::canonicalize(path).ok();
    if let Ok(own) = records::path(store)
        && real(&own).is_none_or(|own| Some(own) != real(daemon.records()))
    {
        let its = daemon.records().to_owned();
        if is_named {
            return Err(AskError::OtherRecords { address, its, named: own }.into());
        }
        complain(&format!(
            "the sweep goes into the daemon's records in {}, not into {}",
            shown(&its),
            shown(&own)
        ));
    }
    let (name, file) = (fixture.name.clone(), file.to_owned());
    match daemon.fixture(&name)? {
        None => Err(AskError::NoFixture { address, name, file }.into()),
        Some(its) if its.hash != fixture.hash || its.board_hash != fixture.board.hash => {
            Err(AskError::OtherFixture { address, name, file }.into())
        }
        Some(_) => Ok(()),
    }
}

/// Has a unit swept, and gives its number in the daemon's records. `lies_there`: nobody need be asked for the unit if it is
/// its turn at once.
pub fn sweep(
    daemon: &Daemon,
    asked: &Asked<'_>,
    lies_there: bool,
    person: &mut TerminalOperator,
    cancel: &CancelToken,
) -> Result<SweepId, Failure> {
    let (bench, address) = (daemon.bench()?, daemon.address());
    if bench.controller.is_none() {
        let trouble = bench.trouble.unwrap_or_else(|| "it looks for one; do it again in a moment".into());
        return Err(AskError::NoController { address, trouble }.into());
    }
    // Listened to first, so that nothing of the job is missed.
    let listening = daemon.listen()?;
    let job = daemon.sweep(asked)?;
    let at_once = lies_there && job.stage == Stage::WaitingForLid;
    if at_once {
        daemon.confirm(job.id)?;
    } else if job.stage == Stage::Queued {
        complain("other units come first; this one waits its turn");
    }
    let mut following = Following {
        daemon,
        listening,
        progress: Progress::new(),
        job,
        question: None,
        answered: at_once,
        trouble: bench.trouble,
        losses: 0,
    };
    let ended = following.follow(person, cancel);
    let job = &following.job;
    if ended.is_err() {
        // Nobody follows it any more.
        let _ = daemon.cancel(job.id);
    }
    match ended {
        Err(Broken::Client(error)) => Err(AskError::Lost { serial: asked.serial.into(), error }.into()),
        Err(Broken::Person(error)) => Err(JobError::from(error).into()),
        Err(Broken::Patience) => Err(AskError::NotCancelled { address }.into()),
        Ok(()) => match (&job.result, job.stage) {
            (Some(outcome), _) => Ok(outcome.sweep),
            (None, Stage::Cancelled) => Err(AskError::Cancelled { address }.into()),
            (None, _) => {
                let why = job.error.clone().unwrap_or_else(|| "the daemon does not say why it failed".into());
                Err(AskError::Failed { why, by_input: job.by_input }.into())
            }
        },
    }
}

/// Why a job is not followed to its end.
enum Broken {
    Client(ClientError),
    Person(Unattended),
    Patience,
}

impl From<ClientError> for Broken {
    fn from(error: ClientError) -> Self {
        Self::Client(error)
    }
}

/// A job as it is followed.
struct Following<'d> {
    daemon: &'d Daemon,
    listening: Listening<'d>,
    progress: Progress,
    job: Job,
    /// What the person was asked, until the bench goes on.
    question: Option<String>,
    /// The question was answered, and the bench has not gone on yet.
    answered: bool,
    trouble: Option<String>,
    losses: u32,
}

impl Following<'_> {
    fn follow(&mut self, person: &mut TerminalOperator, cancel: &CancelToken) -> Result<(), Broken> {
        let mut cancelled = None;
        self.ask();
        while !self.job.stage.is_over() {
            if cancel.is_cancelled() && cancelled.is_none() {
                cancelled = Some(Instant::now());
                // It may have ended in this moment, which the news tell.
                let _ = self.daemon.cancel(self.job.id);
            }
            if cancelled.is_some_and(|at| at.elapsed() > FAREWELL) {
                return Err(Broken::Patience);
            }
            match self.listening.next(LOOK) {
                Ok(Some(news)) => {
                    self.take(news);
                    continue;
                }
                Ok(None) => {}
                Err(error) => self.listen_again(error)?,
            }
            if let Some(question) = self.question.as_deref().filter(|_| !self.answered && cancelled.is_none())
                && said(person, question)?
            {
                self.answered = true;
                match self.daemon.confirm(self.job.id) {
                    // The bench went on by itself, or was faster.
                    Ok(_) | Err(ClientError::Refused { .. }) => {}
                    Err(error) => return Err(error.into()),
                }
            }
        }
        Ok(())
    }

    /// The stream ended: another is begun, and the job looked at afresh.
    fn listen_again(&mut self, error: ClientError) -> Result<(), Broken> {
        self.losses += 1;
        if self.losses > MOST_LOSSES {
            return Err(error.into());
        }
        self.listening = self.daemon.listen()?;
        let job = self.daemon.job(self.job.id)?;
        self.take(News::Job(job));
        Ok(())
    }

    fn take(&mut self, news: News) {
        let mine = self.job.id;
        match news {
            News::Job(job) if job.id == mine => {
                self.job = job;
                self.ask();
            }
            News::Run { job, why } if job == mine => self.progress.run(why.as_deref()),
            News::Segment { job, name, resistance, u95, verdict } if job == mine => {
                self.progress.segment(&name, resistance, u95, verdict);
            }
            News::Bench(bench) if bench.trouble != self.trouble => {
                bench.trouble.iter().for_each(|trouble| complain(trouble));
                self.trouble = bench.trouble;
            }
            News::Job(_) | News::Run { .. } | News::Segment { .. } | News::Bench(_) => {}
        }
    }

    /// Asks what the job asks, once.
    fn ask(&mut self) {
        match self.job.stage {
            Stage::WaitingForLid | Stage::WaitingForState => {}
            Stage::Measuring => {
                self.question = None;
                self.answered = false;
                return;
            }
            _ => return,
        }
        if self.answered || self.job.ask.is_none() || self.question == self.job.ask {
            return;
        }
        self.question.clone_from(&self.job.ask);
        if let Some(ask) = &self.question {
            let _ = writeln!(stderr(), "{} Press Enter when that is done", clean(ask));
        }
    }
}

/// Has somebody pressed Enter? A cancelled question is no answer; the daemon is told, and says the end.
fn said(person: &mut TerminalOperator, question: &str) -> Result<bool, Broken> {
    match person.said(question) {
        Err(Unattended::Cancelled) => Ok(false),
        said => said.map_err(Broken::Person),
    }
}
