//! Chance, repeatable: the same seed gives the same numbers on every platform, to the last bit.
//!
//! The generator is xoshiro256++ started by splitmix64 (Blackman and Vigna, public domain); not from a library, because
//! twenty lines that never change keep a seed's sweeps the same to the byte, whatever a later `rand_xoshiro` does.
//! Logarithms come from the `libm` crate instead of the platform, whose last digit differs from system to system.

/// A stream of random numbers.
#[derive(Clone, Debug)]
pub struct Rng([u64; 4]);

impl Rng {
    /// The stream of a seed.
    pub fn new(mut seed: u64) -> Self {
        Self(std::array::from_fn(|_| split_mix(&mut seed)))
    }

    /// A stream of its own for one use, so that what one part draws never shifts what another one gets.
    pub fn fork(&mut self) -> Self {
        Self::new(self.next())
    }

    fn next(&mut self) -> u64 {
        let [a, b, c, d] = self.0;
        let out = a.wrapping_add(d).rotate_left(23).wrapping_add(a);
        let (c, d) = (c ^ a, d ^ b);
        self.0 = [a ^ d, b ^ c, c ^ (b << 17), d.rotate_left(45)];
        out
    }

    /// Evenly from [0, 1).
    pub fn unit(&mut self) -> f64 {
        (self.next() >> 11) as f64 * (-53f64).exp2()
    }

    /// Evenly from `low` to `high`.
    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.unit()
    }

    /// Evenly in the logarithm from `low` to `high`.
    pub fn decades(&mut self, low: f64, high: f64) -> f64 {
        libm::exp(self.between(libm::log(low), libm::log(high)))
    }

    /// Normally about 0 with standard deviation 1 (the polar method of Marsaglia).
    pub fn normal(&mut self) -> f64 {
        loop {
            let (x, y) = (self.between(-1.0, 1.0), self.between(-1.0, 1.0));
            let square = x * x + y * y;
            if square > 0.0 && square < 1.0 {
                return x * (-2.0 * libm::log(square) / square).sqrt();
            }
        }
    }

    /// Exponentially with this mean: how long until something that happens at a constant rate.
    pub fn waiting(&mut self, mean: f64) -> f64 {
        -mean * libm::log(1.0 - self.unit())
    }
}

fn split_mix(state: &mut u64) -> u64 {
    *state = state.wrapping_add(0x9E37_79B9_7F4A_7C15);
    let z = (*state ^ (*state >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
    let z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
    z ^ (z >> 31)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The reference implementations' first outputs, from memory: splitmix64 from 1234567, xoshiro256++ from
    /// the state 1, 2, 3, 4.
    #[test]
    fn numbers_are_those_of_the_published_generators() {
        let mut state = 1_234_567;
        let first: [u64; 3] = std::array::from_fn(|_| split_mix(&mut state));
        assert_eq!(first, [6_457_827_717_110_365_317, 3_203_168_211_198_807_973, 9_817_491_932_198_370_423]);
        let mut rng = Rng([1, 2, 3, 4]);
        let first: [u64; 4] = std::array::from_fn(|_| rng.next());
        assert_eq!(first, [41_943_041, 58_720_359, 3_588_806_011_781_223, 3_591_011_842_654_386]);
    }

    #[test]
    fn distributions_have_the_moments_they_promise() {
        let mut rng = Rng::new(7);
        let n = 40_000;
        let moments = |draw: &mut dyn FnMut() -> f64| {
            let x: Vec<f64> = (0..n).map(|_| draw()).collect();
            let mean = x.iter().sum::<f64>() / f64::from(n);
            (mean, x.iter().map(|x| (x - mean).powi(2)).sum::<f64>() / f64::from(n))
        };
        let near = |(mean, variance): (f64, f64), m: f64, v: f64| {
            assert!((mean - m).abs() < 0.03 && (variance - v).abs() < 0.05, "{mean} {variance}");
        };
        near(moments(&mut || rng.unit()), 0.5, 1.0 / 12.0);
        near(moments(&mut || rng.normal()), 0.0, 1.0);
        near(moments(&mut || rng.waiting(1.0)), 1.0, 1.0);
        // The logarithm runs evenly from 0 to ln 100.
        near(moments(&mut || rng.decades(1.0, 100.0).ln() / 100f64.ln()), 0.5, 1.0 / 12.0);
    }
}
