//! A shot: one relay state with its excitation, range and sampling, and the order of the codes it streams.
//!
//! The controller judges nothing about the unit. It runs shots, streams raw codes, and stops sampling early by
//! the rule the host gave ([`Stop`]); the host works everything out again from the codes.

use serde::{Deserialize, Serialize};

/// Which channel is closed to each of the four buses. One pin per bus by construction.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug, Default, Serialize, Deserialize)]
pub struct Contacts {
    /// Force channel closed to force+.
    pub force_plus: Option<u16>,
    /// Force channel closed to force-.
    pub force_minus: Option<u16>,
    /// Sense channel closed to sense+.
    pub sense_plus: Option<u16>,
    /// Sense channel closed to sense-.
    pub sense_minus: Option<u16>,
}

/// What drives current through the unit.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug, Default, Serialize, Deserialize)]
pub enum Source {
    /// Nothing. Both force buses rest on the bias node through the 180 Ω clamp and Rm.
    #[default]
    Off,
    /// About 1 mA, clamped with 18 Ω to under 20 mV: films stay whole.
    Dry,
    /// 50 mA with at most 1 V behind it.
    Load,
    /// 1 mA without a clamp, for 10 Ω to 1 kΩ.
    Wide,
    /// 1 mA clamped with 180 Ω to under 200 mV: nothing turns on, bulk capacitors charge in milliseconds.
    Isolation,
}

/// Gain of the ADC's amplifier; the discriminant is its register code.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug, Serialize, Deserialize)]
#[allow(missing_docs)]
pub enum Gain {
    X1,
    X2,
    X4,
    X8,
    X16,
    X32,
    X64,
    X128,
}

impl Gain {
    /// Every gain, ascending.
    pub const ALL: [Self; 8] =
        [Self::X1, Self::X2, Self::X4, Self::X8, Self::X16, Self::X32, Self::X64, Self::X128];

    /// The factor: 1 to 128.
    pub const fn factor(self) -> u8 {
        1 << self as u8
    }
}

/// Data rate of the ADC in normal mode; the discriminant is its register code.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug, Serialize, Deserialize)]
#[allow(missing_docs)]
pub enum Rate {
    Sps20,
    Sps45,
    Sps90,
    Sps175,
    Sps330,
    Sps600,
    Sps1000,
}

impl Rate {
    /// Every rate, ascending.
    pub const ALL: [Self; 7] =
        [Self::Sps20, Self::Sps45, Self::Sps90, Self::Sps175, Self::Sps330, Self::Sps600, Self::Sps1000];

    /// Length of one single-shot conversion in periods of the ADC's clock, normal mode.
    /// Source: ADS1220 data sheet, single-shot conversion times; the 20 SPS figure is confirmed in a published
    /// thread, the others are from memory and consistent with the continuous-mode table.
    pub const fn clocks(self) -> u32 {
        match self {
            Self::Sps20 => 204_850,
            Self::Sps45 => 91_218,
            Self::Sps90 => 46_226,
            Self::Sps175 => 23_762,
            Self::Sps330 => 12_562,
            Self::Sps600 => 6_994,
            Self::Sps1000 => 4_242,
        }
    }

    /// The same in microseconds, rounded up: 1.036 ms at 1000 SPS.
    pub const fn micros(self) -> u32 {
        ((self.clocks() as u64 * 1_000_000).div_ceil(crate::hardware::ADC_CLOCK_HZ as u64)) as u32
    }
}

