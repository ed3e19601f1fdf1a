//! Least squares for a handful of unknowns: Gauss-Newton with steps that are halved until they help. Directions that nothing
//! determines are left as they were, so that a frame nobody fixed stays where it began.

use nalgebra::{DMatrix, DVector};

/// Steps at most; from a start that is right to a per cent, four suffice.
const STEPS: usize = 60;
/// Singular values below this part of the largest are none.
const NOTHING: f64 = 1e-7;
/// Unknowns are of the order of one; derivatives are taken over this.
const DELTA: f64 = 1e-6;

/// What was found.
pub(super) struct Solved {
    pub unknowns: DVector<f64>,
    /// Derivatives of the residuals there.
    pub slopes: DMatrix<f64>,
}

/// Makes the sum of squares least, from a start; `None` where the residuals cannot be told.
pub(super) fn least_squares(
    start: DVector<f64>,
    residuals: impl Fn(&DVector<f64>) -> Option<DVector<f64>>,
) -> Option<Solved> {
    let mut unknowns = start;
    let mut now = residuals(&unknowns)?;
    for _ in 0..STEPS {
        let step = pseudo_solve(&slopes(&unknowns, &residuals)?, &now)?;
        let mut share = 1.0;
        let better = loop {
            let trial = &unknowns - &step * share;
            match residuals(&trial) {
                Some(there) if there.norm_squared() < now.norm_squared() => break Some((trial, there)),
                _ if share < 1e-4 => break None,
                _ => share /= 2.0,
            }
        };
        let Some((there, rest)) = better else { break };
        let gain = now.norm_squared() - rest.norm_squared();
        let is_done = gain <= 1e-14 * now.norm_squared();
        (unknowns, now) = (there, rest);
        if is_done {
            break;
        }
    }
    let slopes = slopes(&unknowns, &residuals)?;
    Some(Solved { unknowns, slopes })
}

/// Central differences.
fn slopes(
    unknowns: &DVector<f64>,
    residuals: &impl Fn(&DVector<f64>) -> Option<DVector<f64>>,
) -> Option<DMatrix<f64>> {
    let columns = (0..unknowns.len()).map(|i| {
        let shifted = |by: f64| {
            let mut at = unknowns.clone();
            *at.get_mut(i)? += by;
            residuals(&at)
        };
        Some((shifted(DELTA)? - shifted(-DELTA)?) / (2.0 * DELTA))
    });
    let columns: Vec<_> = columns.collect::<Option<_>>()?;
    Some(DMatrix::from_columns(&columns))
}

fn pseudo_solve(slopes: &DMatrix<f64>, right: &DVector<f64>) -> Option<DVector<f64>> {
    let svd = slopes.clone().svd(true, true);
    let largest = svd.singular_values.max();
    svd.solve(right, largest * NOTHING).ok().filter(|step| step.iter().all(|value| value.is_finite()))
}

/// Directions that the residuals determine, each to better than a part `least` of the best determined.
pub(super) fn rank(slopes: &DMatrix<f64>, least: f64) -> usize {
    let values = slopes.clone().svd(false, false).singular_values;
    let largest = values.max();
    values.iter().filter(|value| **value > largest * least && **value > 0.0).count()
}

/// Covariance of the unknowns when every residual has variance one; directions that nothing determines count as certain.
pub(super) fn covariance(slopes: &DMatrix<f64>) -> Option<DMatrix<f64>> {
    let inverse =
        slopes.clone().pseudo_inverse(slopes.clone().svd(false, false).singular_values.max() * NOTHING);
    inverse.ok().map(|inverse| &inverse * inverse.transpose())
}
