//! The ADS1220: a 24-bit converter with amplifier, current source and reference behind four registers.
//!
//! Used in normal mode, single-shot: every conversion looks at another input, so each is started by hand.
//! Registers are written only where they change, but all four are read back before every conversion (10 µs at
//! 4 MHz): a reading made with a wrong multiplexer, or after a brown-out, still looks like a reading.
//!
//! Sources: data sheet SBAS501C/D and the sister part's SBAS683B, which prints the same register tables.
//! Read the sections on registers, commands, and the start-up of the excitation current before changing this.

use core::ops::Range;

use embedded_hal::{digital::InputPin, spi::SpiDevice};

use copperwalk_wire::{Gain, Input, Rate, message::Fault};

use crate::time::Instant;

/// Commands (SBAS683B, "Commands"). RREG and WREG take the first register in bits 3:2, the count less one in 1:0.
mod command {
    pub const START: u8 = 0x08;
    pub const RDATA: u8 = 0x10;
    pub const RREG: u8 = 0x20;
    pub const WREG: u8 = 0x40;
}

/// Single-ended inputs need the amplifier bypassed: its common-mode range ends well above ground.
const PGA_BYPASS: u8 = 1 << 0;
/// Register 1: the temperature sensor instead of the inputs.
const TEMPERATURE_SENSOR: u8 = 1 << 1;
/// Register 1: burn-out currents on.
const BURN_OUT: u8 = 1 << 0;
/// Register 2: reject 50 and 60 Hz at once. Allowed at 20 SPS only.
const REJECT_MAINS: u8 = 0b01 << 4;
/// Register 2: 1000 µA.
const IDAC_1000_UA: u8 = 0b110;
/// Register 3: IDAC1 to the pin REFP0.
const IDAC1_TO_REFP0: u8 = 0b101 << 5;

/// The multiplexer's code (register 0, bits 7:4) for a pair or a single input.
///
/// Rm always carries its current in the same direction, because it sits behind the reversal switch. Its pair is
/// therefore swapped inside the ADC (AIN3, AIN2) while the polarity is reversed: its codes then change sign
/// like pair A's, and the delta mode takes the converter's offset out of both.
const fn multiplexer(input: Input, reversed: bool) -> u8 {
    match input {
        Input::Sense => 0x0,
        Input::PlusContact => 0x1,
        Input::MinusContact => 0x3,
        Input::Current if reversed => 0x7,
        Input::CurrentTurned if reversed => 0x5,
        Input::Current => 0x5,
        Input::CurrentTurned => 0x7,
        Input::PlusAlone => 0x8,
        Input::MinusAlone => 0x9,
        Input::Bias => 0xB,
        Input::Zero => 0xE,
        // The sensor overrides the multiplexer; shorted inputs are the quiet choice.
        Input::Temperature => 0xE,
    }
}

/// The four configuration registers. Mode, conversion and reference bits are all zero in this design: normal
/// mode, single-shot, internal reference, dedicated ready pin.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Registers(pub [u8; 4]);

impl Registers {
    /// Inputs shorted, no current anywhere.
    pub const IDLE: Self = Self([multiplexer(Input::Zero, false) << 4, 0, 0, 0]);

    /// For looking at `input` in the given polarity. The excitation current is kept as it is.
    #[must_use]
    pub const fn converting(
        self,
        input: Input,
        reversed: bool,
        gain: Gain,
        rate: Rate,
        burnout: bool,
    ) -> Self {
        let bypass = match input {
            Input::PlusAlone | Input::MinusAlone | Input::Bias => PGA_BYPASS,
            _ => 0,
        };
        let sensor = if matches!(input, Input::Temperature) { TEMPERATURE_SENSOR } else { 0 };
        let burnout = if burnout { BURN_OUT } else { 0 };
        let filter = if matches!(rate, Rate::Sps20) { REJECT_MAINS } else { 0 };
        let [_, _, two, three] = self.0;
        Self([
            multiplexer(input, reversed) << 4 | (gain as u8) << 1 | bypass,
            (rate as u8) << 5 | sensor | burnout,
            two & !REJECT_MAINS | filter,
            three,
        ])
    }

    /// With the 1 mA source on its pin.
    #[must_use]
    pub const fn with_current(self) -> Self {
        let [zero, one, two, _] = self.0;
        Self([zero, one, two | IDAC_1000_UA, IDAC1_TO_REFP0])
    }

    /// Without any current: excitation and burn-out off.
    #[must_use]
    pub const fn without_current(self) -> Self {
        let [zero, one, two, _] = self.0;
        Self([zero, one & !BURN_OUT, two & !IDAC_1000_UA, 0])
    }