/// What the ADC looks at.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug, Serialize, Deserialize)]
pub enum Input {
    /// Pair A: sense+ against sense- (AIN0, AIN1).
    Sense,
    /// Pair B: the voltage over Rm, (AIN2, AIN3) in forward polarity and (AIN3, AIN2) reversed, so that its sign
    /// follows the unit's current.
    Current,
    /// sense+ against the upper end of Rm (AIN0, AIN2): in reversed polarity the drop of the force+ contact.
    PlusContact,
    /// sense- against the upper end of Rm (AIN1, AIN2): in forward polarity the drop of the force- contact.
    MinusContact,
    /// sense+ alone against analogue ground.
    PlusAlone,
    /// sense- alone against analogue ground.
    MinusAlone,
    /// The bias node (AIN3) alone against analogue ground.
    Bias,
    /// Both amplifier inputs shorted inside the ADC: its own offset.
    Zero,
    /// The on-chip temperature sensor: 14 bit, left-justified, 0.03125 °C a step.
    Temperature,
    /// Pair B with its inputs turned round: the voltage over Rm comes with the other sign, what the amplifier adds of itself
    /// and of their common mode does not.
    CurrentTurned,
}

/// One relay state with its excitation and its way of sampling.
#[derive(Clone, Copy, PartialEq, Debug, Serialize, Deserialize)]
pub struct Shot {
    /// The relays.
    pub contacts: Contacts,
    /// The excitation while sampling. Always off while relays move.
    pub source: Source,
    /// How to sample.
    pub method: Method,
}

/// How a shot samples, and what codes it streams in what order.
#[derive(Clone, Copy, PartialEq, Debug, Serialize, Deserialize)]
pub enum Method {
    /// Is the unit without voltage, and do all four contacts of the supply touch? Source must be off.
    ///
    /// Codes, gain 1, 1000 SPS: `Bias`, then `PlusAlone` and `MinusAlone` with the burn-out current, then
    /// `Sense` without. The controller itself judges them against [`CONTACT_VOLTS`](crate::hardware::CONTACT_VOLTS)
    /// and [`RESIDUAL_VOLTS`](crate::hardware::RESIDUAL_VOLTS): no later shot of the run is excited unless this
    /// one passed, whatever the host says.
    Residual,
    /// Close the bleed relay across the force buses for so many milliseconds. Source must be off. No codes.
    Bleed {
        /// Milliseconds.
        millis: u16,
    },
    /// `count` equal conversions.
    Sample {
        /// What to convert.
        input: Input,
        /// Current through the reversal switch reversed.
        reversed: bool,
        /// Burn-out currents on.
        burnout: bool,
        /// Amplifier gain.
        gain: Gain,
        /// Data rate.
        rate: Rate,
        /// Conversions.
        count: u8,
    },
    /// Resistance as a ratio of pair A to pair B over current reversals.
    Ratio(Ratio),
    /// Isolation: one polarity, watched until a capacitor has charged.
    Settle(Settle),
    /// One segment without a pause, in one polarity, while somebody taps it.
    Watch(Watch),
}

/// Ratio sampling.
///
/// Codes: if `contact_check`, `PlusAlone` then `MinusAlone` with burn-out, source off, gain 1, 1000 SPS. If `ends`,
/// `MinusContact` forward then `PlusContact` reversed, at gain 16 and `rate`. Then `triples` times three half-cycles
/// of alternating polarity, the very first forward; each half-cycle is pair A at `gain_a`, then pair B at
/// `gain_b`. Three halves make a delta-mode triple, (h1 − 2·h2 + h3)/4, which cancels a constant and a linearly
/// drifting EMF; every second triple starts reversed and counts with the opposite sign.
#[derive(Clone, Copy, PartialEq, Debug, Serialize, Deserialize)]
pub struct Ratio {
    /// Gain for pair A.
    pub gain_a: Gain,
    /// Gain for pair B.
    pub gain_b: Gain,
    /// Data rate for both.
    pub rate: Rate,
    /// Wait after every change of the excitation beyond [`SETTLE_US`](crate::hardware::wait::SETTLE_US): where
    /// capacitors could bridge an open, until no more than a direct current is left.
    pub wait_us: u16,
    /// Check both sense contacts first.
    pub contact_check: bool,
    /// Measure the drop of both force contacts first: the sense pins must stand at the forced points.
    pub ends: bool,
    /// Triples to take at least.
    pub triples_min: u8,
    /// Triples to take at most: the shot's budget.
    pub triples_max: u8,
    /// Stop early once this is satisfied. `None` spends the whole budget.
    pub stop: Option<Stop>,
    /// End the run after this shot if the ratio's magnitude, code A over code B, is above this (or B is zero):
    /// the host wants to think before anything else is excited.
    pub gate: Option<f32>,
}

