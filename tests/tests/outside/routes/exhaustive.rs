//! The shortest way found by trying everything, with geometry of its own.
//!
//! [`taut`]: places close together on the circle about every corner, whatever is beside it, and straight lines between any two of them: a
//! visibility graph. [`bent`]: such places with headings, and between any two of them the shortest curves of bounded curvature (Dubins 1957:
//! arc, straight or arc, arc). An optimal wire touches obstacles at such places, so both come as near to the optimum as the places are dense.

use std::cmp::Reverse;
use std::collections::BinaryHeap;
use std::f64::consts::{FRAC_PI_2, PI, TAU};

use copperwalk::board::{Face, Side};
use copperwalk::route::Task;

type At = [f64; 2];

/// The edges of one face, with what the wire's middle line keeps from each.
pub struct Edges(Vec<(At, At, f64)>);

/// How far a place is from a straight line's stretch.
fn off(p: At, a: At, b: At) -> f64 {
    let (dx, dy) = (b[0] - a[0], b[1] - a[1]);
    let long = dx * dx + dy * dy;
    let t =
        if long == 0.0 { 0.0 } else { (((p[0] - a[0]) * dx + (p[1] - a[1]) * dy) / long).clamp(0.0, 1.0) };
    (p[0] - a[0] - t * dx).hypot(p[1] - a[1] - t * dy)
}

fn apart(a: At, b: At) -> f64 {
    (a[0] - b[0]).hypot(a[1] - b[1])
}

impl Edges {
    pub fn of(task: &Task, face: Face) -> Self {
        let ring = |corners: &[At], reach: f64| {
            (0..corners.len())
                .map(|i| (corners[i], corners[(i + 1) % corners.len()], reach))
                .collect::<Vec<_>>()
        };
        let wire = &task.wire;
        let mut all = ring(&task.outline, wire.insulated_mm / 2.0 + wire.edge_mm);
        for keep_out in task.keep_outs.iter().filter(|keep_out| keep_out.side == face) {
            all.extend(ring(&keep_out.polygon, wire.insulated_mm / 2.0 + wire.clearance_mm));
        }
        Self(all)
    }

    /// How much more room than needed is at a place; negative where there is too little.
    pub fn room(&self, at: At) -> f64 {
        self.0.iter().map(|(a, b, reach)| off(at, *a, *b) - reach).fold(f64::INFINITY, f64::min)
    }

    fn sees(&self, p: At, q: At, slip: f64) -> bool {
        let side = |a: At, b: At, c: At| (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0]);
        self.0.iter().all(|&(a, b, reach)| {
            let meet = side(p, q, a) * side(p, q, b) < 0.0 && side(a, b, p) * side(a, b, q) < 0.0;
            let ends = [off(a, p, q), off(b, p, q), off(p, a, b), off(q, a, b)];
            !meet && ends.into_iter().all(|apart| apart >= reach - slip)
        })
    }
}

/// Is a place inside a polygon? Even-odd.
pub fn inside(corners: &[At], [x, y]: At) -> bool {
    let mut odd = false;
    for i in 0..corners.len() {
        let ([x0, y0], [x1, y1]) = (corners[i], corners[(i + 1) % corners.len()]);
        if (y0 > y) != (y1 > y) && x < x0 + (x1 - x0) * (y - y0) / (y1 - y0) {
            odd = !odd;
        }
    }
    odd
}

/// Is a place on the board and in no keep-out of a face?
pub fn on_board(task: &Task, face: Face, at: At) -> bool {
    inside(&task.outline, at)
        && task
            .keep_outs
            .iter()
            .filter(|keep_out| keep_out.side == face)
            .all(|keep_out| !inside(&keep_out.polygon, at))
}

fn touches(side: Side, face: Face) -> bool {
    side == Side::Both || (side == Side::Front) == (face == Face::Front)
}

