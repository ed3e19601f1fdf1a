//! Whether a proof holds for a measurement.

use super::Proof;
use crate::{fixture::Fixture, meter::proven::Proven};

/// Microseconds of a day.
pub const DAY_US: i64 = 86_400_000_000;

/// Whether a proof holds for a measurement.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Standing {
    /// It does.
    Holds,
    /// Nobody has proven the bench with this bed.
    Missing,
    /// It found the bench unfit.
    Failed,
    /// Pins, channels or standards of the fixture are not as they were.
    OtherBed,
    /// It is older than the fixture allows.
    PastDue,
    /// It is dated later than the measurement: a clock was wrong.
    Future,
}

impl Standing {
    /// Of the latest proof, for a measurement with this fixture that began then (µs since 1970-01-01 UTC).
    pub fn of(proof: Option<&Proof>, fixture: &Fixture, at_us: i64) -> Self {
        let Some(proof) = proof else { return Self::Missing };
        let figures = proof.figures();
        let age_us = at_us.saturating_sub(figures.made_us);
        match () {
            () if figures.bed_hash != fixture.bed_hash() => Self::OtherBed,
            () if age_us < 0 => Self::Future,
            () if age_us > DAY_US * i64::from(fixture.proof.days) => Self::PastDue,
            () if !figures.faults.is_empty() => Self::Failed,
            () => Self::Holds,
        }
    }
}

/// What budgets may use of the latest proof, for a measurement with this fixture that began then.
pub fn usable(proof: Option<&Proof>, fixture: &Fixture, at_us: i64) -> Option<Proven> {
    match Standing::of(proof, fixture, at_us) {
        Standing::Holds => proof.and_then(|proof| proof.figures().meter),
        _ => None,
    }
}
