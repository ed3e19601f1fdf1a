//! Polygons: corners in order round the edge, which does not cross itself.

use crate::document::{Item, Told};
use crate::plane::{area, crossing};

/// Corners a polygon may have.
const MOST_CORNERS: usize = 500;

/// Reads a polygon of at least so much area, mm²; `what` names it in messages, as "the outline".
///
/// # Errors
/// No list of places, too few or too many corners, edges that cross, or hardly any area.
pub(super) fn read(item: &Item<'_>, what: &str, least_mm2: f64) -> Result<Vec<[f64; 2]>, Told> {
    let help = "write the corners in order, such as [[0, 0], [64, 0], [64, 40], [0, 40]]";
    let corners = item.list(help)?;
    if !(3..=MOST_CORNERS).contains(&corners.len()) {
        let message = format!("{what} of {} corners is none", corners.len());
        return Err(item.refuse(message, format!("from 3 to {MOST_CORNERS} corners belong here")));
    }
    let corners: Vec<_> = corners.iter().map(|corner| corner.place(help)).collect();
    let corners = corners.into_iter().collect::<Result<Vec<_>, _>>()?;
    if let Some(found) = crossing(&corners, 0.0) {
        let [i, j] = found.edges;
        let message = format!("{what} crosses itself: the edges from corners {} and {}", i + 1, j + 1);
        return Err(item.refuse(message, "write the corners in order round the edge"));
    }
    if area(&corners) < least_mm2 {
        let message = format!("{what} encloses less than {least_mm2} mm²");
        return Err(item.refuse(message, "coordinates are millimetres"));
    }
    Ok(corners)
}
