//! A click refined to the middle of what lies under it: of a hole, of a pad, or to the corner where two straight edges meet.
//!
//! A hand is a few pixels off; what it means is drawn in the photo to a tenth of a pixel. [`snap`] looks at a small part of the photo
//! around the click and moves it only to something that is clear: closed, set off from all around it, alike on both sides of its
//! middle, and no farther away than a hand slips. Where nothing is, or two things could be meant, it says `None` and the click stays.
//!
//! What it cannot see: that half of a straight-sided pad is covered exactly to a straight line looks like a smaller pad. A hole seen at a slant
//! shows its near wall; its rim, which is what is found, is that of the side that faces the camera.

mod blob;
mod corner;
mod grey;
#[cfg(test)]
mod tests;

use image::{DynamicImage, GrayImage, RgbImage};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use crate::plane::apart;
use grey::Grey;

/// Longest side of the part that is looked at, pixels.
pub const MOST_WINDOW_PX: u32 = 401;
/// How far a click may be moved, at least and at most, pixels: a hand's slip on a screen, by how much the photo is shown smaller.
pub const REACH_PX: [f64; 2] = [3.0, 40.0];

/// What a click is meant for.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "lowercase")]
pub enum Aim {
    /// The middle of a hole, via or pad.
    Centre,
    /// Where two straight edges meet, such as a corner of the board.
    Corner,
    /// Whichever is there; a middle before a corner.
    Any,
}

/// What a click was refined to.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, ToSchema)]
#[serde(rename_all = "lowercase")]
pub enum What {
    /// Something darker than all around it.
    Hole,
    /// Something lighter.
    Pad,
    /// Two straight edges that meet.
    Corner,
}

/// A refined click.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Snap {
    /// Where, pixels from the upper left corner of the part, with whole numbers at the corners of pixels.
    pub px: [f64; 2],
    /// On what.
    pub what: What,
}

/// Refines a click in a part of a photo; `reach_px` is how far it may be off, held to [`REACH_PX`]. `None` where nothing clear is within reach.
///
/// Light and dark are looked at first; where they do not tell, what is yellow and what is blue: gold and copper stand out from a part as light as they.
pub fn snap(part: &RgbImage, click: [f64; 2], aim: Aim, reach_px: f64) -> Option<Snap> {
    let size = [part.width(), part.height()];
    let inside = |axis: usize| {
        let most = size.get(axis).copied().map_or(0.0, f64::from);
        click.get(axis).is_some_and(|value| (0.0..=most).contains(value))
    };
    if size.iter().any(|side| *side > MOST_WINDOW_PX) || !inside(0) || !inside(1) || reach_px.is_nan() {
        return None;
    }
    let reach = reach_px.clamp(REACH_PX[0], REACH_PX[1]);
    let light = || DynamicImage::from(part.clone()).into_luma8();
    let found = [&light as &dyn Fn() -> GrayImage, &|| yellow(part)]
        .into_iter()
        .find_map(|levels| found(&Grey::of(&levels()), click, aim, reach));
    found.filter(|found| apart(found.px, click) <= reach)
}

/// Red less blue, half of it above the middle level.
fn yellow(part: &RgbImage) -> GrayImage {
    let level = |[red, _, blue]: [u8; 3]| {
        image::Luma([(128 + (i16::from(red) - i16::from(blue)) / 2).clamp(0, 255) as u8])
    };
    GrayImage::from_fn(part.width(), part.height(), |x, y| level(part.get_pixel(x, y).0))
}

fn found(grey: &Grey, click: [f64; 2], aim: Aim, reach: f64) -> Option<Snap> {
    let centre = || match aim {
        Aim::Corner => None,
        Aim::Centre | Aim::Any => blob::centre(grey, click, reach),
    };
    let corner = || match aim {
        Aim::Centre => None,
        Aim::Corner | Aim::Any => corner::corner(grey, click, reach),
    };
    centre().or_else(corner)
}
