//! Where a point lies, in the words of somebody who looks for it with a tip.

use crate::board::{Board, Point, PointId, PointKind, Side};

/// The face of a board that is looked at.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub enum Face {
    /// As the board file's coordinates say.
    Front,
    /// The board turned over about its vertical axis: left and right change places.
    Back,
}

impl Face {
    /// The word on screens and in JSON.
    pub fn word(self) -> &'static str {
        match self {
            Self::Front => "front",
            Self::Back => "back",
        }
    }

    /// Can a tip reach the point from here?
    pub fn reaches(self, point: &Point) -> bool {
        matches!((self, point.side), (_, Side::Both) | (Self::Front, Side::Front) | (Self::Back, Side::Back))
    }
}

/// Lowest and highest coordinates of a board and its points, mm, seen from the front.
pub fn extent(board: &Board) -> [[f64; 2]; 2] {
    let places = board.outline.iter().chain(board.points.iter().map(|point| &point.at));
    let (mut low, mut high) = ([f64::INFINITY; 2], [f64::NEG_INFINITY; 2]);
    for &[x, y] in places {
        low = [low[0].min(x), low[1].min(y)];
        high = [high[0].max(x), high[1].max(y)];
    }
    [low, high]
}

/// Where a point is, mm from the left and from the bottom edge as it is seen on a face.
pub fn seen(board: &Board, point: PointId, face: Face) -> [f64; 2] {
    let [low, high] = extent(board);
    let [x, y] = board.point(point).at;
    let from_left = if face == Face::Back { high[0] - x } else { x - low[0] };
    [from_left, y - low[1]]
}

/// `back, 6 mm from the left edge, 33 mm from the bottom; terminal`.
pub fn landmark(board: &Board, point: PointId, face: Face) -> String {
    let [left, bottom] = seen(board, point, face);
    let kind = kind(board.point(point).kind);
    format!("{}, {left:.0} mm from the left edge, {bottom:.0} mm from the bottom; {kind}", face.word())
}

fn kind(kind: PointKind) -> &'static str {
    match kind {
        PointKind::Terminal => "terminal",
        PointKind::Pad => "pad",
        PointKind::Via => "via",
        PointKind::Leg => "leg of a part",
        PointKind::Test => "test point",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const BOARD: &str = include_str!("../../../fixtures/tide-gauge-head/board.toml");

    #[test]
    fn the_back_is_seen_with_left_and_right_exchanged() {
        let board = crate::board::parse("board.toml", BOARD).unwrap();
        let [[left, bottom], [right, _]] = extent(&board);
        for (id, point) in board.points.iter().enumerate() {
            let id = PointId::new(id);
            let [front, back] = [Face::Front, Face::Back].map(|face| seen(&board, id, face));
            assert_eq!(front, [point.at[0] - left, point.at[1] - bottom]);
            assert!((front[0] + back[0] - (right - left)).abs() < 1e-9, "{}", point.name);
            assert_eq!(front[1], back[1], "up stays up");
        }
        let cell = board.point_named("cell+").unwrap();
        let words = landmark(&board, cell, Face::Back);
        assert!(words.starts_with("back, ") && words.ends_with("from the bottom; terminal"), "{words}");
    }
}
