//! The relay matrix: which relay is which bit, and the chain of power shift registers that drives them.
//!
//! Each register (TPIC6B595 family) shifts on SRCK, copies its shift register to its outputs on the rising
//! edge of RCK, and sinks a relay's coil current where the bit is 1. RCK is the chip select of the SPI device:
//! it rises when a transfer ends, so one write is one change of all relays at once. SRCLR clears the shift
//! register only, not the outputs; G high opens every output whatever they hold (SLIS032B).
//!
//! The last register's output comes back to the controller. So the chain is counted at start, and every write is proven:
//! it is shifted through twice before RCK rises, and what falls out the second time must be what went in the first.
//!
//! ```text
//! bit  2c          force channel c to force+      2F + 2c      sense channel c to sense+      2F + 2S   bleed
//!      2c + 1      force channel c to force-      2F + 2c + 1  sense channel c to sense-
//! ```
//! Register r holds bits 8r to 8r + 7; register 0 is the nearest.

use embedded_hal::{
    digital::OutputPin,
    spi::{Operation, SpiDevice},
};

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
    /// Of a chain that cannot be counted: the bleed relay alone.
    pub const NONE: Self = Self { force_channels: 0, sense_channels: 0 };
    /// The largest that 16-bit channel numbers can state.
    pub const LARGEST: Self = Self { force_channels: u16::MAX, sense_channels: u16::MAX };

    /// The layout of a chain of so many registers, for every size that is built: three sense channels to each force channel
    /// fill a register, and one more register has the bleed relay. 9 registers are 8 + 24, 17 are 16 + 48.
    pub const fn of_registers(registers: u16) -> Self {
        let force_channels = registers.saturating_sub(1);
        Self { force_channels, sense_channels: force_channels.saturating_mul(3) }
    }

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

/// Why the relays may not be where they were told to be.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum MatrixError {
    /// The chain could not be written, one of its two control lines not be set, or nothing comes back from it.
    Chain,
    /// A register holds its output high: so many registers behind it are sound.
    Register {
        /// Registers between it and the end of the chain.
        behind: u16,
    },
}

/// Shifted through a cleared chain to count its registers.
const MARKER: u8 = 0xA5;

/// The chain with its control lines; fewer than `BYTES` shift registers.
#[derive(Debug)]
pub struct Matrix<M, O, const BYTES: usize> {
    spi: M,
    shift_clear: O,
    output_enable: O,
    layout: Layout,
    /// What the outputs hold as far as we know.
    closed: Closed,
    /// G is low.
    enabled: bool,
    /// The bytes of a transfer, built anew for each.
    bytes: [u8; BYTES],
    /// What came back of them.
    back: [u8; BYTES],
}

impl<M: SpiDevice, O: OutputPin, const BYTES: usize> Matrix<M, O, BYTES> {
    /// Takes the chain as it is, without a channel: call [`lay_out`](Self::lay_out) and [`open`](Self::open) before anything
    /// else, since the outputs hold anything after power-up.
    pub fn new(spi: M, shift_clear: O, output_enable: O) -> Self {
        let (layout, closed, enabled) = (Layout::NONE, Closed::NONE, false);
        let (bytes, back) = ([0; BYTES], [0; BYTES]);
        Self { spi, shift_clear, output_enable, layout, closed, enabled, bytes, back }
    }

    /// Says which relays there are. A layout of `BYTES` registers or more fails with every transfer.
    pub fn lay_out(&mut self, layout: Layout) {
        self.layout = layout;
    }

    /// Counts the registers, with every output disabled: how many bytes after it does a marker come back that is shifted
    /// through the cleared chain? Anything else before it is the output of a register that stays high. Leaves zeros.
    pub fn count(&mut self) -> Result<u16, MatrixError> {
        self.disable()?;
        let Self { spi, back, .. } = self;
        back.fill(0);
        *back.first_mut().ok_or(MatrixError::Chain)? = MARKER;
        spi.transfer_in_place(back).map_err(|_| MatrixError::Chain)?;
        let behind = back.iter().position(|byte| *byte != 0).ok_or(MatrixError::Chain)?;
        let mut rest = back.iter().skip(behind);
        let marked = rest.next() == Some(&MARKER) && rest.all(|byte| *byte == 0);
        match u16::try_from(behind) {
            Ok(0) | Err(_) => Err(MatrixError::Chain),
            Ok(registers) if marked => Ok(registers),
            Ok(behind) => Err(MatrixError::Register { behind }),
        }
    }

