//! Format `raw/v2`, frozen: a change of anything in this file is a new format. Bytes in `raw/v1` are read by the same structs:
//! `v2` only added variants at the ends of [`Role`], [`Method`], [`Input`] and [`Fault`], which shifts no number.
//!
//! The bytes are postcard's. It writes unsigned integers as little-endian groups of seven bits and signed ones zigzag,
//! so that a 24-bit code takes one to four bytes; an enum is the number of its variant, from 0, in the order below; an
//! option is a byte 0 or 1 and the value; a list is its length and its items; a struct is its fields, in order.

// The live types of the same names say what each field means.
#![allow(missing_docs)]

use serde::{Deserialize, Serialize};

/// Index into [`Names`].
pub type Name = u16;

/// Names that roles, states and purposes refer to; each stands here once.
#[derive(Clone, PartialEq, Eq, Debug, Default, Serialize, Deserialize)]
pub struct Names(pub Vec<String>);

/// All runs of a measurement.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct Runs {
    pub names: Names,
    pub runs: Vec<Run>,
}

#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct Run {
    pub state: Name,
    pub purpose: Name,
    pub end: RunEnd,
    pub closures: u32,
    pub device_us: u32,
    pub shots: Vec<RanShot>,
}

#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct RanShot {
    pub role: Role,
    pub shot: Shot,
    pub codes: Vec<i32>,
    pub why: ShotEnd,
    /// From the end of the shot before (or the run's start) to the start of this one, µs, modulo 2³².
    pub wait_us: u32,
    /// From its start to its end, µs, modulo 2³².
    pub took_us: u32,
}

/// What a shot is for. An isolation is named by its two points and its state, because boards do not name it.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub enum Role {
    Residual,
    Bleed,
    Temperature,
    ForceGuard,
    SenseGuard,
    EndToEnd { from: Name, to: Name },
    Segment { segment: Name, swapped: bool },
    Survey { segment: Name, swapped: bool },
    PastPin { point: Name },
    Isolation { between: [Name; 2], state: Name },
    OpenSwitch { segment: Name },
    Standard { standard: Name },
    OtherRelay { point: Name, plus: bool },
    WeldSearch { point: Name },
    // From here on v2.
    Hum,
    Thermometer { thermometer: Name },
    OneWay { segment: Name },
    Between { from: Name, to: Name },
    Mesh { segment: Name, swapped: bool },
}

#[derive(Clone, Copy, PartialEq, Debug, Serialize, Deserialize)]
pub struct Shot {
    /// Channels on force+, force-, sense+, sense-.
    pub contacts: [Option<u16>; 4],
    pub source: Source,
    pub method: Method,
}

#[derive(Clone, Copy, PartialEq, Debug, Serialize, Deserialize)]
pub enum Method {
    Residual,
    Bleed {
        millis: u16,
    },
    Sample {
        input: Input,
        reversed: bool,
        burnout: bool,
        gain: Gain,
        rate: Rate,
        count: u8,
    },
    Ratio(Ratio),
    /// With zeros before the pairs.
    Settle(Settle),
    // From here on v2.
    /// With pair B turned round in every second pair.
    SettleTurned(Settle),
    Watch(Watch),
}

#[derive(Clone, Copy, PartialEq, Debug, Serialize, Deserialize)]
pub struct Watch {
    pub gain_a: Gain,
    pub gain_b: Gain,
    pub rate: Rate,
    pub pairs: u16,
}

#[derive(Clone, Copy, PartialEq, Debug, Serialize, Deserialize)]
pub struct Ratio {
    pub gain_a: Gain,
    pub gain_b: Gain,
    pub rate: Rate,
    pub wait_us: u16,
    pub contact_check: bool,
    pub ends: bool,
    pub triples_min: u8,
    pub triples_max: u8,
    pub stop: Option<Stop>,
    pub gate: Option<f32>,
}

#[derive(Clone, Copy, PartialEq, Debug, Serialize, Deserialize)]
pub struct Stop {
    pub lo: f32,
    pub hi: f32,
    pub close: f32,
    pub sigma_a: f32,
    pub sigma_b: f32,
    pub rel: f32,
    pub k: f32,
}

#[derive(Clone, Copy, PartialEq, Debug, Serialize, Deserialize)]
pub struct Settle {
    pub gain_a: Gain,
    pub gain_b: Gain,
    pub rate: Rate,
    pub window: u8,
    pub windows_max: u16,
    pub pass: f32,
    pub slope: f32,
    pub floor: f32,
}

/// An enum without data that has a live twin with the same variants.
macro_rules! twin {
    ($name:ident, $live:path, $($variant:ident)*) => {
        #[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize)]
        pub enum $name { $($variant),* }

        impl From<$live> for $name {
            fn from(live: $live) -> Self {
                use $live as Live;
                match live { $(Live::$variant => Self::$variant),* }
            }
        }

        impl From<$name> for $live {
            fn from(frozen: $name) -> Self {
                match frozen { $($name::$variant => Self::$variant),* }
            }
        }
    };
}

twin!(Source, copperwalk_wire::Source, Off Dry Load Wide Isolation);
twin!(Gain, copperwalk_wire::Gain, X1 X2 X4 X8 X16 X32 X64 X128);
twin!(Rate, copperwalk_wire::Rate, Sps20 Sps45 Sps90 Sps175 Sps330 Sps600 Sps1000);
twin!(Input, copperwalk_wire::Input,
      Sense Current PlusContact MinusContact PlusAlone MinusAlone Bias Zero Temperature CurrentTurned);
twin!(ShotEnd, copperwalk_wire::message::ShotEnd, Complete Decided Budget);

#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub enum Fault {
    Lid,
    Heartbeat,
    AdcTimeout,
    AdcRegisters,
    Matrix,
    Line,
    // From here on v2.
    Register { behind: u16 },
}

#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub enum RunEnd {
    Complete,
    Gate,
    Residual,
    NoContact,
    Stopped,
    Fault(Fault),
}
