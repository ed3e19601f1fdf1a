//! A controller at the end of a serial port.
//!
//! A thread of its own keeps the port, so that codes are taken off the line while the program thinks, and a
//! plan flows out while the first shots run: nothing waits for a round trip. The thread does not speak on its own:
//! heartbeats come from whoever waits, so a program that hangs falls silent and the controller opens its relays.

use std::{
    fmt::Write as _,
    io,
    sync::mpsc::{self, RecvTimeoutError, SyncSender, TrySendError},
    thread::{self, JoinHandle},
    time::{Duration, Instant},
};

use tokio::{
    io::{AsyncReadExt, AsyncWriteExt, ReadHalf, WriteHalf, split},
    runtime::Builder,
    sync::mpsc as orders,
    time::timeout,
};
use tokio_serial::{ClearBuffer, ErrorKind, SerialPort, SerialPortBuilderExt, SerialStream};

use super::{
    error::LinkError,
    transport::{Gone, Transport},
};

/// A port that takes no byte for so long is stuck: the controller empties it all the time.
const STUCK: Duration = Duration::from_secs(2);
/// Whoever waits for bytes gets a look at other things so often.
const LOOK: Duration = Duration::from_millis(50);
/// Bytes taken off the port at once.
const PIECE: usize = 4096;
/// Pieces that may wait to be read, 1 MiB at most: several seconds of whatever a controller can send, and no more memory.
const PIECES_WAITING: usize = 256;
/// Frames that may wait for the port, 1 MiB at most: a plan of several thousand shots flows out without a pause.
const FRAMES_WAITING: usize = 4096;
/// A USB port has no baud rate; operating systems ask for one all the same.
const BAUD: u32 = 115_200;

/// A line to a controller over a serial port.
#[derive(Debug)]
pub struct SerialLink {
    port: String,
    opened: Instant,
    keeper: Keeper,
}

/// The thread that keeps the port; dropping it closes the port, which the controller notices.
#[derive(Debug)]
struct Keeper {
    /// `None` once the thread is to end.
    frames: Option<orders::Sender<Vec<u8>>>,
    heard: mpsc::Receiver<Vec<u8>>,
    /// Returns why it ended; `None` once that is known.
    thread: Option<JoinHandle<String>>,
    why: String,
}

impl SerialLink {
    /// Opens a port for this program alone. Says nothing yet.
    ///
    /// # Errors
    /// [`LinkError::CannotOpen`] if the port is not there, not allowed or in use, in words and with the remedy.
    pub fn open(port: &str) -> Result<Self, LinkError> {
        Self::open_at(port, BAUD)
    }

    /// The same at a speed, baud, that whatever is at the other end is set to.
    ///
    /// # Errors
    /// As [`open`](Self::open).
    pub fn open_at(port: &str, baud: u32) -> Result<Self, LinkError> {
        let keeper = Keeper::start(port, baud).map_err(LinkError::CannotOpen)?;
        Ok(Self { keeper, port: port.into(), opened: Instant::now() })
    }
}

impl Transport for SerialLink {
    fn name(&self) -> String {
        self.port.clone()
    }

    fn now(&self) -> Duration {
        self.opened.elapsed()
    }

    fn send(&mut self, frame: &[u8]) -> Result<(), Gone> {
        let frames = self.keeper.frames.as_ref();
        if frames.is_some_and(|frames| frames.blocking_send(frame.to_vec()).is_ok()) {
            return Ok(());
        }
        Err(self.keeper.gone())
    }

    fn receive(&mut self, deadline: Duration, bytes: &mut Vec<u8>) -> Result<(), Gone> {
        let wait = deadline.saturating_sub(self.now()).min(LOOK);
        match self.keeper.heard.recv_timeout(wait) {
            Ok(piece) => bytes.extend_from_slice(&piece),
            Err(RecvTimeoutError::Timeout) => {}
            Err(RecvTimeoutError::Disconnected) => return Err(self.keeper.gone()),
        }
        Ok(())
    }
}

