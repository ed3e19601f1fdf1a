//! The line to the host: bytes to packets and packets to bytes, with a queue of a few KiB between them.
//!
//! The controller never waits for the host. What it says goes into the queue; how much room is left decides
//! who may still speak: sampling stops first, then answers are dropped, so that the frames which close a run
//! always fit. A host that has to repeat a request finds out by its deadline.

use copperwalk_wire::{FrameReader, FromBench, MAX_FRAME, Packet, ToBench, encode};

/// Bytes the queue holds: a second of codes at full rate.
const QUEUE: usize = 4096;
/// No conversion is started with less room than this.
const STREAM_ROOM: usize = 4 * MAX_FRAME;
/// No answer is given with less room than this: codes, the end of a shot and the end of a run still fit.
const ANSWER_ROOM: usize = 2 * MAX_FRAME;

/// Both directions of the line.
#[derive(Debug)]
pub(crate) struct Session {
    reader: FrameReader,
    queue: [u8; QUEUE],
    /// The bytes to send are `queue[start..end]`.
    start: usize,
    end: usize,
}

impl Session {
    pub(crate) const fn new() -> Self {
        Self { reader: FrameReader::new(), queue: [0; QUEUE], start: 0, end: 0 }
    }

    /// Takes one byte from the host. Frames that are torn or altered vanish: the host misses its answer.
    pub(crate) fn receive(&mut self, byte: u8) -> Option<Packet<ToBench>> {
        self.reader.push(byte)?.ok()
    }

    /// Is there room for another conversion's codes, or for the answers to what one USB packet can ask?
    pub(crate) fn has_room(&self) -> bool {
        self.room() >= STREAM_ROOM
    }

    /// Answers a request; dropped if the host has not read for too long.
    pub(crate) fn answer(&mut self, seq: u16, body: FromBench) {
        if self.room() >= ANSWER_ROOM {
            self.push(&Packet { seq, body });
        }
    }

    /// Sends a frame of a running plan, for which [`has_room`](Self::has_room) has kept room.
    pub(crate) fn stream(&mut self, seq: u16, body: FromBench) {
        self.push(&Packet { seq, body });
    }

    /// Forgets what has not been sent, for a new conversation. A lone zero ends the frame that may be torn.
    pub(crate) fn restart(&mut self) {
        if self.start != self.end {
            (self.start, self.end) = (0, 1);
            self.queue[0] = 0;
        }
    }

    /// Forgets the frame that was coming in, for a line that broke.
    pub(crate) fn hang_up(&mut self) {
        self.reader = FrameReader::new();
    }

    /// Bytes to send.
    pub(crate) fn outgoing(&self) -> &[u8] {
        self.queue.get(self.start..self.end).unwrap_or_default()
    }

    /// So many of them are sent.
    pub(crate) fn sent(&mut self, count: usize) {
        self.start = (self.start + count).min(self.end);
        if self.start == self.end {
            (self.start, self.end) = (0, 0);
        }
    }

    const fn room(&self) -> usize {
        QUEUE - (self.end - self.start)
    }

    fn push(&mut self, packet: &Packet<FromBench>) {
        let mut buffer = [0; MAX_FRAME];
        let Ok(frame) = encode(packet, &mut buffer) else { return };
        if self.end + frame.len() > QUEUE {
            self.queue.copy_within(self.start..self.end, 0);
            (self.start, self.end) = (0, self.end - self.start);
        }
        if let Some(tail) = self.queue.get_mut(self.end..self.end + frame.len()) {
            tail.copy_from_slice(frame);
            self.end += frame.len();
        }
    }
}

#[cfg(test)]
mod tests {
    extern crate std;
    use std::vec::Vec;

    use copperwalk_wire::message::RunEnd;

    use super::*;

    fn ended(closures: u32) -> FromBench {
        FromBench::Ended { why: RunEnd::Complete, shots: 1, closures, device_us: u32::MAX }
    }

    #[test]
    fn frames_leave_in_order_whatever_the_pieces() {
        let mut session = Session::new();
        let mut reader = FrameReader::new();
        let mut seen = Vec::new();
        let mut pushed = 0;
        for step in 0..4_000_usize {
            if session.has_room() {
                session.stream(7, ended(pushed));
                pushed += 1;
            }
            // A host that reads in fits and starts.
            let piece = session.outgoing().len().min(step * 7 % 40);
            for byte in session.outgoing()[..piece].iter().copied() {
                if let Some(packet) = reader.push::<Packet<FromBench>>(byte) {
                    seen.push(packet.unwrap());
                }
            }
            session.sent(piece);
        }
        assert!(seen.len() > 3_000, "{}", seen.len());
        for (expected, packet) in (0..).zip(seen) {
            assert_eq!(packet, Packet { seq: 7, body: ended(expected) });
        }
    }

    #[test]
    fn the_frames_that_close_a_run_always_fit() {
        let mut session = Session::new();
        let codes = FromBench::Codes { shot: 65_535, first: 65_535, codes: [i32::MIN; 40].into() };
        while session.has_room() {
            session.stream(65_535, codes.clone());
        }
        for _ in 0..1_000 {
            session.answer(1, FromBench::Echo { bytes: [0xA5; 192].into() });
        }
        let before = session.outgoing().len();
        session.stream(65_535, codes);
        session.stream(65_535, ended(u32::MAX));
        assert!(session.outgoing().len() > before + 200);
        assert_eq!(session.outgoing().last(), Some(&0));
        assert!(session.outgoing().len() <= QUEUE);
    }

    #[test]
    fn a_new_conversation_starts_on_a_frame_boundary() {
        let mut session = Session::new();
        session.stream(1, ended(5));
        session.sent(3);
        session.restart();
        session.answer(2, FromBench::Done);
        let mut reader = FrameReader::new();
        // The host has three bytes of the torn frame.
        for byte in [9, 9, 9] {
            assert!(reader.push::<Packet<FromBench>>(byte).is_none());
        }
        let packets: Vec<_> = session.outgoing().iter().filter_map(|byte| reader.push(*byte)).collect();
        assert!(packets[0].is_err());
        assert_eq!(packets[1], Ok(Packet { seq: 2, body: FromBench::Done }));
        assert_eq!(packets.len(), 2);
    }
}
