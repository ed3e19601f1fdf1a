//! A photo as somebody took it, made small enough to be kept: decoded under limits, turned upright, scaled down, and
//! encoded anew, so that nothing of the file but its picture is kept. Not where it was taken, nor by whom.

use image::DynamicImage;

pub use crate::photograph::{INPUT_BYTES, PictureError};
use crate::photograph::{decode, jpeg};

/// Longest picture that is kept, byte.
pub const KEPT_BYTES: usize = 1 << 20;
/// Longest side of a picture that is kept, pixels, and the quality of its JPEG, out of 100. The first that fits into
/// [`KEPT_BYTES`] is taken: nearly always the first of all, and the last for whatever is in the picture, noise included.
const KEPT: [(u32, u8); 4] = [(2048, 85), (2048, 60), (1280, 60), (640, 40)];

/// A picture as it is kept.
#[derive(Clone, PartialEq, Eq, Debug)]
pub(super) struct Picture {
    pub width_px: u32,
    pub height_px: u32,
    /// The JPEG file; at most [`KEPT_BYTES`].
    pub jpeg: Vec<u8>,
}

impl Picture {
    /// Of a JPEG or PNG file. Takes a second of a processor for a large one.
    pub fn of(file: &[u8]) -> Result<Self, PictureError> {
        let (image, orientation) = decode(file)?;
        for (side, quality) in KEPT {
            let mut kept = shrunk(&image, side);
            // The small one: to turn the large one takes as much memory again.
            kept.apply_orientation(orientation);
            let jpeg = jpeg(&kept, quality)?;
            if jpeg.len() <= KEPT_BYTES {
                return Ok(Self { width_px: kept.width(), height_px: kept.height(), jpeg });
            }
        }
        Err(PictureError::TooMuchMemory)
    }
}

/// With neither side longer than this, in eight bits per colour and without transparency.
fn shrunk(image: &DynamicImage, side: u32) -> DynamicImage {
    let is_long = image.width().max(image.height()) > side;
    // Averages in whole numbers, without a copy of the large image in floating point.
    let kept = if is_long { image.thumbnail(side, side) } else { image.clone() };
    kept.into_rgb8().into()
}
