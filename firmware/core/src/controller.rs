//! The controller as a state machine.

use embedded_hal::{
    digital::{InputPin, OutputPin},
    spi::SpiDevice,
};

use crate::time::Instant;

/// What the controller works with; it owns them for life, so no output is ever let go.
#[derive(Debug)]
pub struct Parts<M, A, O, I> {
    /// The shift-register chain; its chip select is RCK, whose rising edge latches.
    pub matrix: M,
    /// The ADC, SPI mode 1.
    pub adc: A,
    /// SRCLR of the chain, active low.
    pub shift_clear: O,
    /// G of the chain, active low: high opens every relay.
    pub output_enable: O,
    /// Load source on while high.
    pub load_enable: O,
    /// Dry clamp closed while high.
    pub dry_clamp: O,
    /// Isolation clamp closed while high.
    pub isolation_clamp: O,
    /// Current through the unit reversed while high.
    pub reverse: O,
    /// High while the lid is open or its wire is broken.
    pub lid: I,
    /// Data ready of the ADC, active low.
    pub data_ready: I,
}

/// The size of the relay matrix.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Layout {
    /// Force channels, two relays each.
    pub force_channels: u8,
    /// Sense channels, two relays each.
    pub sense_channels: u8,
}

/// The controller.
#[derive(Debug)]
pub struct Controller<M, A, O, I> {
    parts: Parts<M, A, O, I>,
}

impl<M: SpiDevice, A: SpiDevice, O: OutputPin, I: InputPin> Controller<M, A, O, I> {
    /// Takes the parts and brings them to the all-open state.
    pub fn new(
        parts: Parts<M, A, O, I>,
        _layout: Layout,
        _serial: [u8; 8],
        _firmware: (u8, u8, u8),
        _watchdog_bit: bool,
        _now: Instant,
    ) -> Self {
        let mut controller = Self { parts };
        controller.fail_safe();
        controller
    }

    /// Takes bytes from the host, in any pieces. Call [`poll`](Self::poll) right after.
    pub fn receive(&mut self, _bytes: &[u8], _now: Instant) {}

    /// Whether [`receive`](Self::receive) has room for answers to what it would take. While it says no, leave
    /// the bytes in the line: that holds back a host which asks without reading.
    pub fn can_receive(&self) -> bool {
        true
    }

    /// The line is gone (cable pulled, port closed): stop, open everything, wait for a new `Hello`.
    pub fn hang_up(&mut self, _now: Instant) {}

    /// Does what is due and returns when to call again at the latest.
    pub fn poll(&mut self, now: Instant) -> Instant {
        now.plus_us(100)
    }

    /// Bytes for the host, oldest first.
    pub fn outgoing(&self) -> &[u8] {
        &[]
    }

    /// So many of the bytes of [`outgoing`](Self::outgoing) are sent.
    pub fn sent(&mut self, _count: usize) {}

    /// Current off and every relay open, now. For panic handlers: it neither waits nor panics.
    pub fn fail_safe(&mut self) {
        // Keep going whatever fails: each line helps on its own.
        let _ = self.parts.load_enable.set_low();
        let _ = self.parts.output_enable.set_high();
    }
}
