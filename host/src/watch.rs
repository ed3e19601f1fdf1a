//! Watching one segment while somebody taps, bends or wiggles it: a dry reading of it, then pair A and pair B in turn at the converter's
//! full rate until the time is over or somebody has seen enough.
//!
//! What the codes say is for [`disturbance`](crate::disturbance) to tell. Whatever ends it, the controller takes the current away and opens
//! every relay, and what was seen up to then stays.

use std::collections::BTreeSet;

use copperwalk_wire::{
    Shot,
    contact::touches,
    decode_codes,
    message::{Fault, RunEnd},
};

use crate::{
    board::{PointId, SegmentId, StateId},
    disturbance::{
        Clock, Observer, Pair, Watched,
        observer::{Look, NoCurrent, Seen},
    },
    fixture::Fixture,
    job::{self, JobError},
    link::{Heard, LinkError, RanShot, Session, Transport},
    measure::{
        Malformed,
        ratio::{self, Motion, Reading, Surroundings},
    },
    meter::{Meter, conversion_us},
    operator::{Operator, Unattended},
    plan::{
        Role, Sampling, aim,
        builder::{Builder, Walk},
        forest::Forest,
        stretch::cover,
    },
    position,
    quantity::{Ohms, Seconds},
};

/// The longest time that a controller holds the shots for, second.
pub const LONGEST: Seconds = Seconds(1800.0);
/// The shortest: the first second of it is learned from.
pub const SHORTEST: Seconds = Seconds(2.0);

/// Before anything is learned the thermal voltages of relays that have just closed settle, µs: those with a time constant of a third of a
/// second are then gone, and slower ones slow enough for the step test.
const WARM_UP_US: u64 = 1_000_000;

/// What is watched, and how the bench gets at it.
#[derive(Clone, PartialEq, Debug)]
pub struct Task {
    /// The segment.
    pub segment: SegmentId,
    /// In this state of the unit.
    pub state: StateId,
    /// Residual check and dry reading.
    before: [Shot; 2],
    /// Points of sense+ and sense- in the reading.
    ends: [PointId; 2],
    /// Sense+ stands at the end nearer force-.
    swapped: bool,
    /// The current stands so long after the source is on, µs.
    settling_us: u16,
}

/// What cannot be watched.
#[derive(Clone, PartialEq, Eq, Debug, thiserror::Error)]
pub enum TaskError {
    /// A semiconductor.
    #[error(
        "\"{segment}\" conducts one way only, and not at the 20 mV it would be watched with: watch the segments beside it"
    )]
    OneWay {
        /// The segment.
        segment: String,
    },
    /// It does not conduct in the state.
    #[error("\"{segment}\" does not conduct in state \"{state}\"; {}", states_in_words(conducts))]
    Open {
        /// The segment.
        segment: String,
        /// The state.
        state: String,
        /// States in which it does.
        conducts: Vec<String>,
    },
    /// No force pins on both sides.
    #[error(
        "no pair of force pins reaches \"{segment}\" in state \"{state}\": give a point beyond it a force pin"
    )]
    Unreached {
        /// The segment.
        segment: String,
        /// The state.
        state: String,
    },
}

fn states_in_words(conducts: &[String]) -> String {
    match conducts {
        [] => "the board file says that it never does".into(),
        states => format!("it does in {}", states.join(", ")),
    }
}

