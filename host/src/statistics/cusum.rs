//! Cumulative sums (E. S. Page, 1954): small changes of a course add up until they are certain.
//!
//! The tabular form of the textbooks (D. C. Montgomery, *Introduction to Statistical Quality Control*, "The tabular CUSUM"): a sum of
//! what lies above the target by more than an allowance, one of what lies below, each never less than nothing.

/// Which way a course went.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Way {
    /// Up.
    Up,
    /// Down.
    Down,
}

/// Two sums, and how long each has been more than nothing.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Cusum {
    threshold: f64,
    sums: [f64; 2],
    /// Values since each sum was nothing.
    since: [usize; 2],
}

impl Cusum {
    /// Sums that alarm above this, in the unit of the values.
    pub const fn new(threshold: f64) -> Self {
        Self { threshold, sums: [0.0; 2], since: [0; 2] }
    }

    /// Begins anew.
    pub fn reset(&mut self) {
        *self = Self::new(self.threshold);
    }

    /// Takes a value, as what it is off its target, with what of it is allowed. Above the threshold: which way, and how many values
    /// ago that began; both sums then begin anew.
    pub fn take(&mut self, off: f64, allowance: f64) -> Option<(Way, usize)> {
        for ((sum, since), off) in self.sums.iter_mut().zip(&mut self.since).zip([off, -off]) {
            *sum = (*sum + off - allowance).max(0.0);
            *since = if *sum > 0.0 { *since + 1 } else { 0 };
        }
        let [above, below] = self.sums;
        let way = if above >= below { Way::Up } else { Way::Down };
        if above.max(below) <= self.threshold {
            return None;
        }
        let [up, down] = self.since;
        self.reset();
        Some((way, if way == Way::Up { up } else { down }))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_change_is_told_with_its_way_and_its_beginning() {
        let mut sums = Cusum::new(4.0);
        for off in [0.4, -0.4, 0.3, 0.5, -0.5] {
            assert_eq!(sums.take(off, 0.5), None);
        }
        assert_eq!(sums.take(-2.5, 0.5), None);
        assert_eq!(sums.take(-1.5, 0.5), None);
        assert_eq!(sums.take(-2.5, 0.5), Some((Way::Down, 3)));
        assert_eq!(sums, Cusum::new(4.0));
        assert_eq!(sums.take(4.6, 0.5), Some((Way::Up, 1)));
    }
}
