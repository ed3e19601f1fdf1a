//! Many listeners to the daemon's news at once, some of which never read.
#![allow(clippy::expect_used, clippy::panic, reason = "test equipment: a failed expectation is the message")]

use std::{
    io::{ErrorKind, Read, Write},
    net::TcpStream,
    sync::{
        Arc,
        atomic::{AtomicBool, Ordering},
    },
    thread::{self, JoinHandle},
};

use rustix::{
    event::{PollFd, PollFlags, Timespec, poll},
    process::{Resource, Rlimit, getrlimit, setrlimit},
};

/// A look at who has something to read takes no longer.
const LOOK: Timespec = Timespec { tv_sec: 0, tv_nsec: 200_000_000 };
/// File handles of the test besides those of the listeners.
const OTHERS: u64 = 64;

/// Listeners, ended with it.
#[derive(Debug)]
pub struct Crowd {
    /// Whoever never reads.
    deaf: Vec<TcpStream>,
    over: Arc<AtomicBool>,
    reading: Option<JoinHandle<Vec<Vec<u8>>>>,
}

impl Crowd {
    /// So many listeners at this `host:port`, every tenth of which never reads.
    ///
    /// # Panics
    /// If a line is refused, or the system gives too few file handles.
    pub fn gather(address: &str, count: usize) -> Self {
        raise_handles(count as u64 + OTHERS);
        let request = format!("GET /api/v1/events HTTP/1.1\r\nHost: {address}\r\n\r\n");
        let (mut deaf, mut readers) = (Vec::new(), Vec::new());
        for number in 0..count {
            let mut line = TcpStream::connect(address).expect("a line");
            line.write_all(request.as_bytes()).expect("a line");
            // An answer means that it listens.
            let mut first = [0; 1];
            line.read_exact(&mut first).expect("an answer");
            if number % 10 == 9 {
                deaf.push(line);
            } else {
                line.set_nonblocking(true).expect("a line");
                readers.push(line);
            }
        }
        let over = Arc::new(AtomicBool::new(false));
        let reading = thread::spawn({
            let over = over.clone();
            move || read(&readers, &over)
        });
        Self { deaf, over, reading: Some(reading) }
    }

    /// How many never read.
    pub fn deaf(&self) -> usize {
        self.deaf.len()
    }

    /// Ends it once nothing comes any more; what each reading listener heard: numbers and data, in their order.
    ///
    /// # Panics
    /// If something that was heard is no news.
    pub fn disperse(mut self) -> Vec<Vec<(u64, String)>> {
        self.over.store(true, Ordering::Relaxed);
        let heard = self.reading.take().expect("asked once").join().expect("the reader did not panic");
        heard.iter().map(|bytes| news(&String::from_utf8_lossy(bytes))).collect()
    }
}

/// Reads whatever comes, until it is over and nothing came for as long as a look takes.
fn read(lines: &[TcpStream], over: &AtomicBool) -> Vec<Vec<u8>> {
    let mut heard = vec![Vec::new(); lines.len()];
    let mut buffer = vec![0; 1 << 16];
    loop {
        let mut looks: Vec<_> = lines.iter().map(|line| PollFd::new(line, PollFlags::IN)).collect();
        let ready = poll(&mut looks, Some(&LOOK)).expect("poll(2)");
        if ready == 0 && over.load(Ordering::Relaxed) {
            return heard;
        }
        for ((mut line, look), heard) in lines.iter().zip(&looks).zip(&mut heard) {
            if look.revents().is_empty() {
                continue;
            }
            match line.read(&mut buffer) {
                Ok(0) => panic!("the daemon ended a line"),
                Ok(length) => heard.extend_from_slice(&buffer[..length]),
                Err(error) if error.kind() == ErrorKind::WouldBlock => {}
                Err(error) => panic!("a line broke: {error}"),
            }
        }
    }
}

/// The news of a stream.
fn news(stream: &str) -> Vec<(u64, String)> {
    let mut id = 0;
    let mut news = Vec::new();
    for line in stream.lines() {
        if let Some(number) = line.strip_prefix("id: ") {
            id = number.parse().expect("a number");
        } else if let Some(data) = line.strip_prefix("data: ") {
            news.push((id, data.to_owned()));
        }
    }
    news
}

/// Asks the system for so many file handles, if there are fewer.
fn raise_handles(count: u64) {
    let Rlimit { current, maximum } = getrlimit(Resource::Nofile);
    if current.is_some_and(|current| current < count) {
        let wanted = Rlimit { current: Some(count), maximum };
        setrlimit(Resource::Nofile, wanted).expect("file handles for as many listeners");
    }
}
