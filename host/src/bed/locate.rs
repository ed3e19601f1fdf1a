//! What holds a board where its pins are: stops at its edges, two along one edge and one along another across it, as six-point location
//! has it in the plane (the 3-2-1 rule of fixture design; common practice), and one with play opposite each of the two edges.

use crate::board::outline;
use crate::plane::{self, Edge, apart};

/// Diameter of a stop, a dowel pin, mm.
pub const STOP_MM: f64 = 3.0;
/// Play of a stop opposite one that locates, mm.
pub const PLAY_MM: f64 = 0.3;
/// Play of a stop that locates, mm: what a sawn or milled edge needs.
const FIT_MM: f64 = 0.05;

/// A stop.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Stop {
    /// Its middle, seen from the front of the board, mm.
    pub at: [f64; 2],
    /// Does it locate the board, or only hold it?
    pub locates: bool,
}

struct Facing {
    edge: Edge,
    length: f64,
    /// Out of the board.
    normal: [f64; 2],
}

/// Stops round an outline. An odd shape may have fewer than five.
pub fn stops(outline: &[[f64; 2]]) -> Vec<Stop> {
    let mut edges: Vec<Facing> = plane::edges(outline).filter_map(|edge| facing(outline, edge)).collect();
    edges.sort_by(|a, b| b.length.total_cmp(&a.length));
    let Some(first) = edges.first() else { return Vec::new() };
    let across = edges.iter().find(|other| dot(first.normal, other.normal).abs() < 0.5);
    let opposite = |of: &Facing| {
        edges.iter().find(|other| dot(of.normal, other.normal) < -0.8).map(|edge| (edge, PLAY_MM))
    };
    let mut stops = Vec::new();
    for along in [0.12, 0.88] {
        stops.extend(stop(outline, first, along, FIT_MM));
    }
    stops.extend(across.and_then(|edge| stop(outline, edge, 0.5, FIT_MM)));
    for (edge, play) in [Some(first), across].into_iter().flatten().filter_map(opposite) {
        stops.extend(stop(outline, edge, 0.5, play));
    }
    stops
}

/// An edge with the direction out of the board; `None` where it is too short to say.
fn facing(outline: &[[f64; 2]], edge: Edge) -> Option<Facing> {
    const SHORTEST_MM: f64 = 2.0;
    const NEAR_MM: f64 = 1e-3;
    let [[x0, y0], [x1, y1]] = edge;
    let length = apart(edge[0], edge[1]);
    if length < SHORTEST_MM {
        return None;
    }
    let normal = [(y1 - y0) / length, (x0 - x1) / length];
    let middle = [(x0 + x1) / 2.0, (y0 + y1) / 2.0];
    let inside =
        outline::contains(outline, [middle[0] + NEAR_MM * normal[0], middle[1] + NEAR_MM * normal[1]]);
    let normal = if inside { normal.map(|part| -part) } else { normal };
    Some(Facing { edge, length, normal })
}

/// A stop at a part of an edge, or near that where the board leaves room.
fn stop(outline: &[[f64; 2]], facing: &Facing, along: f64, play_mm: f64) -> Option<Stop> {
    let [[x0, y0], [x1, y1]] = facing.edge;
    let away = STOP_MM / 2.0 + play_mm;
    let tries = [0.0, 0.1, -0.1, 0.2, -0.2, 0.3, -0.3].map(|step| along + step);
    let tries = tries.into_iter().filter(|along| (0.05..=0.95).contains(along)).map(|along| {
        let on = [x0 + along * (x1 - x0), y0 + along * (y1 - y0)];
        [on[0] + away * facing.normal[0], on[1] + away * facing.normal[1]]
    });
    let free =
        |at: &[f64; 2]| !outline::contains(outline, *at) && outline::distance(outline, *at) > away - 1e-6;
    tries.into_iter().find(free).map(|at| Stop { at, locates: play_mm < PLAY_MM })
}

fn dot(a: [f64; 2], b: [f64; 2]) -> f64 {
    a[0] * b[0] + a[1] * b[1]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_rectangle_is_held_by_five() {
        let outline = [[0.0, 0.0], [60.0, 0.0], [60.0, 40.0], [0.0, 40.0]];
        let stops = stops(&outline);
        assert_eq!(stops.len(), 5);
        assert_eq!(stops.iter().filter(|stop| stop.locates).count(), 3);
        for stop in &stops {
            let gap = outline::distance(&outline, stop.at) - STOP_MM / 2.0;
            let play = if stop.locates { FIT_MM } else { PLAY_MM };
            assert!((gap - play).abs() < 1e-9 && !outline::contains(&outline, stop.at), "{stop:?}");
        }
    }
}
