//! A controller at the end of a serial device that misbehaves as a script says.
//!
//! Underneath is the real controller logic on a modelled bench, so a peer can be honest up to any point of a sweep: it works out
//! what an honest controller would answer, and the script decides what goes out instead.
#![allow(clippy::expect_used, clippy::panic, reason = "test equipment: a failed expectation is the message")]

use std::{
    collections::VecDeque,
    fmt,
    path::PathBuf,
    sync::{
        Arc,
        atomic::{AtomicBool, Ordering},
    },
    thread::{self, JoinHandle},
    time::{Duration, Instant},
};

use copperwalk::{
    fixture::Fixture,
    link::Transport,
    virtual_bench::{Spec, VirtualBench},
};
use copperwalk_wire::{FrameReader, FromBench, MAX_FRAME, Packet, ToBench, encode};
use serde::Serialize;
use tempfile::TempDir;

use crate::terminal::Terminal;

/// Pause between two looks at the line.
const LOOK: Duration = Duration::from_millis(1);
/// Bytes a flood keeps ready for the line.
const FLOOD: usize = 64 * 1024;

/// One thing a peer does; a list of them is done in order.
#[derive(Clone, Debug)]
pub enum Do {
    /// Sends a message.
    Say(Packet<FromBench>),
    /// Sends bytes as they are.
    Bytes(Vec<u8>),
    /// Does nothing for so long.
    Pause(Duration),
    /// Sends these bytes again and again, with so much time in between, besides whatever else it does. Without any, as fast as
    /// the line takes them.
    Repeat(Vec<u8>, Duration),
    /// Reads nothing any more.
    Deaf,
    /// Pulls its own cable.
    Unplug,
}

/// What a peer does when the host has said something, given what an honest controller answers.
pub type Script = Box<dyn FnMut(&Packet<ToBench>, Vec<Packet<FromBench>>) -> Vec<Do> + Send>;

/// A running peer. Dropping it pulls its cable.
pub struct Peer {
    folder: TempDir,
    over: Arc<AtomicBool>,
    thread: Option<JoinHandle<()>>,
}

impl Peer {
    /// Starts a peer on the modelled bench of a fixture.
    ///
    /// # Panics
    /// If the operating system has no pseudo-terminal to give.
    pub fn start(fixture: &Fixture, script: Script) -> Self {
        let folder = tempfile::tempdir().expect("a temporary folder");
        let over = Arc::new(AtomicBool::new(false));
        let terminal = Terminal::at(&folder.path().join("controller"));
        let (fixture, stop) = (fixture.clone(), Arc::clone(&over));
        let body = move || {
            let bench = VirtualBench::new(&fixture, &Spec::new(1)).expect("a good unit");
            let mut act = Act {
                terminal: Some(terminal),
                honest: Honest { bench, reader: FrameReader::new() },
                script,
                reader: FrameReader::new(),
                deaf: false,
                todo: VecDeque::new(),
                paused_until: Instant::now(),
                repeat: None,
                waiting: Vec::new(),
            };
            while !stop.load(Ordering::Relaxed) {
                act.step();
            }
        };
        let thread = thread::Builder::new().name("peer".into()).spawn(body).expect("a thread");
        Self { folder, over, thread: Some(thread) }
    }

    /// The serial device.
    pub fn port(&self) -> PathBuf {
        self.folder.path().join("controller")
    }
}

impl fmt::Debug for Peer {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        formatter.debug_struct("Peer").field("port", &self.port()).finish_non_exhaustive()
    }
}

impl Drop for Peer {
    fn drop(&mut self) {
        self.over.store(true, Ordering::Relaxed);
        let outcome = self.thread.take().map(JoinHandle::join);
        if !thread::panicking() {
            outcome.expect("joined once").expect("the peer's thread did not panic");
        }
    }
}

/// What a controller that is what it says answers.
struct Honest {
    bench: VirtualBench,
    reader: FrameReader,
}

