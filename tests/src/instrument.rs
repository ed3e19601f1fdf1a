//! Instruments behind a device file that answer line by line, as IEEE 488.2 prescribes.

use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread;
use std::time::Duration;

use crate::terminal::Terminal;

/// How long is waited for a command before it is looked whether the instrument is still wanted, ns.
const WAIT_NANOS: u32 = 20_000_000;

/// An instrument that stands at a device file until it is dropped.
#[derive(Debug)]
pub struct Instrument(Arc<AtomicBool>);

impl Instrument {
    /// One that gives `answer` to each line, without the line's end; `None` is silence.
    ///
    /// # Panics
    /// If the operating system has no pseudo-terminal to give.
    pub fn at(device: &Path, mut answer: impl FnMut(&str) -> Option<String> + Send + 'static) -> Self {
        let terminal = Terminal::at(device);
        let unwanted = Arc::new(AtomicBool::new(false));
        let gone = Arc::clone(&unwanted);
        thread::spawn(move || {
            let (mut heard, mut bytes) = (Vec::new(), [0; 256]);
            while !gone.load(Ordering::Relaxed) {
                terminal.wait(WAIT_NANOS);
                let Some(piece) = terminal.read(&mut bytes) else {
                    // Nobody has the device open: `wait` returns at once.
                    thread::sleep(Duration::from_millis(2));
                    continue;
                };
                heard.extend_from_slice(piece);
                while let Some(end) = heard.iter().position(|&byte| byte == b'\n') {
                    let line: Vec<u8> = heard.drain(..=end).collect();
                    if let Some(answer) = answer(String::from_utf8_lossy(&line).trim_end()) {
                        terminal.write(&mut format!("{answer}\n").into_bytes());
                    }
                }
            }
        });
        Self(unwanted)
    }
}

impl Drop for Instrument {
    fn drop(&mut self) {
        self.0.store(true, Ordering::Relaxed);
    }
}
