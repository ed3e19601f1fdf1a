//! Shares of cases, as campaigns print them.

use std::fmt;

/// A share of cases.
#[derive(Clone, Copy, Default, Debug)]
pub struct Share {
    /// Cases.
    pub of: usize,
    /// Those that count.
    pub hits: usize,
}

impl Share {
    /// Of cases of which each counts or does not.
    pub fn count(cases: impl IntoIterator<Item = bool>) -> Self {
        cases.into_iter().fold(Self::default(), |share, hit| Self {
            of: share.of + 1,
            hits: share.hits + usize::from(hit),
        })
    }

    /// The share, 0 to 1.
    pub fn value(self) -> f64 {
        self.hits as f64 / self.of as f64
    }
}

impl fmt::Display for Share {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:.2} % ({} of {})", 100.0 * self.value(), self.hits, self.of)
    }
}
