//! The proof that there is no way: a closed ring of obstacles that parts two places.
//!
//! Walls are nodes, and two of them are joined where there is no room for the wire between them. A closed walk over such joins that crosses the
//! straight line between two places an odd number of times parts them, because wherever the walk goes there is no room for the
//! wire. The shortest such walk, by the number of times that it goes from one obstacle to another, is found by a breadth-first search in which every wall is
//! there twice: reached after an even and after an odd number of crossings.

use std::collections::{BTreeSet, VecDeque};

use super::vector::{Vector, add, closest, cross, scale, sub};
use super::walls::{Owner, SHORT_MM, Wall, Walls};

/// Most steps of one search for a ring.
const MOST_STEPS: usize = 4_000_000;

/// A join of two walls.
#[derive(Clone, Copy)]
struct Join {
    to: usize,
    /// Does going there cross the line between the places an odd number of times?
    odd: bool,
    /// Does it lead to another obstacle?
    other: bool,
}

/// The owners of a shortest ring that parts two places; nothing where none was found.
pub(super) fn parting(walls: &Walls, [a, b]: [Vector; 2]) -> Option<Vec<Owner>> {
    let joins = joins(walls, [a, b]);
    // A ring has a join that crosses: begin at one wall of each.
    let starts: BTreeSet<usize> =
        (0..joins.len()).filter(|wall| joins[*wall].iter().any(|join| join.odd)).collect();
    let mut best: Option<(usize, Vec<usize>)> = None;
    let mut steps = 0;
    for start in starts {
        let most = best.as_ref().map_or(usize::MAX, |(changes, _)| *changes);
        if let Some(found) = round(&joins, start, most, &mut steps) {
            best = Some(found);
        }
        if steps > MOST_STEPS {
            break;
        }
    }
    let (_, ring) = best?;
    let owners: BTreeSet<Owner> =
        ring.into_iter().filter_map(|wall| walls.all.get(wall)).map(|wall| wall.owner).collect();
    Some(owners.into_iter().collect())
}

/// The shortest way from a wall, after no crossing, back to it after an odd number of them, in fewer changes of obstacle than `most`.
fn round(joins: &[Vec<Join>], start: usize, most: usize, steps: &mut usize) -> Option<(usize, Vec<usize>)> {
    let state = |wall: usize, odd: bool| 2 * wall + usize::from(odd);
    let mut changes = vec![usize::MAX; 2 * joins.len()];
    let mut before = vec![usize::MAX; 2 * joins.len()];
    let mut queue = VecDeque::from([state(start, false)]);
    changes[state(start, false)] = 0;
    let goal = state(start, true);
    while let Some(at) = queue.pop_front() {
        if at == goal || changes[at] >= most {
            break;
        }
        for join in &joins[at / 2] {
            *steps += 1;
            let next = state(join.to, (at % 2 == 1) != join.odd);
            let paid = changes[at] + usize::from(join.other);
            if paid < changes[next] {
                (changes[next], before[next]) = (paid, at);
                if join.other { queue.push_back(next) } else { queue.push_front(next) }
            }
        }
    }
    if changes[goal] >= most {
        return None;
    }
    let mut ring = vec![start];
    let mut at = before[goal];
    while at != state(start, false) && at != usize::MAX {
        ring.push(at / 2);
        at = before[at];
    }
    Some((changes[goal], ring))
}

fn joins(walls: &Walls, line: [Vector; 2]) -> Vec<Vec<Join>> {
    let longest = walls.longest_reach();
    let bounds = |wall: &Wall| {
        let [a, b] = wall.ends;
        let reach = wall.reach + longest;
        [[a[0].min(b[0]) - reach, a[1].min(b[1]) - reach], [a[0].max(b[0]) + reach, a[1].max(b[1]) + reach]]
    };
    let join = |one: &Wall, to: usize| {
        let other = walls.all.get(to)?;
        let [near, far] = closest(one.ends, other.ends);
        let room = crate::plane::apart(near, far);
        if room >= one.reach + other.reach - SHORT_MM {
            return None;
        }
        let way = [middle(one.ends), near, far, middle(other.ends)];
        let odd = way.windows(2).filter(|pair| crosses(line, [pair[0], pair[1]])).count() % 2 == 1;
        Some(Join { to, odd, other: one.owner != other.owner })
    };
    let all = walls.all.iter().enumerate();
    all.map(|(number, wall)| {
        let near = walls.numbers_near(bounds(wall));
        near.into_iter().filter(|to| *to != number).filter_map(|to| join(wall, to)).collect()
    })
    .collect()
}

fn middle([a, b]: [Vector; 2]) -> Vector {
    scale(add(a, b), 0.5)
}

/// Does a stretch cross a line's stretch? A point on the line counts to its left, so that a walk through it is counted once.
fn crosses([a, b]: [Vector; 2], [c, d]: [Vector; 2]) -> bool {
    let left = |p: Vector| cross(sub(b, a), sub(p, a)) >= 0.0;
    if left(c) == left(d) {
        return false;
    }
    // Where the stretch passes the line: between its ends?
    let (way, line) = (sub(d, c), sub(b, a));
    let at = cross(sub(c, a), way) / cross(line, way);
    (0.0..=1.0).contains(&at)
}
