//! Where a board would bow under its pins, and the posts that keep it flat.
//!
//! Springs push from one face; posts on the other plate hold against them. Round each pin the board is taken for a disc held at its edge, with
//! the force of all the disc's pins in its middle: w = (3 + ν) P r² / (16 π (1 + ν) D), D = E t³ / (12 (1 - ν²)) (Timoshenko and
//! Woinowsky-Krieger, Theory of Plates and Shells, 2nd edition, article 19: circular plate, simply supported, concentrated load). The edge of
//! the disc is where the third nearest post stands, since three hold a plane. An estimate: posts are no ring, but a force spread over the
//! disc bends it less than one in its middle.

use crate::board::{Board, Face, outline};
use crate::plane::apart;

/// Young's modulus of FR-4, Pa (common practice: 18 to 24 GPa).
const E_PASCAL: f64 = 20e9;
/// Poisson's number of FR-4 (common practice).
const NU: f64 = 0.15;
/// A board may bow by so much, mm (common practice: ceramic capacitors crack long after that, and pins have their travel).
pub const MOST_BOW_MM: f64 = 0.1;
/// Every pin has its third nearest post within half of this, mm, however stiff the board is (common practice).
pub const MOST_SPAN_MM: f64 = 50.0;
/// Diameter of a post, an M3 spacer, mm.
pub const POST_MM: f64 = 5.0;
/// Between a post and a pin, a point or a keep-out, mm.
const CLEARANCE_MM: f64 = 0.5;
/// Posts that are tried stand on a grid of this, mm; wider on large boards.
const GRID_MM: f64 = 2.0;
/// Places that are tried at most, in x and in y.
const MOST_TRIED: f64 = 60.0;
/// Posts stand at least so far apart, mm.
const APART_MM: f64 = 6.5;
/// Posts on a plate at most.
const MOST_POSTS: usize = 60;

/// A spring that presses on the board.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Spring {
    /// The face it presses on.
    pub face: Face,
    /// Where, mm.
    pub at: [f64; 2],
    /// How hard, N.
    pub newton: f64,
    /// Half the room it takes on its plate, mm.
    pub radius_mm: f64,
}

/// Posts on a face, and how the board does on them.
#[derive(Clone, PartialEq, Debug)]
pub struct Support {
    /// The face the posts touch.
    pub face: Face,
    /// Where, mm.
    pub posts: Vec<[f64; 2]>,
    /// Force of all springs on the other face, N.
    pub newton: f64,
    /// The largest bow, mm; 0 where nothing presses.
    pub bow_mm: f64,
    /// The longest span: twice the way from a pin to its third nearest post, mm.
    pub span_mm: f64,
}

/// Bow of a board of FR-4, mm: thickness and radius in mm, force in N.
pub fn bow(thickness_mm: f64, newton: f64, radius_mm: f64) -> f64 {
    let (t, r) = (thickness_mm * 1e-3, radius_mm * 1e-3);
    let stiffness = E_PASCAL * t.powi(3) / (12.0 * (1.0 - NU * NU));
    (3.0 + NU) * newton * r * r / (16.0 * std::f64::consts::PI * (1.0 + NU) * stiffness) * 1e3
}

/// Posts on one face against the springs on the other; they keep away from the springs on their own, from points and from keep-outs. Where
/// nothing presses, four at the corners hold the board level.
pub fn support(board: &Board, face: Face, springs: &[Spring]) -> Support {
    let pressing: Vec<&Spring> = springs.iter().filter(|spring| spring.face != face).collect();
    let tried = places(board, face, springs);
    let mut posts: Vec<[f64; 2]> = Vec::new();
    let room = |posts: &[[f64; 2]], at: [f64; 2]| posts.iter().all(|post| apart(*post, at) >= APART_MM);
    for corner in corners(&board.outline) {
        let free = tried.iter().copied().filter(|&at| room(&posts, at));
        posts.extend(free.min_by(|a, b| apart(*a, corner).total_cmp(&apart(*b, corner))));
    }
    // The worst pin that can still be helped gets the nearest post that stands nearer than its third.
    let mut helpless: Vec<usize> = Vec::new();
    while posts.len() < MOST_POSTS {
        let lacking = (0..pressing.len()).filter(|at| !helpless.contains(at)).filter_map(|at| {
            let (radius, bow) = of(board, &pressing, &posts, at);
            (bow > MOST_BOW_MM || 2.0 * radius > MOST_SPAN_MM).then_some((at, radius, bow))
        });
        let Some((at, radius, _)) = lacking.max_by(|a, b| a.2.total_cmp(&b.2)) else { break };
        let free = tried.iter().copied().filter(|&place| room(&posts, place));
        let nearest = free
            .map(|place| (apart(place, pressing[at].at), place))
            .filter(|(way, _)| *way < radius - 1e-9)
            .min_by(|a, b| a.0.total_cmp(&b.0));
        match nearest {
            Some((_, place)) => posts.push(place),
            None => helpless.push(at),
        }
    }
    let each = || (0..pressing.len()).map(|at| of(board, &pressing, &posts, at));
    Support {
        face,
        newton: pressing.iter().map(|spring| spring.newton).sum(),
        bow_mm: each().map(|(_, bow)| bow).fold(0.0, f64::max),
        span_mm: each().map(|(radius, _)| 2.0 * radius).fold(0.0, f64::max),
        posts,
    }
}

