//! A photo drawn anew as if it had been taken from straight above: to scale, and bounded in size.

use image::{Rgb, RgbImage};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::{Homography, Seen};
use crate::plane::apart;

/// Longest side of what is drawn, pixels.
pub const MOST_SIDE_PX: u32 = 2400;
/// What lies outside of the photo.
const NOTHING: Rgb<u8> = Rgb([225, 224, 220]);
/// Board sizes that make sense, mm.
const SIDES_MM: [f64; 2] = [1.0, 2100.0];
/// Scales that make sense.
const SCALES: [f64; 2] = [0.5, 100.0];

/// The part of the board that is drawn, mm, seen from the front.
#[derive(Clone, Copy, PartialEq, Debug, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Window {
    /// Lowest x and y.
    pub low: [f64; 2],
    /// Highest x and y.
    pub high: [f64; 2],
}

/// Why a photo is not flattened.
#[derive(Clone, PartialEq, Debug, thiserror::Error)]
#[allow(missing_docs)] // each says it
pub enum FlattenError {
    #[error(
        "the part of the board that is to be drawn is {width_mm:.1} mm wide and {height_mm:.1} mm high: from 1 mm to 2100 mm belong here"
    )]
    Window { width_mm: f64, height_mm: f64 },
    #[error("the marks put the photo so that it does not show this part of the board: mark it again")]
    Elsewhere,
}

/// Draws the photo anew. The front is drawn with x to the right, the back with x to the left, as it is seen; y is up. The scale is
/// lowered until the longest side has at most [`MOST_SIDE_PX`] pixels.
///
/// # Errors
/// A window that makes no sense, or of which the photo shows nothing.
pub fn flatten(
    photo: &RgbImage,
    to_mm: &Homography,
    window: Window,
    seen: Seen,
    px_per_mm: f64,
) -> Result<RgbImage, FlattenError> {
    let [width_mm, height_mm] = [window.high[0] - window.low[0], window.high[1] - window.low[1]];
    let sides = SIDES_MM[0]..=SIDES_MM[1];
    if !(sides.contains(&width_mm) && sides.contains(&height_mm)) {
        return Err(FlattenError::Window { width_mm, height_mm });
    }
    let most = f64::from(MOST_SIDE_PX) / width_mm.max(height_mm);
    let scale = if px_per_mm.is_finite() { px_per_mm.clamp(SCALES[0], SCALES[1]).min(most) } else { most };
    let pixels = |mm: f64| ((mm * scale).round() as u32).clamp(1, MOST_SIDE_PX);
    let (width, height) = (pixels(width_mm), pixels(height_mm));
    let to_px = to_mm.inverse().ok_or(FlattenError::Elsewhere)?;
    // Whole pixels fill the window exactly.
    let step = [width_mm / f64::from(width), height_mm / f64::from(height)];
    let place = |column: f64, row: f64| {
        let x = match seen {
            Seen::Front => window.low[0] + column * step[0],
            Seen::Back => window.high[0] - column * step[0],
        };
        to_px.apply([x, window.high[1] - row * step[1]])
    };
    let fine = samples(&place, f64::from(width), f64::from(height));
    let mut is_seen = false;
    let drawn = RgbImage::from_fn(width, height, |column, row| {
        let mut sum = [0.0; 3];
        for i in 0..fine * fine {
            let part = |i: u32| (f64::from(i) + 0.5) / f64::from(fine);
            let at = place(f64::from(column) + part(i % fine), f64::from(row) + part(i / fine));
            let seen = at.and_then(|at| between(photo, at));
            is_seen |= seen.is_some();
            for (sum, value) in sum.iter_mut().zip(seen.unwrap_or(NOTHING.0.map(f64::from))) {
                *sum += value;
            }
        }
        Rgb(sum.map(|sum| (sum / f64::from(fine * fine)).round().clamp(0.0, 255.0) as u8))
    });
    if is_seen { Ok(drawn) } else { Err(FlattenError::Elsewhere) }
}

/// Samples along a side of each pixel, so that a smaller picture does not flicker: as many as photo pixels fit, at most 3.
fn samples(place: &impl Fn(f64, f64) -> Option<[f64; 2]>, width: f64, height: f64) -> u32 {
    let middle = [width / 2.0, height / 2.0];
    let (Some(a), Some(b)) = (place(middle[0], middle[1]), place(middle[0] + 1.0, middle[1])) else {
        return 1;
    };
    // Between two pixels a sample takes both in, so that one does up to a scale of two.
    let photo_px = apart(a, b);
    (photo_px as u32).clamp(1, 3)
}

/// The colour at a place between pixels, whose middles are at halves; `None` outside.
fn between(photo: &RgbImage, [x, y]: [f64; 2]) -> Option<[f64; 3]> {
    let (width, height) = photo.dimensions();
    if !(x >= 0.0 && y >= 0.0 && x <= f64::from(width) && y <= f64::from(height)) {
        return None;
    }
    let (x, y) = ((x - 0.5).max(0.0), (y - 0.5).max(0.0));
    let (left, up) = ((x as u32).min(width - 1), (y as u32).min(height - 1));
    let (right, down) = ((left + 1).min(width - 1), (up + 1).min(height - 1));
    let (across, along) = (x - f64::from(left), y - f64::from(up));
    let (across, along) = (across.min(1.0), along.min(1.0));
    // By the bytes: three a pixel, row by row.
    let pixel = |x: u32, y: u32| {
        let at = 3 * (y as usize * width as usize + x as usize);
        photo.as_raw().get(at..at + 3).and_then(|bytes| <[u8; 3]>::try_from(bytes).ok()).unwrap_or(NOTHING.0)
    };
    let [a, b, c, d] = [pixel(left, up), pixel(right, up), pixel(left, down), pixel(right, down)];
    let mut mixed = [0.0; 3];
    for ((((mixed, a), b), c), d) in mixed.iter_mut().zip(a).zip(b).zip(c).zip(d) {
        let upper = f64::from(a) * (1.0 - across) + f64::from(b) * across;
        let lower = f64::from(c) * (1.0 - across) + f64::from(d) * across;
        *mixed = upper * (1.0 - along) + lower * along;
    }
    Some(mixed)
}
