//! Test cases drawn by a small generator of the tests' own, so that nothing is shared with what is tested.

/// SplitMix64 (Steele, Lea, Flood 2014; constants from memory).
#[derive(Clone, Debug)]
pub struct Cases(u64);

impl Cases {
    /// Cases of this seed.
    pub fn new(seed: u64) -> Self {
        Self(seed)
    }

    /// Sixty-four random bits.
    pub fn bits(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }

    /// Evenly from 0 to 1.
    pub fn unit(&mut self) -> f64 {
        (self.bits() >> 11) as f64 / (1u64 << 53) as f64
    }

    /// Evenly over the logarithm, from `low` to `high`.
    pub fn decades(&mut self, low: f64, high: f64) -> f64 {
        low * (high / low).powf(self.unit())
    }

    /// One of some; `None` of none.
    pub fn choose<'a, T>(&mut self, among: &'a [T]) -> Option<&'a T> {
        among.get((self.unit() * among.len() as f64) as usize)
    }

    /// Values spread evenly over the decades, with a sum that a path can carry.
    pub fn values(&mut self, count: usize, low: f64, high: f64, most: f64) -> Vec<f64> {
        loop {
            let values: Vec<f64> = (0..count).map(|_| self.decades(low, high)).collect();
            if values.iter().sum::<f64>() <= most {
                return values;
            }
        }
    }
}
