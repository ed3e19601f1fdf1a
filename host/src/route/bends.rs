//! Bends no tighter than a radius, where the wire may come nearer to a corner than that.
//!
//! A taut wire bends about a corner with the radius of its reach. Where that is tighter than the wire can be bent, the bend becomes part of
//! a larger circle that holds the corner's disc inside, so that the clearance stays. Its centre is moved to where the wire gets shortest: as
//! far to the inside of the bend as the disc allows, that is until circle and disc touch in the middle of the bend. Corners that are close
//! together share one circle. Ends must stay outside the circles, and circles of opposite turns apart.

use std::f64::consts::{FRAC_PI_2, TAU};

use super::corners::{SAME_ANGLE, circles_meet};
use super::piece::{Piece, circle_meets};
use super::tangent::{Pulley, Tangent};
use super::vector::{Vector, add, along, angle, cross, dot, nearest, right, scale, sub, to_stretch, unit};
use super::walls::{SHORT_MM, Walls};
use crate::plane::apart;

/// Lengths closer than this are one, mm.
const SAME_MM: f64 = 1e-9;
/// Circles that move less stand still, mm.
const SETTLED_MM: f64 = 1e-7;
/// Steps of moving circles, and times that a bend is added where the wire came too near to something.
const STEPS: usize = 60;
const ROUNDS: usize = 16;

/// A corner's disc that a bend's circle has to hold.
#[derive(Clone, Copy, PartialEq, Debug)]
pub(super) struct Disc {
    pub centre: Vector,
    pub radius: f64,
}

/// A bend: the circle it is a part of, and the discs inside.
#[derive(Clone, Debug)]
struct Bend {
    /// 1 counterclockwise, -1 clockwise.
    turn: f64,
    discs: Vec<Disc>,
    radius: f64,
    centre: Vector,
    /// Walls outside that the wire would run into in the bend.
    off: Vec<Off>,
}

/// What a circle's centre stays away from: a stretch, or a place that is both its ends.
#[derive(Clone, Copy, PartialEq, Debug)]
struct Off {
    ends: [Vector; 2],
    least: f64,
}

impl Off {
    fn place(at: Vector, least: f64) -> Self {
        Self { ends: [at; 2], least }
    }

    fn allows(&self, centre: Vector) -> bool {
        to_stretch(centre, self.ends) >= self.least - SAME_MM
    }

    /// Where a centre would have to be that comes from here and goes straight away.
    fn pushed(&self, centre: Vector) -> Option<Vector> {
        let near = nearest(centre, self.ends);
        Some(along(near, unit(sub(centre, near))?, self.least))
    }

    /// The two lines that run beside it at that distance.
    fn flanks(&self) -> impl Iterator<Item = [Vector; 2]> + '_ {
        let [a, b] = self.ends;
        let aside = unit(right(sub(b, a)));
        aside.into_iter().flat_map(move |aside| {
            [self.least, -self.least].map(|off| [along(a, aside, off), along(b, aside, off)])
        })
    }
}

/// The wire between two places on one face, round these discs in order, each with its turn; nothing where no such bends were found.
/// Straight pieces and bends take turns, beginning and ending with a straight one.
pub(super) fn led(
    ends: [Vector; 2],
    round: &[(Disc, f64)],
    least_mm: f64,
    walls: &Walls,
) -> Option<Vec<Piece>> {
    let length = |pieces: &Vec<Piece>| pieces.iter().map(Piece::length_mm).sum::<f64>();
    [Idle::LeftOut, Idle::Joined]
        .into_iter()
        .filter_map(|idle| led_with(ends, round, least_mm, walls, idle))
        .min_by(|a, b| length(a).total_cmp(&length(b)))
}

/// What becomes of a bend that the circles beside it have made needless, so that it would turn the other way.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Idle {
    /// The wire runs past its discs, if there is room.
    LeftOut,
    /// The nearer circle of the same turn holds its discs too, if it can.
    Joined,
}