/// Why nothing was watched. The bench has opened every relay.
#[derive(Debug, thiserror::Error)]
pub enum WatchError {
    /// The line, the operator, the size of the bench.
    #[error(transparent)]
    Job(#[from] JobError),
    /// Codes that make no sense.
    #[error("the controller's conversions make no sense: {0}")]
    Codes(#[from] Malformed),
    /// The lid.
    #[error(
        "the lid is open: close it; a segment is watched through the closed lid, or by bending the whole bed"
    )]
    Lid,
    /// The residual check.
    #[error(
        "there is voltage on the unit: take its battery out, wait until it is discharged, and watch again"
    )]
    Residual,
    /// The contacts of the residual check.
    #[error(
        "the pins of the supply terminals do not touch: press the board down, clean the pins, and watch again"
    )]
    NoContact,
    /// A sense pin of the segment.
    #[error("the sense pin at \"{point}\" does not touch: clean it, press the board down, and watch again")]
    Pin {
        /// Its point.
        point: String,
    },
    /// The segment itself.
    #[error(
        "\"{segment}\" is open and stays open, so that nothing can be seen to come and go: sweep the unit"
    )]
    Open {
        /// The segment.
        segment: String,
    },
    /// The path elsewhere.
    #[error(
        "no current flows through \"{segment}\": the path is open elsewhere, or a force pin does not touch; sweep the unit"
    )]
    NoCurrent {
        /// The segment.
        segment: String,
    },
    /// The controller ended the run.
    #[error("the controller ended the run by itself ({0}): `copperwalk bench` says what is wrong with it")]
    Ended(String),
}

impl WatchError {
    /// Is what was asked for the reason, and not the bench?
    pub fn is_input(&self) -> bool {
        matches!(self, Self::Job(error) if error.is_input())
    }

    /// Is it the unit?
    pub fn is_unit(&self) -> bool {
        matches!(self, Self::Open { .. } | Self::NoCurrent { .. })
    }

    /// Did somebody ask for this end?
    pub fn is_cancelled(&self) -> bool {
        matches!(self, Self::Job(error) if error.is_cancelled())
    }
}

impl From<LinkError> for WatchError {
    fn from(error: LinkError) -> Self {
        if error.is_open_lid() { Self::Lid } else { Self::Job(error.into()) }
    }
}

impl From<Unattended> for WatchError {
    fn from(error: Unattended) -> Self {
        Self::Job(error.into())
    }
}

/// Something that happened.
#[derive(Clone, PartialEq, Debug)]
pub enum News {
    /// The segment was read; the first second is learned from now.
    Began {
        /// Its resistance.
        resistance: Ohms,
    },
    /// Pairs, for a trace.
    Looks(Vec<Look>),
    /// What the tests saw.
    Seen(Seen),
}

/// How watching ended.
#[derive(Clone, PartialEq, Eq, Debug)]
pub enum End {
    /// The time was over.
    Time,
    /// Somebody had seen enough. Did the controller confirm that every relay is open?
    Asked {
        /// It did.
        all_open: bool,
    },
    /// It broke off; in words.
    Broke(String),
}

impl Task {
    /// How to watch a segment in a state.
    ///
    /// # Errors
    /// It cannot be watched there.
    pub fn new(fixture: &Fixture, segment: SegmentId, state: StateId) -> Result<Self, TaskError> {
        let board = &fixture.board;
        let (part, name) = (board.segment(segment), || board.segment(segment).name.clone());
        if part.kind.one_way().is_some() {
            return Err(TaskError::OneWay { segment: name() });
        }
        let state_name = || board.state(state).name.clone();
        if !part.conducts_in(state) {
            let conducts = board.state_ids().filter(|&state| part.conducts_in(state));
            let conducts = conducts.map(|state| format!("\"{}\"", board.state(state).name)).collect();
            return Err(TaskError::Open { segment: name(), state: state_name(), conducts });
        }
        let forest = Forest::new(board, state, &[]);
        let (stretches, _) = cover(&forest, fixture, &BTreeSet::from([segment]));
        let mut builder = Builder::new(fixture, Sampling::Quick);
        builder.residual();
        if let Some(stretch) = stretches.first() {
            builder.walk(&fixture.limits, stretch, Walk::Survey);
        }
        let [residual, read] = &builder.finish()[..] else {
            return Err(TaskError::Unreached { segment: name(), state: state_name() });
        };
        let swapped = matches!(read.role, Role::Survey { swapped: true, .. });
        let steps = stretches.first().into_iter().flat_map(|stretch| &stretch.steps);
        let step = steps.clone().find(|step| step.segment == segment);
        let [from, to] = step.map_or([part.from, part.to], |step| [step.from, step.to]);
        Ok(Self {
            segment,
            state,
            before: [residual.shot, read.shot],
            ends: if swapped { [to, from] } else { [from, to] },
            swapped,
            settling_us: aim::settling_us(board.segments.iter().map(|part| part.inductance).sum()),
        })
    }

