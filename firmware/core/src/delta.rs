//! Current reversal in delta mode: a ratio from half-cycles of alternating polarity, and when it is known well enough.
//!
//! Three half-cycles make a delta-mode triple, (h1 − 2·h2 + h3)/4. With h1 = v + e0, h2 = −v + e0 + d,
//! h3 = v + e0 + 2d this gives v: a constant EMF e0 and a drift d per half-cycle both vanish. Sums are kept in
//! integers and in quarters of a code, so nothing is rounded however many triples there are.

use copperwalk_wire::Stop;

/// Weight of a half-cycle, counted from 0, in quarters of a delta-mode code. Every second triple starts reversed
/// and so has the opposite sign.
pub const fn weight(half_cycle: u16) -> i64 {
    match half_cycle % 6 {
        0 | 2 => 1,
        1 => -2,
        4 => 2,
        _ => -1,
    }
}

/// Codes of a ratio shot, summed over delta-mode triples.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
pub struct Delta {
    half_cycles: u16,
    /// Sum over the half-cycles of pair A, quarters of a code.
    a: i64,
    /// The same of pair B.
    b: i64,
    /// Both sums at the start of the triple under way.
    begun: (i64, i64),
    /// Pair A and pair B of the triple with the largest ratio so far.
    peak: (i64, i64),
}

impl Delta {
    /// Adds the next half-cycle: one code of pair A, one of pair B.
    pub fn add(&mut self, a: i32, b: i32) {
        let weight = weight(self.half_cycles);
        self.half_cycles += 1;
        self.a += weight * a as i64;
        self.b += weight * b as i64;
        if self.is_whole() {
            let (a, b) = (self.a - self.begun.0, self.b - self.begun.1);
            let (peak_a, peak_b) = self.peak;
            // Cross products, so that nothing is divided; a triple without current is above every gate.
            let steeper = (a as f64 * peak_b as f64).abs() > (peak_a as f64 * b as f64).abs();
            if self.triples() == 1 || b == 0 || steeper {
                self.peak = (a, b);
            }
            self.begun = (self.a, self.b);
        }
    }

    /// Whole triples so far.
    pub const fn triples(&self) -> u16 {
        self.half_cycles / 3
    }

    /// No triple is under way.
    pub const fn is_whole(&self) -> bool {
        self.half_cycles.is_multiple_of(3)
    }

    /// Mean delta-mode code of pair A, over whole triples.
    pub fn mean_a(&self) -> f64 {
        self.a as f64 / (4.0 * f64::from(self.triples()))
    }

    /// Mean delta-mode code of pair B, over whole triples.
    pub fn mean_b(&self) -> f64 {
        self.b as f64 / (4.0 * f64::from(self.triples()))
    }

    /// Code A over code B, of the means over whole triples; `None` while there is no current.
    pub fn ratio(&self) -> Option<f64> {
        (self.b != 0 && self.triples() > 0).then(|| self.a as f64 / self.b as f64)
    }

    /// Square of the expanded uncertainty of the ratio by the formula at [`Stop`].
    ///
    /// The factor 3/8 is the variance of a triple: (1² + 2² + 1²)/4².
    pub fn expanded_variance(&self, stop: &Stop) -> Option<f64> {
        let ratio = self.ratio()?;
        let mean_b = self.mean_b();
        let square = |x: f32| f64::from(x) * f64::from(x);
        let noise = (square(stop.sigma_a) + ratio * ratio * square(stop.sigma_b)) * 0.375
            / (f64::from(self.triples()) * mean_b * mean_b);
        Some(square(stop.k) * (noise + square(stop.rel) * ratio * ratio))
    }

    /// Is the ratio known as closely as asked, and on one side of each limit for certain?
    pub fn decided(&self, stop: &Stop) -> bool {
        let (Some(ratio), Some(variance)) = (self.ratio(), self.expanded_variance(stop)) else {
            return false;
        };
        // Squares are compared, so that no root has to be taken.
        let clears = |distance: f64| distance >= 0.0 && distance * distance >= variance;
        let (lo, hi, close) = (f64::from(stop.lo), f64::from(stop.hi), f64::from(stop.close));
        let inside = clears(ratio - lo) && clears(hi - ratio);
        let outside = clears(lo - ratio) || clears(ratio - hi);
        clears(close) && (inside || outside)
    }

    /// Is the ratio's magnitude above the gate, in the mean or in any one triple, or is there no current at all? Where
    /// a capacitor carries a current round an open or a film, the mean may come out as anything.
    pub fn above_gate(&self, gate: f32) -> bool {
        let (a, b) = self.peak;
        let peak = (b != 0).then(|| a as f64 / b as f64);
        [self.ratio(), peak].iter().any(|ratio| ratio.is_none_or(|ratio| ratio.abs() > f64::from(gate)))
    }
}

#[cfg(test)]
mod tests {
    extern crate std;
    use std::vec::Vec;

    use super::*;

