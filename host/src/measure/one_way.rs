//! What conducts one way only: forward voltage and reverse current from the half-cycles of a ratio shot.
//!
//! A ratio means nothing here: forward the current runs, reversed it is blocked and the source stands at its limit. So the voltage is
//! taken as it is, by the converter's own reference, which a ratio would have cancelled.

use copperwalk_wire::{Shot, Source, codes::decode, hardware::RM_OHMS};

use super::{Malformed, voltage};
use crate::{
    meter::{
        Meter,
        noise::{MOST_FACTOR, conversion_noise},
    },
    quantity::{Amps, Ohms, Volts},
};

/// The converter's reference: 2.048 V within 3 mV (SBAS501: 2.045 to 2.051 V, from memory), 30 ppm/K over 10 K, relative.
const REFERENCE_HALF: f64 = 3e-3 / 2.048 + 30e-6 * 10.0;
/// Both pairs are read so far from half the supply at most, where the converter's offset is stated.
const COMMON_OFF: Volts = Volts(1.65);
/// Coverage factor, standard uncertainties: about 95 % (GUM, JCGM 100, 6.3.3).
const COVERAGE_FACTOR: f64 = 2.0;
/// With less than this across it in a direction in which it passes no current, nothing drives it; the wide source and the load source
/// both reach 0.9 V above the bias node at least.
const DRIVEN: Volts = Volts(0.2);
/// Less than this, forward, is no current: offset and common mode of the worst converter make 8 µA over Rm, and a milliampere is
/// driven.
const FLOWS: Amps = Amps(50e-6);

/// What a shot says of a diode, or of a transistor without power.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct OneWay {
    /// What drove it.
    pub source: Source,
    /// Voltage in the forward direction, whether a current runs or not.
    pub forward: Volts,
    /// Its expanded uncertainty, 95 %.
    pub u95: Volts,
    /// Current in the forward direction.
    pub current: Amps,
    /// Voltage that stood against it, reversed.
    pub against: Volts,
    /// Current in the reverse direction: at least and at most.
    pub backwards: [Amps; 2],
    /// Contact check of sense+ and sense-, codes, if the shot made one.
    pub contacts: Option<[i32; 2]>,
}

impl OneWay {
    /// Does it conduct forward?
    pub fn conducts(&self) -> bool {
        self.current > FLOWS
    }

    /// Was it driven forward: does a current run, or the source's whole voltage stand across it?
    pub fn is_driven_forward(&self) -> bool {
        self.conducts() || self.forward > DRIVEN
    }

    /// The same of the reverse direction.
    pub fn is_driven_backwards(&self) -> bool {
        self.backwards[0] > FLOWS || self.against > DRIVEN
    }
}

/// Reads a shot with sense+ at the anode.
pub fn read(meter: &Meter, shot: &Shot, codes: &[i32]) -> Result<OneWay, Malformed> {
    let codes = decode(shot, codes)?.ratio()?;
    let ratio = codes.method;
    // The codes of pair B change their sign with the current's, so both directions come out above zero.
    let mean = |skip: usize, sign: f64| {
        let halves: Vec<_> = codes.half_cycles.iter().skip(skip).step_by(2).collect();
        let count = halves.len().max(1) as f64;
        let sum = |pick: fn(&[i32; 2]) -> i32, gain| -> Volts {
            halves.iter().map(|half| sign * voltage(pick(half), gain)).sum::<Volts>() / count
        };
        (sum(|half| half[0], ratio.gain_a), sum(|half| half[1], ratio.gain_b) / Ohms(RM_OHMS), count)
    };
    let (forward, current, count) = mean(0, 1.0);
    let (against, leak, reversed_count) = mean(1, -1.0);
    let off = Volts(meter.offset + meter.common_mode * COMMON_OFF.0);
    let noise =
        |gain, count: f64| COVERAGE_FACTOR * MOST_FACTOR * conversion_noise(gain, ratio.rate) / count.sqrt();
    let relative = REFERENCE_HALF.hypot(meter.gains[ratio.gain_a as usize].half).hypot(meter.linearity);
    let unsure = (off + noise(ratio.gain_b, reversed_count)) / Ohms(RM_OHMS);
    Ok(OneWay {
        source: shot.source,
        forward,
        u95: (forward.abs() * relative).hypot(off).hypot(noise(ratio.gain_a, count)),
        current,
        against,
        backwards: [leak - unsure, leak + unsure],
        contacts: codes.contacts,
    })
}
