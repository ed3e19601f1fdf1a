//! Edges of keep-outs and of the board on one face, each with how near the wire's middle line may come, in a raster in which
//! those near a place are found.

use super::piece::Piece;
use super::problem::Obstacle;
use super::task::Task;
use super::vector::{Vector, between, to_stretch};
use crate::board::{Face, outline};
use crate::plane;

/// What is lost to rounding, mm: circles about corners are wider by it than is asked, and where a wire lies it may be short of what is asked by no
/// more than twice that. So a slot just as wide as the wire needs is passed.
pub(super) const ROUNDING_MM: f64 = 1e-9;
/// What a place may be short of a reach that has `ROUNDING_MM` in it, mm.
pub(super) const SHORT_MM: f64 = 3.0 * ROUNDING_MM;
/// Corners closer than this are one, mm.
const SAME_CORNER_MM: f64 = 1e-6;

/// Whose edge it is: that of a keep-out by its number, or nothing for the board's.
pub(super) type Owner = Option<usize>;

/// An edge of an obstacle.
#[derive(Clone, Copy, Debug)]
pub(super) struct Wall {
    pub ends: [Vector; 2],
    /// What the wire's middle line keeps from it, mm; `ROUNDING_MM` included.
    pub reach: f64,
    /// What it would have to keep, mm: `reach` is more where room for bends is looked for; `ROUNDING_MM` included.
    pub needed: f64,
    pub owner: Owner,
}

/// A polygon whose left side, as it is walked, is the obstacle.
pub(super) struct Shape {
    pub ring: Vec<Vector>,
    /// What the middle line keeps from it, mm; `ROUNDING_MM` included.
    pub reach: f64,
    /// As in [`Wall`].
    pub needed: f64,
    pub owner: Owner,
}

/// The walls of one face.
pub(super) struct Walls {
    pub all: Vec<Wall>,
    raster: Raster,
}

/// The obstacles of a face, with what the wire's middle line keeps from each but no less than `least_mm`.
pub(super) fn shapes(task: &Task, face: Face, least_mm: f64) -> Vec<Shape> {
    let shape = |ring, needed: f64, owner| Shape {
        ring,
        reach: needed.max(least_mm) + ROUNDING_MM,
        needed: needed + ROUNDING_MM,
        owner,
    };
    let mut shapes = vec![shape(walked(&task.outline, -1.0), task.wire.edge_reach_mm(), None)];
    for (index, keep_out) in task.keep_outs.iter().enumerate().filter(|(_, keep_out)| keep_out.side == face) {
        shapes.push(shape(walked(&keep_out.polygon, 1.0), task.wire.reach_mm(), Some(index)));
    }
    shapes
}

/// A polygon walked counterclockwise (`sign` 1) or clockwise (-1), without corners that repeat the one before.
fn walked(corners: &[Vector], sign: f64) -> Vec<Vector> {
    let mut ring: Vec<Vector> = Vec::with_capacity(corners.len());
    for &corner in corners {
        if ring.last().is_none_or(|last| plane::apart(*last, corner) > SAME_CORNER_MM) {
            ring.push(corner);
        }
    }
    while ring.len() > 1 && plane::apart(ring[0], ring[ring.len() - 1]) <= SAME_CORNER_MM {
        ring.pop();
    }
    if plane::signed_area(&ring) * sign < 0.0 {
        ring.reverse();
    }
    ring
}

impl Walls {
    pub fn new(shapes: &[Shape], board: &[Vector]) -> Self {
        let all: Vec<Wall> = shapes
            .iter()
            .flat_map(|shape| {
                plane::edges(&shape.ring).map(|ends| Wall {
                    ends,
                    reach: shape.reach,
                    needed: shape.needed,
                    owner: shape.owner,
                })
            })
            .collect();
        let raster = Raster::new(outline::bounds(board), &all);
        Self { all, raster }
    }

    /// Is there room for the wire's middle line straight from here to there?
    pub fn sees(&self, from: Vector, to: Vector) -> bool {
        let [low, high] =
            [[from[0].min(to[0]), from[1].min(to[1])], [from[0].max(to[0]), from[1].max(to[1])]];
        let apart = |wall: &Wall| {
            let [a, b] = wall.ends;
            let reach = wall.reach;
            let beside = (0..2).any(|k| a[k].min(b[k]) - reach > high[k] || a[k].max(b[k]) + reach < low[k]);
            beside || between(wall.ends, [from, to]) >= reach - SHORT_MM
        };
        self.raster.along(from, to, |number| apart(&self.all[number as usize]))
    }

    /// The walls that may be within their reach of a rectangle, each once.
    pub fn near(&self, bounds: [Vector; 2]) -> Vec<&Wall> {
        self.numbers_near(bounds).into_iter().map(|number| &self.all[number]).collect()
    }

    /// Their numbers.
    pub fn numbers_near(&self, [low, high]: [Vector; 2]) -> Vec<usize> {
        let mut numbers: Vec<usize> = self.raster.within(low, high).map(|number| number as usize).collect();
        numbers.sort_unstable();
        numbers.dedup();
        numbers
    }

