//! Corners a taut wire may bend round: the free parts of the circles about the corners of obstacles.
//!
//! The wire's middle line keeps its reach from every obstacle, so it is led round obstacles that are wider by that reach: straight beside their
//! edges, and on a part of a circle about each corner that points outwards. Where obstacles overlap so widened, what lies inside another is cut
//! off; a taut wire never touches a corner that points inwards.

use super::piece::circle_meets;
use super::vector::{Vector, add, along, angle, cross, right, scale, sub, to_stretch, turned, unit};
use super::walls::{Owner, SHORT_MM, Shape, Walls};
use crate::board::outline;
use crate::plane::apart;

/// Directions closer than this are one, radians.
pub(super) const SAME_ANGLE: f64 = 1e-7;

/// A free part of the circle about a corner, counterclockwise.
#[derive(Clone, Copy, Debug)]
pub(super) struct Arc {
    pub centre: Vector,
    pub radius: f64,
    /// What the middle line has to keep from the corner, mm: `radius` or less.
    pub needed: f64,
    /// Directions from the centre to where it begins and ends; less than half a turn apart.
    pub from: Vector,
    pub till: Vector,
    /// How far it turns, radians.
    pub sweep: f64,
}

impl Arc {
    /// Does it pass this direction from its centre?
    pub fn spans(&self, direction: Vector) -> bool {
        cross(self.from, direction) >= -SAME_ANGLE && cross(direction, self.till) >= -SAME_ANGLE
    }
}

/// The free arcs of one face.
pub(super) fn arcs(shapes: &[Shape], walls: &Walls) -> Vec<Arc> {
    let solid = Solid::new(shapes);
    shapes.iter().flat_map(cones).flat_map(|cone| free(&cone, walls, &solid)).collect()
}

/// The whole arcs round the corners of a shape that point outwards.
fn cones(shape: &Shape) -> Vec<Arc> {
    let ring = &shape.ring;
    let count = ring.len();
    let cone = |at: usize| {
        let (before, corner, after) = (ring[(at + count - 1) % count], ring[at], ring[(at + 1) % count]);
        let (arrives, leaves) = (unit(sub(corner, before))?, unit(sub(after, corner))?);
        let sweep = angle(arrives, leaves);
        let (from, till) = (right(arrives), right(leaves));
        (sweep > SAME_ANGLE).then_some(Arc {
            centre: corner,
            radius: shape.reach,
            needed: shape.needed,
            from,
            till,
            sweep,
        })
    };
    (0..count).filter_map(cone).collect()
}

/// The parts of an arc that no other obstacle covers.
fn free(cone: &Arc, walls: &Walls, solid: &Solid<'_>) -> Vec<Arc> {
    let Arc { centre, radius, from, sweep, .. } = *cone;
    let near: Vec<_> = walls
        .near([centre.map(|x| x - radius), centre.map(|x| x + radius)])
        .into_iter()
        .filter(|wall| to_stretch(centre, wall.ends) < radius + wall.reach)
        .collect();
    let mut cuts = vec![0.0, sweep];
    for wall in &near {
        let [a, b] = wall.ends;
        let aside = unit(right(sub(b, a))).map_or([0.0; 2], |aside| scale(aside, wall.reach));
        let flanks = [aside, scale(aside, -1.0)].map(|off| [add(a, off), add(b, off)]);
        let met = flanks.into_iter().flat_map(|flank| circle_meets(centre, radius, flank)).flatten();
        let round =
            [a, b].into_iter().flat_map(|end| circles_meet(centre, radius, end, wall.reach)).flatten();
        let angles = met.chain(round).map(|at| angle(from, sub(at, centre)));
        cuts.extend(angles.filter(|at| *at > 0.0 && *at < sweep));
    }
    cuts.sort_by(f64::total_cmp);
    let mut parts: Vec<[f64; 2]> = Vec::new();
    for pair in cuts.windows(2) {
        let [begin, end] = [pair[0], pair[1]];
        if end - begin < SAME_ANGLE {
            continue;
        }
        let middle = along(centre, turned(from, (begin + end) / 2.0), radius);
        let clear = near.iter().all(|wall| to_stretch(middle, wall.ends) >= wall.reach - SHORT_MM);
        if !clear || solid.holds(middle) {
            continue;
        }
        match parts.last_mut() {
            Some(last) if begin - last[1] <= SAME_ANGLE => last[1] = end,
            _ => parts.push([begin, end]),
        }
    }
    let part = |[begin, end]: [f64; 2]| Arc {
        from: turned(from, begin),
        till: turned(from, end),
        sweep: end - begin,
        ..*cone
    };
    parts.into_iter().map(part).collect()
}

/// Where two circles meet.
pub(super) fn circles_meet(a: Vector, a_radius: f64, b: Vector, b_radius: f64) -> [Option<Vector>; 2] {
    let distance = apart(a, b);
    let Some(way) = unit(sub(b, a)) else { return [None, None] };
    let foot = (distance * distance + a_radius * a_radius - b_radius * b_radius) / (2.0 * distance);
    let off = a_radius * a_radius - foot * foot;
    if off < 0.0 {
        return [None, None];
    }
    let middle = along(a, way, foot);
    [1.0, -1.0].map(|side| Some(along(middle, right(way), side * off.sqrt())))
}

/// What is inside an obstacle, however far from its edge.
pub(super) struct Solid<'a> {
    shapes: &'a [Shape],
    bounds: Vec<[Vector; 2]>,
}

impl<'a> Solid<'a> {
    pub fn new(shapes: &'a [Shape]) -> Self {
        Self { shapes, bounds: shapes.iter().map(|shape| outline::bounds(&shape.ring)).collect() }
    }

    /// Whose inside a place lies in, if in any; for the board's edge, its outside.
    pub fn holder(&self, at: Vector) -> Option<Owner> {
        let inside = |(shape, [low, high]): (&Shape, &[Vector; 2])| {
            let bounded = (0..2).all(|k| at[k] >= low[k] && at[k] <= high[k]);
            let contains = bounded && outline::contains(&shape.ring, at);
            contains == shape.owner.is_some()
        };
        self.shapes.iter().zip(&self.bounds).find(|pair| inside(*pair)).map(|(shape, _)| shape.owner)
    }

    fn holds(&self, at: Vector) -> bool {
        self.holder(at).is_some()
    }
}
