//! The virtual bench in real time, with hands: a lid that somebody opens and closes, a switch that somebody moves.
//!
//! The model itself knows no real time. [`Paced`] holds it to the clock on the wall, so that a sweep takes as long as it would
//! on hardware, and carries what [`Hands`] do into the model before each step.

use std::{
    sync::{Arc, Mutex, MutexGuard, PoisonError},
    thread,
    time::{Duration, Instant},
};

use super::desk::HandsPicture;
use crate::{
    board::Board,
    fixture::Fixture,
    link::{Gone, Transport},
    virtual_bench::VirtualBench,
};

/// A wait is broken up, so that hands and cancellation are seen soon.
const STEP: Duration = Duration::from_millis(20);

/// What stands in for hands at the virtual bench. Copies share it.
#[derive(Clone, Debug)]
pub struct Hands(Arc<Mutex<HandsPicture>>);

impl Default for Hands {
    /// An empty bed under an open lid.
    fn default() -> Self {
        Self(Arc::new(Mutex::new(HandsPicture { lid_open: true, ..HandsPicture::default() })))
    }
}

impl Hands {
    /// Opens or closes the lid.
    pub fn lid(&self, open: bool) {
        self.picture().lid_open = open;
    }

    /// Puts the unit into a state; false if no unit lies there or it has none of this name.
    pub fn put(&self, state: &str) -> bool {
        let mut picture = self.picture();
        let known = picture.states.iter().any(|known| known == state);
        if known {
            picture.state = state.to_owned();
        }
        known
    }

    /// As it is.
    pub fn now(&self) -> HandsPicture {
        self.picture().clone()
    }

    /// A unit is laid down, in the first of its states.
    pub(super) fn lay(&self, fixture: &Fixture) {
        let mut picture = self.picture();
        picture.states = fixture.board.states.iter().map(|state| state.name.clone()).collect();
        picture.state = picture.states.first().cloned().unwrap_or_default();
    }

    fn picture(&self) -> MutexGuard<'_, HandsPicture> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// A virtual bench that keeps to the clock on the wall.
pub struct Paced {
    bench: VirtualBench,
    board: Board,
    hands: Hands,
    /// What the hands did last that the model knows of.
    done: HandsPicture,
    /// When model time was zero.
    began: Instant,
}

impl Paced {
    /// A bench with a unit on it, whose model time begins now.
    pub fn new(bench: VirtualBench, board: &Board, hands: &Hands) -> Self {
        let began = Instant::now().checked_sub(bench.now()).unwrap_or_else(Instant::now);
        Self { bench, board: board.clone(), hands: hands.clone(), done: HandsPicture::default(), began }
    }

    /// Carries out what the hands have done.
    fn follow(&mut self) {
        let wanted = self.hands.now();
        if wanted == self.done {
            return;
        }
        self.bench.set_lid(wanted.lid_open);
        if wanted.state != self.done.state
            && let Some(state) = self.board.state_named(&wanted.state)
        {
            self.bench.place(state);
        }
        self.done = wanted;
    }
}

impl Transport for Paced {
    fn name(&self) -> String {
        self.bench.name()
    }

    fn now(&self) -> Duration {
        self.bench.now()
    }

    fn send(&mut self, frame: &[u8]) -> Result<(), Gone> {
        self.follow();
        // While nobody asked for anything the model stood still: it goes on from here.
        let behind = self.began.elapsed().saturating_sub(self.bench.now());
        self.began += behind;
        self.bench.send(frame)
    }

    fn receive(&mut self, deadline: Duration, bytes: &mut Vec<u8>) -> Result<(), Gone> {
        self.follow();
        let ahead = self.bench.now().saturating_sub(self.began.elapsed());
        if ahead > STEP {
            thread::sleep(STEP);
            return Ok(());
        }
        thread::sleep(ahead);
        self.bench.receive(deadline, bytes)
    }
}
