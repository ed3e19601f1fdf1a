//! The shortest way of a wire over a board: round keep-outs, within the board's edge, through free holes, with bends that the wire can take.
//!
//! Read [`Task`] and [`Route`] first. [`shortest`] then goes: `examine` (can it be answered), `walls` (edges with what the middle line keeps
//! from them), `corners` (the free parts of the circles round corners), `ground` (one face with all of it), `reach` (is there a way at all), `search` (the shortest taut
//! wire, by A* over `tangent`s), `lead` and `bends` (bends as wide as the wire needs), `laid` with `relief` (what is told of it). Where there is no
//! way, `ring` proves it. [`gauge`] chooses a wire, [`fit()`] wire and route together; [`cutting`] lists what is cut. `docs/wires.md` explains it to those who solder.
//!
//! Pure geometry: coordinates are millimetres seen from the front, and the same task gives the same route to the last digit.

mod bends;
mod corners;
pub mod cutting;
mod examine;
mod fit;
pub mod gauge;
mod ground;
mod laid;
mod lead;
mod piece;
mod problem;
mod reach;
mod relief;
mod ring;
mod search;
mod tangent;
mod task;
#[cfg(test)]
mod tests;
mod vector;
mod walls;

pub use fit::{Fit, FitError, fit};
pub use laid::{Cut, Leg, Route};
pub use piece::Piece;
pub use problem::{Cover, Obstacle, Ring, RouteError, Shut};
pub use relief::{Relief, Why};
pub use task::{End, Hole, Task, Wire};

use ground::{Grounds, Role, name};
use lead::{Led, bent};
use search::{Barred, Field, Found};

/// How much room for bends is looked for, as a share of what a bend needs beyond the clearance, where the taut wire leaves none.
const ROOM: [f64; 2] = [0.5, 1.0];
/// Nearer to the shortest than this share, and no room is looked for.
const NEAR_ENOUGH: f64 = 0.005;
/// Ways that are tried where bends as wide as asked were found nowhere, and radii.
const FEW_TRIES: usize = 8;
const RADII: u32 = 8;

/// The shortest route.
///
/// Where the clearance with half the diameter is at least the bend's radius it is the shortest there is. Where it is less, bends are wider than a
/// taut wire's would be, and [`Route::excess`] says how much longer the route can be than the shortest.
///
/// # Errors
/// The task cannot be answered as it is; an end is covered; there is no way at all, with proof; none was found for bends as wide as asked.
pub fn shortest(task: &Task) -> Result<Route, RouteError> {
    examine::examine(task)?;
    let grounds = Grounds::new(task, 0.0);
    if !grounds.covers.is_empty() {
        return Err(RouteError::Covered(grounds.covers));
    }
    if let Some(reached) = reach::reached(&grounds)
        && !reached.iter().any(|(_, role)| *role == Role::To)
    {
        return Err(no_way(task, &grounds, &reached));
    }
    let mut field = Field::new(&grounds, task.thickness_mm + task.passage_mm);
    let (nodes, least_mm) = match field.search(&Barred::new())? {
        Found::Way { nodes, price, .. } => (nodes, price),
        Found::Nothing { reached } => return Err(no_way(task, &grounds, &reached)),
    };
    let first = (nodes, least_mm);
    if let Some(Led { legs, passages, .. }) = with_bends(task, &grounds, &mut field, &first, usize::MAX)? {
        return Ok(Route::new(task, legs, passages, least_mm));
    }
    let tightest = task.wire.reach_mm().min(task.wire.edge_reach_mm()).min(task.wire.bend_mm);
    let mut passes_mm = tightest;
    for step in (1..RADII).rev() {
        let share = f64::from(step) / f64::from(RADII);
        let mut supple = task.clone();
        supple.wire.bend_mm = tightest + share * (task.wire.bend_mm - tightest);
        if with_bends(&supple, &grounds, &mut field, &first, FEW_TRIES)?.is_some() {
            passes_mm = supple.wire.bend_mm;
            break;
        }
    }
    let [from, to] = [&task.from, &task.to].map(|end| crate::quantity::clip(&end.name));
    Err(RouteError::Stiff { from, to, bend_mm: task.wire.bend_mm, passes_mm })
}

/// The best of the taut wire's neighbours, and of those that keep more than they have to, so that there is room for bends.
fn with_bends(
    task: &Task,
    grounds: &Grounds,
    field: &mut Field<'_>,
    first: &(Vec<u32>, f64),
    most_tries: usize,
) -> Result<Option<Led>, RouteError> {
    let mut best = bent(task, grounds, field, first.clone(), most_tries)?;
    let reach = task.wire.reach_mm().min(task.wire.edge_reach_mm());
    for share in ROOM {
        let near = best.as_ref().is_some_and(|best| best.price * (1.0 - NEAR_ENOUGH) <= first.1);
        if near || task.wire.bend_mm <= reach {
            break;
        }
        let wider = Grounds::new(task, reach + share * (task.wire.bend_mm - reach));
        let mut field = Field::new(&wider, task.thickness_mm + task.passage_mm);
        // An end may have no room then; that says nothing about the wire as it is.
        let Found::Way { nodes, price, .. } = field.search(&Barred::new())? else { continue };
        let other = bent(task, &wider, &mut field, (nodes, price), most_tries.min(FEW_TRIES))?;
        best = [best, other].into_iter().flatten().min_by(|a, b| a.price.total_cmp(&b.price));
    }
    Ok(best)
}

/// What parts the places that were reached from those that were not.
fn no_way(task: &Task, grounds: &Grounds, reached: &[(usize, Role)]) -> RouteError {
    const MOST_RINGS: usize = 6;
    let mut rings = Vec::new();
    for (number, ground) in grounds.faces.iter().enumerate() {
        let is_reached = |role: Role| reached.contains(&(number, role));
        // What the goal lies in says most; a hole that is not reached says why the other face is not.
        let mut left: Vec<_> = ground.places.iter().filter(|place| !is_reached(place.role)).collect();
        left.sort_by_key(|place| place.role != Role::To);
        for to in left {
            let from = ground.places.iter().filter(|place| is_reached(place.role));
            for from in from.take(1) {
                let Some(owners) = ring::parting(&ground.walls, [from.at, to.at]) else { continue };
                let between = [from.role, to.role].map(|role| crate::quantity::clip(name(task, role)));
                let by = owners.into_iter().map(|owner| Obstacle::of(task, owner)).collect();
                let ring = Ring { face: ground.face, between, by };
                if rings.len() < MOST_RINGS && !rings.contains(&ring) {
                    rings.push(ring);
                }
            }
        }
    }
    let [from, to] = [&task.from, &task.to].map(|end| crate::quantity::clip(&end.name));
    RouteError::NoWay { from, to, rings, holes: grounds.shut.clone() }
}