    /// The most that is kept from any wall, mm.
    pub fn longest_reach(&self) -> f64 {
        self.all.iter().map(|wall| wall.reach).fold(0.0, f64::max)
    }

    /// The wall that a piece comes too near to, the nearest first, and by how much, mm.
    pub fn touched(&self, piece: Piece) -> Option<(&Wall, f64)> {
        self.near(piece.bounds())
            .into_iter()
            .map(|wall| (wall, wall.needed - ROUNDING_MM - piece.to_stretch(wall.ends)))
            .filter(|(_, short)| *short > 0.0)
            .max_by(|a, b| a.1.total_cmp(&b.1))
    }

    /// What a wire whose middle line passes a place comes too near to, and its distance.
    pub fn too_near(&self, at: Vector) -> Option<(&Wall, f64)> {
        self.near([at, at])
            .into_iter()
            .map(|wall| (wall, to_stretch(at, wall.ends)))
            .filter(|(wall, apart)| *apart < wall.reach - SHORT_MM)
            .min_by(|a, b| a.1.total_cmp(&b.1))
    }
}

impl Obstacle {
    /// By whose wall it is.
    pub(super) fn of(task: &Task, owner: Owner) -> Self {
        match owner {
            None => Self::Edge,
            Some(index) => {
                let why = task.keep_outs.get(index).map_or_else(String::new, |keep_out| keep_out.why.clone());
                Self::KeepOut { index, why }
            }
        }
    }
}

/// Squares over the board, each with the walls that reach into it.
struct Raster {
    low: Vector,
    cell: f64,
    columns: usize,
    rows: usize,
    cells: Vec<Vec<u32>>,
}

impl Raster {
    fn new([low, high]: [Vector; 2], walls: &[Wall]) -> Self {
        let [width, height] = [high[0] - low[0], high[1] - low[1]];
        // About as many cells as walls.
        let cell =
            (width * height / (walls.len() as f64 + 1.0)).sqrt().max(width.max(height) / 256.0).max(1e-3);
        let count = |length: f64| ((length / cell).ceil() as usize).clamp(1, 257);
        let (columns, rows) = (count(width), count(height));
        let mut raster = Self { low, cell, columns, rows, cells: vec![Vec::new(); columns * rows] };
        for (number, wall) in walls.iter().enumerate() {
            let [a, b] = wall.ends;
            let [x, y] = [0, 1].map(|k| {
                let (from, to) = (a[k].min(b[k]) - wall.reach, a[k].max(b[k]) + wall.reach);
                raster.index(from, k)..=raster.index(to, k)
            });
            for row in y {
                for column in x.clone() {
                    let middle = [0, 1].map(|k| low[k] + ([column, row][k] as f64 + 0.5) * cell);
                    if to_stretch(middle, wall.ends) <= wall.reach + cell * std::f64::consts::FRAC_1_SQRT_2 {
                        raster.cells[row * columns + column].push(number as u32);
                    }
                }
            }
        }
        raster
    }

    /// The column (`axis` 0) or row a coordinate lies in; what lies outside counts to the rim.
    fn index(&self, value: f64, axis: usize) -> usize {
        let most = [self.columns, self.rows][axis] - 1;
        (((value - self.low[axis]) / self.cell).floor().max(0.0) as usize).min(most)
    }

    /// Asks for every wall of the cells along a stretch, until an answer is no. A wall may be asked for again.
    fn along(&self, from: Vector, to: Vector, mut ask: impl FnMut(u32) -> bool) -> bool {
        let mut columns = [self.index(from[0], 0), self.index(to[0], 0)];
        let mut ends = [from, to];
        if columns[0] > columns[1] {
            columns.swap(0, 1);
            ends.swap(0, 1);
        }
        let [[x0, y0], [x1, y1]] = ends;
        let slope = if columns[0] == columns[1] { 0.0 } else { (y1 - y0) / (x1 - x0) };
        // Wider than rounding, narrower than anything else.
        let slip = SAME_CORNER_MM;
        for column in columns[0]..=columns[1] {
            let [left, right] = [column, column + 1].map(|at| self.low[0] + at as f64 * self.cell);
            let enters = if column == columns[0] { y0 } else { y0 + slope * (left - x0) };
            let leaves = if column == columns[1] { y1 } else { y0 + slope * (right - x0) };
            let rows = self.index(enters.min(leaves) - slip, 1)..=self.index(enters.max(leaves) + slip, 1);
            for row in rows {
                if !self.cells[row * self.columns + column].iter().all(|number| ask(*number)) {
                    return false;
                }
            }
        }
        true
    }

    fn within(&self, low: Vector, high: Vector) -> impl Iterator<Item = u32> + '_ {
        let [columns, rows] = [0, 1].map(|k| self.index(low[k], k)..=self.index(high[k], k));
        rows.flat_map(move |row| columns.clone().map(move |column| (row, column)))
            .flat_map(move |(row, column)| &self.cells[row * self.columns + column])
            .copied()
    }
}
