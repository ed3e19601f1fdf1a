//! The emulator as a child process: commands out, what happens back.
//!
//! Nothing happens in the child between two commands, and while the firmware runs the child waits for the answer to
//! everything it asks. So the test owns time, and the same commands give the same run to the byte.
//! `tests/emulator/main.mjs` is the other end and has the format.

use std::{
    io::{BufReader, BufWriter, Read, Write},
    process::{Child, ChildStdin, ChildStdout, Command, Stdio},
    sync::{
        Arc, Mutex,
        mpsc::{RecvTimeoutError, Sender, channel},
    },
    time::Duration,
};

use super::firmware;

/// A child that has not said anything for so long hangs.
const PATIENCE: Duration = Duration::from_secs(60);

/// What a pin of the chip does.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Drive {
    /// Driven low.
    Low,
    /// Driven high.
    High,
    /// An input, or not yet set up: what hangs on the pin decides.
    Released,
}

/// How the firmware can be broken.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Break {
    /// As if the code under way had panicked.
    Panic,
    /// The main loop stops turning.
    Hang,
    /// The processor takes a hard fault, as on an access to memory that is not there.
    HardFault,
}

/// What the host finds at the USB port.
#[derive(Clone, Debug, Default)]
pub struct UsbDevice {
    /// The device descriptor.
    pub device: Vec<u8>,
    /// The configuration descriptor with everything behind it.
    pub configuration: Vec<u8>,
    /// The serial number string.
    pub serial: String,
}

/// Everything around the chip. Times are device time in nanoseconds since the first power-up.
pub trait Around {
    /// A pin changed.
    fn pin(&mut self, at: u64, gpio: u8, drive: Drive);
    /// A byte went out on an SPI bus in a mode of 0 to 3; the answer is what came back with it.
    fn spi(&mut self, at: u64, bus: u8, mode: u8, byte: u8) -> u8;
    /// The firmware looks at its inputs: bit n is the level of GPn. Also until when they will stay like this if nothing
    /// else happens, since looking is what firmware does most.
    fn inputs(&mut self, at: u64) -> (u32, u64);
    /// The chip was reset, by the watchdog or by being powered up: every pin is released.
    fn reset(&mut self, at: u64, watchdog: bool);
    /// The host heard this from the serial port.
    fn heard(&mut self, at: u64, bytes: &[u8]);
    /// The host has set the device up.
    fn found(&mut self, at: u64, device: UsbDevice);
}

/// A running emulator.
#[derive(Debug)]
pub struct Process {
    child: Arc<Mutex<Child>>,
    commands: BufWriter<ChildStdin>,
    events: BufReader<ChildStdout>,
    alive: Sender<()>,
}

impl Process {
    /// Starts the firmware at time zero, cable unplugged.
    pub fn start() -> Self {
        let script = firmware::emulator().join("main.mjs");
        let mut child = Command::new("node")
            .arg(script)
            .arg(firmware::elf())
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .spawn()
            .expect("node (20 or later) runs the emulator");
        let commands = BufWriter::new(child.stdin.take().expect("piped"));
        let events = BufReader::new(child.stdout.take().expect("piped"));
        let child = Arc::new(Mutex::new(child));
        let (alive, signs) = channel();
        let victim = Arc::clone(&child);
        std::thread::spawn(move || {
            loop {
                match signs.recv_timeout(PATIENCE) {
                    Ok(()) => {}
                    Err(RecvTimeoutError::Timeout) => drop(victim.lock().expect("no panics").kill()),
                    Err(RecvTimeoutError::Disconnected) => break,
                }
            }
        });
        Self { child, commands, events, alive }
    }

    /// Lets the firmware run until `until`, nanoseconds, or until the host hears something. Returns when that was.
    pub fn run(&mut self, until: u64, around: &mut impl Around) -> u64 {
        self.command(b'R', &until.to_le_bytes());
        self.listen(around).0
    }

    /// Bytes from the host to the serial port.
    pub fn send(&mut self, bytes: &[u8]) {
        self.command(b'U', bytes);
    }