    #[test]
    fn a_gate_sees_the_worst_triple_and_not_only_the_mean() {
        let triple = |a: i32| [(a, 100), (-a, -100), (a, 100)];
        let reversed = |a: i32| [(-a, -100), (a, 100), (-a, -100)];
        // Ratios 5 and −5 by turns: the mean is nothing.
        let moving = delta(&[triple(500), reversed(-500)].concat());
        assert_eq!(moving.ratio(), Some(0.0));
        assert!(moving.above_gate(4.9) && !moving.above_gate(5.1));
        let steady = delta(&[triple(200), reversed(200)].concat());
        assert!(steady.above_gate(1.9) && !steady.above_gate(2.1));
        assert!(delta(&[]).above_gate(1.0), "nothing measured");
        assert!(delta(&[triple(0), [(0, 0); 3]].concat()).above_gate(1.0), "a triple without current");
    }

    fn delta(halves: &[(i32, i32)]) -> Delta {
        let mut delta = Delta::default();
        halves.iter().for_each(|&(a, b)| delta.add(a, b));
        delta
    }

    /// The printed current-reversal example of a nanovoltmeter manual (p. 5-7): ±1 mA through 0.1 Ω with 10 µV
    /// of thermal EMF reads +110 µV and −90 µV and gives 0.1 Ω exactly. In units of 10 nV and over 10 Ω of Rm.
    #[test]
    fn the_printed_reversal_example_gives_a_tenth_of_an_ohm() {
        let rm_volts = 1_000_000; // 1 mA × 10 Ω
        let result = delta(&[(11_000, rm_volts), (-9_000, -rm_volts), (11_000, rm_volts)]);
        assert_eq!(result.ratio().unwrap() * 10.0, 0.1);
        assert_eq!(result.mean_a(), 10_000.0);
    }

    #[test]
    fn constant_and_drifting_emf_vanish_exactly_in_either_polarity() {
        let (signal, offset, drift) = (1_000, 777, 13);
        let halves: Vec<_> = (0..12)
            .map(|half| {
                let sign = if half % 2 == 0 { 1 } else { -1 };
                (sign * signal + offset + drift * half, sign * 4_000 - 50)
            })
            .collect();
        for triples in 1..=4 {
            let result = delta(&halves[..3 * triples]);
            assert_eq!(usize::from(result.triples()), triples);
            assert_eq!((result.mean_a(), result.mean_b()), (1_000.0, 4_000.0));
            assert_eq!(result.ratio(), Some(0.25));
        }
    }

    #[test]
    fn without_current_nothing_is_decided_and_the_gate_closes() {
        let stop = Stop { lo: -1.0, hi: 1.0, close: 9.0, sigma_a: 0.0, sigma_b: 0.0, rel: 0.0, k: 2.0 };
        for empty in [delta(&[]), delta(&[(5, 0), (-5, 0), (5, 0)])] {
            assert_eq!(empty.ratio(), None);
            assert!(!empty.decided(&stop));
            assert!(empty.above_gate(1e9));
        }
    }

    #[test]
    fn the_gate_looks_at_the_magnitude() {
        let negative = delta(&[(-300, 100), (300, -100), (-300, 100)]);
        assert!(negative.above_gate(2.9));
        assert!(!negative.above_gate(3.0));
    }

    #[test]
    fn a_ratio_is_decided_when_close_and_clear_of_both_limits() {
        let half = delta(&[(500, 1_000), (-500, -1_000), (500, 1_000)]);
        let stop = Stop { lo: 0.3, hi: 0.6, close: 0.1, sigma_a: 0.0, sigma_b: 0.0, rel: 0.08, k: 2.0 };
        // U = 0.08 and r = 0.5.
        for (expected, stop) in [
            (true, stop),
            (false, Stop { close: 0.07, ..stop }),
            (false, Stop { close: -0.1, ..stop }),
            (false, Stop { hi: 0.55, ..stop }),
            (false, Stop { lo: 0.45, ..stop }),
            (false, Stop { hi: 0.45, ..stop }),
            (true, Stop { hi: 0.4, ..stop }),
            (true, Stop { lo: 0.6, hi: 0.9, ..stop }),
            (false, Stop { lo: 0.55, hi: 0.9, ..stop }),
        ] {
            assert_eq!(half.decided(&stop), expected, "{stop:?}");
        }
    }

    #[test]
    fn uncertainty_follows_the_stated_formula() {
        let stop = Stop { lo: 0.0, hi: 1.0, close: 1.0, sigma_a: 3.0, sigma_b: 4.0, rel: 0.01, k: 2.0 };
        let one = delta(&[(500, 1_000), (-500, -1_000), (500, 1_000)]);
        let noise = (9.0 + 0.25 * 16.0) * 0.375 / 1e6;
        let expected = 4.0 * (noise + 0.005_f64.powi(2));
        let found = one.expanded_variance(&stop).unwrap();
        assert!((found / expected - 1.0).abs() < 1e-6, "{found} {expected}");
    }

    #[test]
    fn full_scale_codes_do_not_overflow() {
        let mut delta = Delta::default();
        for half in 0..3 * 255_u16 {
            let code = if half % 2 == 0 { i32::MAX } else { i32::MIN };
            delta.add(code, code);
        }
        assert_eq!(delta.ratio(), Some(1.0));
    }
}
