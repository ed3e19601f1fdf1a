//! The copper of one layer that is left to solve: the union of its shapes, less its cuts, less what is held at one
//! potential.

use i_overlay::core::fill_rule::FillRule;
use i_overlay::core::overlay_rule::OverlayRule;
use i_overlay::core::solver::Solver;
use i_overlay::float::overlay::{FloatOverlay, OverlayOptions};
use i_overlay::float::single::SingleFloatOverlay;

use super::contour::{Contour, Roundness, contours, points};
use super::weld::weld;
use super::{CopperError, Layer};

/// Most corners of all shapes of a layer together: enough for the pours of any board, and compared with each other within
/// seconds whatever their shapes.
const MOST_CORNERS: usize = 100_000;

/// Copper as contours, outlines counterclockwise and holes clockwise. Contours may touch in points but neither cross nor
/// share a stretch.
///
/// `held` are the areas of one potential by node, welded to the copper where they come close: those edges of the result
/// that lie on an area's edge touch it.
///
/// # Errors
/// A shape is not sound, or there are too many corners.
pub(super) fn copper(
    layer: &Layer,
    held: &mut [(usize, Vec<Contour>)],
    round: Roundness,
) -> Result<Vec<Contour>, CopperError> {
    let corners = layer.shapes.iter().chain(&layer.cuts).map(|shape| points(shape, round)).sum();
    if corners > MOST_CORNERS {
        return Err(CopperError::Corners { corners, most: MOST_CORNERS });
    }
    let read = |shapes: &[super::Shape]| -> Result<Vec<Contour>, CopperError> {
        Ok(shapes.iter().map(|shape| contours(shape, round)).collect::<Result<Vec<_>, _>>()?.concat())
    };
    let (mut shapes, mut cuts) = (read(&layer.shapes)?, read(&layer.cuts)?);
    weld(&mut shapes);
    weld(&mut cuts);
    let copper = shapes.overlay(&cuts, OverlayRule::Difference, FillRule::Positive).concat();

    // Welded together, so that an area that reaches just to the copper's edge shares that edge.
    let mut together: Vec<Contour> =
        held.iter().flat_map(|(_, area)| area.iter().cloned()).chain(copper).collect();
    weld(&mut together);
    let mut welded = together.into_iter();
    for contour in held.iter_mut().flat_map(|(_, area)| area) {
        *contour = welded.next().unwrap_or_default();
    }
    let copper: Vec<Contour> = welded.collect();
    let held = held.iter().flat_map(|(_, area)| area.iter().cloned()).collect::<Vec<_>>();
    // A corner may lie on a straight line: where an area ends at the copper's edge.
    let mut options = OverlayOptions::default();
    options.preserve_output_collinear = true;
    let mut overlay = FloatOverlay::with_subj_and_clip_custom(&copper, &held, options, Solver::default());
    Ok(overlay.overlay(OverlayRule::Difference, FillRule::Positive).concat())
}