/// How far a spring's third nearest post is, and the bow there, mm.
fn of(board: &Board, pressing: &[&Spring], posts: &[[f64; 2]], at: usize) -> (f64, f64) {
    let own = pressing[at].at;
    let mut ways: Vec<f64> = posts.iter().map(|post| apart(*post, own)).collect();
    ways.sort_by(f64::total_cmp);
    // With fewer than three posts the board is held by nothing nearer than its own size.
    let [low, high] = outline::bounds(&board.outline);
    let radius = ways.get(2).copied().unwrap_or_else(|| apart(low, high));
    let near = pressing.iter().filter(|other| apart(other.at, own) <= radius);
    (radius, bow(board.thickness_mm, near.map(|spring| spring.newton).sum(), radius))
}

/// Where a post has room.
fn places(board: &Board, face: Face, springs: &[Spring]) -> Vec<[f64; 2]> {
    let [low, high] = outline::bounds(&board.outline);
    let step = [0, 1].map(|axis| GRID_MM.max((high[axis] - low[axis]) / MOST_TRIED));
    let count = [0, 1].map(|axis| ((high[axis] - low[axis]) / step[axis]).floor() as usize + 1);
    let free = |at: &[f64; 2]| {
        let reach = POST_MM / 2.0 + CLEARANCE_MM;
        let own = springs.iter().filter(|spring| spring.face == face);
        let points = board.points.iter().filter(|point| point.side.touches(face));
        outline::contains(&board.outline, *at)
            && outline::distance(&board.outline, *at) >= POST_MM / 2.0
            && own.into_iter().all(|spring| apart(spring.at, *at) >= reach + spring.radius_mm)
            && points.into_iter().all(|point| apart(point.at, *at) >= reach)
            && !board.keep_outs.iter().any(|keep_out| keep_out.side == face && keep_out.covers(*at, reach))
    };
    let grid = (0..count[0]).flat_map(|i| (0..count[1]).map(move |j| [i, j]));
    let at = |[i, j]: [usize; 2]| [low[0] + (i as f64 + 0.5) * step[0], low[1] + (j as f64 + 0.5) * step[1]];
    grid.map(at).filter(free).collect()
}

fn corners(outline: &[[f64; 2]]) -> [[f64; 2]; 4] {
    let [low, high] = outline::bounds(outline);
    [low, [high[0], low[1]], high, [low[0], high[1]]]
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The same reference gives 0.0116 P a²/D for a square plate with simply supported edges (table 23); a disc of that width bends by a like
    /// amount.
    #[test]
    fn a_disc_bends_like_a_square() {
        let stiffness = E_PASCAL * 1.6e-3_f64.powi(3) / (12.0 * (1.0 - NU * NU));
        let square = 0.0116 * 20.0 * 0.04_f64.powi(2) / stiffness * 1e3;
        let disc = bow(1.6, 20.0, 20.0);
        assert!((0.8..1.5).contains(&(disc / square)), "{disc} {square}");
        assert!((bow(1.6, 20.0, 40.0) / disc - 4.0).abs() < 1e-9, "as the square of the span");
        assert!((bow(0.8, 20.0, 20.0) / disc - 8.0).abs() < 1e-9, "as the cube of the thickness");
    }
}
