//! What callers and the bench's thread share: the queue of jobs, how each stands, how the bench stands.
//!
//! Every method takes the lock for a moment and waits for nothing, so that neither side holds the other up.

use std::{
    collections::VecDeque,
    fmt,
    sync::{Arc, Condvar, Mutex, MutexGuard, PoisonError},
    time::Duration,
};

use serde::Serialize;
use utoipa::ToSchema;

use super::{
    feed::{Feed, News},
    job::{JobId, JobPicture, Stage, Wanted},
};
use crate::link::CancelToken;

/// Jobs that may wait: more than a person lays on in a day.
pub const MOST_WAITING: usize = 1_000;
/// Jobs that are over and still shown; the records keep what came of them.
const MOST_OVER: usize = 1_000;

/// What is asked of the person before a sweep, while the lid is open.
const LAY_DOWN: &str = "Lay the unit on the pins and close the lid.";
/// The same while it is closed: whatever lies there may still be the unit before.
const OPEN_AND_LAY_DOWN: &str = "Open the lid, lay the unit on the pins, close the lid.";

/// How the bench stands.
#[derive(Clone, PartialEq, Debug, Default, Serialize, ToSchema)]
pub struct BenchPicture {
    /// Where the controller is: a port, or `virtual bench`.
    pub line: String,
    /// Who the controller is; `None` while there is none.
    pub controller: Option<Controller>,
    /// Is the lid open? `None` while nobody can say.
    pub lid_open: Option<bool>,
    /// What is wrong and what to do, in a sentence.
    pub trouble: Option<String>,
    /// On the virtual bench: what stands in for hands.
    pub hands: Option<HandsPicture>,
}

/// A controller.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, ToSchema)]
pub struct Controller {
    /// Serial number, sixteen hexadecimal digits.
    pub serial: String,
    /// Firmware version.
    pub firmware: String,
    /// Force channels.
    pub force_channels: u16,
    /// Sense channels.
    pub sense_channels: u16,
}

/// The virtual bench's lid, and the state of the unit on it.
#[derive(Clone, PartialEq, Eq, Debug, Default, Serialize, ToSchema)]
pub struct HandsPicture {
    /// Is the lid open?
    pub lid_open: bool,
    /// The unit's state; empty while no unit lies there.
    pub state: String,
    /// The states it can be put in.
    pub states: Vec<String>,
}

/// Why an order to the bench is refused.
#[derive(Clone, PartialEq, Eq, Debug, thiserror::Error)]
pub enum Refused {
    /// The queue is full.
    #[error("{MOST_WAITING} jobs are waiting already; wait until some are done, or cancel some")]
    Full,
    /// The daemon is about to end.
    #[error("the daemon is stopping; start it again")]
    Stopping,
    /// No such job.
    #[error("there is no job {0}; the daemon numbers its jobs from 1 each time it starts")]
    NoJob(JobId),
    /// It is over.
    #[error("job {0} is over")]
    Over(JobId),
    /// It waits for nobody.
    #[error("job {0} asks for nothing now")]
    NothingAsked(JobId),
}

/// A job that may begin.
#[derive(Debug)]
pub(super) struct Start {
    pub id: JobId,
    pub wanted: Wanted,
    pub cancel: CancelToken,
}

struct Entry {
    wanted: Wanted,
    picture: JobPicture,
    cancel: CancelToken,
    /// Somebody said that what was asked for is done.
    said: bool,
}

#[derive(Default)]
struct State {
    last: JobId,
    /// In the order asked for; the first is the one at the bench.
    waiting: VecDeque<Entry>,
    /// The latest last.
    over: VecDeque<JobPicture>,
    bench: BenchPicture,
    /// The lid was open since the last sweep, so that another unit may lie there.
    opened: bool,
    stopping: bool,
}

/// The desk.
pub struct Desk {
    state: Mutex<State>,
    bell: Condvar,
    feed: Arc<Feed>,
}

impl fmt::Debug for Desk {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Desk").finish_non_exhaustive()
    }
}

impl Desk {
    /// An empty desk that tells its news here.
    pub fn new(feed: Arc<Feed>) -> Self {
        Self { state: Mutex::default(), bell: Condvar::new(), feed }
    }

    /// Where its news are told.
    pub fn feed(&self) -> &Arc<Feed> {
        &self.feed
    }

