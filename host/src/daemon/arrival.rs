//! When the controller was last heard: what a listener's news are measured from.

use std::{
    sync::{
        Arc,
        atomic::{AtomicI64, Ordering},
    },
    time::Duration,
};

use crate::{
    link::{Gone, Transport},
    records::now_us,
};

/// When bytes last came in, microseconds since 1970-01-01 UTC; 0 before the first. Copies share it.
#[derive(Clone, Debug, Default)]
pub struct Arrival(Arc<AtomicI64>);

impl Arrival {
    /// The time.
    pub fn at_us(&self) -> i64 {
        self.0.load(Ordering::Relaxed)
    }
}

/// A line that notes when bytes came in.
pub struct Noted<T> {
    /// The line.
    pub line: T,
    /// Where it is noted.
    pub arrival: Arrival,
}

impl<T: Transport> Transport for Noted<T> {
    fn name(&self) -> String {
        self.line.name()
    }

    fn now(&self) -> Duration {
        self.line.now()
    }

    fn send(&mut self, frame: &[u8]) -> Result<(), Gone> {
        self.line.send(frame)
    }

    fn receive(&mut self, deadline: Duration, bytes: &mut Vec<u8>) -> Result<(), Gone> {
        let before = bytes.len();
        let received = self.line.receive(deadline, bytes);
        if bytes.len() > before {
            self.arrival.0.store(now_us(), Ordering::Relaxed);
        }
        received
    }
}
