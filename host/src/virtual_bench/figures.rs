//! What the parts of a modelled bench are like: every draw with its width, once for a bench of usual parts and once for one
//! of published worst cases, each figure with its source.
//!
//! Nothing here comes from what measures or judges, and nothing there reads these: a claim about intervals that held
//! because bench and judge share a table would prove nothing.

use copperwalk_wire::{Gain, Rate};

use crate::fixture::Accuracy;
use crate::random::Rng;

/// How one value is drawn.
#[derive(Clone, Copy, PartialEq, Debug)]
pub enum Spread {
    /// Always this; draws nothing.
    Fixed(f64),
    /// Evenly between two values.
    Even(f64, f64),
    /// Evenly in the logarithm between two values above zero.
    Decades(f64, f64),
    /// Normally about zero with this standard deviation, cut off at so much on either side.
    Normal(f64, f64),
}

impl Spread {
    /// Draws a value.
    pub fn draw(self, rng: &mut Rng) -> f64 {
        match self {
            Self::Fixed(value) => value,
            Self::Even(low, high) => rng.between(low, high),
            Self::Decades(low, high) => rng.decades(low, high),
            Self::Normal(sigma, most) => (sigma * rng.normal()).clamp(-most, most),
        }
    }
}

/// The width of every draw of a bench and of the unit on it.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Figures {
    /// The ADC's noise over that of its table.
    pub noise: Spread,
    /// Its gain error, relative, each gain by itself.
    pub gain_error: Spread,
    /// Drift of the gain error, 1/K, away from 25 °C.
    pub gain_drift: Spread,
    /// Its offset referred to the input, volt.
    pub offset_volts: Spread,
    /// Integral nonlinearity at its largest, share of full scale.
    pub nonlinearity: Spread,
    /// What one volt of common mode away from half the supply adds to the input, volt.
    pub common_mode: Spread,
    /// Current into each of the two sense inputs, ampere.
    pub input_amps: Spread,
    /// Error of its temperature sensor, kelvin.
    pub sensor_kelvin: Spread,
    /// Voltage at the USB port, volt.
    pub usb_volts: Spread,
    /// Rm over its nominal value, less one, at 25 °C: as bought …
    pub rm: Spread,
    /// … per kelvin …
    pub rm_drift: Spread,
    /// … and since.
    pub rm_ageing: Spread,
    /// Resistance of a closed relay contact, ohm: its middle and its standard deviation from relay to relay are those of the
    /// part in use; this is what each closure adds to it.
    pub closure_ohms: Spread,
    /// Thermal voltage of a relay with its coil cold, volt.
    pub cold_volts: Spread,
    /// What the warm coil adds, volt …
    pub warm_volts: Spread,
    /// … with this time constant, second.
    pub warming_seconds: Spread,
    /// Resistance of a pin on its pad, ohm.
    pub pin_ohms: Spread,
    /// How far a sense pin stands from the middle of its pad along the path, over what the fixture file allows it.
    pub pin_off: Spread,
    /// Share of that resistance by which each seating of a board differs.
    pub seat_scatter: Spread,
    /// How far a board lies from the middle of its play along the path, another time each seating, mm.
    pub seat_play_mm: Spread,
    /// Leakage from each matrix rail to the bias node, ohm.
    pub rail_ohms: Spread,
    /// Share of a unit's bulk capacitance that charges slowly.
    pub absorption: Spread,
    /// Peak of the hum in the sense loop, volt.
    pub hum_volts: Spread,
    /// Unit against the bed, kelvin.
    pub unit_kelvin: Spread,
}

/// Draws that are always nothing.
const NOTHING: Spread = Spread::Fixed(0.0);

impl Figures {
    /// Parts as most of them are.
    pub const USUAL: Self = Self {
        noise: Spread::Fixed(1.0),
        // SBAS501: 0.01 % typical (from memory), taken as a standard deviation.
        gain_error: Spread::Normal(1e-4, f64::INFINITY),
        gain_drift: NOTHING,
        // ±4 µV typical, ±30 µV at most (published thread).
        offset_volts: Spread::Normal(4e-6, 30e-6),
        nonlinearity: NOTHING,
        common_mode: NOTHING,
        input_amps: NOTHING,
        // Trimmed at one point when the bench was built.
        sensor_kelvin: Spread::Normal(0.1, f64::INFINITY),
        usb_volts: Spread::Fixed(5.0),
        // 0.1 % part.
        rm: Spread::Even(-1e-3, 1e-3),
        rm_drift: NOTHING,
        rm_ageing: NOTHING,
        closure_ohms: NOTHING,
        cold_volts: Spread::Normal(3e-6, f64::INFINITY),
        warm_volts: Spread::Normal(4e-6, f64::INFINITY),
        warming_seconds: Spread::Even(2.0, 8.0),
        // Spring pins below 50 mΩ are good, up to 200 mΩ occur (weak source); new ones.
        pin_ohms: Spread::Even(20e-3, 80e-3),
        pin_off: NOTHING,
        // Spring pins repeat within a tenth of their resistance, tooling pins hold a board to some hundredths (common practice).
        seat_scatter: Spread::Normal(0.1, 0.3),
        seat_play_mm: Spread::Normal(0.02, 0.05),
        rail_ohms: Spread::Fixed(1e10),
        absorption: NOTHING,
        hum_volts: NOTHING,
        unit_kelvin: NOTHING,
    };

