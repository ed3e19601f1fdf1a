//! A controller at the end of a serial port.
//!
//! A thread of its own keeps the port, so that codes are taken off the line while the program thinks, and a
//! plan flows out while the first shots run: nothing waits for a round trip. What the thread does not do is speak on
//! its own. The heartbeat comes from [`receive`](Link::receive), so a program that hangs falls silent and
//! the controller opens its relays.

use std::{
    collections::VecDeque,
    fmt::Write as _,
    io,
    sync::mpsc,
    thread::{self, JoinHandle},
    time::{Duration, Instant},
};

use copperwalk_wire::{FrameReader, FromBench, MAX_FRAME, Packet, ToBench, encode};
use tokio::{
    io::{AsyncReadExt, AsyncWriteExt, ReadHalf, WriteHalf, split},
    runtime::Builder,
    sync::mpsc::{UnboundedReceiver, UnboundedSender, unbounded_channel},
    time::timeout,
};
use tokio_serial::{ClearBuffer, ErrorKind, SerialPort, SerialPortBuilderExt, SerialStream};

use super::{Link, LinkError, discover};

/// Silence on our side after which a waiting program says something: a fifth of what the controller allows.
const HEARTBEAT: Duration = Duration::from_millis(100);
/// A port that takes no byte for so long is stuck: the controller empties it all the time.
const STUCK: Duration = Duration::from_secs(2);
/// Pause between two looks for a controller that is to come back.
const LOOK: Duration = Duration::from_millis(100);
/// A USB port has no baud rate; operating systems ask for one all the same.
const BAUD: u32 = 115_200;

/// What the port's thread passes on.
type Heard = Result<Packet<FromBench>, String>;

/// A line to a controller over a serial port.
#[derive(Debug)]
pub struct SerialLink {
    port: String,
    /// Serial number of the USB device, to find it again under another name.
    usb_serial: Option<String>,
    /// `None` once the line is gone.
    keeper: Option<Keeper>,
    seq: u16,
    spoke: Instant,
    /// Heartbeats whose answers nobody waits for, oldest first.
    heartbeats: VecDeque<u16>,
}

/// The thread that keeps the port; dropping it closes the port, which the controller notices.
#[derive(Debug)]
struct Keeper {
    frames: Option<UnboundedSender<Vec<u8>>>,
    heard: mpsc::Receiver<Heard>,
    thread: Option<JoinHandle<()>>,
}

impl SerialLink {
    /// Opens a port for this program alone. Says nothing yet: greet next.
    ///
    /// # Errors
    /// [`LinkError::Broken`] if the port is not there, not allowed or in use, in words and with the remedy.
    pub fn open(port: &str) -> Result<Self, LinkError> {
        Ok(Self {
            keeper: Some(Keeper::start(port).map_err(LinkError::Broken)?),
            port: port.into(),
            usb_serial: discover::usb_serial(port),
            seq: 0,
            spoke: Instant::now(),
            heartbeats: VecDeque::new(),
        })
    }

    /// After the line broke: waits until the controller is back, under its old name or, if it is a USB device with
    /// a serial number, under any. Greet again next; what was running has stopped.
    ///
    /// # Errors
    /// [`LinkError::Broken`] with the last reason if it is not back within `patience`.
    pub fn reconnect(&mut self, patience: Duration) -> Result<(), LinkError> {
        let until = Instant::now() + patience;
        self.keeper = None;
        loop {
            let moved = self.usb_serial.as_deref().and_then(discover::port_of);
            let port = moved.unwrap_or_else(|| self.port.clone());
            match Self::open(&port) {
                Ok(link) => {
                    *self = link;
                    return Ok(());
                }
                Err(error) if Instant::now() >= until => return Err(error),
                Err(_) => thread::sleep(LOOK),
            }
        }
    }

    /// The line is gone for good (until [`reconnect`](Self::reconnect)).
    fn broken(&mut self, why: String) -> LinkError {
        self.keeper = None;
        LinkError::Broken(why)
    }

    /// What comes next on the line, heartbeats' answers included; `None` after `patience`.
    fn hear(&mut self, patience: Duration) -> Result<Option<Packet<FromBench>>, LinkError> {
        let Some(keeper) = &self.keeper else { return Err(closed(&self.port)) };
        match keeper.heard.recv_timeout(patience) {
            Ok(Ok(packet)) => Ok(Some(packet)),
            Ok(Err(why)) => Err(self.broken(why)),
            Err(mpsc::RecvTimeoutError::Timeout) => Ok(None),
            Err(mpsc::RecvTimeoutError::Disconnected) => Err(closed(&self.port)),
        }
    }
}

impl Link for SerialLink {
    fn name(&self) -> String {
        self.port.clone()
    }

    fn send(&mut self, message: ToBench) -> Result<u16, LinkError> {
        let frames = self.keeper.as_ref().and_then(|keeper| keeper.frames.as_ref());
        let Some(frames) = frames else { return Err(closed(&self.port)) };
        let seq = self.seq.wrapping_add(1);
        let mut buffer = [0; MAX_FRAME];
        let frame = encode(&Packet { seq, body: message }, &mut buffer).map_err(LinkError::Frame)?;
        if frames.send(frame.to_vec()).is_err() {
            // The thread ended and has left its reason behind whatever came before.
            while self.hear(Duration::ZERO)?.is_some() {}
            return Err(closed(&self.port));
        }
        self.seq = seq;
        self.spoke = Instant::now();
        Ok(seq)
    }

