//! Which places a wire can get to at all, by what parts them: far cheaper than to search everything where there is no way.

use super::ground::{Ground, Grounds, Role};
use super::ring::parting;

/// Most pairs of places that are looked at.
const MOST_PAIRS: usize = 40;

/// The places that a wire from its beginning can get to, as face and role; nothing where there are too many to be looked at pair by pair.
pub(super) fn reached(grounds: &Grounds) -> Option<Vec<(usize, Role)>> {
    let mut pairs = 0;
    let [front, back] = &grounds.faces;
    let areas = [areas(front, &mut pairs)?, areas(back, &mut pairs)?];
    let mut reached: Vec<(usize, Role)> = Vec::new();
    let mut open: Vec<(usize, Role)> = [0, 1].map(|face| (face, Role::From)).to_vec();
    while let Some((face, role)) = open.pop() {
        let Some(area) = areas[face].iter().find(|area| area.contains(&role)) else { continue };
        if reached.contains(&(face, role)) {
            continue;
        }
        for role in area {
            reached.push((face, *role));
            if matches!(role, Role::Hole(_)) {
                open.push((1 - face, *role));
            }
        }
    }
    Some(reached)
}

/// The places of a face, those together that nothing parts.
fn areas(ground: &Ground, pairs: &mut usize) -> Option<Vec<Vec<Role>>> {
    let mut areas: Vec<(super::vector::Vector, Vec<Role>)> = Vec::new();
    for place in &ground.places {
        let mut own = None;
        for (number, (at, _)) in areas.iter().enumerate() {
            *pairs += 1;
            if *pairs > MOST_PAIRS {
                return None;
            }
            if parting(&ground.walls, [*at, place.at]).is_none() {
                own = Some(number);
                break;
            }
        }
        match own.and_then(|number| areas.get_mut(number)) {
            Some((_, roles)) => roles.push(place.role),
            None => areas.push((place.at, vec![place.role])),
        }
    }
    Some(areas.into_iter().map(|(_, roles)| roles).collect())
}
