//! The thread that has the controller: it watches line and lid, and does one job after the other.

use std::{
    io,
    sync::Arc,
    thread::{self, JoinHandle},
    time::{Duration, Instant},
};

use super::{
    arrival::{Arrival, Noted},
    desk::{Controller, Desk, Start},
    draw,
    feed::News,
    fixtures::{Fixtures, Laid},
    job::{JobId, Outcome, Stage},
    modelled::{Hands, Paced},
    operator::DeskOperator,
};
use crate::{
    job::{Event, Job, JobError, Subject},
    link::{CancelToken, LinkError, Session, Transport, discover, serial::SerialLink},
    quantity::with_uncertainty,
    records::{Records, SweepId, now_us},
    report::words,
    sweep::Sweep,
    virtual_bench::VirtualBench,
};

/// How often the lid is looked at while nothing runs. A person does not notice the delay.
const LOOK: Duration = Duration::from_millis(100);
/// How often a controller is looked for while there is none.
const SEEK: Duration = Duration::from_secs(1);
/// How often the fixtures' files are looked at.
const FILES: Duration = Duration::from_secs(2);

/// Where the controller is.
#[derive(Clone, Debug)]
pub enum Line {
    /// At this port.
    Port(String),
    /// At whichever port one is plugged in.
    AnyPort,
    /// Nowhere: the bench is modelled, and these are the hands at it.
    Virtual(Hands),
}

/// The running thread. Dropping it ends it: the job at the bench is cancelled, every relay open.
#[derive(Debug)]
pub struct Bench {
    thread: Option<JoinHandle<()>>,
    desk: Arc<Desk>,
}

impl Bench {
    /// Starts the thread.
    ///
    /// # Errors
    /// The operating system has no thread to give.
    pub fn start(
        line: Line,
        desk: Arc<Desk>,
        fixtures: Arc<Fixtures>,
        open_records: impl FnOnce() -> Result<Records, crate::records::Error> + Send + 'static,
    ) -> io::Result<Self> {
        let body = {
            let desk = desk.clone();
            move || match open_records() {
                Ok(records) => Keeper::new(line, desk, fixtures, records).keep(),
                Err(error) => desk.bench_is(|bench| bench.trouble = Some(error.to_string())),
            }
        };
        let thread = thread::Builder::new().name("bench".into()).spawn(body)?;
        Ok(Self { thread: Some(thread), desk })
    }
}

impl Drop for Bench {
    fn drop(&mut self) {
        self.desk.stop();
        if let Some(thread) = self.thread.take() {
            let _ = thread.join();
        }
    }
}

type AnySession = Session<Box<dyn Transport>>;

struct Keeper {
    line: Line,
    desk: Arc<Desk>,
    fixtures: Arc<Fixtures>,
    records: Records,
    session: Option<AnySession>,
    arrival: Arrival,
    sought: Option<Instant>,
    files: Instant,
}

impl Keeper {
    fn new(line: Line, desk: Arc<Desk>, fixtures: Arc<Fixtures>, records: Records) -> Self {
        let (arrival, files) = (Arrival::default(), Instant::now());
        Self { line, desk, fixtures, records, session: None, arrival, sought: None, files }
    }

    fn keep(mut self) {
        while !self.desk.is_stopping() {
            self.watch();
            if self.files.elapsed() >= FILES {
                self.files = Instant::now();
                if self.fixtures.look() {
                    self.desk.feed().tell(&News::Fixtures);
                }
            }
            match self.desk.ready() {
                Some(start) => self.work(start),
                None => self.desk.rest(LOOK),
            }
        }
        if let Some(session) = &mut self.session {
            let _ = session.stop();
        }
    }

    /// Looks at line and lid.
    fn watch(&mut self) {
        if let Line::Virtual(hands) = &self.line {
            let hands = hands.now();
            self.desk.bench_is(|bench| {
                bench.line = "virtual bench".into();
                bench.controller.get_or_insert_with(modelled_controller);
                bench.lid_open = Some(hands.lid_open);
                bench.hands = Some(hands);
            });
            return;
        }
        match self.session.as_mut().map(Session::status) {
            Some(Ok(status)) => self.desk.bench_is(|bench| {
                bench.lid_open = Some(status.lid_open);
                bench.trouble = None;
            }),
            Some(Err(error)) => self.lose(&error),
            None => self.seek(),
        }
    }