    /// Parts at their published worst, all at once.
    pub const WORST: Self = Self {
        // The table is typical; no worst case is published. Twice the typical is common practice for a bound.
        noise: Spread::Even(1.0, 2.0),
        // SBAS501: at most 0.1 %, at most 4 ppm/K (from memory).
        gain_error: Spread::Even(-1e-3, 1e-3),
        gain_drift: Spread::Even(-4e-6, 4e-6),
        offset_volts: Spread::Even(-30e-6, 30e-6),
        // SBAS501: at most 15 ppm of full scale (from memory).
        nonlinearity: Spread::Even(-15e-6, 15e-6),
        // SBAS501: at least 90 dB at DC (from memory; 105 dB typical).
        common_mode: Spread::Even(-31.6e-6, 31.6e-6),
        // SBAS501: ±5 nA typical with the amplifier (from memory); twice that.
        input_amps: Spread::Even(-10e-9, 10e-9),
        // Temperature sensor 0.5 K typical, 1 K at worst (published).
        sensor_kelvin: Spread::Even(-1.0, 1.0),
        // USB 2.0, 7.2.2: 4.4 V behind a bus-powered hub, 5.25 V at most (from memory).
        usb_volts: Spread::Even(4.4, 5.25),
        // 0.1 % part, 15 ppm/K; 0.02 % in a year of use, common practice for metal film at a tenth of its rating.
        rm: Spread::Even(-1e-3, 1e-3),
        rm_drift: Spread::Even(-15e-6, 15e-6),
        rm_ageing: Spread::Even(-2e-4, 2e-4),
        // Reed contacts repeat within some ten milliohms over their life (common practice).
        closure_ohms: Spread::Even(-20e-3, 20e-3),
        // Alloy leads against copper make 40 µV/K (M. Kidd's table); a kelvin and a quarter between the two ends.
        cold_volts: Spread::Even(-20e-6, 20e-6),
        warm_volts: Spread::Even(-50e-6, 50e-6),
        warming_seconds: Spread::Decades(0.3, 60.0),
        // Up to 200 mΩ occur (weak source); half an ohm before somebody cleans them.
        pin_ohms: Spread::Decades(20e-3, 0.5),
        pin_off: Spread::Even(-1.0, 1.0),
        // Worn pins, and tooling holes a tenth too wide (common practice).
        seat_scatter: Spread::Even(-0.5, 1.0),
        seat_play_mm: Spread::Even(-0.1, 0.1),
        // Fifty open contacts at 10¹¹ Ω and flux on the matrix board.
        rail_ohms: Spread::Decades(4e9, 1e11),
        // Aluminium electrolytics: up to 10 % (common practice, from memory).
        absorption: Spread::Even(0.0, 0.1),
        hum_volts: Spread::Even(0.0, 20e-6),
        // A unit that lay in the room where the bench stands.
        unit_kelvin: Spread::Even(-1.0, 1.0),
    };
}

/// A unit that was soldered a moment ago, against the bed, kelvin.
pub const JUST_SOLDERED_KELVIN: Spread = Spread::Even(-1.0, 8.0);

/// A Pt1000, ohm at a temperature in °C. Source: IEC 60751, equation and constants (from memory).
pub fn platinum_ohms(celsius: f64) -> f64 {
    let t = celsius;
    let below = if t < 0.0 { -4.183e-12 * (t - 100.0) * libm::pow(t, 3.0) } else { 0.0 };
    1000.0 * (1.0 + 3.9083e-3 * t - 5.775e-7 * t * t + below)
}

/// How far a Pt1000 of this accuracy may be off, kelvin. Source: IEC 60751, classes (from memory).
pub fn platinum_kelvin(accuracy: Accuracy, celsius: f64) -> f64 {
    match accuracy {
        Accuracy::ClassAa => 0.1 + 0.0017 * celsius.abs(),
        Accuracy::ClassA => 0.15 + 0.002 * celsius.abs(),
        Accuracy::ClassB => 0.3 + 0.005 * celsius.abs(),
        Accuracy::Stated { kelvin } => kelvin,
    }
}

