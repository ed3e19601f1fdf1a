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

use copperwalk_wire::{
    Contacts, Method, Shot,
    hardware::{FORCE_CHANNELS, SENSE_CHANNELS},
};

/// The size of the relay matrix.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Layout {
    /// Force channels, two relays each.
    pub force_channels: u16,
    /// Sense channels, two relays each.
    pub sense_channels: u16,
}

impl Layout {
    /// The matrix of the reference bench.
    pub const REFERENCE: Self = Self { force_channels: FORCE_CHANNELS, sense_channels: SENSE_CHANNELS };
    /// The largest that 16-bit channel numbers can state.
    pub const LARGEST: Self = Self { force_channels: u16::MAX, sense_channels: u16::MAX };

    /// Relays: two per channel, and the bleed relay.
    pub const fn relays(self) -> usize {
        2 * (self.force_channels as usize + self.sense_channels as usize) + 1
    }

    /// Shift registers in the chain.
    pub const fn registers(self) -> usize {
        self.relays().div_ceil(8)
    }
}

/// Which relays are closed: at most one on each bus, and the bleed relay.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Closed {
    contacts: Contacts,
    bleed: bool,
}

impl Closed {
    /// Every relay open.
    pub const NONE: Self = Self {
        contacts: Contacts { force_plus: None, force_minus: None, sense_plus: None, sense_minus: None },
        bleed: false,
    };

    /// The relays of a shot. Its channels must be inside the layout ([`rules`](crate::rules) sees to that).
    pub const fn of(shot: &Shot) -> Self {
        Self { contacts: shot.contacts, bleed: matches!(shot.method, Method::Bleed { .. }) }
    }

    /// The relays closed in both: what may stay while the others are released.
    #[must_use]
    pub fn kept(&self, next: &Self) -> Self {
        let mut later = next.buses().into_iter();
        let [force_plus, force_minus, sense_plus, sense_minus] = self.buses().map(|now| {
            let then = later.next().flatten();
            now.filter(|channel| then == Some(*channel))
        });
        let contacts = Contacts { force_plus, force_minus, sense_plus, sense_minus };
        Self { contacts, bleed: self.bleed && next.bleed }
    }

    /// Does a relay of the force buses have to move to come to `next`? The bleed relay is one of them.
    pub fn force_moves(&self, next: &Self) -> bool {
        let force = |closed: &Self| (closed.contacts.force_plus, closed.contacts.force_minus, closed.bleed);
        force(self) != force(next)
    }

    /// How many relays have to close to come from `before` to here.
    pub fn closures_after(&self, before: &Self) -> u32 {
        let buses = self.buses().into_iter().zip(before.buses());
        let closing = buses.filter(|(now, before)| now.is_some() && now != before).count();
        closing as u32 + u32::from(self.bleed && !before.bleed)
    }

    const fn buses(&self) -> [Option<u16>; 4] {
        let Contacts { force_plus, force_minus, sense_plus, sense_minus } = self.contacts;
        [force_plus, force_minus, sense_plus, sense_minus]
    }

    /// The bits of the closed relays in the chain.
    fn bits(&self, layout: Layout) -> impl Iterator<Item = usize> {
        let sense = 2 * usize::from(layout.force_channels);
        let bleed = sense + 2 * usize::from(layout.sense_channels);
        let starts = [0, 1, sense, sense + 1].into_iter();
        let buses = self.buses().into_iter().zip(starts);
        let contacts = buses.filter_map(|(channel, start)| Some(start + 2 * usize::from(channel?)));
        contacts.chain(self.bleed.then_some(bleed))
    }
}

/// The chain could not be written, or one of its two control lines not be set.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct MatrixError;

/// The chain with its control lines; `REGISTERS` shift registers at most.
#[derive(Debug)]
pub struct Matrix<M, O, const REGISTERS: usize> {
    spi: M,
    shift_clear: O,
    output_enable: O,
    layout: Layout,
    /// What the outputs hold as far as we know.
    closed: Closed,
    /// G is low.
    enabled: bool,
    /// The bytes of a transfer, built anew for each.
    bytes: [u8; REGISTERS],
}

impl<M: SpiDevice, O: OutputPin, const REGISTERS: usize> Matrix<M, O, REGISTERS> {
    /// Takes the chain as it is: call [`open`](Self::open) before anything else, since the outputs hold
    /// anything after power-up. A layout of more than `REGISTERS` fails with every transfer.
    pub fn new(spi: M, shift_clear: O, output_enable: O, layout: Layout) -> Self {
        let (closed, enabled, bytes) = (Closed::NONE, false, [0; REGISTERS]);
        Self { spi, shift_clear, output_enable, layout, closed, enabled, bytes }
    }

    /// Which relays are closed.
    pub fn closed(&self) -> &Closed {
        &self.closed
    }