    /// Takes a job.
    ///
    /// # Errors
    /// [`Refused::Full`] and [`Refused::Stopping`].
    pub fn submit(&self, wanted: Wanted, now_us: i64) -> Result<JobPicture, Refused> {
        let mut state = self.state();
        if state.stopping {
            return Err(Refused::Stopping);
        }
        if state.waiting.len() >= MOST_WAITING {
            return Err(Refused::Full);
        }
        state.last += 1;
        let picture = JobPicture::new(state.last, &wanted, now_us);
        let entry = Entry { wanted, picture: picture.clone(), cancel: CancelToken::default(), said: false };
        state.waiting.push_back(entry);
        self.feed.tell(&News::Job(Box::new(picture.clone())));
        self.ask_for_the_lid(&mut state);
        let picture = state.waiting.back().map_or(picture, |entry| entry.picture.clone());
        drop(state);
        self.bell.notify_all();
        Ok(picture)
    }

    /// Cancels a job. One that is at the bench ends as soon as every relay is open.
    ///
    /// # Errors
    /// [`Refused::NoJob`] and [`Refused::Over`].
    pub fn cancel(&self, id: JobId) -> Result<JobPicture, Refused> {
        let mut state = self.state();
        let place = Self::place(&state, id)?;
        let Some(entry) = state.waiting.get(place) else { return Err(Refused::NoJob(id)) };
        entry.cancel.cancel();
        if matches!(entry.picture.stage, Stage::Queued | Stage::WaitingForLid) {
            self.finish(&mut state, place, |picture| picture.stage = Stage::Cancelled);
        }
        drop(state);
        self.bell.notify_all();
        self.job(id)
    }

    /// Somebody says that what a job asks for is done.
    ///
    /// # Errors
    /// [`Refused::NoJob`], [`Refused::Over`], [`Refused::NothingAsked`].
    pub fn confirm(&self, id: JobId) -> Result<JobPicture, Refused> {
        let mut state = self.state();
        let place = Self::place(&state, id)?;
        let Some(entry) = state.waiting.get_mut(place) else { return Err(Refused::NoJob(id)) };
        if !matches!(entry.picture.stage, Stage::WaitingForLid | Stage::WaitingForState) {
            return Err(Refused::NothingAsked(id));
        }
        entry.said = true;
        let picture = entry.picture.clone();
        drop(state);
        self.bell.notify_all();
        Ok(picture)
    }

    /// One job.
    ///
    /// # Errors
    /// [`Refused::NoJob`].
    pub fn job(&self, id: JobId) -> Result<JobPicture, Refused> {
        let state = self.state();
        let waiting = state.waiting.iter().map(|entry| &entry.picture);
        waiting.chain(&state.over).find(|picture| picture.id == id).cloned().ok_or(Refused::NoJob(id))
    }

    /// Every job still known: the one at the bench, those that wait, then those that are over, the latest first.
    pub fn jobs(&self) -> Vec<JobPicture> {
        let state = self.state();
        let waiting = state.waiting.iter().map(|entry| &entry.picture);
        waiting.chain(state.over.iter().rev()).cloned().collect()
    }

    /// How the bench stands.
    pub fn bench(&self) -> BenchPicture {
        self.state().bench.clone()
    }

    /// Begins the end: no job is taken any more, the one at the bench is cancelled.
    pub fn stop(&self) {
        let mut state = self.state();
        state.stopping = true;
        state.waiting.iter().for_each(|entry| entry.cancel.cancel());
        drop(state);
        self.bell.notify_all();
    }

    /// Is the end wanted?
    pub fn is_stopping(&self) -> bool {
        self.state().stopping
    }

    /// The bench stands otherwise.
    pub(super) fn bench_is(&self, change: impl FnOnce(&mut BenchPicture)) {
        let mut state = self.state();
        let before = state.bench.clone();
        change(&mut state.bench);
        state.opened |= state.bench.lid_open == Some(true);
        if state.bench != before {
            self.feed.tell(&News::Bench(state.bench.clone()));
            self.ask_for_the_lid(&mut state);
        }
    }