    /// The shortest run of registers that takes `self` to `wanted`.
    fn changed(&self, wanted: &Self) -> Range<usize> {
        let differs = |index: &usize| self.0.get(*index) != wanted.0.get(*index);
        match ((0..4).find(differs), (0..4).rfind(differs)) {
            (Some(first), Some(last)) => first..last + 1,
            _ => 0..0,
        }
    }
}

/// A 24-bit two's complement code, most significant byte first, as an integer.
pub const fn code(bytes: [u8; 3]) -> i32 {
    let [high, middle, low] = bytes;
    i32::from_be_bytes([high, middle, low, 0]) >> 8
}

/// What can go wrong with the converter.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum AdcError {
    /// The bus refused a transfer.
    Bus,
    /// The registers do not read back as written: chip missing, reset behind our back, or a bad wire.
    Registers,
    /// The ready line says ready where no result can be, or cannot be read.
    ReadyStuck,
    /// No result within twice the conversion time.
    Late,
}

impl From<AdcError> for Fault {
    fn from(error: AdcError) -> Self {
        match error {
            // A register that could not be read is a register that does not read back.
            AdcError::Bus | AdcError::Registers => Self::AdcRegisters,
            AdcError::ReadyStuck | AdcError::Late => Self::AdcTimeout,
        }
    }
}

/// A conversion under way.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Conversion {
    since: Instant,
    length_us: u32,
}

/// How far the chip's oscillator may be off (2 %), and a little: before this part of a conversion there is no
/// use in asking.
const EARLIEST_PERCENT: u32 = 97;
/// How often the ready line is asked once a result may come.
pub const ASK_US: u32 = 5;

impl Conversion {
    /// When it is worth asking again.
    pub fn ask_at(&self, now: Instant) -> Instant {
        self.since.plus_us(self.length_us * EARLIEST_PERCENT / 100).max(now.plus_us(ASK_US))
    }
}

/// The converter on its bus, with its ready line.
#[derive(Debug)]
pub struct Ads1220<A, I> {
    spi: A,
    data_ready: I,
    /// What the registers hold; `None` until they have been written and read back.
    registers: Option<Registers>,
}

impl<A: SpiDevice, I: InputPin> Ads1220<A, I> {
    /// Takes the chip in whatever state it is.
    pub fn new(spi: A, data_ready: I) -> Self {
        Self { spi, data_ready, registers: None }
    }

    /// What the registers hold.
    pub fn registers(&self) -> Registers {
        self.registers.unwrap_or(Registers::IDLE)
    }

    /// Trusts nothing: the next [`configure`](Self::configure) writes and reads back all four registers.
    pub fn distrust(&mut self) {
        self.registers = None;
    }

    /// Writes what differs, then reads all four registers back.
    pub fn configure(&mut self, wanted: Registers) -> Result<(), AdcError> {
        let span = self.registers.take().map_or(0..4, |held| held.changed(&wanted));
        if let Some(values) = wanted.0.get(span.clone()).filter(|values| !values.is_empty()) {
            let mut frame = [0; 5];
            let frame = frame.get_mut(..=values.len()).ok_or(AdcError::Registers)?;
            if let [head, body @ ..] = frame {
                *head = command::WREG | ((span.start << 2) | (values.len() - 1)) as u8;
                body.copy_from_slice(values);
            }
            self.spi.write(frame).map_err(|_| AdcError::Bus)?;
        }
        let mut frame = [command::RREG | 3, 0, 0, 0, 0];
        self.spi.transfer_in_place(&mut frame).map_err(|_| AdcError::Bus)?;
        let [_, held @ ..] = frame;
        if held != wanted.0 {
            return Err(AdcError::Registers);
        }
        self.registers = Some(wanted);
        Ok(())
    }

    /// Starts one conversion with the registers as they are; `rate` is the one configured.
    pub fn start(&mut self, rate: Rate, now: Instant) -> Result<Conversion, AdcError> {
        if self.is_ready()? {
            // A result nobody fetched, from a run that was cut short: fetching it raises the line again.
            self.read()?;
        }
        self.spi.write(&[command::START]).map_err(|_| AdcError::Bus)?;
        if self.is_ready()? {
            return Err(AdcError::ReadyStuck);
        }
        Ok(Conversion { since: now, length_us: rate.micros() })
    }

    /// The result of a conversion, or `None` while it goes on.
    pub fn result(&mut self, conversion: &Conversion, now: Instant) -> Result<Option<i32>, AdcError> {
        if self.is_ready()? {
            return self.read().map(Some);
        }
        if now.us_since(conversion.since) > 2 * u64::from(conversion.length_us) {
            return Err(AdcError::Late);
        }
        Ok(None)
    }

