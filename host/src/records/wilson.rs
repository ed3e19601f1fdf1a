//! How far a yield can be trusted: the score interval of a proportion.

/// Quantile of the normal distribution that leaves 2.5 % on either side.
const Z: f64 = 1.959_963_984_540_054;

/// Lower and upper bound, at 95 %, of the proportion behind `count` out of `of`. `None` where there is nothing to count.
///
/// Source: E. B. Wilson, Probable inference, the law of succession, and statistical inference, J. Am. Stat. Assoc. 22
/// (1927) 209-212; without correction for continuity.
pub fn interval(count: u32, of: u32) -> Option<[f64; 2]> {
    if of == 0 {
        return None;
    }
    let of_all = f64::from(of);
    let share = f64::from(count.min(of)) / of_all;
    let z2 = Z * Z / of_all;
    let centre = share + z2 / 2.0;
    let half = Z * (share * (1.0 - share) / of_all + z2 / of_all / 4.0).sqrt();
    Some([centre - half, centre + half].map(|bound| (bound / (1.0 + z2)).clamp(0.0, 1.0)))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Source: R. G. Newcombe, Two-sided confidence intervals for the single proportion: comparison of seven methods,
    /// Statistics in Medicine 17 (1998) 857-872, table I, method 3. The printed figures are from memory.
    #[test]
    fn printed_examples_agree_in_every_digit() {
        for (count, of, low, high) in [
            (81, 263, 0.2553, 0.3662),
            (15, 148, 0.0624, 0.1605),
            (0, 20, 0.0, 0.1611),
            (1, 29, 0.0061, 0.1718),
        ] {
            let bounds = interval(count, of).unwrap();
            assert!((bounds[0] - low).abs() < 0.5e-4, "{count} of {of}: {bounds:?}");
            assert!((bounds[1] - high).abs() < 0.5e-4, "{count} of {of}: {bounds:?}");
        }
    }

    #[test]
    fn failures_mirror_successes_and_nothing_counted_gives_nothing() {
        assert_eq!(interval(0, 0), None);
        for (count, of) in [(0, 1), (3, 8), (24, 24)] {
            let [low, high] = interval(count, of).unwrap();
            let [mirrored_high, mirrored_low] = interval(of - count, of).unwrap().map(|bound| 1.0 - bound);
            assert!((low - mirrored_low).abs() < 1e-12 && (high - mirrored_high).abs() < 1e-12);
            assert!((0.0..=1.0).contains(&low) && low < high && high <= 1.0);
        }
    }
}
