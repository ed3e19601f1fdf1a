//! Places held at one potential: areas of terminals and rims of barrels, those that touch on a layer taken together.

use super::contour::{Contour, Roundness, contours};
use super::{Conductor, CopperError, End, GAP_MM, Terminal};
use crate::plane::{edges, meet, turn};

/// All areas of one potential.
pub(super) struct Held {
    /// Areas by layer, each with its node.
    pub areas: Vec<Vec<(usize, Vec<Contour>)>>,
    /// Node of either terminal.
    pub ends: [usize; 2],
    /// Barrels as resistors between nodes, ohms.
    pub barrels: Vec<([usize; 2], f64)>,
    /// How many nodes there are; some may hold nothing.
    pub nodes: usize,
}

/// Sets of things that are one.
pub(super) struct Sets(Vec<usize>);

impl Sets {
    pub fn new(count: usize) -> Self {
        Self((0..count).collect())
    }

    pub fn find(&mut self, mut of: usize) -> usize {
        while self.0[of] != of {
            self.0[of] = self.0[self.0[of]];
            of = self.0[of];
        }
        of
    }

    /// The smaller name stays, so that the outcome does not depend on the order.
    pub fn join(&mut self, a: usize, b: usize) {
        let (a, b) = (self.find(a), self.find(b));
        self.0[a.max(b)] = a.min(b);
    }
}

/// Gathers the areas of a conductor and what they are joined to.
///
/// # Errors
/// A layer that is not there, a resistance that is none, an unsound shape, or terminals that touch each other.
pub(super) fn held(
    conductor: &Conductor,
    from: &Terminal,
    to: &Terminal,
    round: Roundness,
) -> Result<Held, CopperError> {
    let layers = conductor.layers.len();
    // Before they are joined: both terminals, then two ends of every barrel.
    let mut areas: Vec<Vec<(usize, Vec<Contour>)>> = vec![Vec::new(); layers];
    let mut put = |layer: usize, node: usize, shape| {
        let place = areas.get_mut(layer).ok_or(CopperError::NoLayer { layer, layers })?;
        place.push((node, contours(shape, round)?));
        Ok::<_, CopperError>(())
    };
    for (node, terminal) in [from, to].into_iter().enumerate() {
        for (layer, shape) in &terminal.areas {
            put(*layer, node, shape)?;
        }
    }
    for (i, barrel) in conductor.barrels.iter().enumerate() {
        put(barrel.layers.0, 2 + 2 * i, &barrel.rim)?;
        put(barrel.layers.1, 3 + 2 * i, &barrel.rim)?;
    }
    let nodes = 2 + 2 * conductor.barrels.len();
    let mut sets = Sets::new(nodes);
    for layer in &areas {
        let boxes: Vec<_> = layer.iter().map(|(_, area)| bounds(area)).collect();
        for (i, (one, area)) in layer.iter().enumerate() {
            for (j, (other, beside)) in layer.iter().enumerate().skip(i + 1) {
                if sets.find(*one) != sets.find(*other) && near(boxes[i], boxes[j]) && touch(area, beside) {
                    sets.join(*one, *other);
                }
            }
        }
    }
    let ends = [sets.find(0), sets.find(1)];
    if ends[0] == ends[1] {
        return Err(CopperError::Together);
    }
    for (end, terminal) in [(End::From, from), (End::To, to)] {
        if terminal.areas.is_empty() {
            return Err(CopperError::Outside { end });
        }
    }
    for (node, _) in areas.iter_mut().flatten() {
        *node = sets.find(*node);
    }
    let barrels = conductor.barrels.iter().enumerate().map(|(i, barrel)| {
        let ohms = barrel.resistance.0;
        match ohms > 0.0 && ohms.is_finite() {
            true => Ok(([sets.find(2 + 2 * i), sets.find(3 + 2 * i)], ohms)),
            false => Err(CopperError::Resistance { ohms }),
        }
    });
    let barrels = barrels.collect::<Result<Vec<_>, _>>()?;
    Ok(Held { areas, ends, barrels, nodes })
}

/// Least and greatest of both coordinates.
pub(super) fn bounds(area: &[Contour]) -> [[f64; 2]; 2] {
    let mut bounds = [[f64::INFINITY; 2], [f64::NEG_INFINITY; 2]];
    for point in area.iter().flatten() {
        for axis in 0..2 {
            bounds[0][axis] = bounds[0][axis].min(point[axis]);
            bounds[1][axis] = bounds[1][axis].max(point[axis]);
        }
    }
    bounds
}

/// Do two rectangles come within the gap of each other?
pub(super) fn near(a: [[f64; 2]; 2], b: [[f64; 2]; 2]) -> bool {
    (0..2).all(|axis| a[0][axis] <= b[1][axis] + GAP_MM && b[0][axis] <= a[1][axis] + GAP_MM)
}

/// Do two areas overlap or come within the gap of each other?
fn touch(a: &[Contour], b: &[Contour]) -> bool {
    let reaches = |from: &[Contour], to: &[Contour]| {
        from.iter().flatten().any(|&point| contains(to, point) || on_edge(to, point))
    };
    let cross = || {
        a.iter()
            .flat_map(|ring| edges(ring))
            .any(|one| b.iter().flat_map(|ring| edges(ring)).any(|other| meet(one, other).is_some()))
    };
    reaches(a, b) || reaches(b, a) || cross()
}

/// Is a point inside an area? Contours add up by how often they wind around it.
fn contains(area: &[Contour], point: [f64; 2]) -> bool {
    let mut winds = 0;
    for [a, b] in area.iter().flat_map(|ring| edges(ring)) {
        if (a[1] <= point[1]) != (b[1] <= point[1]) {
            let left = turn(a, b, point) > 0.0;
            winds += match (a[1] <= point[1], left) {
                (true, true) => 1,
                (false, false) => -1,
                _ => 0,
            };
        }
    }
    winds > 0
}

/// Does a point lie on an edge of an area, within the gap?
pub(super) fn on_edge(area: &[Contour], point: [f64; 2]) -> bool {
    area.iter().flat_map(|ring| edges(ring)).any(|[a, b]| {
        let (dx, dy) = (b[0] - a[0], b[1] - a[1]);
        let (px, py) = (point[0] - a[0], point[1] - a[1]);
        let squared = dx * dx + dy * dy;
        let t = if squared > 0.0 { ((px * dx + py * dy) / squared).clamp(0.0, 1.0) } else { 0.0 };
        (px - t * dx).hypot(py - t * dy) <= GAP_MM
    })
}
