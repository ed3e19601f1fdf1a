//! The emulated controller's USB port as a serial device, in real time, for programs that know nothing of emulators.
//!
//! A thread runs the bench in step with the wall clock and carries bytes between its USB port and a pseudo-terminal. A
//! program that opens or closes the terminal raises or drops DTR, as an operating system does for a USB serial port. A
//! machine too slow to keep step lets device time fall behind, never run ahead: every deadline of the host holds.

use std::{
    fmt,
    path::PathBuf,
    sync::mpsc::{Receiver, Sender, TryRecvError, channel},
    thread::{self, JoinHandle},
    time::{Duration, Instant},
};

use tempfile::TempDir;

use super::bench::EmulatedBench;
use crate::terminal::Terminal;

/// Device time per step, µs: how late a byte from the host may reach the controller.
const STEP_US: u64 = 500;
/// Device time may lag the wall clock so far before it gives up catching up.
const LAG: Duration = Duration::from_millis(50);

/// Something to do between two steps.
type Order = Box<dyn FnOnce(&mut Wire) + Send>;

/// A cable between an emulated controller and a serial device. Dropping it powers the controller down.
pub struct Cable {
    folder: TempDir,
    orders: Option<Sender<Order>>,
    thread: Option<JoinHandle<()>>,
}

/// The two ends of the cable.
struct Wire {
    bench: EmulatedBench,
    /// The host's end; `None` while the cable is pulled.
    terminal: Option<Terminal>,
    link: PathBuf,
    /// A program has the port open.
    open: bool,
    /// What the terminal has not taken yet.
    waiting: Vec<u8>,
}

impl Cable {
    /// Plugs a running bench into a new serial device.
    ///
    /// # Panics
    /// If the operating system has no pseudo-terminal to give.
    pub fn new(bench: EmulatedBench) -> Self {
        let folder = tempfile::tempdir().expect("a temporary folder");
        let (orders, inbox) = channel();
        let mut wire = Wire {
            bench,
            terminal: None,
            link: folder.path().join("controller"),
            open: true,
            waiting: Vec::new(),
        };
        wire.plug();
        let thread = thread::Builder::new().name("cable".into()).spawn(move || wire.carry(&inbox));
        Self { folder, orders: Some(orders), thread: Some(thread.expect("a thread")) }
    }

    /// The serial device.
    pub fn port(&self) -> PathBuf {
        self.folder.path().join("controller")
    }

    /// Does something with the bench between two steps and returns what came of it.
    ///
    /// # Panics
    /// If the bench's thread has panicked; its own message is above.
    pub fn with<R: Send + 'static>(&self, act: impl FnOnce(&mut EmulatedBench) -> R + Send + 'static) -> R {
        self.order(|wire| act(&mut wire.bench))
    }

    /// Pulls the cable: the device vanishes under whoever has it open.
    pub fn pull(&self) {
        self.order(Wire::pull);
    }

    /// Plugs it in again; a new device appears in the old place.
    pub fn plug(&self) {
        self.order(|wire| {
            wire.bench.plug(true);
            wire.plug();
        });
    }

    fn order<R: Send + 'static>(&self, act: impl FnOnce(&mut Wire) -> R + Send + 'static) -> R {
        let (tell, told) = channel();
        let order: Order = Box::new(move |wire| drop(tell.send(act(wire))));
        self.orders.as_ref().and_then(|orders| orders.send(order).ok()).expect("the bench runs");
        told.recv().expect("the bench runs")
    }
}

impl fmt::Debug for Cable {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        formatter.debug_struct("Cable").field("port", &self.port()).finish_non_exhaustive()
    }
}

impl Drop for Cable {
    fn drop(&mut self) {
        self.orders = None;
        let outcome = self.thread.take().map(JoinHandle::join);
        if !thread::panicking() {
            outcome.expect("joined once").expect("the bench's thread did not panic");
        }
    }
}

impl Wire {
    /// Until nobody gives orders any more.
    fn carry(&mut self, orders: &Receiver<Order>) {
        let mut start = Instant::now();
        let mut start_us = self.bench.now_us();
        loop {
            match orders.try_recv() {
                Ok(order) => {
                    order(self);
                    continue;
                }
                Err(TryRecvError::Disconnected) => return,
                Err(TryRecvError::Empty) => {}
            }
            let elapsed = start.elapsed();
            let device = Duration::from_micros(self.bench.now_us() - start_us);
            if device >= elapsed {
                self.wait(device - elapsed);
            } else if elapsed - device > LAG {
                (start, start_us) = (Instant::now(), self.bench.now_us());
            }
            self.watch_opening();
            self.carry_out();
            self.bench.step(self.bench.now_us() + STEP_US);
            self.waiting.extend(self.bench.take_heard());
            self.carry_in();
        }
    }

    fn plug(&mut self) {
        self.terminal = Some(Terminal::at(&self.link));
    }

    fn pull(&mut self) {
        let _ = std::fs::remove_file(&self.link);
        self.terminal = None;
        self.waiting.clear();
        self.open = false;
        self.bench.plug(false);
    }

    /// Waits for the wall clock, or for bytes from the host.
    fn wait(&self, pause: Duration) {
        match &self.terminal {
            // A closed port hangs up all the time and would never wait.
            Some(terminal) if self.open => terminal.wait(pause.subsec_nanos()),
            _ => thread::sleep(pause),
        }
    }

    /// Tells the device when a program has opened or closed the port.
    fn watch_opening(&mut self) {
        let Some(terminal) = &self.terminal else { return };
        let open = terminal.is_open();
        self.set_open(open);
    }

    fn set_open(&mut self, open: bool) {
        if open != self.open {
            self.open = open;
            self.waiting.clear();
            self.bench.set_line(open);
        }
    }

    /// From the program to the controller.
    fn carry_out(&mut self) {
        let mut bytes = [0; 4096];
        while let Some(bytes) = self.terminal.as_ref().and_then(|terminal| terminal.read(&mut bytes)) {
            // Whoever writes has opened the port, if only just now.
            self.set_open(true);
            self.bench.send_raw(bytes);
        }
    }

    /// From the controller to the program.
    fn carry_in(&mut self) {
        if let Some(terminal) = &self.terminal {
            terminal.write(&mut self.waiting);
            // A program that does not read holds the controller back.
            self.bench.reading(self.waiting.is_empty());
        }
    }
}