/// Length of the shortest way that bends as sharply as it likes, with the price of its passages; nothing where none was found.
pub fn taut(task: &Task) -> Option<f64> {
    const STEP: f64 = 5.0;
    let half = (STEP / 2.0_f64).to_radians();
    let mut places: Vec<(usize, At, Option<usize>)> = Vec::new();
    let faces = [Face::Front, Face::Back];
    let edges = faces.map(|face| Edges::of(task, face));
    let free = |number: usize, at: At, slip: f64| {
        edges[number].room(at) >= -slip && on_board(task, faces[number], at)
    };
    for (number, face) in faces.into_iter().enumerate() {
        for (end, which) in [(&task.from, 0), (&task.to, 1)] {
            if touches(end.side, face) && free(number, end.at, 0.0) {
                places.push((number, end.at, Some(which)));
            }
        }
    }
    for (hole, which) in task.holes.iter().zip(2..) {
        if hole.drill_mm >= task.wire.insulated_mm && free(0, hole.at, 0.0) && free(1, hole.at, 0.0) {
            places.extend([(0, hole.at, Some(which)), (1, hole.at, Some(which))]);
        }
    }
    for (number, edges) in edges.iter().enumerate() {
        for (corner, _, reach) in &edges.0 {
            // A little outside, so that the straight line between neighbours keeps the reach.
            let radius = reach / half.cos();
            for step in 0..(360.0 / STEP) as usize {
                let (sin, cos) = (step as f64 * STEP).to_radians().sin_cos();
                let at = [corner[0] + radius * cos, corner[1] + radius * sin];
                if free(number, at, 1e-9) {
                    places.push((number, at, None));
                }
            }
        }
    }
    let mut paid = vec![f64::INFINITY; places.len()];
    let mut queue = BinaryHeap::new();
    for (number, place) in places.iter().enumerate().filter(|(_, place)| place.2 == Some(0)) {
        paid[number] = 0.0;
        queue.push(Reverse(((apart(place.1, task.to.at)).to_bits(), number)));
    }
    let mut done = vec![false; places.len()];
    while let Some(Reverse((_, at))) = queue.pop() {
        if std::mem::replace(&mut done[at], true) {
            continue;
        }
        let (face, here, role) = places[at];
        if role == Some(1) {
            return Some(paid[at]);
        }
        for (to, &(other_face, there, other_role)) in places.iter().enumerate() {
            let through = other_face != face;
            if done[to] || (through && (role.is_none() || role != other_role || role < Some(2))) {
                continue;
            }
            let price =
                paid[at] + if through { task.thickness_mm + task.passage_mm } else { apart(here, there) };
            if price < paid[to] && (through || edges[face].sees(here, there, 1e-9)) {
                paid[to] = price;
                queue.push(Reverse(((price + apart(there, task.to.at)).to_bits(), to)));
            }
        }
    }
    None
}

/// A place with a heading.
type Pose = (At, f64);

/// A curve of three parts: how each turns (1 left, -1 right, 0 straight) and its length.
type Curve = [(f64, f64); 3];

/// Curves of bounded curvature between two poses: arc, straight, arc; and arc, arc, arc.
fn dubins((p, from): Pose, (q, to): Pose, radius: f64) -> Vec<Curve> {
    let centre = |at: At, heading: f64, turn: f64| {
        [at[0] - turn * radius * heading.sin(), at[1] + turn * radius * heading.cos()]
    };
    let round = |turn: f64, begin: f64, end: f64| (turn * (end - begin)).rem_euclid(TAU) * radius;
    let mut curves = Vec::new();
    for first in [1.0, -1.0] {
        for last in [1.0, -1.0] {
            let (a, b) = (centre(p, from, first), centre(q, to, last));
            let distance = apart(a, b);
            let line = (b[1] - a[1]).atan2(b[0] - a[0]);
            let turn = (first - last) * radius / distance.max(1e-12);
            if turn.abs() <= 1.0 {
                let heading = line + turn.asin();
                let straight = distance * (1.0 - turn * turn).sqrt();
                curves.push([
                    (first, round(first, from, heading)),
                    (0.0, straight),
                    (last, round(last, heading, to)),
                ]);
            }
            if first == last && distance < 4.0 * radius && distance > 1e-9 {
                let bow = (distance / (4.0 * radius)).acos();
                for side in [1.0, -1.0] {
                    // From either outer centre to that of the circle between, and the headings where the circles touch.
                    let [to_middle, from_last] = [line + side * bow, line + PI - side * bow];
                    let [one, two] = [to_middle, from_last].map(|way| way + first * FRAC_PI_2);
                    curves.push([
                        (first, round(first, from, one)),
                        (-first, round(-first, one, two)),
                        (last, round(last, two, to)),
                    ]);
                }
            }
        }
    }
    curves
}