fn led_with(
    ends: [Vector; 2],
    round: &[(Disc, f64)],
    least_mm: f64,
    walls: &Walls,
    idle: Idle,
) -> Option<Vec<Piece>> {
    let mut bends = taut(ends, round, least_mm)?;
    for _ in 0..ROUNDS {
        bends = shortest(ends, bends, idle)?;
        let pieces = pieces(ends, &bends)?;
        let tight = pieces
            .iter()
            .enumerate()
            .filter_map(|(number, piece)| walls.touched(*piece).map(|(wall, short)| (number, wall, short)))
            .filter(|(.., short)| *short > SHORT_MM)
            .max_by(|a, b| a.2.total_cmp(&b.2));
        let Some((number, wall, _)) = tight else { return Some(pieces) };
        let piece = *pieces.get(number)?;
        let away = |corner: &Vector| piece.to_stretch([*corner; 2]);
        let corner = wall.ends.into_iter().min_by(|a, b| away(a).total_cmp(&away(b)))?;
        let disc = Disc { centre: corner, radius: wall.needed };
        avoid(&mut bends, number / 2, piece, (disc, wall.ends), least_mm)?;
    }
    None
}

/// The bends of a taut wire, made as wide as they have to be to the inside.
fn taut(ends: [Vector; 2], round: &[(Disc, f64)], least_mm: f64) -> Option<Vec<Bend>> {
    let mut bends: Vec<Bend> = round.iter().map(|&(disc, turn)| Bend::about(disc, turn, 0.0)).collect();
    let ways = ways(ends, &bends)?;
    for (bend, pair) in bends.iter_mut().zip(ways.windows(2)) {
        bend.radius = bend.radius.max(least_mm);
        if let Some(inside) = inside(bend, pair) {
            bend.centre = bend.farthest(inside);
        }
    }
    Some(bends)
}

/// Leads a piece round one more disc, the nearer end of a wall that it runs into, or away from that wall; `at` counts the bends before it.
fn avoid(
    bends: &mut Vec<Bend>,
    at: usize,
    piece: Piece,
    (disc, wall): (Disc, [Vector; 2]),
    least_mm: f64,
) -> Option<()> {
    let [_, ends] = piece.directions()?;
    match piece {
        Piece::Straight { from, .. } => {
            let beside =
                [at.checked_sub(1), Some(at)].into_iter().flatten().filter_map(|number| bends.get(number));
            if beside.into_iter().any(|bend| bend.discs.contains(&disc)) {
                return None;
            }
            let turn = if cross(ends, sub(disc.centre, from)) > 0.0 { 1.0 } else { -1.0 };
            bends.insert(at, Bend::about(disc, turn, least_mm));
        }
        Piece::Bend { centre, radius_mm, .. } => {
            let bend = bends.get_mut(at)?;
            if apart(centre, disc.centre) >= radius_mm {
                let off = Off { ends: wall, least: bend.radius + disc.radius };
                let known = bend.off.contains(&off);
                bend.off.push(off);
                return (!known).then_some(());
            }
            if bend.discs.contains(&disc) {
                return None;
            }
            let wider = bend.with(disc);
            if let Some(wider) = wider {
                *bend = wider;
            } else {
                // One circle cannot hold them all: two bends, in the order of the way.
                let turn = bend.turn;
                let after = dot(ends, sub(disc.centre, centre)) > 0.0;
                bends.insert(at + usize::from(after), Bend::about(disc, turn, least_mm));
            }
        }
    }
    Some(())
}

impl Bend {
    fn about(disc: Disc, turn: f64, least_mm: f64) -> Self {
        Self {
            turn,
            discs: vec![disc],
            radius: disc.radius.max(least_mm),
            centre: disc.centre,
            off: Vec::new(),
        }
    }

    fn pulley(&self) -> Pulley {
        Pulley { centre: self.centre, radius: self.turn * self.radius }
    }

