//! What a person beside a real bench sees while a job runs: a line for each segment as it is read, on standard error.
//!
//! Nothing is shown where standard error is no terminal: scripts get the result and nothing else.

use std::io::{IsTerminal, Write, stderr};

use crate::{
    job::Event,
    quantity::{Ohms, with_uncertainty},
    report::words,
    verdict::Verdict,
    visible::clean,
};

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
        match event {
            Event::SegmentRead { name, resistance, u95, verdict } => {
                self.segment(name, resistance, u95, verdict);
            }
            Event::Running { purpose, .. } => self.run(words::purpose(purpose)),
            Event::Placing { .. } | Event::Placed | Event::ShotDone { .. } | Event::Recorded(_) => {}
        }
    }

    /// A segment was read.
    pub fn segment(&mut self, name: &str, resistance: Ohms, u95: Ohms, verdict: Verdict) {
        let reading = with_uncertainty(resistance, u95);
        self.line(format_args!("{} {}  {reading}", words::mark(verdict), clean(name)));
    }

    /// A run begins; with a reason if it is not one that every unit gets.
    pub fn run(&mut self, why: Option<&str>) {
        if let Some(why) = why {
            self.line(format_args!("{} …", clean(why)));
        }
    }

    fn line(&self, text: std::fmt::Arguments<'_>) {
        if self.shown {
            // Whoever closed standard error does not want to see it.
            let _ = writeln!(stderr(), "  {text}");
        }
    }
}
