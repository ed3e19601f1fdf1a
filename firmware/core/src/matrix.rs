//! The relay matrix: which relay is which bit, and the chain of power shift registers that drives them.
//!
//! Each register (TPIC6B595 family) shifts on SRCK, copies its shift register to its outputs on the rising
//! edge of RCK, and sinks a relay's coil current where the bit is 1. RCK is the chip select of the SPI device:
//! it rises when a transfer ends, so one write is one change of all relays at once. SRCLR clears the shift
//! register only, not the outputs; G high opens every output whatever they hold (SLIS032B).
//!
//! ```text
//! bit  2c          force channel c to force+      2F + 2c      sense channel c to sense+      2F + 2S   bleed
//!      2c + 1      force channel c to force-      2F + 2c + 1  sense channel c to sense-
//! ```
//! Register r holds bits 8r to 8r + 7; register 0 is the nearest.

use embedded_hal::{digital::OutputPin, spi::SpiDevice};

use copperwalk_wire::Contacts;

/// The size of the relay matrix.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Layout {
    /// Force channels, two relays each.
    pub force_channels: u8,
    /// Sense channels, two relays each.
    pub sense_channels: u8,
}

/// Registers that the largest layout two `u8` can state would need.
const REGISTERS_MAX: usize = 128;

impl Layout {
    /// Relays: two per channel, and the bleed relay.
    pub const fn relays(self) -> usize {
        2 * (self.force_channels as usize + self.sense_channels as usize) + 1
    }

    /// Shift registers in the chain.
    pub const fn registers(self) -> usize {
        self.relays().div_ceil(8)
    }
}

/// Which relays are closed: one bit each.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Image([u8; REGISTERS_MAX]);

impl Image {
    /// Every relay open.
    pub const OPEN: Self = Self([0; REGISTERS_MAX]);

    /// The relays that close these contacts, and the bleed relay if asked. The channels must be inside the
    /// layout ([`rules`](crate::rules) sees to that).
    pub fn of(contacts: &Contacts, bleed: bool, layout: Layout) -> Self {
        let sense_base = 2 * usize::from(layout.force_channels);
        let bleed_bit = sense_base + 2 * usize::from(layout.sense_channels);
        let relays = [
            contacts.force_plus.map(|channel| 2 * usize::from(channel)),
            contacts.force_minus.map(|channel| 2 * usize::from(channel) + 1),
            contacts.sense_plus.map(|channel| sense_base + 2 * usize::from(channel)),
            contacts.sense_minus.map(|channel| sense_base + 2 * usize::from(channel) + 1),
            bleed.then_some(bleed_bit),
        ];
        let mut image = Self::OPEN;
        for bit in relays.into_iter().flatten() {
            if let Some(register) = image.0.get_mut(bit / 8) {
                *register |= 1 << (bit % 8);
            }
        }
        image
    }

    /// The relays closed in both: what may stay while the others are released.
    #[must_use]
    pub fn kept(&self, next: &Self) -> Self {
        let mut kept = *self;
        kept.0.iter_mut().zip(next.0).for_each(|(register, other)| *register &= other);
        kept
    }

    /// How many relays have to close to come from `before` to here.
    pub fn closures_after(&self, before: &Self) -> u32 {
        self.0.iter().zip(before.0).map(|(register, other)| (register & !other).count_ones()).sum()
    }
}

/// The chain could not be written, or one of its two control lines not be set.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct MatrixError;

/// The chain with its control lines.
#[derive(Debug)]
pub struct Matrix<M, O> {
    spi: M,
    shift_clear: O,
    output_enable: O,
    registers: usize,
    /// What the outputs hold as far as we know.
    image: Image,
    /// G is low.
    enabled: bool,
}

impl<M: SpiDevice, O: OutputPin> Matrix<M, O> {
    /// Takes the chain as it is: call [`open`](Self::open) before anything else, since the outputs hold
    /// anything after power-up.
    pub fn new(spi: M, shift_clear: O, output_enable: O, layout: Layout) -> Self {
        let registers = layout.registers();
        Self { spi, shift_clear, output_enable, registers, image: Image::OPEN, enabled: false }
    }

    /// Which relays are closed.
    pub fn image(&self) -> &Image {
        &self.image
    }

    /// Opens every relay: G high first, since that alone is enough, then zeros through clear and latch so that
    /// nothing old comes back when G goes low again. Goes through to the end whatever fails on the way.
    pub fn open(&mut self) -> Result<(), MatrixError> {
        self.enabled = false;
        self.image = Image::OPEN;
        let disabled = self.output_enable.set_high().is_ok();
        let cleared = self.shift_clear.set_low().is_ok() & self.shift_clear.set_high().is_ok();
        let latched = self.latch(&Image::OPEN).is_ok();
        if disabled && cleared && latched { Ok(()) } else { Err(MatrixError) }
    }