    /// How far its centre may be from that of a disc.
    fn play(&self, disc: &Disc) -> f64 {
        self.radius - disc.radius
    }

    /// Does its circle hold all discs, were its centre here?
    fn holds_at(&self, centre: Vector) -> bool {
        self.discs.iter().all(|disc| apart(centre, disc.centre) <= self.play(disc) + SAME_MM)
    }

    /// Holding one more disc; nothing where no circle of its radius holds them all.
    fn with(&self, disc: Disc) -> Option<Self> {
        let mut wider = self.clone();
        wider.discs.push(disc);
        wider.radius = wider.radius.max(disc.radius);
        wider.centre = wider.nearest(self.centre, &[])?;
        Some(wider)
    }

    /// The centre that is nearest to a place, among those that hold all discs and stay off: all that a nearest one can be is looked at. A disc's
    /// rim is where centres are that just hold it.
    fn nearest(&self, wanted: Vector, off: &[Off]) -> Option<Vector> {
        let fits = |centre: &Vector| self.holds_at(*centre) && off.iter().all(|off| off.allows(*centre));
        if fits(&wanted) {
            return Some(wanted);
        }
        let held = self.discs.iter().map(|disc| (disc.centre, self.play(disc)));
        let ends = off.iter().flat_map(|off| off.ends.map(|end| (end, off.least)));
        let rims: Vec<(Vector, f64)> = held.clone().chain(ends).collect();
        let on_rim = held.map(|(middle, radius)| match unit(sub(wanted, middle)) {
            Some(way) => along(middle, way, radius),
            None => middle,
        });
        let pushed = off.iter().filter_map(|off| off.pushed(wanted));
        let crossings = rims.iter().enumerate().flat_map(|(number, one)| {
            rims.iter().skip(number + 1).flat_map(move |other| circles_meet(one.0, one.1, other.0, other.1))
        });
        let beside = off.iter().flat_map(Off::flanks).flat_map(|flank| {
            rims.iter().flat_map(move |(middle, radius)| circle_meets(*middle, *radius, flank))
        });
        on_rim
            .chain(pushed)
            .chain(crossings.chain(beside).flatten())
            .filter(fits)
            .min_by(|a, b| apart(*a, wanted).total_cmp(&apart(*b, wanted)))
    }

    /// The centre that lies farthest in a direction, among those that hold all discs.
    fn farthest(&self, way: Vector) -> Vector {
        // From very far away the nearest one is the farthest in that direction.
        const FAR: f64 = 1e6;
        match &self.discs[..] {
            [only] => along(only.centre, way, self.play(only)),
            _ => self.nearest(along(self.centre, way, FAR * self.radius), &[]).unwrap_or(self.centre),
        }
    }
}

/// Straight pieces from end to end round the bends; nothing where two circles leave no room for one.
fn ways(ends: [Vector; 2], bends: &[Bend]) -> Option<Vec<Tangent>> {
    let [from, to] = ends.map(|centre| Pulley { centre, radius: 0.0 });
    let stops: Vec<Pulley> =
        std::iter::once(from).chain(bends.iter().map(Bend::pulley)).chain(std::iter::once(to)).collect();
    stops.windows(2).map(|pair| Tangent::between(pair[0], pair[1])).collect()
}

/// How far a bend turns, radians; negative where it would have to turn the other way.
fn sweep(bend: &Bend, before: &Tangent, after: &Tangent) -> f64 {
    let turned = bend.turn * angle(before.way, after.way);
    if turned < -FRAC_PI_2 { turned + TAU } else { turned }
}