    /// Looks for a controller.
    fn seek(&mut self) {
        if self.sought.is_some_and(|at| at.elapsed() < SEEK) {
            return;
        }
        self.sought = Some(Instant::now());
        let port = match &self.line {
            Line::Port(port) => Some(port.clone()),
            Line::AnyPort => discover::ports().into_iter().next(),
            Line::Virtual(_) => return,
        };
        let Some(port) = port else {
            let trouble = "No controller is plugged in. Plug one in; it is found by itself.";
            self.desk.bench_is(|bench| {
                bench.line.clear();
                bench.trouble = Some(trouble.into());
            });
            return;
        };
        let opened =
            SerialLink::open(&port).and_then(|line| Session::open(self.noted(line) as Box<dyn Transport>));
        match opened {
            Ok(session) => {
                let identity = *session.identity();
                let (major, minor, patch) = identity.firmware;
                tracing::info!(port, "controller found");
                self.desk.bench_is(|bench| {
                    bench.line = port;
                    bench.trouble = None;
                    bench.controller = Some(Controller {
                        serial: discover::serial_text(identity.serial),
                        firmware: format!("{major}.{minor}.{patch}"),
                        force_channels: identity.force_channels,
                        sense_channels: identity.sense_channels,
                    });
                });
                self.session = Some(session);
            }
            Err(error) => {
                self.desk.bench_is(|bench| {
                    bench.line = port;
                    bench.trouble = Some(error.to_string());
                });
            }
        }
    }

    /// The controller does not answer any more.
    fn lose(&mut self, error: &LinkError) {
        tracing::warn!(%error, "controller lost");
        self.session = None;
        self.desk.bench_is(|bench| {
            bench.controller = None;
            bench.lid_open = None;
            bench.trouble = Some(error.to_string());
        });
    }

    /// Does a job.
    fn work(&mut self, start: Start) {
        let Start { id, wanted, cancel } = start;
        tracing::info!(job = id, serial = wanted.serial, fixture = wanted.fixture, "sweep begins");
        let Some(known) = self.fixtures.get(&wanted.fixture) else {
            let why = format!("the fixture {:?} is gone; was its file moved?", wanted.fixture);
            return self.fail(id, why, true);
        };
        let subject = Subject::new(&wanted.serial, wanted.lot.clone(), now_us());
        let plan = known.laid.plan(wanted.sampling);
        let done = match self.line.clone() {
            Line::Virtual(hands) => self
                .on_model(&wanted.serial, &hands, &known.laid, &cancel)
                .and_then(|mut session| self.sweep(id, &mut session, &known.laid, plan, subject, &cancel)),
            Line::Port(_) | Line::AnyPort => match self.session.take() {
                Some(mut session) => {
                    session.obey(&cancel);
                    let done = self.sweep(id, &mut session, &known.laid, plan, subject, &cancel);
                    session.obey(&CancelToken::default());
                    // After anything odd the line is opened afresh: an answer may still be on its way.
                    match &done {
                        Err(JobError::Link(error)) if is_odd(error) => self.lose(error),
                        _ => self.session = Some(session),
                    }
                    done
                }
                None => {
                    self.desk.put_back(id);
                    return;
                }
            },
        };
        match done {
            Ok((number, sweep)) => {
                tracing::info!(
                    job = id,
                    sweep = number.0,
                    verdict = words::verdict(sweep.judgement.verdict),
                    "recorded"
                );
                let outcome = Outcome::of(number, &sweep);
                self.desk.job_is(id, |job| {
                    job.stage = Stage::Recorded;
                    job.result = Some(outcome);
                });
                self.desk.feed().tell(&News::Unit { serial: wanted.serial });
                self.take_in();
            }
            Err(error) if error.is_cancelled() => self.desk.job_is(id, |job| job.stage = Stage::Cancelled),
            Err(JobError::Link(error)) if error.is_open_lid() => self.desk.put_back(id),
            Err(error) => {
                let by_input = error.is_input();
                let why = match error {
                    // It was measured and judged: what it came to is said, and what became of it.
                    JobError::Records { sweep, error } => {
                        format!("{} Not recorded: {error}", words::in_short(&sweep))
                    }
                    error => format!("{error}; nothing was recorded"),
                };
                self.fail(id, why, by_input);
            }
        }
    }

