//! The front end: which source drives the unit, which clamp guards it, and which way the current runs.
//!
//! The circuit is drawn in [`copperwalk_wire::hardware`]. The 1 mA source is the converter's own, so turning it
//! on is a register write; the load source, the clamps and the reversal switch each hang on a pin.

use embedded_hal::{
    digital::{InputPin, OutputPin},
    spi::SpiDevice,
};

use copperwalk_wire::{
    Source,
    hardware::wait::{IDAC_START_US, SETTLE_US},
    message::Fault,
};

use crate::ads1220::{Ads1220, Registers};

/// What the unit is driven with.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Excitation {
    /// The source.
    pub source: Source,
    /// Force- is driven instead of force+.
    pub reversed: bool,
}

impl Excitation {
    /// No current, forward: the state in which relays may move.
    pub const OFF: Self = Self { source: Source::Off, reversed: false };
}

/// The pins of the front end.
#[derive(Debug)]
pub struct FrontEnd<O> {
    load_enable: O,
    dry_clamp: O,
    isolation_clamp: O,
    reverse: O,
    /// What the pins and the converter's source are set to, as far as we know.
    excitation: Excitation,
}

/// A pin of the controller could not be set: the same chip drives the matrix.
fn pin<T, E>(result: Result<T, E>) -> Result<(), Fault> {
    result.map(|_| ()).map_err(|_| Fault::Matrix)
}

impl<O: OutputPin> FrontEnd<O> {
    /// Takes the pins as they are: call [`off`](Self::off) before anything else.
    pub fn new(load_enable: O, dry_clamp: O, isolation_clamp: O, reverse: O) -> Self {
        Self { load_enable, dry_clamp, isolation_clamp, reverse, excitation: Excitation::OFF }
    }

    /// Takes every current off the unit and closes the idle clamp. Goes through to the end whatever fails.
    pub fn off<A: SpiDevice, I: InputPin>(&mut self, adc: &mut Ads1220<A, I>) -> Result<(), Fault> {
        self.excitation = Excitation::OFF;
        // Sources first, then clamps: the charge that is left drains through the closed clamp.
        let load = pin(self.load_enable.set_low());
        let current = adc.configure(adc.registers().without_current()).map_err(Fault::from);
        let clamps = self.clamp(Source::Off);
        let forward = pin(self.reverse.set_low());
        load.and(current).and(clamps).and(forward)
    }

    /// Brings the unit under `wanted`, and returns how long to wait until its voltages stand still, µs.
    pub fn drive<A: SpiDevice, I: InputPin>(
        &mut self,
        wanted: Excitation,
        adc: &mut Ads1220<A, I>,
    ) -> Result<u32, Fault> {
        let before = self.excitation;
        if wanted == before {
            return Ok(0);
        }
        if wanted.source != before.source && before.source != Source::Off {
            self.off(adc)?;
        }
        pin(if wanted.reversed { self.reverse.set_high() } else { self.reverse.set_low() })?;
        let mut settle_us = SETTLE_US;
        if wanted.source != before.source {
            self.clamp(wanted.source)?;
            match wanted.source {
                Source::Off => {}
                Source::Load => pin(self.load_enable.set_high())?,
                Source::Dry | Source::Wide | Source::Isolation => {
                    let excited: Registers = adc.registers().with_current();
                    adc.configure(excited)?;
                    settle_us += IDAC_START_US;
                }
            }
        }
        self.excitation = wanted;
        Ok(settle_us)
    }

    /// Sets the clamps for a source. One closes before the other opens.
    fn clamp(&mut self, source: Source) -> Result<(), Fault> {
        match source {
            Source::Off | Source::Isolation => {
                let closed = pin(self.isolation_clamp.set_high());
                closed.and(pin(self.dry_clamp.set_low()))
            }
            Source::Dry => {
                let closed = pin(self.dry_clamp.set_high());
                closed.and(pin(self.isolation_clamp.set_low()))
            }
            Source::Wide | Source::Load => {
                let open = pin(self.dry_clamp.set_low());
                open.and(pin(self.isolation_clamp.set_low()))
            }
        }
    }
}