    /// The first job, if it may begin: the lid is closed and was opened since the last sweep, or somebody said so.
    pub(super) fn ready(&self) -> Option<Start> {
        let mut state = self.state();
        let able = state.bench.controller.is_some() && !state.stopping;
        let closed_again = state.opened && state.bench.lid_open == Some(false);
        let entry = state.waiting.front_mut().filter(|_| able)?;
        if !closed_again && !entry.said {
            return None;
        }
        entry.said = false;
        entry.picture.stage = Stage::Measuring;
        entry.picture.ask = None;
        self.feed.tell(&News::Job(Box::new(entry.picture.clone())));
        Some(Start { id: entry.picture.id, wanted: entry.wanted.clone(), cancel: entry.cancel.clone() })
    }

    /// A job stands otherwise. One that is over by this leaves the queue.
    pub(super) fn job_is(&self, id: JobId, change: impl FnOnce(&mut JobPicture)) {
        let mut state = self.state();
        let Ok(place) = Self::place(&state, id) else { return };
        let Some(entry) = state.waiting.get_mut(place) else { return };
        let mut picture = entry.picture.clone();
        change(&mut picture);
        if picture.stage.is_over() {
            state.opened = false;
            self.finish(&mut state, place, |old| *old = picture);
        } else if picture != entry.picture {
            entry.picture = picture.clone();
            self.feed.tell(&News::Job(Box::new(picture)));
        }
    }

    /// The lid was open when the job was to begin: it waits again.
    pub(super) fn put_back(&self, id: JobId) {
        self.job_is(id, |picture| picture.stage = Stage::Queued);
        let mut state = self.state();
        state.opened = true;
        self.ask_for_the_lid(&mut state);
    }

    /// Waits until somebody says that a state is reached, for at most so long; true once.
    pub(super) fn heard(&self, id: JobId, patience: Duration) -> bool {
        let state = self.state();
        let said = |state: &mut State| match state.waiting.front_mut() {
            Some(entry) if entry.picture.id == id => !entry.said && !entry.cancel.is_cancelled(),
            _ => false,
        };
        let waited = self.bell.wait_timeout_while(state, patience, said);
        let (mut state, _) = waited.unwrap_or_else(PoisonError::into_inner);
        match state.waiting.front_mut() {
            Some(entry) if entry.picture.id == id => std::mem::take(&mut entry.said),
            _ => false,
        }
    }

    /// Waits until something is ordered, for at most so long.
    pub(super) fn rest(&self, patience: Duration) {
        let state = self.state();
        if !state.stopping {
            drop(self.bell.wait_timeout(state, patience));
        }
    }

    /// The first job asks for the lid, the others wait their turn.
    fn ask_for_the_lid(&self, state: &mut State) {
        let ask = if state.bench.lid_open == Some(false) { OPEN_AND_LAY_DOWN } else { LAY_DOWN };
        let Some(entry) = state.waiting.front_mut() else { return };
        if !matches!(entry.picture.stage, Stage::Queued | Stage::WaitingForLid) {
            return;
        }
        let before = (entry.picture.stage, entry.picture.ask.take());
        entry.picture.stage = Stage::WaitingForLid;
        entry.picture.ask = Some(ask.into());
        if before != (entry.picture.stage, entry.picture.ask.clone()) {
            self.feed.tell(&News::Job(Box::new(entry.picture.clone())));
        }
    }

    fn finish(&self, state: &mut State, place: usize, change: impl FnOnce(&mut JobPicture)) {
        let Some(Entry { mut picture, .. }) = state.waiting.remove(place) else { return };
        change(&mut picture);
        picture.ask = None;
        self.feed.tell(&News::Job(Box::new(picture.clone())));
        if state.over.len() == MOST_OVER {
            state.over.pop_front();
        }
        state.over.push_back(picture);
        self.ask_for_the_lid(state);
    }

    fn place(state: &State, id: JobId) -> Result<usize, Refused> {
        let place = state.waiting.iter().position(|entry| entry.picture.id == id);
        let gone = || match state.over.iter().any(|picture| picture.id == id) {
            true => Refused::Over(id),
            false => Refused::NoJob(id),
        };
        place.ok_or_else(gone)
    }

    fn state(&self) -> MutexGuard<'_, State> {
        // No code that can panic runs while the lock is held.
        self.state.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plan::Sampling;

    fn wanted(serial: &str) -> Wanted {
        Wanted {
            serial: serial.into(),
            lot: None,
            fixture: "bed".into(),
            sampling: Sampling::Quick,
            before: None,
        }
    }

