//! Sequence numbers, frames and heartbeats, the same over every transport.
//!
//! Nothing here speaks on its own: heartbeats go out while somebody waits for an answer, so a program that hangs falls silent
//! and the controller opens its relays.

use std::time::Duration;

use copperwalk_wire::{FrameReader, FromBench, MAX_FRAME, Packet, ToBench, encode};

use super::{
    cancel::CancelToken,
    error::{Awaited, LinkError},
    transport::{Gone, Transport},
};

/// Silence on our side after which a waiting program says something: a fifth of what the controller allows.
const HEARTBEAT: Duration = Duration::from_millis(100);

/// A transport with messages instead of bytes.
#[derive(Debug)]
pub(super) struct Line<T> {
    pub(super) transport: T,
    reader: FrameReader,
    /// What has come; `bytes[..read]` has been read.
    bytes: Vec<u8>,
    read: usize,
    /// Number of what was last said.
    seq: u16,
    /// When that was, on the transport's clock.
    spoke: Duration,
}

impl<T: Transport> Line<T> {
    pub(super) fn new(transport: T) -> Self {
        let spoke = transport.now();
        Self { transport, reader: FrameReader::new(), bytes: Vec::new(), read: 0, seq: 0, spoke }
    }

    /// Says something and returns its number; waits for nothing.
    pub(super) fn say(&mut self, message: ToBench) -> Result<u16, Gone> {
        let seq = self.seq.wrapping_add(1);
        let mut buffer = [0; MAX_FRAME];
        // Every message fits by its type; should one not, the conversation cannot go on.
        let frame = encode(&Packet { seq, body: message }, &mut buffer)
            .map_err(|error| Gone(format!("a message does not fit a frame: {error:?}")))?;
        self.transport.send(frame)?;
        (self.seq, self.spoke) = (seq, self.transport.now());
        Ok(seq)
    }

    /// The next message, answers to heartbeats included; `None` if none came by `deadline` on the transport's clock, or once
    /// `enough` says so, which is asked before every wait. Damaged frames are passed over: what follows shows the gap.
    pub(super) fn hear(
        &mut self,
        deadline: Duration,
        enough: impl Fn() -> bool,
    ) -> Result<Option<Packet<FromBench>>, Gone> {
        loop {
            if let Some(packet) = self.unpack() {
                return Ok(Some(packet));
            }
            let now = self.transport.now();
            if now >= deadline || enough() {
                return Ok(None);
            }
            let beat = self.spoke + HEARTBEAT;
            if now >= beat {
                self.say(ToBench::Status)?;
            } else {
                self.transport.receive(deadline.min(beat), &mut self.bytes)?;
            }
        }
    }

    /// The answer to question `asked`, the last that was put. Whatever else comes is passed over and counted.
    pub(super) fn answer(
        &mut self,
        asked: u16,
        awaited: Awaited,
        within: Duration,
        cancel: &CancelToken,
    ) -> Result<FromBench, LinkError> {
        let deadline = self.transport.now() + within;
        let mut strays = 0;
        while let Some(packet) = self.hear(deadline, || cancel.is_cancelled())? {
            if packet.seq == asked {
                return Ok(packet.body);
            }
            strays += u64::from(!self.is_heartbeat(&packet, asked));
        }
        cancel.check()?;
        Err(LinkError::Silent { awaited, waited: within, strays })
    }

    /// Whether a packet answers a heartbeat sent since question `asked`: nothing else is said while one is open.
    pub(super) fn is_heartbeat(&self, packet: &Packet<FromBench>, asked: u16) -> bool {
        let since = packet.seq.wrapping_sub(asked);
        matches!(packet.body, FromBench::Status(_)) && since > 0 && since <= self.seq.wrapping_sub(asked)
    }

    /// The next whole frame of what has come.
    fn unpack(&mut self) -> Option<Packet<FromBench>> {
        while let Some(&byte) = self.bytes.get(self.read) {
            self.read += 1;
            if let Some(Ok(packet)) = self.reader.push(byte) {
                return Some(packet);
            }
        }
        self.bytes.clear();
        self.read = 0;
        None
    }
}