/// When a ratio is decided. All in units of code A over code B.
///
/// With r the mean ratio after n triples and B the mean delta-mode code of pair B,
/// U² = k²·((σA² + r²·σB²)·(3/8)/(n·B²) + (rel·r)²).
/// Sampling stops once U ≤ `close` and r is inside `[lo, hi]` by U, or outside by U.
#[derive(Clone, Copy, PartialEq, Debug, Serialize, Deserialize)]
pub struct Stop {
    /// Lower limit; negative where there is none.
    pub lo: f32,
    /// Upper limit.
    pub hi: f32,
    /// Expanded uncertainty that is close enough: a tenth of the limit.
    pub close: f32,
    /// Standard deviation of one code of pair A.
    pub sigma_a: f32,
    /// Standard deviation of one code of pair B.
    pub sigma_b: f32,
    /// Standard uncertainty in proportion to the ratio.
    pub rel: f32,
    /// Coverage factor.
    pub k: f32,
}

/// Isolation sampling. Source must be [`Source::Isolation`].
///
/// Codes: `PlusAlone` and `MinusAlone` with burn-out (source off, gain 1, 1000 SPS); then, source on, forward, pairs of
/// pair A at `gain_a` and pair B at `gain_b`, pair B with its inputs turned round in every second pair, if `turned`: half the
/// difference holds nothing that the converter adds of itself, at the very common mode of the reading. Without `turned`, as
/// earlier controllers did, `Zero` at `gain_b` comes four times before the pairs. After every window of `window` pairs the controller compares the means with those of the window before: while a bulk capacitor
/// charges, the unit looks *worse* than it is, so a window whose A/B is at least `pass`
/// with A not falling (by more than `floor`) ends the shot; so does a current that stands still (B changed by at
/// most `slope` of itself plus `floor` codes). Otherwise it goes on to `windows_max` windows.
#[derive(Clone, Copy, PartialEq, Debug, Serialize, Deserialize)]
pub struct Settle {
    /// Gain for pair A.
    pub gain_a: Gain,
    /// Gain for pair B.
    pub gain_b: Gain,
    /// Data rate.
    pub rate: Rate,
    /// Pairs in a window.
    pub window: u8,
    /// Windows at most.
    pub windows_max: u16,
    /// Ratio, code A over code B, that passes whatever the capacitor still does (guard band included).
    pub pass: f32,
    /// Relative change of B between windows that counts as standing still.
    pub slope: f32,
    /// The same, absolute part, in codes: the noise of a window's mean.
    pub floor: f32,
    /// Turn pair B round in every second pair of a window, which then holds an even number of them.
    pub turned: bool,
}

/// Watching. Source must be [`Source::Dry`]: what is watched may be a contact that comes and goes, and load current through one
/// would break its film, or weld its tips, while it is looked at.
///
/// Codes: `pairs` times pair A at `gain_a`, then pair B at `gain_b`, source on, forward, one conversion after the other. Of an
/// interruption of two conversions at least half of one of either pair is seen: pair A rises where it is the segment that opens,
/// pair B falls wherever the loop opens.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct Watch {
    /// Gain for pair A.
    pub gain_a: Gain,
    /// Gain for pair B.
    pub gain_b: Gain,
    /// Data rate for both.
    pub rate: Rate,
    /// Pairs to take. Codes are counted in 16 bits; who watches for longer asks for several such shots, with 0.4 ms between them.
    pub pairs: u16,
}
