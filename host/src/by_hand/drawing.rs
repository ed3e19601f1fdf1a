//! A side of the board in characters, as it is seen: outline, and the two points.

use super::place::{Face, extent};
use crate::board::{Board, PointId};

/// Columns of the drawing: half a terminal.
const COLUMNS: usize = 46;
/// A character of a terminal is about twice as high as it is wide (common practice).
const HIGH: f64 = 2.0;
/// Rows at most, so that the question stays on the screen.
const ROWS: usize = 15;

/// The drawing, line by line, without blanks at the ends. The first point is `A`, the second `B`; one that lies on the other face
/// is a small letter.
pub fn drawing(board: &Board, points: [PointId; 2], face: Face) -> Vec<String> {
    let [low, high] = extent(board);
    let [width, height] = [0, 1].map(|axis| (high[axis] - low[axis]).max(1.0));
    let scale = ((COLUMNS - 1) as f64 / width).min((ROWS - 1) as f64 * HIGH / height);
    let rows = (height * scale / HIGH).round() as usize + 1;
    let columns = (width * scale).round() as usize + 1;
    let mut cells = vec![vec![' '; columns]; rows];
    let cell = |[x, y]: [f64; 2]| {
        let across = if face == Face::Back { high[0] - x } else { x - low[0] };
        let column = (across * scale).round().max(0.0) as usize;
        let row = ((high[1] - y) * scale / HIGH).round().max(0.0) as usize;
        (row.min(rows - 1), column.min(columns - 1))
    };
    let next = board.outline.iter().cycle().skip(1);
    for (&[x, y], &[to_x, to_y]) in board.outline.iter().zip(next) {
        let steps = (2 * COLUMNS) as f64;
        for step in 0..=2 * COLUMNS {
            let along = step as f64 / steps;
            let (row, column) = cell([x + along * (to_x - x), y + along * (to_y - y)]);
            cells[row][column] = '·';
        }
    }
    let shown = board.points.iter().filter(|point| face.reaches(point));
    for point in shown {
        let (row, column) = cell(point.at);
        if cells[row][column] == ' ' {
            cells[row][column] = ',';
        }
    }
    for (point, letter) in points.into_iter().zip(['A', 'B']) {
        let point = board.point(point);
        let (row, column) = cell(point.at);
        // Two points in one cell stand beside each other.
        let free = if cells[row][column] == 'A' || cells[row][column] == 'a' {
            if column + 1 < columns { column + 1 } else { column.saturating_sub(1) }
        } else {
            column
        };
        cells[row][free] = if face.reaches(point) { letter } else { letter.to_ascii_lowercase() };
    }
    cells.into_iter().map(|row| row.into_iter().collect::<String>().trim_end().to_owned()).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn both_points_are_marked_and_the_back_is_mirrored() {
        let board =
            crate::board::parse("b", include_str!("../../../fixtures/tide-gauge-head/board.toml")).unwrap();
        let points = [board.supply.from, board.supply.to[0]];
        let column = |face, letter: char| {
            let lines = drawing(&board, points, face);
            let widest = lines.iter().map(|line| line.chars().count()).max().unwrap();
            let line = lines.iter().find(|line| line.to_uppercase().contains(letter)).unwrap();
            let at = line.to_uppercase().chars().position(|c| c == letter).unwrap();
            (at, widest)
        };
        for letter in ['A', 'B'] {
            let ((front, widest), (back, _)) = (column(Face::Front, letter), column(Face::Back, letter));
            assert!((front + back) as i64 - (widest as i64 - 1) <= 1, "{letter}: {front} {back} of {widest}");
        }
        assert!(drawing(&board, points, Face::Front).len() <= ROWS);
    }
}