    fn is_ready(&mut self) -> Result<bool, AdcError> {
        self.data_ready.is_low().map_err(|_| AdcError::ReadyStuck)
    }

    fn read(&mut self) -> Result<i32, AdcError> {
        let mut frame = [command::RDATA, 0, 0, 0];
        self.spi.transfer_in_place(&mut frame).map_err(|_| AdcError::Bus)?;
        let [_, high, middle, low] = frame;
        Ok(code([high, middle, low]))
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

    /// One transaction per command: chip select frames each of them.
    fn bus(frames: &[Transfer<u8>]) -> Spi<u8> {
        let script: Vec<_> = frames
            .iter()
            .flat_map(|frame| [Transfer::transaction_start(), frame.clone(), Transfer::transaction_end()])
            .collect();
        Spi::new(&script)
    }

    fn finish(mut adc: Ads1220<Spi<u8>, Pin>) {
        adc.spi.done();
        adc.data_ready.done();
    }

    /// End codes as the data sheet's table of ideal codes has them (from memory); the step is V_ref / 2²³ at
    /// gain 1, 0.244140625 µV (seen).
    #[test]
    fn codes_are_sign_extended() {
        for (bytes, expected) in [
            ([0x7F, 0xFF, 0xFF], 8_388_607),
            ([0x00, 0x00, 0x01], 1),
            ([0x00, 0x00, 0x00], 0),
            ([0xFF, 0xFF, 0xFF], -1),
            ([0x80, 0x00, 0x00], -8_388_608),
        ] {
            assert_eq!(code(bytes), expected, "{bytes:02X?}");
        }
        // 50 °C and -25 °C of the temperature sensor: 14 bits left-justified, 0.03125 °C a step; 0640h and 3CE0h.
        assert_eq!(code([0x19, 0x00, 0x00]) >> 10, 0x640);
        assert_eq!(f64::from(code([0x19, 0x00, 0x00]) >> 10) * 0.03125, 50.0);
        assert_eq!(f64::from(code([0xF3, 0x80, 0x00]) >> 10) * 0.03125, -25.0);
        assert_eq!((code([0xF3, 0x80, 0x00]) >> 10) & 0x3FFF, 0x3CE0);
    }

    /// Register tables of SBAS683B (00h, 02h), a public driver's header (01h, routing), and the sister part
    /// ADS122U04 SBAS752B for the position of I1MUX.
    #[test]
    fn registers_are_composed_as_published() {
        let idle = Registers::IDLE;
        assert_eq!(idle.0, [0xE0, 0, 0, 0]);
        let cases = [
            (Input::Sense, Gain::X128, Rate::Sps1000, false, [0x0E, 0xC0, 0x00, 0x00]),
            (Input::Current, Gain::X4, Rate::Sps20, false, [0x54, 0x00, 0x10, 0x00]),
            (Input::PlusContact, Gain::X16, Rate::Sps600, false, [0x18, 0xA0, 0x00, 0x00]),
            (Input::MinusContact, Gain::X16, Rate::Sps330, false, [0x38, 0x80, 0x00, 0x00]),
            (Input::PlusAlone, Gain::X1, Rate::Sps1000, true, [0x81, 0xC1, 0x00, 0x00]),
            (Input::MinusAlone, Gain::X1, Rate::Sps1000, true, [0x91, 0xC1, 0x00, 0x00]),
            (Input::Bias, Gain::X1, Rate::Sps45, false, [0xB1, 0x20, 0x00, 0x00]),
            (Input::Zero, Gain::X2, Rate::Sps90, false, [0xE2, 0x40, 0x00, 0x00]),
            (Input::Temperature, Gain::X1, Rate::Sps175, false, [0xE0, 0x62, 0x00, 0x00]),
        ];
        for (input, gain, rate, burnout, expected) in cases {
            assert_eq!(idle.converting(input, false, gain, rate, burnout).0, expected, "{input:?}");
        }
        let reversed = idle.converting(Input::Current, true, Gain::X4, Rate::Sps20, false);
        assert_eq!(reversed.0, [0x74, 0x00, 0x10, 0x00], "7h is AIN3 against AIN2");
        let excited = idle.converting(Input::Sense, true, Gain::X1, Rate::Sps20, true).with_current();
        assert_eq!(excited.0, [0x00, 0x01, 0x16, 0xA0]);
        assert_eq!(excited.without_current().0, [0x00, 0x00, 0x10, 0x00]);
    }

    /// WREG all is 43h, RREG all 23h (seen); one register at address 0 is 40h and 20h by the same rule.
    #[test]
    fn only_changed_registers_are_written_and_all_are_read_back() {
        let spi = bus(&[
            Transfer::write_vec(vec![0x43, 0xE0, 0x00, 0x00, 0x00]),
            Transfer::transfer_in_place(vec![0x23, 0, 0, 0, 0], vec![0, 0xE0, 0x00, 0x00, 0x00]),
            Transfer::transfer_in_place(vec![0x23, 0, 0, 0, 0], vec![0, 0xE0, 0x00, 0x00, 0x00]),
            Transfer::write_vec(vec![0x49, 0x06, 0xA0]),
            Transfer::transfer_in_place(vec![0x23, 0, 0, 0, 0], vec![0, 0xE0, 0x00, 0x06, 0xA0]),
            Transfer::write_vec(vec![0x41, 0x0E, 0xC0]),
            Transfer::transfer_in_place(vec![0x23, 0, 0, 0, 0], vec![0, 0x0E, 0xC0, 0x06, 0xA0]),
        ]);
        let mut adc = Ads1220::new(spi, Pin::new(&[]));
        adc.configure(Registers::IDLE).unwrap();
        adc.configure(Registers::IDLE).unwrap();
        adc.configure(adc.registers().with_current()).unwrap();
        let sample = adc.registers().converting(Input::Sense, false, Gain::X128, Rate::Sps1000, false);
        adc.configure(sample).unwrap();
        assert_eq!(adc.registers(), sample);
        finish(adc);
    }

    #[test]
    fn a_chip_that_does_not_answer_is_found_and_then_written_in_full() {
        let spi = bus(&[
            Transfer::write_vec(vec![0x43, 0xE0, 0x00, 0x00, 0x00]),
            Transfer::transfer_in_place(vec![0x23, 0, 0, 0, 0], vec![0xFF; 5]),
            Transfer::write_vec(vec![0x43, 0xE0, 0x00, 0x00, 0x00]),
            Transfer::transfer_in_place(vec![0x23, 0, 0, 0, 0], vec![0, 0xE0, 0x00, 0x00, 0x00]),
        ]);
        let mut adc = Ads1220::new(spi, Pin::new(&[]));
        assert_eq!(adc.configure(Registers::IDLE), Err(AdcError::Registers));
        assert_eq!(adc.configure(Registers::IDLE), Ok(()));
        finish(adc);
    }

    #[test]
    fn a_conversion_is_started_awaited_and_read() {
        let spi = bus(&[
            Transfer::write_vec(vec![0x08]),
            Transfer::transfer_in_place(vec![0x10, 0, 0, 0], vec![0, 0xFF, 0xFF, 0xFE]),
        ]);
        let ready = Pin::new(&[
            Level::get(State::High),
            Level::get(State::High),
            Level::get(State::High),
            Level::get(State::Low),
        ]);
        let mut adc = Ads1220::new(spi, ready);
        let conversion = adc.start(Rate::Sps1000, Instant(1_000)).unwrap();
        // 4242 periods of 4.096 MHz.
        assert_eq!(conversion, Conversion { since: Instant(1_000), length_us: 1_036 });
        assert_eq!(conversion.ask_at(Instant(1_000)), Instant(2_004));
        assert_eq!(conversion.ask_at(Instant(2_010)), Instant(2_015));
        assert_eq!(adc.result(&conversion, Instant(2_000)), Ok(None));
        assert_eq!(adc.result(&conversion, Instant(2_036)), Ok(Some(-2)));
        finish(adc);
    }

    #[test]
    fn a_result_left_over_is_cleared_away_and_a_stuck_line_is_found() {
        let spi = bus(&[
            Transfer::transfer_in_place(vec![0x10, 0, 0, 0], vec![0; 4]),
            Transfer::write_vec(vec![0x08]),
            Transfer::transfer_in_place(vec![0x10, 0, 0, 0], vec![0; 4]),
            Transfer::write_vec(vec![0x08]),
        ]);
        let ready = Pin::new(&[
            Level::get(State::Low),
            Level::get(State::High),
            Level::get(State::Low),
            Level::get(State::Low),
        ]);
        let mut adc = Ads1220::new(spi, ready);
        assert!(adc.start(Rate::Sps20, Instant(0)).is_ok());
        assert_eq!(adc.start(Rate::Sps20, Instant(0)), Err(AdcError::ReadyStuck));
        finish(adc);
    }

    #[test]
    fn a_line_that_never_falls_is_late_after_twice_the_time() {
        let levels: Vec<_> = (0..2).map(|_| Level::get(State::High)).collect();
        let mut adc = Ads1220::new(Spi::new(&[]), Pin::new(&levels));
        let conversion = Conversion { since: Instant(0), length_us: 1_036 };
        assert_eq!(adc.result(&conversion, Instant(2_072)), Ok(None));
        assert_eq!(adc.result(&conversion, Instant(2_073)), Err(AdcError::Late));
        finish(adc);
    }
}