    /// Moves all relays to a new image at once. G goes low with the first one that has to close.
    pub fn set(&mut self, image: &Image) -> Result<(), MatrixError> {
        self.latch(image)?;
        self.image = *image;
        if !self.enabled && *image != Image::OPEN {
            self.output_enable.set_low().map_err(|_| MatrixError)?;
            self.enabled = true;
        }
        Ok(())
    }

    /// The farthest register's byte goes first, most significant bit first: the last bit sent stays in the
    /// nearest register's lowest output.
    fn latch(&mut self, image: &Image) -> Result<(), MatrixError> {
        let mut bytes = image.0;
        let chain = bytes.get_mut(..self.registers).ok_or(MatrixError)?;
        chain.reverse();
        self.spi.write(chain).map_err(|_| MatrixError)
    }
}

#[cfg(test)]
mod tests {
    extern crate std;
    use std::vec;

    use embedded_hal_mock::eh1::{
        digital::{Mock as Pin, State, Transaction as Level},
        spi::{Mock as Spi, Transaction as Transfer},
    };

    use super::*;

    const SMALL: Layout = Layout { force_channels: 4, sense_channels: 12 };

    fn contacts(force_plus: u8, force_minus: u8, sense_plus: u8, sense_minus: u8) -> Contacts {
        Contacts {
            force_plus: Some(force_plus),
            force_minus: Some(force_minus),
            sense_plus: Some(sense_plus),
            sense_minus: Some(sense_minus),
        }
    }

    #[test]
    fn each_contact_has_its_own_bit() {
        let reference = Layout { force_channels: 16, sense_channels: 48 };
        assert_eq!(reference.relays(), 129);
        assert_eq!(reference.registers(), 17);
        assert_eq!(SMALL.registers(), 5);
        let image = Image::of(&contacts(0, 15, 0, 47), true, reference);
        // Bits 0, 31, 32, 127 and 128.
        assert_eq!(&image.0[..17], [0x01, 0, 0, 0x80, 0x01, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0x80, 0x01]);
    }

    #[test]
    fn the_largest_layout_fits() {
        let layout = Layout { force_channels: 255, sense_channels: 255 };
        assert_eq!(layout.registers(), REGISTERS_MAX);
        let image = Image::of(&contacts(254, 254, 254, 254), true, layout);
        assert_eq!(image.closures_after(&Image::OPEN), 5);
    }

    #[test]
    fn shared_relays_are_kept_and_not_counted_again() {
        let first = Image::of(&contacts(0, 3, 0, 1), false, SMALL);
        let second = Image::of(&contacts(0, 3, 2, 1), false, SMALL);
        assert_eq!(second.closures_after(&first), 1);
        assert_eq!(second.closures_after(&first.kept(&second)), 1);
        assert_eq!(first.kept(&second).closures_after(&Image::OPEN), 3);
    }

    /// Order of bytes and bits: TPIC6B595 data sheet SLIS032B and the cascade rule of the TPIC6C595 sheet (all
    /// bits of the chain, then one edge of RCK); that the first bit shifted ends on DRAIN7 is from memory.
    #[test]
    fn the_farthest_register_is_sent_first_and_power_up_opens_before_enabling() {
        let spi = Spi::new(&[
            Transfer::transaction_start(),
            Transfer::write_vec(vec![0, 0, 0, 0, 0]),
            Transfer::transaction_end(),
            Transfer::transaction_start(),
            Transfer::write_vec(vec![0x01, 0x00, 0x00, 0x09, 0x81]),
            Transfer::transaction_end(),
            Transfer::transaction_start(),
            Transfer::write_vec(vec![0, 0, 0, 0, 0]),
            Transfer::transaction_end(),
        ]);
        let clear = Pin::new(&[Level::set(State::Low), Level::set(State::High)]);
        let enable = Pin::new(&[Level::set(State::High), Level::set(State::Low)]);
        let mut matrix = Matrix::new(spi, clear, enable, SMALL);
        matrix.open().unwrap();
        let image = Image::of(&contacts(0, 3, 0, 1), true, SMALL);
        matrix.set(&image).unwrap();
        assert_eq!(matrix.image(), &image);
        // Already enabled and about to be empty: G stays.
        matrix.set(&Image::OPEN).unwrap();
        matrix.spi.done();
        matrix.shift_clear.done();
        matrix.output_enable.done();
    }

    #[test]
    fn a_dead_control_line_does_not_keep_the_others_from_opening() {
        let spi = Spi::new(&[
            Transfer::transaction_start(),
            Transfer::write_vec(vec![0, 0, 0, 0, 0]),
            Transfer::transaction_end(),
        ]);
        let broken = || embedded_hal_mock::eh1::MockError::Io(std::io::ErrorKind::BrokenPipe);
        let clear = Pin::new(&[Level::set(State::Low), Level::set(State::High)]);
        let enable = Pin::new(&[Level::set(State::High).with_error(broken())]);
        let mut matrix = Matrix::new(spi, clear, enable, SMALL);
        assert_eq!(matrix.open(), Err(MatrixError));
        matrix.spi.done();
        matrix.shift_clear.done();
        matrix.output_enable.done();
    }
}
