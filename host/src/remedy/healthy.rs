//! What a segment reads once it is healthy again: by what it reads on other units of its type, or, while few have been swept, by what the
//! board file lets expect.
//!
//! With many readings the interval lies between two of them, counted in from either end, and needs no assumption about their
//! distribution: of `n` readings the next one falls between the r-th from below and the r-th from above with probability
//! (n + 1 − 2r)/(n + 1) (S. S. Wilks, Annals of Mathematical Statistics 12 (1941) 91-96). With fewer it is Student's interval for
//! the next value of a normal distribution, mean ± t·s·√(1 + 1/n) (W. Q. Meeker, G. J. Hahn, L. A. Escobar, Statistical Intervals,
//! 2nd ed. (2017), section 4.6), which is too wide rather than too narrow for what has a bounded tolerance.

use serde::Serialize;
use statrs::distribution::{ContinuousCDF, StudentsT};

use crate::board::{Segment, expected};
use crate::quantity::Ohms;

/// So much of what comes lies within an interval.
pub const COVERAGE: f64 = 0.95;
/// From so many readings on, the interval is counted off: the first number that reaches the coverage.
const COUNTED: usize = 39;
/// Fewer readings than this say less than the board file.
const FEWEST: usize = 8;

/// What is expected of a reading.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Expectation {
    /// The middle.
    pub middle: Ohms,
    /// It lies within these two with probability [`COVERAGE`].
    pub interval: [Ohms; 2],
    /// On what it stands.
    pub stands_on: StandsOn,
}

/// On what an expectation stands.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum StandsOn {
    /// On the board file: geometry, or what is usual for the kind.
    BoardFile,
    /// On readings of so many other units.
    Units(usize),
    /// On the copper, the length and the joints of a wire or a strand.
    Wire,
}

/// What a healthy segment reads, by readings of it on other units at 20 °C, in any order.
pub fn healthy(segment: &Segment, others: &[Ohms]) -> Expectation {
    let mut sorted: Vec<Ohms> = others.iter().copied().filter(|ohms| ohms.is_finite()).collect();
    sorted.sort_by(Ohms::total_cmp);
    of_units(&sorted).unwrap_or_else(|| of_board_file(segment))
}

fn of_board_file(segment: &Segment) -> Expectation {
    let expected = segment.expected;
    Expectation {
        middle: expected.typical,
        interval: [expected::least(segment), expected.high],
        stands_on: StandsOn::BoardFile,
    }
}

/// By sorted readings; `None` where they are too few.
fn of_units(sorted: &[Ohms]) -> Option<Expectation> {
    let count = sorted.len();
    let stands_on = StandsOn::Units(count);
    if count >= COUNTED {
        // Where the count falls between two readings, so does the end.
        let rank = (count as f64 + 1.0) * (1.0 - COVERAGE) / 2.0;
        let below = between(sorted, rank - 1.0)?;
        let above = between(sorted, count as f64 - rank)?;
        let middle = between(sorted, (count as f64 - 1.0) / 2.0)?;
        return Some(Expectation { middle, interval: [below, above], stands_on });
    }
    if count < FEWEST {
        return None;
    }
    let n = count as f64;
    let mean = sorted.iter().copied().sum::<Ohms>() / n;
    let squares: f64 = sorted.iter().map(|ohms| (ohms.0 - mean.0).powi(2)).sum();
    let factor = StudentsT::new(0.0, 1.0, n - 1.0).ok()?.inverse_cdf(0.5 + COVERAGE / 2.0);
    let half = Ohms(factor * (squares / (n - 1.0)).sqrt() * (1.0 + 1.0 / n).sqrt());
    Some(Expectation { middle: mean, interval: [(mean - half).max(Ohms::ZERO), mean + half], stands_on })
}

/// A value at a place between sorted ones, counted from 0.
fn between(sorted: &[Ohms], place: f64) -> Option<Ohms> {
    let low = place.floor().max(0.0);
    let [below, above] = [low, (low + 1.0).min(sorted.len() as f64 - 1.0)].map(|at| sorted.get(at as usize));
    let (below, above) = (*below?, *above?);
    Some(below + (above - below) * (place - low).clamp(0.0, 1.0))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::board::Board;
    use crate::random::Rng;

    fn board() -> Board {
        crate::board::parse("board.toml", include_str!("../../../fixtures/tide-gauge-head/board.toml"))
            .unwrap()
    }

    #[test]
    fn until_eight_units_are_known_the_board_file_speaks() {
        let board = board();
        let segment = board.segment(board.segment_named("tail trace").unwrap());
        let readings = [Ohms(8e-3); 7];
        let found = healthy(segment, &readings);
        assert_eq!((found.middle, found.stands_on), (segment.expected.typical, StandsOn::BoardFile));
        assert_eq!(found.interval[1], segment.expected.high);
    }

    /// Student's interval for the next of ten: t(0.975, 9) = 2.262 (any table), so mean ± 2.262·√1.1 standard deviations.
    #[test]
    fn ten_units_give_students_interval() {
        let board = board();
        let segment = &board.segments[1];
        let readings: Vec<Ohms> = (0..10).map(|i| Ohms(1.0 + 0.1 * f64::from(i))).collect();
        let found = healthy(segment, &readings);
        // Ten steps of 0.1: s² = 0.01·(100 − 1)/12·10/9.
        let half = 2.262_157 * (0.01 * 99.0 / 12.0 * 10.0 / 9.0_f64).sqrt() * 1.1_f64.sqrt();
        assert!((found.middle.0 - 1.45).abs() < 1e-12);
        assert!((found.interval[0].0 - (1.45 - half)).abs() < 1e-5, "{found:?}");
        assert!((found.interval[1].0 - (1.45 + half)).abs() < 1e-5);
    }

    /// Of 39 readings the next one lies between the first and the last with 38/40 = 95 %.
    #[test]
    fn thirty_nine_units_are_counted() {
        let board = board();
        let readings: Vec<Ohms> = (1..=39).map(|i| Ohms(f64::from(i))).collect();
        let found = healthy(&board.segments[1], &readings);
        let [low, high] = found.interval.map(|end| end.0);
        assert!(
            (low - 1.0).abs() < 1e-9 && (high - 39.0).abs() < 1e-9 && found.middle == Ohms(20.0),
            "{found:?}"
        );
    }

    /// Whatever the distribution: evenly, normally, over decades.
    #[test]
    fn the_next_reading_lies_within_in_95_of_100() {
        let board = board();
        let mut rng = Rng::new(4);
        let draws: [fn(&mut Rng) -> f64; 3] =
            [|rng| rng.between(1.0, 2.0), |rng| 5.0 + rng.normal(), |rng| rng.decades(0.4, 2.0)];
        for (number, draw) in draws.into_iter().enumerate() {
            for count in [39, 60, 97] {
                let tries = 4_000;
                let within = (0..tries).filter(|_| {
                    let read: Vec<Ohms> = (0..count).map(|_| Ohms(draw(&mut rng))).collect();
                    let [low, high] = healthy(&board.segments[1], &read).interval;
                    let next = Ohms(draw(&mut rng));
                    low <= next && next <= high
                });
                let share = within.count() as f64 / f64::from(tries);
                assert!((0.94..=0.96).contains(&share), "draw {number}, {count} readings: {share}");
            }
        }
    }
}
