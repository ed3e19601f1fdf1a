//! The analogue side of the ADC: from the voltages at its inputs to a code, with the errors of a real part.
//!
//! Sources: TI SBAS501. Ranges and the split of the gain are as published; offset ±4 µV typical, ±30 µV at most
//! (published thread); gain error, reference (2.045 to 2.051 V) and the amplifier's common-mode limits are from
//! memory. The sheet does not say what a part reads outside those limits, only that it is wrong: this one clips
//! the amplifier's outputs and loses gain towards ground. How far parts stand off: [`Figures`].

use copperwalk_wire::{Gain, Rate};

use super::figures::{Figures, noise_volts};
use crate::quantity::{Celsius, Volts};
use crate::random::Rng;

/// Analogue supply.
pub const AVDD: Volts = Volts(3.3);
/// The amplifier's outputs keep this far from either rail, volt.
const HEADROOM_VOLTS: f64 = 0.2;
/// Protection diodes hold an input inside the rails by so much, volt.
const DIODE_VOLTS: f64 = 0.3;
/// Gain errors are stated at this temperature.
const GAIN_AT: Celsius = Celsius(25.0);
/// Codes at full scale.
const FULL_SCALE: f64 = (1 << 23) as f64;

/// The analogue part of one chip.
#[derive(Clone, Debug)]
pub struct Amplifier {
    reference: Volts,
    offset_volts: [f64; 8],
    /// At the temperature it works at.
    gain_error: [f64; 8],
    error_kelvin: f64,
    /// Noise over that of the table.
    noise_factor: f64,
    /// Largest nonlinearity, share of full scale: the part that turns round with the input, and the part that does not.
    nonlinearity: [f64; 2],
    /// Volts at the input for each volt of common mode away from half the supply.
    common_mode: f64,
    noise: Rng,
}

impl Amplifier {
    /// A part from the reel, in this air.
    pub fn new(figures: &Figures, air: Celsius, rng: &mut Rng) -> Self {
        let mut part = Self {
            reference: Volts(rng.between(2.045, 2.051)),
            offset_volts: std::array::from_fn(|_| figures.offset_volts.draw(rng)),
            gain_error: std::array::from_fn(|_| figures.gain_error.draw(rng)),
            error_kelvin: figures.sensor_kelvin.draw(rng),
            noise: rng.fork(),
            noise_factor: figures.noise.draw(rng),
            nonlinearity: [0.0; 2],
            common_mode: figures.common_mode.draw(rng),
        };
        for error in &mut part.gain_error {
            *error += figures.gain_drift.draw(rng) * (air.0 - GAIN_AT.0);
        }
        let (most, odd) = (figures.nonlinearity.draw(rng), rng.unit());
        part.nonlinearity = [most * odd, most * (1.0 - odd)];
        part
    }

    /// Gives it so many times the noise of its table.
    pub fn set_noise(&mut self, factor: f64) {
        self.noise_factor = factor;
    }

    /// Gives one gain this error, relative.
    pub fn set_gain_error(&mut self, gain: Gain, error: f64) {
        self.gain_error[gain as usize] = error;
    }

    /// Gives it so many volts at the input for each volt of common mode.
    pub fn set_common_mode(&mut self, volts: f64) {
        self.common_mode = volts;
    }

    /// Code for these mean voltages at the inputs, against analogue ground.
    pub fn code(&mut self, plus: Volts, minus: Volts, gain: Gain, bypass: bool, rate: Rate) -> i32 {
        let volts = seen(plus.0, minus.0, gain, bypass);
        let i = gain as usize;
        let [above, below] = [plus.0, minus.0].map(clamped);
        let common = self.common_mode * ((above + below) / 2.0 - AVDD.0 / 2.0);
        let read = volts * (1.0 + self.gain_error[i])
            + self.bend(volts, gain)
            + common
            + self.offset_volts[i]
            + self.noise_factor * noise_volts(gain, rate) * self.noise.normal();
        code(Volts(read), gain, self.reference)
    }

