//! A controller made of a script, and a clock that only waiting moves.

use std::{collections::VecDeque, time::Duration};

use copperwalk_wire::{
    FrameReader, FromBench, MAX_FRAME, PROTOCOL, Packet, ToBench, encode, message::Identity,
};

use super::transport::{Gone, Transport};

/// Answers each message by what `script` makes of it.
pub struct Scripted<F> {
    script: F,
    now: Duration,
    reader: FrameReader,
    /// What will come, and when at the earliest.
    coming: VecDeque<(Duration, Vec<u8>)>,
    /// Everything the host has said.
    pub heard: Vec<Packet<ToBench>>,
}

/// When something comes: so long after the host spoke.
pub type Answer = (Duration, Packet<FromBench>);

impl<F: FnMut(&Packet<ToBench>) -> Vec<Answer>> Scripted<F> {
    pub fn new(script: F) -> Self {
        Self {
            script,
            now: Duration::ZERO,
            reader: FrameReader::new(),
            coming: VecDeque::new(),
            heard: Vec::new(),
        }
    }
}

impl<F: FnMut(&Packet<ToBench>) -> Vec<Answer>> Transport for Scripted<F> {
    fn name(&self) -> String {
        "script".into()
    }

    fn now(&self) -> Duration {
        self.now
    }

    fn send(&mut self, frame: &[u8]) -> Result<(), Gone> {
        for byte in frame {
            if let Some(packet) = self.reader.push(*byte) {
                let packet = packet.unwrap();
                for (after, answer) in (self.script)(&packet) {
                    let mut buffer = [0; MAX_FRAME];
                    let frame = encode(&answer, &mut buffer).unwrap().to_vec();
                    self.coming.push_back((self.now + after, frame));
                }
                self.heard.push(packet);
            }
        }
        Ok(())
    }

    fn receive(&mut self, deadline: Duration, bytes: &mut Vec<u8>) -> Result<(), Gone> {
        match self.coming.front() {
            Some((at, _)) if *at <= deadline => {
                self.now = self.now.max(*at);
                bytes.extend(self.coming.pop_front().into_iter().flat_map(|(_, frame)| frame));
            }
            _ => self.now = self.now.max(deadline),
        }
        Ok(())
    }
}

/// Who a script is.
pub const IDENTITY: Identity = Identity {
    protocol: PROTOCOL,
    firmware: (0, 1, 0),
    serial: [7; 8],
    force_channels: 16,
    sense_channels: 48,
    plan_capacity: 512,
};

/// An answer at once, under the question's number.
pub fn at_once(question: &Packet<ToBench>, body: FromBench) -> Vec<Answer> {
    vec![(Duration::ZERO, Packet { seq: question.seq, body })]
}
