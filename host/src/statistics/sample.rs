//! Mean and standard deviation of a sample.

/// A sum with compensation for what each addition rounds off (A. Neumaier, Z. angew. Math. Mech. 54 (1974) 39-51): its
/// error does not grow with the number of terms.
pub fn sum(values: impl IntoIterator<Item = f64>) -> f64 {
    let (mut sum, mut lost) = (0.0, 0.0);
    for value in values {
        let next: f64 = sum + value;
        lost += if f64::abs(sum) >= value.abs() { (sum - next) + value } else { (value - next) + sum };
        sum = next;
    }
    sum + lost
}

/// The mean; `None` of nothing.
pub fn mean(values: &[f64]) -> Option<f64> {
    let count = values.len() as f64;
    let first = sum(values.iter().copied()) / count;
    // The second pass takes back what the division rounded.
    (!values.is_empty()).then(|| first + sum(values.iter().map(|value| value - first)) / count)
}

/// Sum of the squared deviations from the mean; zero of nothing.
pub fn squares(values: &[f64]) -> f64 {
    let mean = mean(values).unwrap_or(0.0);
    sum(values.iter().map(|value| (value - mean) * (value - mean)))
}

/// The standard deviation of what the sample was drawn from (divisor n - 1); `None` of fewer than two values.
pub fn deviation(values: &[f64]) -> Option<f64> {
    (values.len() > 1).then(|| (squares(values) / (values.len() - 1) as f64).sqrt())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_large_common_part_costs_no_digits() {
        // 1, 2, 3 … 10 over an offset: mean 5.5, squares 82.5.
        for offset in [0.0, 1e6, 1e12] {
            let values: Vec<f64> = (1..=10).map(|i| offset + f64::from(i)).collect();
            assert_eq!(mean(&values), Some(offset + 5.5));
            assert!((squares(&values) - 82.5).abs() < 1e-12, "{}", squares(&values));
        }
        assert_eq!(sum([1.0, 1e100, 1.0, -1e100]), 2.0);
        assert_eq!((mean(&[]), deviation(&[]), deviation(&[1.0])), (None, None, None));
    }
}