    /// The first state in which a segment conducts, or the board's first.
    pub fn usual_state(fixture: &Fixture, segment: SegmentId) -> StateId {
        let board = &fixture.board;
        let conducts = |state: &StateId| board.segment(segment).conducts_in(*state);
        board.state_ids().find(conducts).unwrap_or(StateId::new(0))
    }

    fn shots(&self, time: Seconds) -> Vec<Shot> {
        let pair_us = 2.0 * f64::from(conversion_us(aim::WATCH_RATE));
        let time_us = WARM_UP_US as f64 + 1e6 * time.max(SHORTEST).min(LONGEST).0;
        let [_, read] = &self.before;
        let mut shots = self.before.to_vec();
        shots.extend(aim::watch(read.contacts, (time_us / pair_us) as u32));
        shots
    }
}

/// A bench with a unit on it, and whoever puts that into its state.
pub struct Watcher<'w, T: Transport> {
    /// The conversation with the controller.
    pub session: &'w mut Session<T>,
    /// Whoever puts the unit into the state.
    pub operator: &'w mut dyn Operator,
    /// The fixture.
    pub fixture: &'w Fixture,
}

impl<T: Transport> Watcher<'_, T> {
    /// Watches for so long at most.
    ///
    /// # Errors
    /// Whatever keeps the bench from seeing a second of it. What ends it later is no error.
    pub fn watch(
        &mut self,
        task: &Task,
        time: Seconds,
        listener: &mut dyn FnMut(News),
    ) -> Result<(Watched, End), WatchError> {
        job::fits(self.session, self.fixture)?;
        let probes = position::probes(self.fixture);
        job::place(self.session, self.operator, self.fixture, &probes, task.state)?;
        let shots = task.shots(time);
        let mut course = Course { fixture: self.fixture, task, bias: 0, shots: 0, eyes: None };
        let mut trouble = None;
        let ran = self.session.run_heard(&shots, &mut |heard| match course.take(heard, listener) {
            Ok(()) => true,
            Err(error) => {
                trouble = Some(error);
                false
            }
        });
        if let Some(error) = trouble {
            return Err(error);
        }
        let (end, error) = match ran {
            Ok(report) => match report.end {
                RunEnd::Complete => (End::Time, None),
                RunEnd::Residual => return Err(WatchError::Residual),
                RunEnd::NoContact => return Err(WatchError::NoContact),
                RunEnd::Fault(Fault::Lid) => (End::Broke("the lid was opened".into()), Some(WatchError::Lid)),
                why => {
                    let words = crate::link::words::run_end(why).into_owned();
                    (End::Broke(words.clone()), Some(WatchError::Ended(words)))
                }
            },
            Err(LinkError::Cancelled { all_open }) => {
                (End::Asked { all_open }, Some(LinkError::Cancelled { all_open }.into()))
            }
            Err(error) => (End::Broke(error.to_string()), Some(error.into())),
        };
        match (course.finish(listener), error) {
            (Some(watched), _) => Ok((watched, end)),
            (None, Some(error)) => Err(error),
            (None, None) => Err(WatchError::Ended("no conversion came".into())),
        }
    }
}

/// The run as it goes on.
struct Course<'c> {
    fixture: &'c Fixture,
    task: &'c Task,
    /// Code of the bias node.
    bias: i32,
    /// Shots that are over.
    shots: usize,
    /// Once the reading is made.
    eyes: Option<Eyes>,
}

struct Eyes {
    observer: Observer,
    clock: Clock,
    /// Conversions of the shot under way.
    taken: usize,
    /// Pair A of a pair that is not whole.
    half: Option<i32>,
}

