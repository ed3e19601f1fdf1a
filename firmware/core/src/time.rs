//! Time as the caller tells it: microseconds since some start, never wrapping in practice (584,000 years).

/// A moment, in microseconds since the controller's own start.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug, Default)]
pub struct Instant(pub u64);

impl Instant {
    /// The moment so many microseconds later.
    #[must_use]
    pub const fn plus_us(self, micros: u32) -> Self {
        Self(self.0.saturating_add(micros as u64))
    }

    /// Microseconds from `earlier` to here; 0 if `earlier` is in fact later.
    #[must_use]
    pub const fn us_since(self, earlier: Self) -> u64 {
        self.0.saturating_sub(earlier.0)
    }
}

#[cfg(test)]
mod tests {
    use super::Instant;

    #[test]
    fn time_neither_wraps_nor_runs_backwards() {
        assert_eq!(Instant(5).plus_us(7), Instant(12));
        assert_eq!(Instant(u64::MAX).plus_us(1), Instant(u64::MAX));
        assert_eq!(Instant(12).us_since(Instant(5)), 7);
        assert_eq!(Instant(5).us_since(Instant(12)), 0);
    }
}