    /// What the nonlinearity adds at the input. Either part is nothing at both ends of the range and largest in between: the
    /// cubic where its slope is nothing, at 1/√3 of full scale, where x − x³ is 2/(3√3).
    fn bend(&self, volts: f64, gain: Gain) -> f64 {
        const CUBIC: f64 = 2.598_076_211_353_316;
        let full = self.reference.0 / f64::from(gain.factor());
        let x = (volts / full).clamp(-1.0, 1.0);
        let [odd, even] = self.nonlinearity;
        full * (odd * CUBIC * (x - x * x * x) + even * (1.0 - x * x))
    }

    /// Code of the temperature sensor.
    pub fn temperature(&self, air: Celsius) -> i32 {
        temperature_code(Celsius(air.0 + self.error_kelvin))
    }
}

/// What the protection diodes leave of the voltage at an input.
fn clamped(volts: f64) -> f64 {
    volts.clamp(-DIODE_VOLTS, AVDD.0 + DIODE_VOLTS)
}

/// The voltage that gets through to the modulator, referred to the input.
fn seen(plus: f64, minus: f64, gain: Gain, bypass: bool) -> f64 {
    let [plus, minus] = [plus, minus].map(clamped);
    // Gains 1, 2 and 4 can be had from the capacitors alone; above, the amplifier cannot be bypassed.
    if bypass && gain <= Gain::X4 {
        return plus - minus;
    }
    let amplified = f64::from((gain.factor() / 4).max(1));
    let (middle, half) = ((plus + minus) / 2.0, (plus - minus) / 2.0 * amplified);
    let clip = |v: f64| v.clamp(HEADROOM_VOLTS, AVDD.0 - HEADROOM_VOLTS);
    let starved = (middle / (AVDD.0 / 4.0)).clamp(0.0, 1.0);
    (clip(middle + half) - clip(middle - half)) / amplified * starved
}

/// Code of a voltage: full scale is ± reference / gain, one step is full scale / 2²³, the ends saturate.
pub fn code(input: Volts, gain: Gain, reference: Volts) -> i32 {
    let steps = input * f64::from(gain.factor()) / reference * FULL_SCALE;
    steps.round().clamp(-FULL_SCALE, FULL_SCALE - 1.0) as i32
}

/// Code of a temperature: 14 bits of 0.03125 °C, left-justified in 24.
pub fn temperature_code(temperature: Celsius) -> i32 {
    ((temperature.0 / 0.03125).floor().clamp(-8192.0, 8191.0) as i32) << 10
}

#[cfg(test)]
mod tests {
    use copperwalk_wire::hardware::VREF_VOLTS;

    use super::*;

    const AT: Rate = Rate::Sps20;

    /// Steps as published: 0.244140625 µV at gain 1, 1.9073486 nV at gain 128. End codes from memory of the sheet's
    /// table: 7FFFFFh, 000001h, 000000h, FFFFFFh, 800000h.
    #[test]
    fn codes_have_the_published_steps_and_ends() {
        for gain in Gain::ALL {
            let full = VREF_VOLTS / f64::from(gain.factor());
            let step = full / FULL_SCALE;
            let hex = |volts: f64| code(Volts(volts), gain, Volts(VREF_VOLTS)) & 0xFF_FFFF;
            assert_eq!(hex(full), 0x7F_FFFF);
            assert_eq!(hex(full - step), 0x7F_FFFF);
            assert_eq!(hex(step), 1);
            assert_eq!(hex(0.0), 0);
            assert_eq!(hex(-step), 0xFF_FFFF);
            assert_eq!(hex(-full), 0x80_0000);
            assert_eq!(hex(-2.0 * full), 0x80_0000);
        }
        assert_eq!(code(Volts(0.244140625e-6), Gain::X1, Volts(VREF_VOLTS)), 1);
        assert_eq!(code(Volts(1.9073486e-9), Gain::X128, Volts(VREF_VOLTS)), 1);
    }