    /// Which relays are closed.
    pub fn closed(&self) -> &Closed {
        &self.closed
    }

    /// Opens every relay: G high first, since that alone is enough, then zeros through clear and latch so that
    /// nothing old comes back when G goes low again. Goes through to the end whatever fails on the way.
    pub fn open(&mut self) -> Result<(), MatrixError> {
        let disabled = self.disable();
        self.latch(&Closed::NONE).and(disabled)
    }

    /// G high, and the shift registers cleared; both are tried.
    fn disable(&mut self) -> Result<(), MatrixError> {
        self.enabled = false;
        self.closed = Closed::NONE;
        let disabled = self.output_enable.set_high().is_ok();
        let cleared = self.shift_clear.set_low().is_ok() & self.shift_clear.set_high().is_ok();
        if disabled && cleared { Ok(()) } else { Err(MatrixError::Chain) }
    }

    /// Closes these relays and no others, all at once. G goes low with the first one that has to close.
    pub fn set(&mut self, closed: &Closed) -> Result<(), MatrixError> {
        self.latch(closed)?;
        self.closed = *closed;
        if !self.enabled && *closed != Closed::NONE {
            self.output_enable.set_low().map_err(|_| MatrixError::Chain)?;
            self.enabled = true;
        }
        Ok(())
    }

