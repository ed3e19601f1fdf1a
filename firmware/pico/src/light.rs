//! The light on the board: what the controller does, for somebody who stands at the bench without a screen.

use copperwalk_core::Instant;
use copperwalk_wire::message::Status;
use embedded_hal::digital::{OutputPin, PinState};

/// One pattern: eight steps of an eighth of a second each, lit where a bit is set, first step in the lowest bit.
type Pattern = u8;

/// Idle, lid closed: a short wink once a second.
const IDLE: Pattern = 0b0000_0001;
/// A plan runs: lit.
const RUNNING: Pattern = 0b1111_1111;
/// The lid is open: two winks.
const LID_OPEN: Pattern = 0b0000_0101;
/// Something went wrong and has not been asked about: a fast blink.
const FAULT: Pattern = 0b0101_0101;

/// The pattern for a status; what matters most to a person comes first.
const fn pattern(status: &Status) -> Pattern {
    if status.running {
        RUNNING
    } else if status.lid_open {
        LID_OPEN
    } else if status.fault.is_some() || status.watchdog_reset {
        FAULT
    } else {
        IDLE
    }
}

/// How often the light is looked after, µs: an eighth of a second, as near as a power of two comes.
const STEP_US: u32 = 1 << 17;

/// The light and the pin it hangs on.
pub struct Light<P> {
    pin: P,
    next: Instant,
}

impl<P: OutputPin> Light<P> {
    /// A light on a pin that lights it when high.
    pub const fn new(pin: P) -> Self {
        Self { pin, next: Instant(0) }
    }

    /// Shows the status, which is asked for only when it is time for another step.
    pub fn show(&mut self, now: Instant, status: impl FnOnce() -> Status) {
        if now >= self.next {
            self.next = now.plus_us(STEP_US);
            let step = now.0 / u64::from(STEP_US) % 8;
            // A light that cannot be switched is no reason to stop.
            let _ = self.pin.set_state(PinState::from((pattern(&status()) >> step) & 1 == 1));
        }
    }
}