impl Keeper {
    /// Starts the thread and waits until it has the port, or has the reason in words why not.
    fn start(port: &str, baud: u32) -> Result<Self, String> {
        let (frames, orders) = orders::channel(FRAMES_WAITING);
        let (tell, heard) = mpsc::sync_channel(PIECES_WAITING);
        let (ready, opened) = mpsc::channel();
        let name = port.to_owned();
        let body = move || {
            let started =
                Builder::new_current_thread().enable_all().build().map_err(|error| error.to_string());
            let started = started.and_then(|runtime| {
                // The port registers with the runtime that is to serve it.
                let stream = runtime.block_on(async { open(&name, baud) })?;
                Ok((runtime, stream))
            });
            match started {
                Ok((runtime, stream)) => {
                    let _ = ready.send(Ok(()));
                    runtime.block_on(keep(stream, orders, tell))
                }
                Err(why) => {
                    let _ = ready.send(Err(why.clone()));
                    why
                }
            }
        };
        let thread = thread::Builder::new().name(format!("line {port}")).spawn(body);
        let thread = thread.map_err(|error| format!("no thread for {port}: {error}"))?;
        opened.recv().unwrap_or_else(|_| Err(format!("the thread for {port} ended at once")))?;
        Ok(Self { frames: Some(frames), heard, thread: Some(thread), why: String::new() })
    }

    /// The thread has ended; says why.
    fn gone(&mut self) -> Gone {
        self.frames = None;
        if let Some(thread) = self.thread.take() {
            self.why = thread.join().unwrap_or_else(|_| "the thread of the port failed".into());
        }
        Gone(self.why.clone())
    }
}

impl Drop for Keeper {
    fn drop(&mut self) {
        // Ends the thread once it has written what it was given.
        self.gone();
    }
}

/// Opens the port and brings it into a known state.
fn open(port: &str, baud: u32) -> Result<SerialStream, String> {
    let mut stream =
        tokio_serial::new(port, baud).open_native_async().map_err(|error| opening_words(port, &error))?;
    // Both are best effort: a pseudo-terminal has no modem lines, and some drivers cannot discard.
    let _ = stream.write_data_terminal_ready(true);
    let _ = stream.clear(ClearBuffer::All);
    Ok(stream)
}

/// Reads and writes until either cannot go on; says why, in words.
async fn keep(stream: SerialStream, orders: orders::Receiver<Vec<u8>>, tell: SyncSender<Vec<u8>>) -> String {
    let (reader, writer) = split(stream);
    tokio::select! {
        why = listen(reader, tell) => why,
        why = speak(writer, orders) => why,
    }
}

/// Takes bytes off the line.
async fn listen(mut reader: ReadHalf<SerialStream>, tell: SyncSender<Vec<u8>>) -> String {
    let mut bytes = [0; PIECE];
    loop {
        match reader.read(&mut bytes).await {
            // A vanished device reads as an endless end of file.
            Ok(0) => return UNPLUGGED.into(),
            Ok(count) => {
                let piece = bytes.iter().take(count).copied().collect();
                match tell.try_send(piece) {
                    Ok(()) => {}
                    Err(TrySendError::Full(_)) => {
                        return "it sends more than this program can read; unplug the controller, \
                                then flash the firmware that came with this program"
                            .into();
                    }
                    Err(TrySendError::Disconnected(_)) => return "nobody listens".into(),
                }
            }
            Err(error) => return losing_words(&error),
        }
    }
}

/// Puts frames on the line.
async fn speak(mut writer: WriteHalf<SerialStream>, mut orders: orders::Receiver<Vec<u8>>) -> String {
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

/// Why the line is lost when the device is gone.
const UNPLUGGED: &str = "the controller or its cable was unplugged";

/// Why a port that was open is lost.
fn losing_words(error: &io::Error) -> String {
    /// `EIO`: what a write to a vanished device gives.
    const EIO: i32 = 5;
    if error.raw_os_error() == Some(EIO) || error.kind() == io::ErrorKind::BrokenPipe {
        UNPLUGGED.into()
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