    /// The table of TI SBAS683B (ADS1120-Q1, the same sensor), temperature sensor.
    #[test]
    fn temperatures_have_the_published_codes() {
        let table = [
            (127.96875, 0x0FFF),
            (100.0, 0x0C80),
            (75.0, 0x0960),
            (50.0, 0x0640),
            (25.0, 0x0320),
            (0.25, 0x0008),
            (0.03125, 0x0001),
            (0.0, 0x0000),
            (-0.25, 0x3FF8),
            (-25.0, 0x3CE0),
            (-40.0, 0x3B00),
        ];
        for (celsius, bits) in table {
            assert_eq!(temperature_code(Celsius(celsius)) >> 10 & 0x3FFF, bits, "{celsius}");
            assert_eq!(temperature_code(Celsius(celsius)) & 0x3FF, 0, "left-justified");
        }
    }

    /// At 3.3 V the common mode has to stay above 0.825 V (a quarter of the supply), and the outputs inside 0.2 V.
    #[test]
    fn the_amplifier_needs_its_common_mode() {
        assert!((seen(1.005, 0.995, Gain::X128, false) - 0.01).abs() < 1e-15);
        assert!(seen(0.505, 0.495, Gain::X128, false) < 0.009, "starved");
        assert!(seen(1.1, 1.0, Gain::X128, false) < 0.08, "clipped at the lower rail");
        assert_eq!(seen(1.0, 0.0, Gain::X1, true), 1.0, "bypassed");
        assert!(seen(1.0, 0.0, Gain::X1, false) < 0.9, "not bypassed");
        assert_eq!(seen(1e5, 0.0, Gain::X1, true), AVDD.0 + DIODE_VOLTS, "diodes");
        assert!(seen(0.01, 0.0, Gain::X8, true) < 0.001, "no bypass above gain 4");
    }

    #[test]
    fn noise_is_that_of_the_table() {
        let mut part = Amplifier::new(&Figures::USUAL, Celsius(25.0), &mut Rng::new(3));
        let codes: Vec<f64> =
            (0..4000).map(|_| f64::from(part.code(Volts(1.0), Volts(1.0), Gain::X16, false, AT))).collect();
        let mean = codes.iter().sum::<f64>() / codes.len() as f64;
        let rms = (codes.iter().map(|c| (c - mean).powi(2)).sum::<f64>() / codes.len() as f64).sqrt();
        let volts = rms * VREF_VOLTS / 16.0 / FULL_SCALE;
        assert!((volts / noise_volts(Gain::X16, AT) - 1.0).abs() < 0.05, "{volts}");
    }

    /// A part of worst figures with this one error alone; noise is off.
    fn part(change: impl Fn(&mut Amplifier)) -> Amplifier {
        let mut part = Amplifier::new(&Figures::USUAL, Celsius(25.0), &mut Rng::new(3));
        (part.offset_volts, part.gain_error, part.noise_factor) = ([0.0; 8], [0.0; 8], 0.0);
        change(&mut part);
        part
    }

    #[test]
    fn common_mode_adds_what_the_rejection_leaves() {
        // 90 dB is a factor of 31 623: 0.65 V below half the supply leave 20.6 µV.
        let mut part = part(|part| part.common_mode = 31.623e-6);
        let code = part.code(Volts(1.0), Volts(1.0), Gain::X128, false, AT);
        let volts = f64::from(code) * part.reference.0 / 128.0 / FULL_SCALE;
        assert!((volts + 20.55e-6).abs() < 0.01e-6, "{volts}");
    }

    #[test]
    fn nonlinearity_is_largest_at_its_published_share_and_gone_at_the_ends() {
        let part = part(|part| part.nonlinearity = [15e-6, 0.0]);
        let full = part.reference.0 / 16.0;
        let most = (-100..=100)
            .map(|step| part.bend(full * f64::from(step) / 100.0, Gain::X16).abs())
            .fold(0.0, f64::max);
        assert!((most / full / 15e-6 - 1.0).abs() < 1e-3, "{}", most / full);
        assert!(part.bend(full, Gain::X16).abs() < 1e-15 && part.bend(0.0, Gain::X16) == 0.0);
    }
}