impl Honest {
    /// Everything an honest controller says to a message; a run is answered to its end at once.
    fn answers(&mut self, question: &Packet<ToBench>) -> Vec<Packet<FromBench>> {
        let mut answers = self.say(question, Duration::ZERO);
        let ran = |answers: &[Packet<FromBench>]| {
            answers.iter().any(|answer| matches!(answer.body, FromBench::Ended { .. }))
        };
        let runs =
            question.body == ToBench::Run && answers.iter().any(|answer| answer.body == FromBench::Done);
        while runs && !ran(&answers) {
            // A heartbeat under a number of its own, so that its answer is told apart.
            let beat = Packet { seq: question.seq.wrapping_sub(1), body: ToBench::Status };
            answers.extend(self.say(&beat, Duration::from_millis(100)));
        }
        answers.retain(|answer| answer.seq == question.seq);
        answers
    }

    /// Says something and listens for so long in model time.
    fn say(&mut self, message: &Packet<ToBench>, listen: Duration) -> Vec<Packet<FromBench>> {
        self.bench.send(&frame(message)).expect("a model's line does not break");
        let (until, mut bytes) = (self.bench.now() + listen, Vec::new());
        loop {
            self.bench.receive(until, &mut bytes).expect("a model's line does not break");
            if self.bench.now() >= until {
                break;
            }
        }
        bytes.into_iter().filter_map(|byte| self.reader.push(byte)).flatten().collect()
    }
}

/// A message as it goes over the line.
///
/// # Panics
/// If it does not fit a frame.
pub fn frame<T: Serialize>(message: &Packet<T>) -> Vec<u8> {
    let mut buffer = [0; MAX_FRAME];
    encode(message, &mut buffer).expect("it fits").to_vec()
}

/// A peer at work.
struct Act {
    /// `None` once it has pulled its cable.
    terminal: Option<Terminal>,
    honest: Honest,
    script: Script,
    reader: FrameReader,
    deaf: bool,
    todo: VecDeque<Do>,
    paused_until: Instant,
    /// Bytes to send again and again, how often, and when next.
    repeat: Option<(Vec<u8>, Duration, Instant)>,
    /// What the line has not taken yet.
    waiting: Vec<u8>,
}

impl Act {
    fn step(&mut self) {
        self.hear();
        self.work();
        self.repeat();
        match &self.terminal {
            Some(terminal) => {
                terminal.write(&mut self.waiting);
                // Bytes that a deaf peer leaves in the line would end every wait at once.
                if !self.deaf && terminal.is_open() {
                    terminal.wait(LOOK.subsec_nanos());
                } else {
                    thread::sleep(LOOK);
                }
            }
            None => thread::sleep(LOOK),
        }
    }

    fn hear(&mut self) {
        let mut bytes = [0; 4096];
        while !self.deaf
            && let Some(bytes) = self.terminal.as_ref().and_then(|terminal| terminal.read(&mut bytes))
        {
            for packet in bytes.iter().filter_map(|byte| self.reader.push(*byte)) {
                let packet = packet.expect("the program sends whole frames");
                let answers = self.honest.answers(&packet);
                self.todo.extend((self.script)(&packet, answers));
            }
        }
    }

    fn work(&mut self) {
        while Instant::now() >= self.paused_until
            && let Some(next) = self.todo.pop_front()
        {
            match next {
                Do::Say(packet) => self.waiting.extend(frame(&packet)),
                Do::Bytes(bytes) => self.waiting.extend(bytes),
                Do::Pause(time) => self.paused_until = Instant::now() + time,
                Do::Repeat(bytes, every) => self.repeat = Some((bytes, every, Instant::now())),
                Do::Deaf => self.deaf = true,
                Do::Unplug => self.terminal = None,
            }
        }
    }

    fn repeat(&mut self) {
        let Some((bytes, every, next)) = &mut self.repeat else { return };
        while Instant::now() >= *next && self.waiting.len() < FLOOD {
            self.waiting.extend_from_slice(bytes);
            *next += *every;
        }
    }
}
