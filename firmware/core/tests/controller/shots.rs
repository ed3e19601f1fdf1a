//! Shots the tests are made of.

use copperwalk_wire::{Contacts, Gain, Input, Method, Rate, Ratio, Settle, Shot, Source, Stop, Watch};

pub const fn contacts(force_plus: u16, force_minus: u16, sense_plus: u16, sense_minus: u16) -> Contacts {
    Contacts {
        force_plus: Some(force_plus),
        force_minus: Some(force_minus),
        sense_plus: Some(sense_plus),
        sense_minus: Some(sense_minus),
    }
}

pub const ENDS: Contacts = contacts(0, 3, 0, 11);
pub const RESIDUAL: Shot = Shot { contacts: ENDS, source: Source::Off, method: Method::Residual };
pub const RATIO: Ratio = Ratio {
    gain_a: Gain::X128,
    gain_b: Gain::X4,
    rate: Rate::Sps1000,
    contact_check: false,
    ends: false,
    triples_min: 1,
    wait_us: 0,
    triples_max: 1,
    stop: None,
    gate: None,
};
pub const SETTLE: Settle = Settle {
    gain_a: Gain::X1,
    gain_b: Gain::X16,
    rate: Rate::Sps1000,
    window: 3,
    windows_max: 5,
    pass: 1e6,
    slope: 0.01,
    floor: 5.0,
    turned: false,
};
/// Decided at the first look unless a field is made stricter: ratios here are about 0.01.
pub const STOP: Stop = Stop { lo: -1.0, hi: 0.1, close: 0.01, sigma_a: 1.0, sigma_b: 1.0, rel: 1e-4, k: 2.0 };

pub const fn ratio(contacts: Contacts, source: Source, ratio: Ratio) -> Shot {
    Shot { contacts, source, method: Method::Ratio(ratio) }
}

pub const fn sample(contacts: Contacts, source: Source, input: Input, count: u8) -> Shot {
    let method =
        Method::Sample { input, reversed: false, burnout: false, gain: Gain::X1, rate: Rate::Sps1000, count };
    Shot { contacts, source, method }
}

/// A segment that is watched.
pub fn watch(source: Source, pairs: u16) -> Shot {
    let watch = Watch { gain_a: Gain::X64, gain_b: Gain::X128, rate: Rate::Sps1000, pairs };
    Shot { contacts: ENDS, source, method: Method::Watch(watch) }
}