fn pieces(ends: [Vector; 2], bends: &[Bend]) -> Option<Vec<Piece>> {
    let ways = ways(ends, bends)?;
    let mut pieces = Vec::with_capacity(2 * bends.len() + 1);
    let mut from = ends[0];
    for (bend, pair) in bends.iter().zip(ways.windows(2)) {
        let to = pair[0].touches(bend.pulley());
        pieces.push(Piece::Straight { from, to });
        let turn = bend.turn * sweep(bend, &pair[0], &pair[1]).max(0.0);
        pieces.push(Piece::Bend { centre: bend.centre, radius_mm: bend.radius, from: to, turn });
        from = pair[1].touches(bend.pulley());
    }
    pieces.push(Piece::Straight { from, to: ends[1] });
    Some(pieces)
}

/// Moves the circles to where the wire is shortest. Bends that came to turn the other way are joined with a neighbour or left out.
fn shortest(ends: [Vector; 2], mut bends: Vec<Bend>, idle: Idle) -> Option<Vec<Bend>> {
    loop {
        settle(ends, &mut bends)?;
        let ways = ways(ends, &bends)?;
        let sweeps: Vec<f64> =
            bends.iter().zip(ways.windows(2)).map(|(bend, pair)| sweep(bend, &pair[0], &pair[1])).collect();
        let turns_back = sweeps.iter().position(|sweep| *sweep < -SAME_ANGLE);
        // Two circles that changed places: the wire would run back between them and make a loop.
        let looped = bends.windows(2).zip(ways.iter().skip(1)).position(|(pair, way)| {
            let order =
                |pair: &[Bend]| Some(sub(pair[1].discs.first()?.centre, pair[0].discs.last()?.centre));
            pair[0].turn == pair[1].turn && order(pair).is_some_and(|order| dot(order, way.way) < 0.0)
        });
        // One bend fewer each time.
        let Some(number) = looped.or(turns_back) else { return Some(bends) };
        if idle == Idle::Joined {
            join(&mut bends, number);
        } else {
            let other = looped.is_some() && sweeps.get(number + 1) < sweeps.get(number);
            bends.remove(number + usize::from(other));
        }
    }
}

/// The way to the inside of a bend: that in which the wire gets shortest, as long as it turns in the bend's sense. Where it does not yet, the
/// circle is least in its way there.
fn inside(bend: &Bend, pair: &[Tangent]) -> Option<Vector> {
    let [before, after] = [pair.first()?, pair.last()?];
    unit(scale(add(before.aside, after.aside), -bend.turn))
}

/// Moves every circle to the inside of its bend as far as it may go, until none moves any more.
fn settle(ends: [Vector; 2], bends: &mut [Bend]) -> Option<()> {
    for step in 0..STEPS {
        part(ends, bends)?;
        let ways = ways(ends, bends)?;
        let mut moved = 0.0_f64;
        // Two circles that pull at each other would swing if each went the whole way.
        let share = if step < STEPS / 2 { 0.8 } else { 0.3 };
        for (bend, pair) in bends.iter_mut().zip(ways.windows(2)) {
            if let Some(inside) = inside(bend, pair) {
                let centre = along(bend.centre, sub(bend.farthest(inside), bend.centre), share);
                moved = moved.max(apart(centre, bend.centre));
                bend.centre = centre;
            }
        }
        if moved < SETTLED_MM {
            break;
        }
    }
    part(ends, bends)
}

/// Joins a bend with the nearer neighbour of the same turn if one circle holds both, and leaves it out otherwise.
fn join(bends: &mut Vec<Bend>, number: usize) {
    let Some(bend) = bends.get(number).cloned() else { return };
    bends.remove(number);
    let beside = [number.checked_sub(1), Some(number)].into_iter().flatten();
    let nearest = beside
        .filter(|at| bends.get(*at).is_some_and(|other| other.turn == bend.turn))
        .min_by(|a, b| apart(bends[*a].centre, bend.centre).total_cmp(&apart(bends[*b].centre, bend.centre)));
    let Some(other) = nearest.and_then(|at| bends.get_mut(at)) else { return };
    let wider = bend.discs.iter().try_fold(other.clone(), |wider, disc| wider.with(*disc));
    if let Some(wider) = wider {
        *other = wider;
    }
}