    /// A desk with a controller, the lid closed and never opened.
    fn desk() -> Desk {
        let desk = Desk::new(Arc::default());
        let (serial, firmware) = ("00".into(), "0.1.0".into());
        let controller = Controller { serial, firmware, force_channels: 16, sense_channels: 48 };
        desk.bench_is(|bench| {
            bench.controller = Some(controller);
            bench.lid_open = Some(false);
        });
        desk
    }

    fn lid(desk: &Desk, open: bool) {
        desk.bench_is(|bench| bench.lid_open = Some(open));
    }

    #[test]
    fn closing_the_lid_starts() {
        let desk = desk();
        let job = desk.submit(wanted("A-1"), 0).unwrap();
        assert_eq!((job.stage, job.ask.as_deref()), (Stage::WaitingForLid, Some(OPEN_AND_LAY_DOWN)));
        assert!(desk.ready().is_none(), "the unit before may still lie there");
        lid(&desk, true);
        assert_eq!(desk.job(1).unwrap().ask.as_deref(), Some(LAY_DOWN));
        assert!(desk.ready().is_none());
        lid(&desk, false);
        assert_eq!(desk.ready().unwrap().id, 1);
        assert_eq!(desk.job(1).unwrap().stage, Stage::Measuring);
    }

    #[test]
    fn the_next_unit_needs_the_lid_opened_again() {
        let desk = desk();
        for serial in ["A-1", "A-2"] {
            desk.submit(wanted(serial), 0).unwrap();
        }
        assert_eq!(desk.job(2).unwrap().stage, Stage::Queued);
        lid(&desk, true);
        lid(&desk, false);
        assert_eq!(desk.ready().unwrap().id, 1);
        desk.job_is(1, |job| job.stage = Stage::Recorded);
        assert_eq!(desk.job(2).unwrap().ask.as_deref(), Some(OPEN_AND_LAY_DOWN));
        assert!(desk.ready().is_none());
        desk.confirm(2).unwrap();
        assert_eq!(desk.ready().unwrap().id, 2, "somebody said so");
    }

    #[test]
    fn a_wrong_scan_is_taken_back_and_a_job_at_the_bench_is_asked_to_end() {
        let desk = desk();
        desk.submit(wanted("A-1"), 0).unwrap();
        assert_eq!(desk.cancel(1).unwrap().stage, Stage::Cancelled);
        assert_eq!(desk.cancel(1), Err(Refused::Over(1)));
        assert_eq!(desk.confirm(7), Err(Refused::NoJob(7)));
        desk.submit(wanted("A-2"), 0).unwrap();
        desk.confirm(2).unwrap();
        let start = desk.ready().unwrap();
        assert_eq!(desk.confirm(2), Err(Refused::NothingAsked(2)));
        assert_eq!(desk.cancel(2).unwrap().stage, Stage::Measuring, "until every relay is open");
        assert!(start.cancel.is_cancelled());
    }

    #[test]
    fn nothing_begins_without_a_controller_or_at_the_end() {
        let desk = desk();
        desk.submit(wanted("A-1"), 0).unwrap();
        desk.confirm(1).unwrap();
        desk.bench_is(|bench| bench.controller = None);
        assert!(desk.ready().is_none());
        desk.stop();
        assert_eq!(desk.submit(wanted("A-2"), 0), Err(Refused::Stopping));
    }

    #[test]
    fn what_somebody_says_is_heard_once() {
        let desk = desk();
        desk.submit(wanted("A-1"), 0).unwrap();
        desk.confirm(1).unwrap();
        assert!(desk.ready().is_some());
        assert!(!desk.heard(1, Duration::ZERO));
        desk.job_is(1, |job| job.stage = Stage::WaitingForState);
        desk.confirm(1).unwrap();
        assert!(desk.heard(1, Duration::ZERO));
        assert!(!desk.heard(1, Duration::ZERO));
    }

    #[test]
    fn a_job_that_met_an_open_lid_waits_again() {
        let desk = desk();
        desk.submit(wanted("A-1"), 0).unwrap();
        desk.confirm(1).unwrap();
        desk.ready().unwrap();
        desk.put_back(1);
        assert_eq!(desk.job(1).unwrap().stage, Stage::WaitingForLid);
    }

    #[test]
    fn the_queue_is_bounded() {
        let desk = desk();
        for _ in 0..MOST_WAITING {
            desk.submit(wanted("A-1"), 0).unwrap();
        }
        assert_eq!(desk.submit(wanted("A-1"), 0), Err(Refused::Full));
    }
}
