//! Frames as a peer makes them, and what is drawn to spoil them.
#![allow(clippy::expect_used, reason = "test equipment: a failed expectation is the message")]

use copperwalk::random::Rng;
use copperwalk_wire::{MAX_FRAME, Packet, encode};
use serde::Serialize;

/// A message in a frame of its own.
///
/// # Panics
/// If it is longer than a frame may be.
pub fn frame<T: Serialize>(seq: u16, body: T) -> Vec<u8> {
    encode(&Packet { seq, body }, &mut [0; MAX_FRAME]).expect("it fits").to_vec()
}

/// A whole number below `limit`, which is not 0.
pub fn below(rng: &mut Rng, limit: usize) -> usize {
    ((rng.unit() * limit as f64) as usize).min(limit - 1)
}
