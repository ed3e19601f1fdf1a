//! The board's outline as a polygon: is it one, and is a point on it?

use crate::plane::{Edge, edges, turn};

/// Is a point inside the polygon or on its edge? Crossings of a ray to the right, counted even-odd.
pub fn contains(outline: &[[f64; 2]], point: [f64; 2]) -> bool {
    let [x, y] = point;
    let mut inside = false;
    for [[x0, y0], [x1, y1]] in edges(outline) {
        if on_edge([x0, y0], [x1, y1], point) {
            return true;
        }
        if (y0 > y) != (y1 > y) && x < (x1 - x0) * (y - y0) / (y1 - y0) + x0 {
            inside = !inside;
        }
    }
    inside
}

/// How far a place is from the polygon's edge, mm.
pub fn distance(outline: &[[f64; 2]], [x, y]: [f64; 2]) -> f64 {
    let to_edge = |[[x0, y0], [x1, y1]]: Edge| {
        let [dx, dy] = [x1 - x0, y1 - y0];
        let length2 = dx * dx + dy * dy;
        let along = if length2 > 0.0 { ((x - x0) * dx + (y - y0) * dy) / length2 } else { 0.0 };
        let along = along.clamp(0.0, 1.0);
        (x - x0 - along * dx).hypot(y - y0 - along * dy)
    };
    edges(outline).map(to_edge).fold(f64::INFINITY, f64::min)
}

/// The rectangle round the polygon: least x and y, greatest x and y, mm.
pub fn bounds(outline: &[[f64; 2]]) -> [[f64; 2]; 2] {
    let start = [[f64::INFINITY; 2], [f64::NEG_INFINITY; 2]];
    outline.iter().fold(start, |[low, high], [x, y]| {
        [[low[0].min(*x), low[1].min(*y)], [high[0].max(*x), high[1].max(*y)]]
    })
}

fn on_edge(a: [f64; 2], b: [f64; 2], p: [f64; 2]) -> bool {
    const NEAR_MM2: f64 = 1e-9;
    let within = |k: usize| p[k] >= a[k].min(b[k]) && p[k] <= a[k].max(b[k]);
    turn(a, b, p).abs() <= NEAR_MM2 && within(0) && within(1)
}

#[cfg(test)]
mod tests {
    use super::*;

    const ELL: [[f64; 2]; 6] = [[0.0, 0.0], [6.0, 0.0], [6.0, 2.0], [2.0, 2.0], [2.0, 6.0], [0.0, 6.0]];

    #[test]
    fn points_of_an_ell() {
        for (point, inside) in [
            ([1.0, 5.0], true),
            ([5.0, 1.0], true),
            ([4.0, 4.0], false),
            ([2.0, 4.0], true),
            ([6.0, 2.0], true),
            ([6.1, 2.0], false),
            ([-0.1, 2.0], false),
        ] {
            assert_eq!(contains(&ELL, point), inside, "{point:?}");
        }
        assert_eq!(distance(&ELL, [4.0, 4.0]), 2.0);
        assert_eq!(distance(&ELL, [-3.0, -4.0]), 5.0);
        assert_eq!(bounds(&ELL), [[0.0, 0.0], [6.0, 6.0]]);
    }
}
