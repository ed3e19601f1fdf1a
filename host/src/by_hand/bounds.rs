//! What answers prove of each segment, and which of them contradict each other.
//!
//! What two tips read is the sum of the segments between them, none of which is below zero. So each segment is at most what any
//! reading over it is, and at least what such a reading is less the most that the others can be.

use crate::{
    board::{Board, SegmentId},
    hypothesis::Look,
    measurement::{Method, Touch},
};

/// A touch over what should conduct.
#[derive(Clone, PartialEq, Debug)]
pub struct Reading {
    /// Its number among the touches.
    pub touch: usize,
    /// Segments between the tips.
    pub way: Vec<SegmentId>,
    /// At least, Ω.
    pub low: f64,
    /// At most, Ω; infinite where nothing bounds it.
    pub high: f64,
    /// How it was read.
    pub method: Method,
}

/// What is proven of a segment.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Bound {
    /// At least, Ω.
    pub low: f64,
    /// At most, Ω; infinite where nothing bounds it.
    pub high: f64,
    /// The touch over it alone, its number among the touches; the latest.
    pub alone: Option<usize>,
    /// The touch over it that bounds it from above, likewise.
    pub within: Option<usize>,
    /// Is there any touch over it?
    pub touched: bool,
}

/// Copper of a unit at room temperature reads so much more or less than at 20 °C, relative: 8 K of its coefficient
/// (IEC 60028; rooms from 12 to 28 °C).
pub const ROOM: f64 = 0.032;

/// Every touch on the unit over what should conduct.
pub fn readings(board: &Board, touches: &[Touch]) -> Vec<Reading> {
    let reading = |(number, touch): (usize, &Touch)| {
        let state = board.state_named(&touch.state)?;
        let ends = [board.point_named(&touch.from)?, board.point_named(&touch.to)?];
        let look = Look::two_points(board, state, ends).filter(|_| !touch.on_good_unit)?;
        Some(Reading {
            touch: number,
            way: look.way().to_vec(),
            low: touch.at_least.map_or(0.0, |ohms| ohms.0),
            high: touch.at_most.map_or(f64::INFINITY, |ohms| ohms.0),
            method: touch.method?,
        })
    };
    touches.iter().enumerate().filter_map(reading).collect()
}

/// What is proven of every segment.
pub fn of_segments(board: &Board, readings: &[Reading]) -> Vec<Bound> {
    let blank = Bound { low: 0.0, high: f64::INFINITY, alone: None, within: None, touched: false };
    let mut bounds = vec![blank; board.segments.len()];
    for reading in readings {
        for id in &reading.way {
            let bound = &mut bounds[id.index()];
            bound.touched = true;
            if reading.high < bound.high {
                (bound.high, bound.within) = (reading.high, Some(reading.touch));
            }
            if reading.way.len() == 1 {
                bound.alone = Some(reading.touch);
            }
        }
    }
    for reading in readings {
        let sum: f64 = reading.way.iter().map(|id| bounds[id.index()].high).sum();
        for id in &reading.way {
            let others: f64 = if sum.is_finite() {
                sum - bounds[id.index()].high
            } else {
                reading.way.iter().filter(|other| *other != id).map(|other| bounds[other.index()].high).sum()
            };
            let bound = &mut bounds[id.index()];
            bound.low = bound.low.max(reading.low - others);
        }
    }
    bounds
}

/// Two touches that cannot both be true of a unit in which nothing moves: the later one first.
pub fn contradiction(readings: &[Reading]) -> Option<[usize; 2]> {
    for whole in readings {
        let others: Vec<&Reading> = readings.iter().filter(|other| other.touch != whole.touch).collect();
        let least = |id: &SegmentId| {
            let over = others.iter().filter(|other| other.way.contains(id));
            over.min_by(|a, b| a.high.total_cmp(&b.high))
        };
        let parts: Option<Vec<&&Reading>> = whole.way.iter().map(least).collect();
        let Some(parts) = parts else { continue };
        let mut once: Vec<&&Reading> = Vec::new();
        for part in parts {
            if !once.iter().any(|known| known.touch == part.touch) {
                once.push(part);
            }
        }
        let sum: f64 = once.iter().map(|part| part.high).sum();
        if sum < whole.low
            && let Some(latest) = once.iter().map(|part| part.touch).max()
        {
            return Some([latest.max(whole.touch), latest.min(whole.touch)]);
        }
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;

    fn reading(touch: usize, way: &[usize], low: f64, high: f64) -> Reading {
        let way = way.iter().map(|&id| SegmentId::new(id)).collect();
        Reading { touch, way, low, high, method: Method::Continuity }
    }

    #[test]
    fn a_part_that_stops_more_than_the_whole_is_a_contradiction_and_names_the_two() {
        let inf = f64::INFINITY;
        let whole_beeps = reading(0, &[0, 1, 2], 0.0, 100.0);
        assert_eq!(
            contradiction(&[whole_beeps.clone(), reading(1, &[1], 20.0, inf)]),
            None,
            "20 Ω may beep elsewhere"
        );
        assert_eq!(contradiction(&[whole_beeps.clone(), reading(1, &[1], 200.0, inf)]), Some([1, 0]));
        let parts =
            [reading(0, &[0], 0.0, 1.0), reading(1, &[1, 2], 0.0, 1.0), reading(2, &[0, 1, 2], 200.0, inf)];
        assert_eq!(contradiction(&parts), Some([2, 1]));
        assert_eq!(contradiction(&[whole_beeps, reading(1, &[3], 200.0, inf)]), None);
    }

    #[test]
    fn the_rest_of_an_open_way_is_where_the_parts_that_conduct_are_not() {
        let path = concat!(env!("CARGO_MANIFEST_DIR"), "/../fixtures/tide-gauge-head/board.toml");
        let board = crate::board::read(path.as_ref()).unwrap();
        let bounds = of_segments(
            &board,
            &[reading(0, &[0, 1], 0.0, 0.5), reading(1, &[0, 1, 2], 200.0, f64::INFINITY)],
        );
        assert!(bounds[2].low >= 199.0, "{:?}", bounds[2]);
        assert_eq!((bounds[0].low, bounds[0].high), (0.0, 0.5));
        assert!(!bounds[3].touched);
    }
}
