//! Constants of the reference bench. `hardware/` describes the same circuit in SPICE and in words.
//!
//! ```text
//!                 ┌────────── clamp (18 Ω dry, 180 Ω isolation and idle) ─────────┐
//!   source ──●────┤                                                               │
//!            │    reversal ── force+ bus ═ pin ═ unit ═ pin ═ force- bus ── reversal ── Rm ──●── bias 1.0 V
//!            └ AIN pair A on the sense buses: AIN0 = sense+, AIN1 = sense-   AIN2 ──┘  └── AIN3
//! ```
//! The clamp returns to the *lower* end of Rm, so Rm carries the unit's current alone.

/// Measuring resistor Rm, ohm. Part: 10.00 Ω, 0.1 %.
pub const RM_OHMS: f64 = 10.0;
/// Tolerance of Rm, half width of a rectangular distribution, relative.
pub const RM_TOLERANCE: f64 = 1e-3;
/// Voltage of the bias node that lifts the unit into the amplifier's common-mode range, volt.
pub const BIAS_VOLTS: f64 = 1.0;
/// Nominal current of the ADC's own source in the dry, wide and isolation ranges, ampere.
pub const DRY_AMPS: f64 = 1e-3;
/// Current of the switched load source, ampere.
pub const LOAD_AMPS: f64 = 50e-3;
/// Highest voltage the load source puts between its node and the bias node, volt.
pub const LOAD_COMPLIANCE_VOLTS: f64 = 1.0;
/// Clamp in the dry range, ohm: 1.06 mA (the source's upper tolerance) × 18 Ω = 19.1 mV, under the 20 mV
/// of IEC 60512-2-1 test 2a and ASTM B539 for dry circuits.
pub const DRY_CLAMP_OHMS: f64 = 18.0;
/// Clamp in the isolation range and while idle, ohm: 1.06 mA × 180 Ω = 191 mV, under a junction's threshold,
/// and low enough to charge 100 µF in 18 ms.
pub const ISOLATION_CLAMP_OHMS: f64 = 180.0;
/// Bleed resistor that its relay puts across force+ and force-, ohm.
pub const BLEED_OHMS: f64 = 100.0;
/// Nominal burn-out (contact check) current of the ADC, ampere.
pub const BURNOUT_AMPS: f64 = 10e-6;
/// Protection between a sense bus and its ADC input, ohm: 680 Ω, a clamp, 330 Ω. The burn-out current passes it too.
pub const SENSE_SERIES_OHMS: f64 = 1_010.0;
/// A sense contact touches while the burn-out current lifts its ADC input by less than this above the bias node, volt.
/// 25 mV at 10 µA is 1.5 kΩ of contact behind the series resistance; the sense inputs draw nanoamperes, so 1.5 kΩ
/// costs microvolts.
pub const CONTACT_VOLTS: f64 = 25e-3;
/// The unit counts as dead (no battery, no charge) below this voltage, volt.
pub const RESIDUAL_VOLTS: f64 = 50e-3;
/// Internal reference of the ADC, volt.
pub const VREF_VOLTS: f64 = 2.048;
/// Crystal-equivalent clock of the ADC, hertz: conversion times below are counted in its periods.
pub const ADC_CLOCK_HZ: u32 = 4_096_000;

/// Force channels of the reference bench.
pub const FORCE_CHANNELS: u16 = 16;
/// Sense channels of the reference bench.
pub const SENSE_CHANNELS: u16 = 48;
/// Shots a plan may hold in the controller at once; longer plans are sent in parts.
pub const PLAN_CAPACITY: u16 = 512;

/// Waiting times, microseconds. Reed figures: operate with bounce 0.30 ms typical, release 70 µs at most
/// (a small dry reed switch as published); the waits keep a margin of three.
pub mod wait {
    /// Excitation off until a relay may move: a milliampere in 10 mH is then under 60 µA
    /// (`hardware/spice/dry-turn.cir`).
    pub const QUIET_US: u32 = 200;
    /// Load source off until a force relay may move: 50 mA in 10 mH without resistance are then under 60 µA, in every
    /// corner of `hardware/spice/inductive.cir`. Without inductance it takes microseconds; the bench cannot know.
    pub const LOAD_QUIET_US: u32 = 1_700;
    /// Load source off until the reversal switch may turn: 6 mA at most are left of it, which R56 and C14 across the force
    /// buses take at less than 1 V (`hardware/spice/inductive.cir`).
    pub const LOAD_TURN_US: u32 = 1_000;
    /// Reversal switch told to turn until it certainly has: the optocouplers take up to 0.5 ms to open and to close, from
    /// 4.4 V of USB (`hardware/spice/turn.cir`; `hardware/parts.csv` asks that of them).
    pub const TURN_US: u32 = 500;
    /// Coil off until the contact is certainly open.
    pub const RELEASE_US: u32 = 250;
    /// Coil on until the contact is certainly closed and has stopped bouncing.
    pub const OPERATE_US: u32 = 1_000;
    /// Excitation changed until the sense voltage stands still.
    pub const SETTLE_US: u32 = 100;
    /// Current of a milliampere reversed until the sense voltage stands still (`hardware/spice/dry-turn.cir`).
    pub const REVERSE_US: u32 = TURN_US + SETTLE_US;
    /// On top of either in the wide range: C14 across the force buses and 1 kΩ have a time constant of half a millisecond,
    /// and its current counts as the unit's until a ten-thousandth of it is left.
    pub const WIDE_US: u32 = 5_000;
    /// The ADC's current source programmed until it flows in full, on top of `SETTLE_US`: up to 200 µs (ADS122U04
    /// SBAS752B, excitation current sources; the ADS1220's sheet says the same, from memory).
    pub const IDAC_START_US: u32 = 200;
    /// Without any message from the host for this long the controller opens everything.
    pub const HEARTBEAT_US: u32 = 500_000;
}
