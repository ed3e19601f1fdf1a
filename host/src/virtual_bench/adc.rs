//! The digital side of the ADC: registers, commands, timing and the ready line of an ADS1220.
//!
//! Sources: TI SBAS501 and the sheets of its sister parts with the same registers and commands (ADS1120-Q1:
//! configuration registers, commands, reading data; ADS122U04: current sources stay on between single shots and
//! need up to 200 µs to start). Turbo and duty-cycle modes are not modelled: they convert like normal mode.

use copperwalk_wire::{Gain, Rate};

use crate::quantity::Amps;
use crate::random::Rng;

/// Nominal frequency of the internal oscillator, hertz (SBAS501).
const CLOCK_HZ: f64 = 4.096e6;
/// Deaf after power-up and after RESET, µs: 50 µs and 32 clocks.
const RESET_US: u64 = 58;
/// In single-shot mode the oscillator starts first, µs.
const WAKE_US: u64 = 50;
/// Clocks from there until the filter takes its first sample.
const FIRST_SAMPLE_CLOCKS: u32 = 210;
/// A conversion in continuous mode is so many clocks shorter than a single one.
const CONTINUOUS_LESS_CLOCKS: u32 = 98;
/// The current sources are off so long after their current was programmed, µs.
const IDAC_START_US: u64 = 200;
/// Nominal currents by register code, ampere.
const IDAC_AMPS: [f64; 8] = [0.0, 10e-6, 50e-6, 100e-6, 250e-6, 500e-6, 1000e-6, 1500e-6];

/// A pin of the chip that currents and voltages pass.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[allow(missing_docs)]
pub enum AdcPin {
    Ain0,
    Ain1,
    Ain2,
    Ain3,
    Refp0,
    Refn0,
    Avss,
    Avdd,
    /// The internal node half way up the supply, to which both inputs can be shorted.
    Middle,
}

/// What a conversion looks at.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Selected {
    /// The voltage between two pins.
    Pair(AdcPin, AdcPin),
    /// A quarter of it (supply and reference monitors).
    Quarter(AdcPin, AdcPin),
    /// The chip's own temperature.
    Temperature,
}

/// A conversion under way, with the settings it was started with.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Conversion {
    /// The input is sampled from here, µs …
    pub from_us: u64,
    /// … to here, when the code is ready.
    pub to_us: u64,
    /// Input.
    pub selected: Selected,
    /// Gain.
    pub gain: Gain,
    /// Amplifier bypassed.
    pub bypass: bool,
    /// Rate.
    pub rate: Rate,
}

/// The chip.
#[derive(Clone, Debug)]
pub struct Adc {
    registers: [u8; 4],
    code: i32,
    /// A code that has not been read: the ready line is low.
    fresh: bool,
    conversion: Option<Conversion>,
    /// Real clock period over nominal: the internal oscillator keeps within 2 %.
    slow: f64,
    deaf_until_us: u64,
    asleep: bool,
    idac_from_us: u64,
    /// Bytes still to be shifted out, next one first.
    out: Vec<u8>,
    /// Registers still to be written in this command: the next one, and how many.
    writing: (usize, u8),
}

impl Adc {
    /// A chip just powered up.
    pub fn new(rng: &mut Rng) -> Self {
        Self {
            registers: [0; 4],
            code: 0,
            fresh: false,
            conversion: None,
            slow: rng.between(0.985, 1.015),
            deaf_until_us: RESET_US,
            asleep: false,
            idac_from_us: 0,
            out: Vec::new(),
            writing: (0, 0),
        }
    }

    /// Chip select falls: a new exchange. The latest code can be read straight away.
    pub fn select(&mut self) {
        self.writing = (0, 0);
        self.offer(&self.code_bytes());
    }

    /// One byte each way.
    pub fn exchange(&mut self, byte: u8, now_us: u64) -> u8 {
        self.fresh = false;
        let answer = self.out.pop().unwrap_or(0);
        if now_us >= self.deaf_until_us {
            self.obey(byte, now_us);
        }
        answer
    }