/// Noise of one conversion of the ADC, µV rms referred to the input: rows 20 to 1000 SPS, columns gain 1 to 128. Normal
/// mode, amplifier on, internal reference, 3.3 V, typical. Source: SBAS501, noise table; the cells at gain 128 and 20, 90
/// and 175 SPS were seen quoted, the others are from memory.
const NOISE_MICROVOLTS: [[f64; 8]; 7] = [
    [3.71, 1.54, 1.15, 0.80, 0.35, 0.23, 0.10, 0.09],
    [7.36, 2.93, 1.71, 0.88, 0.50, 0.29, 0.19, 0.12],
    [10.55, 4.50, 2.43, 1.51, 0.65, 0.42, 0.27, 0.18],
    [11.90, 6.45, 3.26, 1.82, 1.01, 0.57, 0.34, 0.26],
    [19.19, 9.38, 4.25, 2.68, 1.45, 0.79, 0.50, 0.34],
    [24.78, 13.35, 6.68, 3.66, 2.10, 1.14, 0.70, 0.54],
    [37.53, 18.87, 9.53, 5.37, 2.95, 1.65, 1.03, 0.70],
];

/// Typical noise of one conversion, volt rms.
pub fn noise_volts(gain: Gain, rate: Rate) -> f64 {
    NOISE_MICROVOLTS[rate as usize][gain as usize] * 1e-6
}

/// The circuit as it is drawn: nominal values of `hardware/parts.csv` and `hardware/spice/front-end.inc`.
pub mod circuit {
    /// Measuring resistor, ohm.
    pub const RM_OHMS: f64 = 10.0;
    /// Bias node, volt.
    pub const BIAS_VOLTS: f64 = 1.0;
    /// Load source, ampere …
    pub const LOAD_AMPS: f64 = 50e-3;
    /// … and the most it puts between its node and the bias node, volt.
    pub const LOAD_COMPLIANCE_VOLTS: f64 = 1.0;
    /// Dry clamp with its switch, ohm.
    pub const DRY_CLAMP_OHMS: f64 = 18.0;
    /// Isolation clamp with its switch, ohm.
    pub const ISOLATION_CLAMP_OHMS: f64 = 180.0;
    /// Bleed resistor, ohm.
    pub const BLEED_OHMS: f64 = 100.0;
    /// Damper across the force buses: R56, ohm …
    pub const DAMPER_OHMS: f64 = 33.0;
    /// … and C14, farad.
    pub const DAMPER_FARADS: f64 = 470e-9;
    /// Series resistance of the freewheel diode D15, ohm.
    pub const FREEWHEEL_OHMS: f64 = 0.3;
    /// Burn-out currents of the ADC, ampere.
    pub const BURNOUT_AMPS: f64 = 10e-6;
    /// Protection of a sense input, ohm: 680 Ω and 330 Ω.
    pub const SENSE_SERIES_OHMS: f64 = 1_010.0;
}

#[cfg(test)]
mod tests {
    use copperwalk_wire::hardware;

    use super::*;

    /// The firmware's constants describe the same drawing; who changes one has to change the other.
    #[test]
    fn the_circuit_is_the_one_the_firmware_is_made_for() {
        let drawn = [
            (circuit::RM_OHMS, hardware::RM_OHMS),
            (circuit::BIAS_VOLTS, hardware::BIAS_VOLTS),
            (circuit::LOAD_AMPS, hardware::LOAD_AMPS),
            (circuit::LOAD_COMPLIANCE_VOLTS, hardware::LOAD_COMPLIANCE_VOLTS),
            (circuit::DRY_CLAMP_OHMS, hardware::DRY_CLAMP_OHMS),
            (circuit::ISOLATION_CLAMP_OHMS, hardware::ISOLATION_CLAMP_OHMS),
            (circuit::BLEED_OHMS, hardware::BLEED_OHMS),
            (circuit::BURNOUT_AMPS, hardware::BURNOUT_AMPS),
            (circuit::SENSE_SERIES_OHMS, hardware::SENSE_SERIES_OHMS),
        ];
        for (modelled, made_for) in drawn {
            assert_eq!(modelled, made_for);
        }
    }

    #[test]
    fn draws_keep_within_their_bounds() {
        let mut rng = Rng::new(1);
        for _ in 0..1000 {
            assert_eq!(Spread::Fixed(3.0).draw(&mut rng), 3.0);
            assert!((-1.0..2.0).contains(&Spread::Even(-1.0, 2.0).draw(&mut rng)));
            assert!((0.3..=60.0).contains(&Spread::Decades(0.3, 60.0).draw(&mut rng)));
            assert!(Spread::Normal(1.0, 0.5).draw(&mut rng).abs() <= 0.5);
        }
    }
}
