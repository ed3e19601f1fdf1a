//! A photo as a file: decoded under limits, whatever somebody sends.

use std::io::Cursor;

use image::codecs::jpeg::JpegEncoder;
use image::metadata::Orientation;
use image::{DynamicImage, ImageDecoder, ImageError, ImageFormat, ImageReader, Limits, RgbImage};

/// Longest file that is looked at, byte. Cameras of telephones write 2 to 8 MB.
pub const INPUT_BYTES: usize = 10 << 20;
/// Most pixels that are decoded. The header says how many there are.
pub const INPUT_PIXELS: u64 = 40_000_000;
/// Memory that decoding may take, byte: four a pixel, and as much again for what the decoder works with.
const DECODING_BYTES: u64 = 2 * 4 * INPUT_PIXELS;
/// Why a photo is not taken.
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

/// The picture as it lies in the file, and how it is to be turned.
///
/// # Errors
/// No JPEG or PNG, too long, too many pixels, or broken.
pub fn decode(file: &[u8]) -> Result<(DynamicImage, Orientation), PictureError> {
    match file.len() {
        0 => return Err(PictureError::Empty),
        length if length > INPUT_BYTES => return Err(PictureError::TooLong { length }),
        _ => {}
    }
    let format = image::guess_format(file).map_err(|_| PictureError::NoPhoto)?;
    if !matches!(format, ImageFormat::Jpeg | ImageFormat::Png) {
        return Err(PictureError::NoPhoto);
    }
    if format == ImageFormat::Jpeg && !is_whole(file) {
        return Err(PictureError::Broken { reason: "the file ends in the middle of the picture".into() });
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

/// Does a JPEG file reach its end-of-image marker? Decoders fill what is missing with grey. The way to the picture goes from segment to
/// segment (ITU-T T.81, B.1), because a thumbnail in one of them has a marker of its own; within the picture's data no marker occurs by chance.
fn is_whole(file: &[u8]) -> bool {
    const START_OF_SCAN: u8 = 0xda;
    const END_OF_IMAGE: [u8; 2] = [0xff, 0xd9];
    let mut at = 2;
    loop {
        let Some(&[0xff, marker, high, low]) = file.get(at..at + 4) else { return false };
        match marker {
            // Bytes of 0xff may fill up before a marker.
            0xff => at += 1,
            START_OF_SCAN => {
                let data = file.get(at..).unwrap_or_default();
                return data.windows(2).any(|two| two == END_OF_IMAGE);
            }
            _ => at += 2 + usize::from(u16::from_be_bytes([high, low])),
        }
    }
}

/// The picture as a browser shows it: turned upright, in eight bits per colour and without transparency.
///
/// # Errors
/// As [`decode`].
pub fn oriented(file: &[u8]) -> Result<RgbImage, PictureError> {
    let (mut image, orientation) = decode(file)?;
    image.apply_orientation(orientation);
    Ok(image.into_rgb8())
}

/// A picture as a JPEG file; the quality is out of 100.
///
/// # Errors
/// The encoder refuses it.
pub fn jpeg(image: &DynamicImage, quality: u8) -> Result<Vec<u8>, PictureError> {
    let mut jpeg = Vec::new();
    image.write_with_encoder(JpegEncoder::new_with_quality(&mut jpeg, quality)).map_err(broken)?;
    Ok(jpeg)
}

fn broken(error: ImageError) -> PictureError {
    match error {
        ImageError::Limits(_) => PictureError::TooMuchMemory,
        other => PictureError::Broken { reason: other.to_string() },
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_photo_that_is_cut_short_is_refused_wherever_the_cut_is() {
        let noise =
            RgbImage::from_fn(120, 90, |x, y| image::Rgb([(x * 7 + y * 13) as u8, (x * y) as u8, y as u8]));
        let whole = jpeg(&noise.clone().into(), 90).unwrap();
        assert_eq!(oriented(&whole).unwrap().dimensions(), (120, 90));
        for length in (0..whole.len() - 2).step_by(23) {
            assert!(decode(&whole[..length]).is_err(), "{length} bytes of {}", whole.len());
        }
        // What a camera puts behind the picture does no harm.
        assert!(decode(&[&whole[..], b"more"].concat()).is_ok());
        let mut png = Vec::new();
        DynamicImage::from(noise).write_to(&mut Cursor::new(&mut png), ImageFormat::Png).unwrap();
        assert!(decode(&png[..png.len() / 2]).is_err());
    }
}