    /// Level of the ready line: low while a new code waits.
    pub fn data_ready(&self) -> bool {
        !self.fresh
    }

    /// The conversion under way.
    pub fn conversion(&self) -> Option<Conversion> {
        self.conversion
    }

    /// The conversion under way is over and gave this code.
    pub fn finish(&mut self, code: i32) {
        self.code = code;
        self.fresh = true;
        let ended = self.conversion.take();
        if let Some(ended) = ended.filter(|_| self.continuous()) {
            let clocks = ended.rate.clocks() - CONTINUOUS_LESS_CLOCKS;
            self.conversion = Some(self.convert(ended.to_us, ended.to_us + self.micros(clocks)));
        }
    }

    /// What the two current sources send out now: pin and nominal current.
    pub fn excitation(&self, now_us: u64) -> [Option<(AdcPin, Amps)>; 2] {
        let amps = IDAC_AMPS[usize::from(self.registers[2] & 7)];
        let on = amps > 0.0 && !self.asleep && now_us >= self.idac_from_us;
        let route = |code: u8| {
            let pin = match code & 7 {
                1 => AdcPin::Ain0,
                2 => AdcPin::Ain1,
                3 => AdcPin::Ain2,
                4 => AdcPin::Ain3,
                5 => AdcPin::Refp0,
                6 => AdcPin::Refn0,
                _ => return None,
            };
            on.then_some((pin, Amps(amps)))
        };
        [route(self.registers[3] >> 5), route(self.registers[3] >> 2)]
    }

    /// When the current sources, programmed but not yet up, will start.
    pub fn starts_at(&self, now_us: u64) -> Option<u64> {
        (self.idac_from_us > now_us).then_some(self.idac_from_us)
    }

    /// Where the burn-out currents go while they are on: out of the first pin, into the second.
    pub fn burnout(&self) -> Option<(AdcPin, AdcPin)> {
        match self.selected() {
            Selected::Pair(plus, minus) if self.registers[1] & 1 == 1 && !self.asleep => Some((plus, minus)),
            _ => None,
        }
    }

    fn obey(&mut self, byte: u8, now_us: u64) {
        if let (register, left @ 1..) = self.writing {
            self.write(register, byte, now_us);
            self.writing = (register + 1, left - 1);
            return;
        }
        let (first, count) = (usize::from(byte >> 2 & 3), byte & 3);
        match byte {
            0b0000_0110 | 0b0000_0111 => {
                self.registers = [0; 4];
                (self.conversion, self.asleep, self.deaf_until_us) = (None, false, now_us + RESET_US);
            }
            0b0000_1000 | 0b0000_1001 => {
                self.asleep = false;
                let start = now_us + WAKE_US;
                let sampled = start + self.micros(FIRST_SAMPLE_CLOCKS);
                self.conversion = Some(self.convert(sampled, start + self.micros(self.rate().clocks())));
            }
            0b0000_0010 | 0b0000_0011 => (self.asleep, self.conversion) = (true, None),
            0b0001_0000..=0b0001_1111 => self.offer(&self.code_bytes()),
            0b0010_0000..=0b0010_1111 => {
                let asked: Vec<u8> =
                    (first..=first + usize::from(count)).map(|r| self.registers[r & 3]).collect();
                self.offer(&asked);
            }
            0b0100_0000..=0b0100_1111 => self.writing = (first, count + 1),
            _ => {}
        }
    }

    fn write(&mut self, register: usize, byte: u8, now_us: u64) {
        let Some(place) = self.registers.get_mut(register) else { return };
        let changed = *place ^ byte;
        *place = byte;
        if register == 2 && changed & 7 != 0 {
            self.idac_from_us = now_us + IDAC_START_US;
        }
        // In continuous mode a new setting starts a new conversion.
        if self.continuous() && self.conversion.is_some() {
            self.conversion = Some(self.convert(now_us, now_us + self.micros(self.rate().clocks())));
        }
    }

