//! Is a task one that can be answered? Everything later may trust what passes here.

use super::problem::RouteError;
use super::task::Task;
use crate::board::{Face, Side};
use crate::plane;
use crate::quantity::clip;

/// Farthest a coordinate may lie from zero, mm.
const FARTHEST_MM: f64 = 10_000.0;
/// Thickest wire, and longest of the lengths that describe it, mm.
const LONGEST_MM: f64 = 1000.0;
/// Thinnest wire, mm: finer than any that can be soldered by hand.
const THINNEST_MM: f64 = 0.01;
/// Closer than this, two places are one, mm.
pub(super) const SAME_MM: f64 = 1e-3;
/// Least area of a polygon, mm².
const LEAST_MM2: f64 = 1e-6;
/// Most corners of one polygon, and of all together.
const MOST_CORNERS: usize = 2000;
const MOST_CORNERS_IN_ALL: usize = 8000;
/// Most holes.
const MOST_HOLES: usize = 500;

/// Looks at a task.
///
/// # Errors
/// The first thing that makes it none.
pub(super) fn examine(task: &Task) -> Result<(), RouteError> {
    let wire = &task.wire;
    let figures = [
        ("the wire's diameter over its insulation", wire.insulated_mm, THINNEST_MM, LONGEST_MM),
        ("the conductor's diameter", wire.conductor_mm, THINNEST_MM, wire.insulated_mm),
        ("the least radius of a bend", wire.bend_mm, 0.0, LONGEST_MM),
        ("the clearance", wire.clearance_mm, 0.0, LONGEST_MM),
        ("the distance from the board's edge", wire.edge_mm, 0.0, LONGEST_MM),
        ("the distance between places where the wire is held", wire.relief_mm, 0.1, FARTHEST_MM),
        ("the share of slack", wire.slack_share, 0.0, 1.0),
        ("the slack", wire.slack_mm, 0.0, LONGEST_MM),
        ("the board's thickness", task.thickness_mm, 0.0, LONGEST_MM),
        ("the price of a passage", task.passage_mm, 0.0, FARTHEST_MM),
    ];
    for (what, value, least, most) in figures {
        number(|| what.to_owned(), value, least, most)?;
    }
    few("the holes", task.holes.len(), MOST_HOLES)?;
    let corners = task.keep_outs.iter().map(|keep_out| keep_out.polygon.len()).sum::<usize>();
    few("the corners of all polygons", corners + task.outline.len(), MOST_CORNERS_IN_ALL)?;
    polygon(|| "the board's outline".to_owned(), &task.outline)?;
    for (index, keep_out) in task.keep_outs.iter().enumerate() {
        polygon(|| super::problem::Obstacle::of(task, Some(index)).to_string(), &keep_out.polygon)?;
    }
    for end in [&task.from, &task.to] {
        place(&end.name, end.at)?;
        let Some(pad_mm) = end.pad_mm else { continue };
        number(|| format!("the width of the pad of `{}`", clip(&end.name)), pad_mm, THINNEST_MM, LONGEST_MM)?;
        if pad_mm < wire.conductor_mm {
            let end = clip(&end.name);
            return Err(RouteError::Pad { end, pad_mm, conductor_mm: wire.conductor_mm });
        }
    }
    for hole in &task.holes {
        place(&hole.name, hole.at)?;
        number(|| format!("the diameter of `{}`", clip(&hole.name)), hole.drill_mm, THINNEST_MM, LONGEST_MM)?;
    }
    let (from, to) = (&task.from, &task.to);
    let one_face = faces(from.side).iter().any(|face| to.side.touches(*face));
    if one_face && plane::apart(from.at, to.at) < SAME_MM {
        return Err(RouteError::SamePlace { from: clip(&from.name), to: clip(&to.name) });
    }
    Ok(())
}

/// The faces of a side.
pub(super) fn faces(side: Side) -> &'static [Face] {
    match side {
        Side::Front => &[Face::Front],
        Side::Back => &[Face::Back],
        Side::Both => &[Face::Front, Face::Back],
    }
}

fn number(what: impl Fn() -> String, value: f64, least: f64, most: f64) -> Result<(), RouteError> {
    match value >= least && value <= most {
        true => Ok(()),
        false => Err(RouteError::Figure { what: what(), value, least, most }),
    }
}

fn few(what: &'static str, found: usize, most: usize) -> Result<(), RouteError> {
    if found > most { Err(RouteError::Many { what, found, most }) } else { Ok(()) }
}

fn place(name: &str, at: [f64; 2]) -> Result<(), RouteError> {
    at.into_iter().try_for_each(|value| {
        number(|| format!("a coordinate of `{}`", clip(name)), value, -FARTHEST_MM, FARTHEST_MM)
    })
}

fn polygon(what: impl Fn() -> String, corners: &[[f64; 2]]) -> Result<(), RouteError> {
    few("the corners of one polygon", corners.len(), MOST_CORNERS)?;
    for value in corners.iter().flatten() {
        number(|| format!("a coordinate of {}", what()), *value, -FARTHEST_MM, FARTHEST_MM)?;
    }
    if corners.len() < 3 {
        return Err(RouteError::Flat { what: what() });
    }
    if let Some(crossing) = plane::crossing(corners, 0.0) {
        return Err(RouteError::Crossed { what: what(), edges: crossing.edges });
    }
    if plane::area(corners) < LEAST_MM2 {
        return Err(RouteError::Flat { what: what() });
    }
    Ok(())
}