    fn receive(&mut self, patience: Duration) -> Result<Packet<FromBench>, LinkError> {
        let until = Instant::now() + patience;
        loop {
            let now = Instant::now();
            if now >= self.spoke + HEARTBEAT {
                let seq = self.send(ToBench::Status)?;
                self.heartbeats.push_back(seq);
            }
            let wait = (self.spoke + HEARTBEAT).min(until).saturating_duration_since(now);
            match self.hear(wait)? {
                Some(packet) => match self.heartbeats.iter().position(|seq| *seq == packet.seq) {
                    // Answers come in the order of the questions: older heartbeats went unanswered.
                    Some(index) => drop(self.heartbeats.drain(..=index)),
                    None => return Ok(packet),
                },
                None if Instant::now() >= until => return Err(LinkError::Silent(patience)),
                None => {}
            }
        }
    }
}

impl Keeper {
    /// Starts the thread and waits until it has the port, or has the reason in words why not.
    fn start(port: &str) -> Result<Self, String> {
        let (frames, orders) = unbounded_channel();
        let (tell, heard) = mpsc::channel();
        let (ready, opened) = mpsc::channel();
        let name = port.to_owned();
        let body = move || {
            let started =
                Builder::new_current_thread().enable_all().build().map_err(|error| error.to_string());
            let started = started.and_then(|runtime| {
                // The port registers with the runtime that is to serve it.
                let stream = runtime.block_on(async { open(&name) })?;
                Ok((runtime, stream))
            });
            match started {
                Ok((runtime, stream)) => {
                    let _ = ready.send(Ok(()));
                    let why = runtime.block_on(keep(stream, orders, &tell));
                    let _ = tell.send(Err(why));
                }
                Err(why) => drop(ready.send(Err(why))),
            }
        };
        let thread = thread::Builder::new().name(format!("line {port}")).spawn(body);
        let thread = thread.map_err(|error| format!("no thread for {port}: {error}"))?;
        opened.recv().unwrap_or_else(|_| Err(format!("the thread for {port} ended at once")))?;
        Ok(Self { frames: Some(frames), heard, thread: Some(thread) })
    }
}

impl Drop for Keeper {
    fn drop(&mut self) {
        // Ends the thread once it has written what it was given.
        self.frames = None;
        if let Some(thread) = self.thread.take() {
            let _ = thread.join();
        }
    }
}

/// Opens the port and brings it into a known state.
fn open(port: &str) -> Result<SerialStream, String> {
    let mut stream =
        tokio_serial::new(port, BAUD).open_native_async().map_err(|error| opening_words(port, &error))?;
    // Both are best effort: a pseudo-terminal has no modem lines, and some drivers cannot discard.
    let _ = stream.write_data_terminal_ready(true);
    let _ = stream.clear(ClearBuffer::All);
    Ok(stream)
}

/// Reads and writes until either cannot go on; says why, in words.
async fn keep(
    stream: SerialStream,
    orders: UnboundedReceiver<Vec<u8>>,
    tell: &mpsc::Sender<Heard>,
) -> String {
    let (reader, writer) = split(stream);
    tokio::select! {
        why = listen(reader, tell) => why,
        why = speak(writer, orders) => why,
    }
}

/// Takes frames off the line. A damaged one is dropped: the counters of what follows show the gap.
async fn listen(mut reader: ReadHalf<SerialStream>, tell: &mpsc::Sender<Heard>) -> String {
    let mut frames = FrameReader::new();
    let mut bytes = [0; 4096];
    loop {
        match reader.read(&mut bytes).await {
            // A vanished device reads as an endless end of file.
            Ok(0) => return "the controller or its cable was unplugged".into(),
            Ok(count) => {
                for packet in bytes[..count].iter().filter_map(|byte| frames.push(*byte)).flatten() {
                    if tell.send(Ok(packet)).is_err() {
                        return "nobody listens".into();
                    }
                }
            }
            Err(error) => return losing_words(&error),
        }
    }
}

/// Puts frames on the line.
async fn speak(mut writer: WriteHalf<SerialStream>, mut orders: UnboundedReceiver<Vec<u8>>) -> String {
    while let Some(frame) = orders.recv().await {
        match timeout(STUCK, writer.write_all(&frame)).await {
            Ok(Ok(())) => {}
            Ok(Err(error)) => return losing_words(&error),
            Err(_) => {
                return "the port takes no more bytes; unplug the controller and plug it in again".into();
            }
        }
    }
    "closed".into()
}

fn closed(port: &str) -> LinkError {
    LinkError::Broken(format!("{port} is closed"))
}

/// Why a port that was open is lost.
fn losing_words(error: &io::Error) -> String {
    /// `EIO`: what a write to a vanished device gives.
    const EIO: i32 = 5;
    if error.raw_os_error() == Some(EIO) || error.kind() == io::ErrorKind::BrokenPipe {
        "the controller or its cable was unplugged".into()
    } else {
        format!("the operating system reports: {error}")
    }
}

/// Why a port cannot be opened, and what to do.
fn opening_words(port: &str, error: &tokio_serial::Error) -> String {
    let mut words = format!("{port}: ");
    let _ = match error.kind() {
        ErrorKind::NoDevice => write!(words, "another program has it open; close that one first"),
        ErrorKind::Io(io::ErrorKind::NotFound) => {
            write!(
                words,
                "there is no such port; is the cable plugged in? `copperwalk bench` lists what there is"
            )
        }
        ErrorKind::Io(io::ErrorKind::PermissionDenied) => {
            write!(
                words,
                "you may not use it; join the group that owns it (often `dialout`) and log in again"
            )
        }
        _ => write!(words, "{error}"),
    };
    words
}