    /// Plugs the cable in or pulls it.
    pub fn plug(&mut self, inserted: bool) {
        self.command(b'C', &[inserted.into()]);
    }

    /// A program opens or closes the serial port.
    pub fn open(&mut self, open: bool) {
        self.command(b'L', &[open.into()]);
    }

    /// Whether the host takes what the controller says.
    pub fn reading(&mut self, reading: bool) {
        self.command(b'H', &[reading.into()]);
    }

    /// Power off and on again.
    pub fn power_cycle(&mut self) {
        self.command(b'P', &[]);
    }

    /// Breaks the firmware at the next step.
    pub fn break_firmware(&mut self, how: Break) {
        self.command(
            b'B',
            match how {
                Break::Panic => b"panic",
                Break::Hang => b"hang",
                Break::HardFault => b"fault",
            },
        );
    }

    /// Deepest the firmware's stack has been since power-up, bytes.
    pub fn stack_used(&mut self, around: &mut impl Around) -> u32 {
        self.command(b'S', &[]);
        let (_, payload) = self.listen(around);
        u32::from_le_bytes(payload.try_into().expect("four bytes"))
    }

    fn command(&mut self, kind: u8, payload: &[u8]) {
        let length = u32::try_from(payload.len() + 1).expect("short");
        self.write(&[&length.to_le_bytes(), &[kind][..], payload].concat());
    }

    fn write(&mut self, bytes: &[u8]) {
        self.commands.write_all(bytes).expect("the emulator is alive");
    }

    fn read<const N: usize>(&mut self) -> [u8; N] {
        let mut bytes = [0; N];
        self.events.read_exact(&mut bytes).expect("the emulator is alive; its own words are above");
        bytes
    }

    /// Handles events until the command is done; returns when that was and what the last one carried.
    fn listen(&mut self, around: &mut impl Around) -> (u64, Vec<u8>) {
        self.commands.flush().expect("the emulator is alive");
        loop {
            let _ = self.alive.send(());
            let length = u32::from_le_bytes(self.read()) as usize - 9;
            let [kind] = self.read();
            let at = u64::from_le_bytes(self.read());
            let mut payload = vec![0; length];
            self.events.read_exact(&mut payload).expect("the emulator is alive");
            match (kind, payload.as_slice()) {
                (b'p', &[gpio, state]) => around.pin(
                    at,
                    gpio,
                    match state {
                        0 => Drive::Low,
                        1 => Drive::High,
                        _ => Drive::Released,
                    },
                ),
                (b's', &[bus, mode, byte]) => {
                    let answer = around.spi(at, bus, mode, byte);
                    self.answer(answer.into(), at);
                }
                (b'i', []) => {
                    let (levels, until) = around.inputs(at);
                    self.answer(levels, until);
                }
                (b'u', bytes) => around.heard(at, bytes),
                (b'r', why) => around.reset(at, why == b"watchdog"),
                (b'c', found) => {
                    let (length, rest) = found.split_first().expect("a length");
                    let (device, rest) = rest.split_at((*length).into());
                    let total = usize::from(u16::from_le_bytes([rest[2], rest[3]]));
                    let (configuration, serial) = rest.split_at(total);
                    around.found(
                        at,
                        UsbDevice {
                            device: device.to_vec(),
                            configuration: configuration.to_vec(),
                            serial: String::from_utf8_lossy(serial).into_owned(),
                        },
                    );
                }
                (b'!', text) => panic!("at {at} ns: {}", String::from_utf8_lossy(text)),
                (b'd', _) => return (at, payload),
                (kind, payload) => panic!("the emulator said {:?} {payload:?}", char::from(kind)),
            }
        }
    }

    fn answer(&mut self, value: u32, until: u64) {
        self.write(&value.to_le_bytes());
        self.write(&until.to_le_bytes());
        self.commands.flush().expect("the emulator is alive");
    }
}

impl Drop for Process {
    fn drop(&mut self) {
        // Closing its input would do, but it may be in the middle of something.
        if let Ok(mut child) = self.child.lock() {
            let _ = child.kill();
            let _ = child.wait();
        }
    }
}