impl Course<'_> {
    fn take(&mut self, heard: Heard<'_>, listener: &mut dyn FnMut(News)) -> Result<(), WatchError> {
        match (heard, &mut self.eyes) {
            (Heard::Codes { codes, .. }, Some(eyes)) => {
                let seen = eyes.take(self.task, codes);
                eyes.tell(listener);
                seen.map_err(|NoCurrent| WatchError::NoCurrent { segment: self.name() })
            }
            (Heard::Codes { .. }, None) => Ok(()),
            (Heard::Shot(ran), Some(eyes)) => {
                eyes.clock.shot_over(ran.span_us.1, ran.codes.len());
                (eyes.taken, eyes.half) = (0, None);
                Ok(())
            }
            (Heard::Shot(ran), None) => {
                self.shots += 1;
                if self.shots == 1 {
                    let [residual, _] = &self.task.before;
                    self.bias = decode_codes(residual, &ran.codes)?.residual()?.bias;
                    return Ok(());
                }
                let resistance = self.read(ran)?;
                let limit = self.fixture.limits.of(self.task.segment).max;
                let observer = Observer::new(resistance, limit);
                let clock = Clock::new(ran.span_us.1);
                self.eyes = Some(Eyes { observer, clock, taken: 0, half: None });
                listener(News::Began { resistance });
                Ok(())
            }
        }
    }

    /// The dry reading before: its pins touch, and a current flows.
    fn read(&self, ran: &RanShot) -> Result<Ohms, WatchError> {
        let [_, shot] = &self.task.before;
        let reading: Reading = ratio::read(
            &Meter::PUBLISHED,
            shot,
            &ran.codes,
            ran.why,
            self.task.swapped,
            None,
            &Surroundings::UNKNOWN,
        )?;
        let contacts = reading.contacts.unwrap_or([self.bias; 2]);
        let silent = contacts.iter().zip(self.task.ends).find(|(code, _)| !touches(**code, self.bias));
        if let Some((_, point)) = silent {
            return Err(WatchError::Pin { point: self.fixture.board.point(point).name.clone() });
        }
        match reading.motion {
            // It comes and goes already: at rest it has the least.
            Some(Motion::Here([low, _])) => Ok(low),
            _ if reading.flows => Ok(reading.resistance),
            _ if 2.0 * reading.voltage > aim::dry_open() => Err(WatchError::Open { segment: self.name() }),
            _ => Err(WatchError::NoCurrent { segment: self.name() }),
        }
    }

    fn name(&self) -> String {
        self.fixture.board.segment(self.task.segment).name.clone()
    }

    /// What was seen, if the first second was.
    fn finish(self, listener: &mut dyn FnMut(News)) -> Option<Watched> {
        let mut eyes = self.eyes.filter(|eyes| eyes.observer.has_learned())?;
        let watched = eyes.observer.finish(eyes.clock.period_us(), eyes.clock.unwatched_us());
        eyes.tell(listener);
        Some(watched)
    }
}

impl Eyes {
    fn take(&mut self, task: &Task, codes: &[i32]) -> Result<(), NoCurrent> {
        for &code in codes {
            self.taken += 1;
            let Some(sense) = self.half.take() else {
                self.half = Some(code);
                continue;
            };
            let began = self.taken - 2;
            let (at_us, period_us) = (self.clock.at_us(began), self.clock.period_us());
            // The source has just been switched on, and inductances hold its current back.
            if period_us * (began as f64) < f64::from(task.settling_us) || at_us < WARM_UP_US {
                continue;
            }
            self.observer.take(Pair::new(at_us - WARM_UP_US, [sense, code], task.swapped), period_us)?;
        }
        Ok(())
    }

    fn tell(&mut self, listener: &mut dyn FnMut(News)) {
        let looks = self.observer.looks();
        if !looks.is_empty() {
            listener(News::Looks(looks));
        }
        self.observer.seen().into_iter().for_each(|seen| listener(News::Seen(seen)));
    }
}
