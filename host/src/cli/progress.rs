//! What a person beside a real bench sees while a job runs: a line for each segment as it is read, on standard error.
//!
//! Nothing is shown where standard error is no terminal: scripts get the result and nothing else.

use std::io::{IsTerminal, Write, stderr};

use crate::{job::Event, quantity::with_uncertainty, report::words, visible::clean};

/// Shows events.
pub struct Progress {
    shown: bool,
}

impl Progress {
    /// For a sweep whose result comes afterwards.
    pub fn new() -> Self {
        Self { shown: stderr().is_terminal() }
    }

    /// Takes an event.
    pub fn take(&mut self, event: Event<'_>) {
        if !self.shown {
            return;
        }
        // Whoever closed standard error does not want to see it.
        let _ = match event {
            Event::SegmentRead { name, resistance, u95, verdict } => {
                let reading = with_uncertainty(resistance, u95);
                writeln!(stderr(), "  {} {}  {reading}", words::mark(verdict), clean(name))
            }
            Event::Running { purpose, .. } => match words::purpose(purpose) {
                Some(words) => writeln!(stderr(), "  {words} …"),
                None => Ok(()),
            },
            Event::Placing { .. } | Event::Placed | Event::ShotDone { .. } | Event::Recorded(_) => Ok(()),
        };
    }
}
