//! A line that a thread of its own waits at.
//!
//! Why: the driver of a USB instrument decides by itself how long a read takes, often five seconds. Whoever has to notice within a second that a
//! supply is gone cannot wait inside such a read.

use std::{
    sync::mpsc::{self, Receiver, RecvTimeoutError, Sender},
    thread,
    time::{Duration, Instant},
};

use super::{Line, LineError};

/// A driver takes a short line within this, or is stuck.
const TAKEN: Duration = Duration::from_millis(500);

/// A line in the hands of a thread, which ends with it, or once a read in it ends.
#[derive(Debug)]
pub struct Apart {
    ask: Sender<(u64, Job)>,
    told: Receiver<(u64, Told)>,
    number: u64,
}

#[derive(Debug)]
enum Job {
    Send(String),
    Receive(Duration),
}

type Told = Result<String, LineError>;

impl Apart {
    /// Gives the line away.
    pub fn new(mut line: impl Line + Send + 'static) -> Self {
        let (ask, asked) = mpsc::channel::<(u64, Job)>();
        let (tell, told) = mpsc::channel();
        thread::spawn(move || {
            for (number, job) in asked {
                let done = match job {
                    Job::Send(text) => line.send(&text).map(|()| String::new()),
                    Job::Receive(within) => line.receive(within),
                };
                if tell.send((number, done)).is_err() {
                    break;
                }
            }
        });
        Self { ask, told, number: 0 }
    }

    fn done(&mut self, job: Job, within: Duration) -> Told {
        let gone = || LineError::Cut("its thread ended".into());
        self.number += 1;
        self.ask.send((self.number, job)).map_err(|_| gone())?;
        let until = Instant::now() + within;
        loop {
            match self.told.recv_timeout(until.saturating_duration_since(Instant::now())) {
                // What comes late is no answer to what is asked now.
                Ok((number, _)) if number != self.number => {}
                Ok((_, told)) => return told,
                Err(RecvTimeoutError::Timeout) => return Err(LineError::Silent),
                Err(RecvTimeoutError::Disconnected) => return Err(gone()),
            }
        }
    }
}

impl Line for Apart {
    fn send(&mut self, text: &str) -> Result<(), LineError> {
        self.done(Job::Send(text.into()), TAKEN).map(drop)
    }

    fn receive(&mut self, within: Duration) -> Result<String, LineError> {
        self.done(Job::Receive(within), within)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Answers what it was told last, each time once it is let.
    struct Slow {
        said: String,
        let_go: Receiver<()>,
    }

    impl Line for Slow {
        fn send(&mut self, text: &str) -> Result<(), LineError> {
            self.said = text.into();
            Ok(())
        }

        fn receive(&mut self, _: Duration) -> Result<String, LineError> {
            self.let_go.recv().map_err(|gone| LineError::Cut(gone.to_string()))?;
            Ok(self.said.clone())
        }
    }

    #[test]
    fn nobody_waits_for_a_line_that_does_not_come_back_and_a_late_answer_is_none() {
        let (free, let_go) = mpsc::channel();
        let mut line = Apart::new(Slow { said: String::new(), let_go });
        line.send("first").unwrap();
        // The line itself would not come back at all.
        assert_eq!(line.receive(Duration::from_millis(100)), Err(LineError::Silent));
        free.send(()).unwrap();
        line.send("second").unwrap();
        assert_eq!(line.receive(Duration::from_millis(100)), Err(LineError::Silent));
        free.send(()).unwrap();
        line.send("third").unwrap();
        free.send(()).unwrap();
        assert_eq!(line.receive(Duration::from_secs(10)).as_deref(), Ok("third"));
    }
}