    fn convert(&self, from_us: u64, to_us: u64) -> Conversion {
        let bypass = self.registers[0] & 1 == 1;
        Conversion { from_us, to_us, selected: self.selected(), gain: self.gain(), bypass, rate: self.rate() }
    }

    fn selected(&self) -> Selected {
        use AdcPin::{Ain0, Ain1, Ain2, Ain3, Avdd, Avss, Middle, Refn0, Refp0};
        if self.registers[1] & 2 != 0 {
            return Selected::Temperature;
        }
        let (plus, minus) = match self.registers[0] >> 4 {
            0x0 => (Ain0, Ain1),
            0x1 => (Ain0, Ain2),
            0x2 => (Ain0, Ain3),
            0x3 => (Ain1, Ain2),
            0x4 => (Ain1, Ain3),
            0x5 => (Ain2, Ain3),
            0x6 => (Ain1, Ain0),
            0x7 => (Ain3, Ain2),
            0x8 => (Ain0, Avss),
            0x9 => (Ain1, Avss),
            0xA => (Ain2, Avss),
            0xB => (Ain3, Avss),
            0xC => return Selected::Quarter(Refp0, Refn0),
            0xD => return Selected::Quarter(Avdd, Avss),
            _ => (Middle, Middle),
        };
        Selected::Pair(plus, minus)
    }

    fn gain(&self) -> Gain {
        Gain::ALL[usize::from(self.registers[0] >> 1 & 7)]
    }

    fn rate(&self) -> Rate {
        // 111 is reserved.
        Rate::ALL[usize::from(self.registers[1] >> 5).min(Rate::ALL.len() - 1)]
    }

    fn continuous(&self) -> bool {
        self.registers[1] & 4 != 0
    }

    fn micros(&self, clocks: u32) -> u64 {
        (f64::from(clocks) * 1e6 / CLOCK_HZ * self.slow).ceil() as u64
    }

    fn code_bytes(&self) -> [u8; 3] {
        let [_, high, middle, low] = self.code.to_be_bytes();
        [high, middle, low]
    }

