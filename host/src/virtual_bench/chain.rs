//! The relay drivers: a daisy chain of 8-bit power shift registers (the TPIC6B595 family).
//!
//! Sources for what this models: TI SLIS032B. Data shift on SRCK's rise; the storage latches on RCK's rise; G high
//! turns every drain off; SRCLR low clears the shift register and leaves the storage as it was. A latched 1 sinks
//! current: the relay's coil is driven. The first bit shifted in ends on DRAIN7 (from memory).

use std::collections::VecDeque;

use crate::random::Rng;

/// The chain. Register 0 is nearest to the controller; bit `8r` of the relays is DRAIN0 of register `r`.
#[derive(Clone, Debug)]
pub struct Chain {
    shift: VecDeque<u8>,
    storage: VecDeque<u8>,
    clear: bool,
    enabled: bool,
}

impl Chain {
    /// A chain just powered up: the storage holds anything, and the pull-up on G keeps every drain off.
    pub fn new(relays: usize, rng: &mut Rng) -> Self {
        let registers = relays.div_ceil(8);
        let mut anything = || (0..registers).map(|_| (rng.unit() * 256.0) as u8).collect();
        Self { shift: anything(), storage: anything(), clear: false, enabled: false }
    }

    /// Eight clocks with this byte on the data line, most significant bit first. Returns what the last register's SER OUT
    /// gives meanwhile.
    pub fn shift(&mut self, byte: u8) -> u8 {
        if self.clear {
            return 0;
        }
        self.shift.push_front(byte);
        self.shift.pop_back().unwrap_or_default()
    }

    /// RCK rises.
    pub fn latch(&mut self) {
        self.storage.clone_from(&self.shift);
    }

    /// Level of SRCLR.
    pub fn set_clear(&mut self, high: bool) {
        self.clear = !high;
        if self.clear {
            self.shift.iter_mut().for_each(|register| *register = 0);
        }
    }

    /// Level of G.
    pub fn set_output_enable(&mut self, high: bool) {
        self.enabled = !high;
    }

    /// Is the coil of this relay driven?
    pub fn drives(&self, relay: usize) -> bool {
        self.enabled && self.storage[relay / 8] >> (relay % 8) & 1 == 1
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn chain() -> Chain {
        let mut chain = Chain::new(20, &mut Rng::new(1));
        chain.set_clear(false);
        chain.set_clear(true);
        chain
    }

    fn driven(chain: &Chain) -> Vec<usize> {
        (0..20).filter(|&relay| chain.drives(relay)).collect()
    }

    #[test]
    fn the_byte_sent_first_ends_in_the_farthest_register() {
        let mut chain = chain();
        let sent = [0b0000_0001, 0b1000_0000, 0b0001_0010];
        assert_eq!(sent.map(|byte| chain.shift(byte)), [0; 3], "cleared before");
        chain.latch();
        assert_eq!(sent.map(|byte| chain.shift(byte)), sent, "it comes back as it was sent");
        assert!(driven(&chain).is_empty());
        chain.set_output_enable(false);
        assert_eq!(driven(&chain), [1, 4, 15, 16]);
    }

    #[test]
    fn clearing_empties_the_shift_register_and_leaves_the_storage() {
        let mut chain = chain();
        chain.set_output_enable(false);
        for byte in [0, 0, 0x80] {
            chain.shift(byte);
        }
        chain.latch();
        chain.set_clear(false);
        chain.shift(0xFF);
        assert_eq!(driven(&chain), [7], "SRCLR does not touch what is latched");
        chain.latch();
        assert!(driven(&chain).is_empty());
    }

    #[test]
    fn nothing_is_driven_at_power_up() {
        for seed in 0..20 {
            let chain = Chain::new(129, &mut Rng::new(seed));
            assert!((0..129).all(|relay| !chain.drives(relay)));
        }
    }
}