    /// What was put aside while the store was locked goes in now that something could be written.
    fn take_in(&self) {
        match self.records.take_in() {
            Ok(news) => news.iter().for_each(|news| tracing::info!("{news}")),
            Err(error) => tracing::warn!(%error, "sweeps beside the records were not taken in"),
        }
    }

    fn fail(&self, id: JobId, why: String, by_input: bool) {
        tracing::warn!(job = id, why, "sweep failed");
        self.desk.job_is(id, |job| {
            job.stage = Stage::Failed;
            job.error = Some(why);
            job.by_input = by_input;
        });
    }

    fn noted<T: Transport>(&self, line: T) -> Box<Noted<T>> {
        Box::new(Noted { line, arrival: self.arrival.clone() })
    }

    /// Lays the unit of this serial number on the virtual bench.
    fn on_model(
        &self,
        serial: &str,
        hands: &Hands,
        laid: &Laid,
        cancel: &CancelToken,
    ) -> Result<AnySession, JobError> {
        let history = self.records.unit(serial).ok();
        let spec = draw::unit(&laid.fixture, serial, history.as_ref());
        let bench = VirtualBench::new(&laid.fixture, &spec)
            .map_err(|error| LinkError::CannotOpen(error.to_string()))?;
        hands.lay(&laid.fixture);
        self.desk.bench_is(|bench| bench.hands = Some(hands.now()));
        let line: Box<dyn Transport> = self.noted(Paced::new(bench, &laid.fixture.board, hands));
        Ok(Session::open_cancellable(line, cancel)?)
    }

    fn sweep(
        &self,
        id: JobId,
        session: &mut AnySession,
        laid: &Laid,
        plan: &crate::plan::Plan,
        subject: Subject,
        cancel: &CancelToken,
    ) -> Result<(SweepId, Sweep), JobError> {
        let fixture = &laid.fixture;
        let mut operator = DeskOperator { desk: &self.desk, job: id, cancel: cancel.clone(), fixture };
        let mut job = Job { session, operator: &mut operator, fixture, plan };
        job.record(subject, &self.records, &mut |event| self.tell(id, event))
    }

    /// Tells what a job tells.
    fn tell(&self, job: JobId, event: Event<'_>) {
        let at_us = self.arrival.at_us();
        let news = match event {
            Event::Running { purpose, shots } => {
                News::Run { job, why: words::purpose(purpose), readings: shots }
            }
            Event::ShotDone { number } => News::Reading { job, number, at_us },
            Event::SegmentRead { name, resistance, u95, verdict } => News::Segment {
                job,
                name: name.to_owned(),
                resistance,
                u95,
                text: with_uncertainty(resistance, u95).to_string(),
                verdict: words::verdict(verdict),
                at_us,
            },
            // The job's own stages tell these.
            Event::Placing { .. } | Event::Placed | Event::Recorded(_) => return,
        };
        self.desk.feed().tell(&news);
    }
}

/// An end after which nobody knows what is still on the line.
fn is_odd(error: &LinkError) -> bool {
    !matches!(error, LinkError::Refused(_) | LinkError::Cancelled { all_open: true })
}

/// What the virtual bench says of itself before a unit lies on it.
fn modelled_controller() -> Controller {
    use copperwalk_core::Layout;
    let Layout { force_channels, sense_channels } = Layout::REFERENCE;
    Controller {
        serial: "virtual".into(),
        firmware: env!("CARGO_PKG_VERSION").into(),
        force_channels,
        sense_channels,
    }
}