/// Moves circles that hold an end, or that run into one of the opposite turn.
fn part(ends: [Vector; 2], bends: &mut [Bend]) -> Option<()> {
    const TIMES: usize = 30;
    for _ in 0..TIMES {
        let mut moved = false;
        for number in 0..bends.len() {
            let bend = &bends[number];
            let mut off = bend.off.clone();
            if number == 0 {
                off.push(Off::place(ends[0], bend.radius));
            }
            if number + 1 == bends.len() {
                off.push(Off::place(ends[1], bend.radius));
            }
            let beside = [number.checked_sub(1), Some(number + 1)].into_iter().flatten();
            let opposite = beside.filter_map(|at| bends.get(at)).filter(|other| other.turn != bend.turn);
            off.extend(opposite.map(|other| Off::place(other.centre, bend.radius + other.radius)));
            if off.iter().all(|off| off.allows(bend.centre)) {
                continue;
            }
            moved = true;
            let centre = match bend.nearest(bend.centre, &off) {
                Some(centre) => centre,
                // Not all at once: as far off as it may be, and the neighbour does the rest.
                None => {
                    let away =
                        off.iter().filter_map(|off| unit(sub(bend.centre, nearest(bend.centre, off.ends))));
                    bend.farthest(unit(away.fold([0.0; 2], add))?)
                }
            };
            bends[number].centre = centre;
        }
        if !moved {
            return Some(());
        }
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::route::walls::Walls;

    fn length(pieces: &[Piece]) -> f64 {
        pieces.iter().map(Piece::length_mm).sum()
    }

    fn nothing() -> Walls {
        Walls::new(&[], &[[-50.0, -50.0], [50.0, -50.0], [50.0, 50.0], [-50.0, 50.0]])
    }

    /// About one corner, between ends that lie alike on either side, circle and disc touch in the middle of the bend: the wire is as long as
    /// two tangents and an arc of the large circle.
    #[test]
    fn a_wide_bend_touches_the_disc_in_its_middle() {
        let disc = Disc { centre: [0.0, 0.0], radius: 1.0 };
        let (ends, radius) = ([[-10.0, -10.0], [10.0, -10.0]], 3.0);
        let pieces = led(ends, &[(disc, -1.0)], radius, &nothing()).unwrap();
        let Piece::Bend { centre, radius_mm, .. } = pieces[1] else { panic!("{pieces:?}") };
        assert!(apart(centre, [0.0, -2.0]) < 1e-6 && radius_mm == radius, "{centre:?}");
        // From the ends, 10 mm beside and 8 mm below its centre, two tangents and the arc between.
        let distance = 10_f64.hypot(8.0);
        let straight = (distance * distance - radius * radius).sqrt();
        let turn = 2.0 * (8_f64.atan2(10.0) + (radius / distance).asin());
        assert!((length(&pieces) - 2.0 * straight - radius * turn).abs() < 1e-6, "{}", length(&pieces));
    }

    #[test]
    fn an_end_beside_a_corner_is_left_on_the_circle() {
        let disc = Disc { centre: [0.0, 0.0], radius: 1.0 };
        let ends = [[0.2, 1.1], [0.0, -8.0]];
        let pieces = led(ends, &[(disc, -1.0)], 4.0, &nothing()).unwrap();
        let Piece::Bend { centre, .. } = pieces[1] else { panic!("{pieces:?}") };
        assert!(apart(centre, ends[0]) >= 4.0 - 1e-6 && apart(centre, disc.centre) <= 3.0 + 1e-6);
    }

    #[test]
    fn corners_close_together_share_a_circle() {
        let discs = [[-0.3, 0.0], [0.3, 0.0]].map(|centre| (Disc { centre, radius: 1.0 }, -1.0));
        let pieces = led([[-10.0, -4.0], [10.0, -4.0]], &discs, 3.0, &nothing()).unwrap();
        assert_eq!(pieces.len(), 3, "{pieces:?}");
    }
}