    /// The farthest register's byte goes first, most significant bit first: the last bit sent stays in the
    /// nearest register's lowest output. Opens everything if it does not come back.
    fn latch(&mut self, closed: &Closed) -> Result<(), MatrixError> {
        let registers = self.layout.registers();
        let Self { spi, bytes, back, layout, .. } = self;
        let (Some(chain), Some(back)) = (bytes.get_mut(..registers), back.get_mut(..registers)) else {
            return Err(MatrixError::Chain);
        };
        chain.fill(0);
        for bit in closed.bits(*layout) {
            // From the far end; a bit beyond the chain belongs to no relay.
            *chain.iter_mut().nth_back(bit / 8).ok_or(MatrixError::Chain)? |= 1 << (bit % 8);
        }
        back.copy_from_slice(chain);
        spi.transaction(&mut [Operation::Write(chain), Operation::TransferInPlace(back)])
            .map_err(|_| MatrixError::Chain)?;
        if back == chain {
            return Ok(());
        }
        match self.count() {
            // Its length is another than it was, or it was a passing disturbance.
            Ok(_) => Err(MatrixError::Chain),
            Err(error) => Err(error),
        }
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

    /// A write and what comes back of it.
    fn proven(bytes: &[u8], back: &[u8]) -> [Transfer<u8>; 4] {
        [
            Transfer::transaction_start(),
            Transfer::write_vec(bytes.to_vec()),
            Transfer::transfer_in_place(bytes.to_vec(), back.to_vec()),
            Transfer::transaction_end(),
        ]
    }

    /// The marker through a cleared chain, and what comes back.
    fn counted(back: [u8; 10]) -> [Transfer<u8>; 3] {
        let mut marker = vec![0; 10];
        marker[0] = MARKER;
        [
            Transfer::transaction_start(),
            Transfer::transfer_in_place(marker, back.to_vec()),
            Transfer::transaction_end(),
        ]
    }

    #[test]
    fn the_layout_follows_from_the_number_of_registers() {
        for (registers, force, sense) in [(1, 0, 0), (5, 4, 12), (9, 8, 24), (17, 16, 48)] {
            let layout = Layout { force_channels: force, sense_channels: sense };
            assert_eq!(Layout::of_registers(registers), layout);
            assert_eq!(layout.registers(), usize::from(registers));
        }
    }

    #[test]
    fn the_registers_are_counted_and_one_that_stays_high_is_named() {
        let (nothing, stuck) = (MatrixError::Chain, |behind| MatrixError::Register { behind });
        let cases = [
            ([0, 0, 0, 0, 0, 0, 0, 0, 0, MARKER], Ok(9)),
            ([0, MARKER, 0, 0, 0, 0, 0, 0, 0, 0], Ok(1)),
            // A broken wire back, or a register that stays low: nobody can tell which.
            ([0; 10], Err(nothing)),
            ([0xFF; 10], Err(nothing)),
            ([0, 0, 0, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF], Err(stuck(3))),
            // Longer than there is room for, so that the marker is still on its way, is as good as no answer.
            ([0, 0, 0, 0, 0, MARKER, 0, 0, 0, 1], Err(stuck(5))),
        ];
        for (back, expected) in cases {
            let clear = Pin::new(&[Level::set(State::Low), Level::set(State::High)]);
            let enable = Pin::new(&[Level::set(State::High)]);
            let mut matrix = Matrix::<_, _, 10>::new(Spi::new(&counted(back)), clear, enable);
            assert_eq!(matrix.count(), expected, "{back:X?}");
            matrix.spi.done();
            matrix.shift_clear.done();
            matrix.output_enable.done();
        }
    }

    #[test]
    fn what_does_not_come_back_opens_everything() {
        let sent = [0, 0, 0, 0x02, 0, 0, 0, 0x01, 0x81];
        let back = [0xFF; 9];
        let spi = [
            &proven(&[0; 9], &[0; 9])[..],
            &proven(&sent, &back),
            &counted([0, 0, 255, 255, 255, 255, 255, 255, 255, 255]),
        ];
        let twice = [State::Low, State::High, State::Low, State::High].map(Level::set);
        let enable = Pin::new(&[Level::set(State::High), Level::set(State::High)]);
        let mut matrix = Matrix::<_, _, 10>::new(Spi::new(&spi.concat()), Pin::new(&twice), enable);
        matrix.lay_out(Layout { force_channels: 4, sense_channels: 28 });
        matrix.open().unwrap();
        let relays = Closed { bleed: false, ..closed(0, 3, 0, 16, false) };
        assert_eq!(matrix.set(&relays), Err(MatrixError::Register { behind: 2 }));
        assert_eq!(matrix.closed(), &Closed::NONE);
        matrix.spi.done();
        matrix.shift_clear.done();
        matrix.output_enable.done();
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
        let mut matrix = Matrix::<_, _, 4>::new(Spi::<u8>::new(&[]), clear, enable);
        matrix.lay_out(SMALL);
        assert_eq!(matrix.open(), Err(MatrixError::Chain));
        matrix.spi.done();
        matrix.shift_clear.done();
        matrix.output_enable.done();
    }

    /// Order of bytes and bits: TPIC6B595 data sheet SLIS032B and the cascade rule of the TPIC6C595 sheet (all
    /// bits of the chain, then one edge of RCK); that the first bit shifted ends on DRAIN7 is from memory.
    #[test]
    fn the_farthest_register_is_sent_first_and_power_up_opens_before_enabling() {
        let written = [[0; 5], [0x01, 0x00, 0x00, 0x09, 0x81], [0; 5]];
        let spi = Spi::new(&written.map(|bytes| proven(&bytes, &bytes)).concat());
        let clear = Pin::new(&[Level::set(State::Low), Level::set(State::High)]);
        let enable = Pin::new(&[Level::set(State::High), Level::set(State::Low)]);
        let mut matrix = Matrix::<_, _, 5>::new(spi, clear, enable);
        matrix.lay_out(SMALL);
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
        let spi = Spi::new(&proven(&[0; 5], &[0; 5]));
        let broken = || embedded_hal_mock::eh1::MockError::Io(std::io::ErrorKind::BrokenPipe);
        let clear = Pin::new(&[Level::set(State::Low), Level::set(State::High)]);
        let enable = Pin::new(&[Level::set(State::High).with_error(broken())]);
        let mut matrix = Matrix::<_, _, 5>::new(spi, clear, enable);
        matrix.lay_out(SMALL);
        assert_eq!(matrix.open(), Err(MatrixError::Chain));
        matrix.spi.done();
        matrix.shift_clear.done();
        matrix.output_enable.done();
    }
}
