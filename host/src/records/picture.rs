//! A photo as somebody took it, made small enough to be kept: decoded under limits, turned upright, scaled down, and
//! encoded anew, so that nothing of the file but its picture is kept. Not where it was taken, nor by whom.

use std::io::Cursor;

use image::codecs::jpeg::JpegEncoder;
use image::metadata::Orientation;
use image::{DynamicImage, ImageDecoder, ImageError, ImageFormat, ImageReader, Limits};

/// Longest file that is looked at, byte. Cameras of telephones write 2 to 8 MB.
pub const INPUT_BYTES: usize = 10 << 20;
/// Most pixels that are decoded. The header says how many there are.
pub const INPUT_PIXELS: u64 = 40_000_000;
/// Memory that decoding may take, byte: four a pixel, and as much again for what the decoder works with.
const DECODING_BYTES: u64 = 2 * 4 * INPUT_PIXELS;
/// Longest picture that is kept, byte.
pub const KEPT_BYTES: usize = 1 << 20;
/// Longest side of a picture that is kept, pixels, and the quality of its JPEG, out of 100. The first that fits into
/// [`KEPT_BYTES`] is taken: nearly always the first of all, and the last for whatever is in the picture, noise included.
const KEPT: [(u32, u8); 4] = [(2048, 85), (2048, 60), (1280, 60), (640, 40)];

/// Why a photo is not kept.
#[derive(Clone, PartialEq, Eq, Debug, thiserror::Error)]
#[allow(missing_docs)] // each says it
pub enum PictureError {
    #[error("the file is empty, so there is no photo in it: name another file")]
    Empty,
    #[error(
        "the photo is {} MB long, and {} MB are taken at most: have it made smaller by the camera or a picture program",
        length.div_ceil(1 << 20),
        INPUT_BYTES >> 20
    )]
    TooLong { length: usize },
    #[error("no photo: the file is neither a JPEG nor a PNG; save it as one of these")]
    NoPhoto,
    #[error(
        "the photo has {width} x {height} pixels, and {} million are taken at most: have it made smaller by the camera \
         or a picture program",
        INPUT_PIXELS / 1_000_000
    )]
    TooManyPixels { width: u32, height: u32 },
    #[error("the photo takes more memory than a photo does: save it as a JPEG with 8 bits per colour")]
    TooMuchMemory,
    #[error("the photo cannot be read ({reason}): take it again, or save it anew with a picture program")]
    Broken { reason: String },
}

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
            let mut jpeg = Vec::new();
            kept.write_with_encoder(JpegEncoder::new_with_quality(&mut jpeg, quality)).map_err(broken)?;
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

/// The picture as it lies in the file, and how it is to be turned.
fn decode(file: &[u8]) -> Result<(DynamicImage, Orientation), PictureError> {
    match file.len() {
        0 => return Err(PictureError::Empty),
        length if length > INPUT_BYTES => return Err(PictureError::TooLong { length }),
        _ => {}
    }
    let format = image::guess_format(file).map_err(|_| PictureError::NoPhoto)?;
    if !matches!(format, ImageFormat::Jpeg | ImageFormat::Png) {
        return Err(PictureError::NoPhoto);
    }
    let mut reader = ImageReader::with_format(Cursor::new(file), format);
    let mut limits = Limits::no_limits();
    limits.max_alloc = Some(DECODING_BYTES);
    reader.limits(limits);
    let mut decoder = reader.into_decoder().map_err(broken)?;
    let (width, height) = decoder.dimensions();
    if u64::from(width) * u64::from(height) > INPUT_PIXELS {
        return Err(PictureError::TooManyPixels { width, height });
    }
    if decoder.total_bytes() > DECODING_BYTES / 2 {
        return Err(PictureError::TooMuchMemory);
    }
    // One that cannot be read is no reason to refuse the photo.
    let orientation = decoder.orientation().unwrap_or(Orientation::NoTransforms);
    Ok((DynamicImage::from_decoder(decoder).map_err(broken)?, orientation))
}

fn broken(error: ImageError) -> PictureError {
    match error {
        ImageError::Limits(_) => PictureError::TooMuchMemory,
        other => PictureError::Broken { reason: other.to_string() },
    }
}
