//! One face as a wire meets it: walls, arcs it may lie on, and places where it begins, ends or passes through the board.

use super::corners::{Arc, Solid, arcs};
use super::examine::faces;
use super::problem::{Cover, Obstacle, Shut};
use super::task::Task;
use super::vector::Vector;
use super::walls::{Owner, Shape, Walls, shapes};
use crate::board::Face;

/// What a place is for.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) enum Role {
    From,
    To,
    /// A hole, by its number in the task.
    Hole(usize),
}

/// A place on a face that the wire reaches or passes.
#[derive(Clone, Copy, Debug)]
pub(super) struct Place {
    pub role: Role,
    pub at: Vector,
}

/// One face.
pub(super) struct Ground {
    pub face: Face,
    pub walls: Walls,
    pub arcs: Vec<Arc>,
    /// Those with room for the wire.
    pub places: Vec<Place>,
}

/// Both faces, and what of the ends and holes has no room on them.
pub(super) struct Grounds {
    pub faces: [Ground; 2],
    /// Ends that have no room on any of their faces.
    pub covers: Vec<Cover>,
    pub shut: Vec<Shut>,
}

impl Grounds {
    /// `least_mm`: the middle line keeps at least this from every obstacle.
    pub fn new(task: &Task, least_mm: f64) -> Self {
        let both = [Face::Front, Face::Back].map(|face| (face, shapes(task, face, least_mm)));
        let mut faces_of = both.each_ref().map(|(face, shapes)| {
            let walls = Walls::new(shapes, &task.outline);
            let arcs = arcs(shapes, &walls);
            Ground { face: *face, walls, arcs, places: Vec::new() }
        });
        let mut covers = Vec::new();
        for (role, end) in [(Role::From, &task.from), (Role::To, &task.to)] {
            let looked: Vec<_> = faces(end.side)
                .iter()
                .map(|face| {
                    (*face, room(task, &faces_of[*face as usize], &both[*face as usize].1, &end.name, end.at))
                })
                .collect();
            for (face, found) in &looked {
                if found.is_ok() {
                    faces_of[*face as usize].places.push(Place { role, at: end.at });
                }
            }
            if looked.iter().all(|(_, found)| found.is_err()) {
                covers.extend(looked.into_iter().filter_map(|(_, found)| found.err()));
            }
        }
        let mut shut = Vec::new();
        for (number, hole) in task.holes.iter().enumerate() {
            if hole.drill_mm < task.wire.insulated_mm {
                let (drill_mm, insulated_mm) = (hole.drill_mm, task.wire.insulated_mm);
                shut.push(Shut::Narrow { hole: hole.name.clone(), drill_mm, insulated_mm });
                continue;
            }
            let looked = [0, 1].map(|face| room(task, &faces_of[face], &both[face].1, &hole.name, hole.at));
            match looked {
                [Ok(()), Ok(())] => {
                    for ground in &mut faces_of {
                        ground.places.push(Place { role: Role::Hole(number), at: hole.at });
                    }
                }
                found => shut.extend(found.into_iter().filter_map(Result::err).map(Shut::Covered)),
            }
        }
        Self { faces: faces_of, covers, shut }
    }
}

/// Is there room for the wire at a place?
fn room(task: &Task, ground: &Ground, shapes: &[Shape], name: &str, at: Vector) -> Result<(), Cover> {
    let cover = |owner: Owner, has_mm: f64| {
        let wire = &task.wire;
        let needs_mm = if owner.is_none() { wire.edge_reach_mm() } else { wire.reach_mm() };
        let by = Obstacle::of(task, owner);
        Cover { end: name.to_owned(), face: ground.face, by, has_mm, needs_mm }
    };
    match (Solid::new(shapes).holder(at), ground.walls.too_near(at)) {
        (Some(owner), _) => Err(cover(owner, 0.0)),
        (None, Some((wall, apart))) => Err(cover(wall.owner, apart)),
        (None, None) => Ok(()),
    }
}

/// The name of a place.
pub(super) fn name(task: &Task, role: Role) -> &str {
    match role {
        Role::From => &task.from.name,
        Role::To => &task.to.name,
        Role::Hole(number) => task.holes.get(number).map_or("", |hole| hole.name.as_str()),
    }
}