    fn offer(&mut self, bytes: &[u8]) {
        self.out = bytes.iter().rev().copied().collect();
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn adc() -> Adc {
        Adc::new(&mut Rng::new(1))
    }

    fn transfer(adc: &mut Adc, now: u64, bytes: &[u8]) -> Vec<u8> {
        adc.select();
        bytes.iter().map(|&byte| adc.exchange(byte, now)).collect()
    }

    /// WREG all = 43h, RREG all = 23h (as published).
    #[test]
    fn registers_read_back_as_written() {
        let mut adc = adc();
        transfer(&mut adc, 100, &[0x43, 0x36, 0xC1, 0x16, 0xA0]);
        assert_eq!(transfer(&mut adc, 100, &[0x23, 0, 0, 0, 0])[1..], [0x36, 0xC1, 0x16, 0xA0]);
        transfer(&mut adc, 100, &[0x44, 0x02]);
        assert_eq!(transfer(&mut adc, 100, &[0x24, 0])[1..], [0x02], "one register, the second");
        transfer(&mut adc, 100, &[0x06]);
        transfer(&mut adc, 110, &[0x43, 1, 2, 3, 4]);
        assert_eq!(transfer(&mut adc, 300, &[0x23, 0, 0, 0, 0])[1..], [0; 4], "deaf right after RESET");
    }

    #[test]
    fn a_torn_write_ends_with_its_exchange() {
        let mut adc = adc();
        transfer(&mut adc, 100, &[0x43, 0x36]);
        assert_eq!(transfer(&mut adc, 100, &[0x20, 0])[1], 0x36);
        assert_eq!(transfer(&mut adc, 100, &[0x23, 0, 0, 0, 0])[2..], [0; 3]);
    }

    #[test]
    fn settings_select_input_gain_and_rate() {
        let mut adc = adc();
        let mut started = |registers: [u8; 4]| {
            transfer(&mut adc, 100, &[&[0x43][..], &registers, &[0x08]].concat());
            adc.conversion().unwrap()
        };
        let a = started([0x0E, 0xC0, 0, 0]);
        assert_eq!(a.selected, Selected::Pair(AdcPin::Ain0, AdcPin::Ain1));
        assert_eq!((a.gain, a.rate, a.bypass), (Gain::X128, Rate::Sps1000, false));
        let b = started([0x58, 0x00, 0, 0]);
        assert_eq!(b.selected, Selected::Pair(AdcPin::Ain2, AdcPin::Ain3));
        assert_eq!((b.gain, b.rate), (Gain::X16, Rate::Sps20));
        assert_eq!(started([0x81, 0, 0, 0]).selected, Selected::Pair(AdcPin::Ain0, AdcPin::Avss));
        assert_eq!(started([0xE0, 0, 0, 0]).selected, Selected::Pair(AdcPin::Middle, AdcPin::Middle));
        assert_eq!(started([0xFF, 0x02, 0, 0]).selected, Selected::Temperature);
    }

    /// 204 850 clocks of 4.096 MHz at 20 SPS (published thread), plus the oscillator's 50 µs, within its 2 %.
    #[test]
    fn a_single_shot_takes_the_published_time_and_is_read_once() {
        let mut adc = adc();
        transfer(&mut adc, 1_000, &[0x08]);
        let conversion = adc.conversion().unwrap();
        let clocks = (conversion.to_us - 1_050) as f64 * 4.096;
        assert!((clocks / 204_850.0 - 1.0).abs() < 0.02, "{clocks}");
        assert!(adc.data_ready(), "high while converting");
        adc.finish(-2);
        assert!(!adc.data_ready() && adc.conversion().is_none());
        assert_eq!(transfer(&mut adc, 60_000, &[0, 0, 0]), [0xFF, 0xFF, 0xFE], "without RDATA");
        assert!(adc.data_ready());
        assert_eq!(transfer(&mut adc, 60_000, &[0x10, 0, 0, 0])[1..], [0xFF, 0xFF, 0xFE], "with RDATA");
    }

    #[test]
    fn continuous_mode_goes_on_by_itself() {
        let mut adc = adc();
        transfer(&mut adc, 100, &[0x44, 0xC4, 0x08]);
        let first = adc.conversion().unwrap();
        adc.finish(5);
        let second = adc.conversion().unwrap();
        assert_eq!(second.from_us, first.to_us);
    }

    /// Codes as published: 110 is 1000 µA, route 5 is REFP0; both sources may share a pin.
    #[test]
    fn current_sources_start_late_and_go_where_they_are_routed() {
        let mut adc = adc();
        transfer(&mut adc, 100, &[0x4B, 0x00, 0x00, 0x00, 0x00]);
        transfer(&mut adc, 100, &[0x49, 0x06, 0xA0]);
        assert_eq!(adc.excitation(150), [None, None], "not up yet");
        assert_eq!(adc.starts_at(150), Some(300));
        assert_eq!(adc.excitation(300), [Some((AdcPin::Refp0, Amps(1e-3))), None]);
        transfer(&mut adc, 400, &[0x4C, 0xB4]);
        assert_eq!(adc.excitation(400)[1], Some((AdcPin::Refp0, Amps(1e-3))), "routing needs no start");
        transfer(&mut adc, 400, &[0x02]);
        assert_eq!(adc.excitation(500), [None, None], "powered down");
    }

    #[test]
    fn burnout_follows_the_input() {
        let mut adc = adc();
        transfer(&mut adc, 100, &[0x41, 0x91, 0xC1]);
        assert_eq!(adc.burnout(), Some((AdcPin::Ain1, AdcPin::Avss)));
        transfer(&mut adc, 100, &[0x44, 0xC0]);
        assert_eq!(adc.burnout(), None);
    }
}