/// Has a curve room all along?
fn clear(edges: &Edges, (mut at, mut heading): Pose, curve: &Curve, radius: f64, slip: f64) -> bool {
    const STEP: f64 = 0.1;
    for &(turn, length) in curve {
        let steps = (length / STEP).ceil().max(1.0);
        let step = length / steps;
        for _ in 0..steps as usize {
            let turned = turn * step / radius;
            let middle = heading + turned / 2.0;
            let chord = if turn == 0.0 { step } else { 2.0 * radius * (step / radius / 2.0).sin() };
            at = [at[0] + chord * middle.cos(), at[1] + chord * middle.sin()];
            heading += turned;
            if edges.room(at) < -slip {
                return false;
            }
        }
    }
    true
}

/// Is there a wire with bends of the task's radius on one face that is shorter than this? Its length, if there is. Between poses it may have
/// so much too little room, mm: with some, what is found is rather too short than too long.
pub fn bent(task: &Task, shorter_than: f64, slip: f64) -> Option<f64> {
    const STEP: f64 = 6.0;
    let edges = Edges::of(task, Face::Front);
    let (radius, goal) = (task.wire.bend_mm, task.to.at);
    let mut poses: Vec<(Pose, bool)> = Vec::new();
    for step in 0..90 {
        poses.push(((task.from.at, f64::from(step) * TAU / 90.0), true));
    }
    let starts = poses.len();
    for step in 0..90 {
        poses.push(((goal, f64::from(step) * TAU / 90.0), false));
    }
    let ends = poses.len();
    for (corner, _, reach) in &edges.0 {
        for step in 0..(360.0 / STEP) as usize {
            let angle = (step as f64 * STEP).to_radians();
            let out = reach - slip.min(0.0);
            let at = [corner[0] + out * angle.cos(), corner[1] + out * angle.sin()];
            let near = apart(task.from.at, at) + apart(at, goal) < shorter_than;
            if near && edges.room(at) >= -1e-9 - slip.min(0.0) && on_board(task, Face::Front, at) {
                poses.push(((at, angle + FRAC_PI_2), false));
                poses.push(((at, angle - FRAC_PI_2), false));
            }
        }
    }
    let mut paid = vec![f64::INFINITY; poses.len()];
    let mut done = vec![false; poses.len()];
    let mut queue = BinaryHeap::new();
    for (number, (pose, _)) in poses.iter().enumerate().take(starts) {
        paid[number] = 0.0;
        queue.push(Reverse((apart(pose.0, goal).to_bits(), number)));
    }
    while let Some(Reverse((_, at))) = queue.pop() {
        if std::mem::replace(&mut done[at], true) {
            continue;
        }
        if (starts..ends).contains(&at) {
            return Some(paid[at]);
        }
        for to in starts..poses.len() {
            if done[to] {
                continue;
            }
            for curve in dubins(poses[at].0, poses[to].0, radius) {
                let price = paid[at] + curve.iter().map(|(_, length)| length).sum::<f64>();
                let promise = price + apart(poses[to].0.0, goal);
                if price < paid[to]
                    && promise < shorter_than
                    && clear(&edges, poses[at].0, &curve, radius, slip)
                {
                    paid[to] = price;
                    queue.push(Reverse((promise.to_bits(), to)));
                }
            }
        }
    }
    None
}