    /// Opens every relay: G high first, since that alone is enough, then zeros through clear and latch so that
    /// nothing old comes back when G goes low again. Goes through to the end whatever fails on the way.
    pub fn open(&mut self) -> Result<(), MatrixError> {
        self.enabled = false;
        self.closed = Closed::NONE;
        let disabled = self.output_enable.set_high().is_ok();
        let cleared = self.shift_clear.set_low().is_ok() & self.shift_clear.set_high().is_ok();
        let latched = self.latch(&Closed::NONE).is_ok();
        if disabled && cleared && latched { Ok(()) } else { Err(MatrixError) }
    }

    /// Closes these relays and no others, all at once. G goes low with the first one that has to close.
    pub fn set(&mut self, closed: &Closed) -> Result<(), MatrixError> {
        self.latch(closed)?;
        self.closed = *closed;
        if !self.enabled && *closed != Closed::NONE {
            self.output_enable.set_low().map_err(|_| MatrixError)?;
            self.enabled = true;
        }
        Ok(())
    }

    /// The farthest register's byte goes first, most significant bit first: the last bit sent stays in the
    /// nearest register's lowest output.
    fn latch(&mut self, closed: &Closed) -> Result<(), MatrixError> {
        let chain = self.bytes.get_mut(..self.layout.registers()).ok_or(MatrixError)?;
        chain.fill(0);
        for bit in closed.bits(self.layout) {
            // From the far end; a bit beyond the chain belongs to no relay.
            *chain.iter_mut().nth_back(bit / 8).ok_or(MatrixError)? |= 1 << (bit % 8);
        }
        self.spi.write(chain).map_err(|_| MatrixError)
    }
}

#[cfg(test)]
mod tests {
    extern crate std;
    use std::{vec, vec::Vec};

    use embedded_hal_mock::eh1::{
        digital::{Mock as Pin, State, Transaction as Level},
        spi::{Mock as Spi, Transaction as Transfer},
    };

    use super::*;

    const SMALL: Layout = Layout { force_channels: 4, sense_channels: 12 };

    fn closed(force_plus: u16, force_minus: u16, sense_plus: u16, sense_minus: u16, bleed: bool) -> Closed {
        let contacts = Contacts {
            force_plus: Some(force_plus),
            force_minus: Some(force_minus),
            sense_plus: Some(sense_plus),
            sense_minus: Some(sense_minus),
        };
        Closed { contacts, bleed }
    }

    #[test]
    fn each_contact_has_its_own_bit() {
        assert_eq!((Layout::REFERENCE.relays(), Layout::REFERENCE.registers()), (129, 17));
        assert_eq!(SMALL.registers(), 5);
        let bits: Vec<_> = closed(0, 15, 0, 47, true).bits(Layout::REFERENCE).collect();
        assert_eq!(bits, [0, 31, 32, 127, 128]);
    }

    #[test]
    fn the_last_channels_of_the_largest_matrix_have_their_bits() {
        let Layout { force_channels, sense_channels } = Layout::LARGEST;
        let last =
            closed(force_channels - 1, force_channels - 1, sense_channels - 1, sense_channels - 1, true);
        let bits: Vec<_> = last.bits(Layout::LARGEST).collect();
        assert_eq!(bits, [131_068, 131_069, 262_138, 262_139, 262_140]);
        assert_eq!(Layout::LARGEST.registers(), 262_141_usize.div_ceil(8));
    }

    #[test]
    fn shared_relays_are_kept_and_not_counted_again() {
        let first = closed(0, 3, 0, 1, false);
        let second = closed(0, 3, 2, 1, false);
        assert_eq!(second.closures_after(&first), 1);
        assert_eq!(second.closures_after(&first.kept(&second)), 1);
        assert_eq!(first.kept(&second).closures_after(&Closed::NONE), 3);
        let bleeding = Closed { bleed: true, ..first };
        assert_eq!(bleeding.closures_after(&first), 1);
        assert_eq!(bleeding.kept(&first), first);
    }

    #[test]
    fn a_chain_longer_than_compiled_for_fails_instead_of_losing_relays() {
        let clear = Pin::new(&[Level::set(State::Low), Level::set(State::High)]);
        let enable = Pin::new(&[Level::set(State::High)]);
        let mut matrix = Matrix::<_, _, 4>::new(Spi::<u8>::new(&[]), clear, enable, SMALL);
        assert_eq!(matrix.open(), Err(MatrixError));
        matrix.spi.done();
        matrix.shift_clear.done();
        matrix.output_enable.done();
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
        let mut matrix = Matrix::<_, _, 5>::new(spi, clear, enable, SMALL);
        matrix.open().unwrap();
        let relays = closed(0, 3, 0, 1, true);
        matrix.set(&relays).unwrap();
        assert_eq!(matrix.closed(), &relays);
        // Already enabled and about to be empty: G stays.
        matrix.set(&Closed::NONE).unwrap();
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
        let mut matrix = Matrix::<_, _, 5>::new(spi, clear, enable, SMALL);
        assert_eq!(matrix.open(), Err(MatrixError));
        matrix.spi.done();
        matrix.shift_clear.done();
        matrix.output_enable.done();
    }
}
