//! Photos: what is taken, what is kept of it, and that what was kept is what is shown.

use std::io::Cursor;

use image::codecs::jpeg::JpegEncoder;
use image::{DynamicImage, ImageFormat, Rgb, RgbImage};

use super::super::picture::KEPT_BYTES;
use super::super::summary::PhotoId;
use super::super::{Error, INPUT_BYTES, PictureError, Records, sample};
use super::{fresh, run, unlock};
use crate::photograph::INPUT_PIXELS;

/// A picture that is red on the left and blue on the right.
fn drawn(width: u32, height: u32) -> DynamicImage {
    let colour = |x, _| if x < width / 2 { Rgb([250, 0, 0]) } else { Rgb([0, 0, 250]) };
    RgbImage::from_fn(width, height, colour).into()
}

/// A PNG file of this size.
pub(super) fn png(width: u32, height: u32) -> Vec<u8> {
    let mut file = Cursor::new(Vec::new());
    drawn(width, height).write_to(&mut file, ImageFormat::Png).unwrap();
    file.into_inner()
}

fn jpeg(image: &DynamicImage) -> Vec<u8> {
    let mut file = Vec::new();
    image.write_with_encoder(JpegEncoder::new_with_quality(&mut file, 90)).unwrap();
    file
}

/// A JPEG file with Exif data that says how the camera was held, and something private.
/// Source: CIPA DC-008 (Exif 2.3), 4.5.4 and 4.6.4, tag 274 (from memory).
fn held(image: &DynamicImage, orientation: u8) -> Vec<u8> {
    let mut tiff = b"II*\0\x08\0\0\0\x01\0\x12\x01\x03\0\x01\0\0\0".to_vec();
    tiff.extend([orientation, 0, 0, 0, 0, 0, 0, 0]);
    tiff.extend(b"PRIVATE");
    let mut segment = b"Exif\0\0".to_vec();
    segment.extend(tiff);
    let mut file = jpeg(image);
    let length = u16::try_from(segment.len() + 2).unwrap().to_be_bytes();
    file.splice(2..2, [&[0xff, 0xe1][..], &length, &segment].concat());
    file
}

fn swept() -> (tempfile::TempDir, Records) {
    let (folder, records) = fresh();
    records.store(&sample::sweep("A-1", None, 1, None), &sample::fixture()).unwrap();
    (folder, records)
}

/// What is kept of a file.
fn kept(file: Vec<u8>) -> Result<(Vec<u8>, DynamicImage), Error> {
    let (_folder, records) = swept();
    let id = records.photo("A-1", 1, "", file)?;
    let bytes = records.picture(id)?;
    let image = image::load_from_memory_with_format(&bytes, ImageFormat::Jpeg).unwrap();
    let unit = records.unit("A-1").unwrap();
    let photo = unit.photos().next().unwrap();
    assert_eq!((photo.width_px, photo.height_px), (image.width(), image.height()));
    assert_eq!(photo.length as usize, bytes.len());
    Ok((bytes, image))
}

#[test]
fn a_small_photo_keeps_its_size_and_a_large_one_is_made_smaller() {
    for (given, size) in [((60, 40), (60, 40)), ((2048, 4), (2048, 4)), ((2049, 6), (2048, 6))] {
        let (_, image) = kept(png(given.0, given.1)).unwrap();
        assert_eq!((image.width(), image.height()), size);
    }
    let (_, image) = kept(jpeg(&drawn(60, 4_096))).unwrap();
    assert_eq!((image.width(), image.height()), (30, 2_048));
}

#[test]
fn a_photo_stands_upright_and_nothing_but_the_picture_is_kept() {
    for (orientation, size, left_is_red) in [(1, (64, 32), true), (3, (64, 32), false), (6, (32, 64), true)] {
        let file = held(&drawn(64, 32), orientation);
        assert!(file.windows(7).any(|part| part == b"PRIVATE"));
        let (bytes, image) = kept(file).unwrap();
        assert_eq!((image.width(), image.height()), size, "{orientation}");
        // Where it was turned by a quarter, what was on the left is above.
        let [red, _, blue] = image.to_rgb8().get_pixel(4, 4).0;
        assert_eq!(red > blue, left_is_red, "{orientation}");
        assert!(!bytes.windows(4).any(|part| part == b"Exif" || part == b"PRIV"));
    }
}

/// Noise is what JPEG is worst at.
#[test]
fn whatever_is_in_the_picture_a_megabyte_is_kept_at_most() {
    let mut state = 1_u32;
    let mut noise = || {
        state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        (state >> 24) as u8
    };
    let image = RgbImage::from_fn(1_000, 900, |_, _| Rgb([noise(), noise(), noise()])).into();
    let (bytes, _) = kept(jpeg(&image)).unwrap();
    assert!(bytes.len() <= KEPT_BYTES, "{}", bytes.len());
}

/// A PNG file whose header says this size, and that has next to nothing in it.
fn claims(width: u32, height: u32) -> Vec<u8> {
    let mut file = png(1, 1);
    file[16..20].copy_from_slice(&width.to_be_bytes());
    file[20..24].copy_from_slice(&height.to_be_bytes());
    // The check sum of a PNG chunk is CRC-32 over its type and data. Source: PNG specification, annex D.
    let sum = crc::Crc::<u32>::new(&crc::CRC_32_ISO_HDLC).checksum(&file[12..29]);
    file[29..33].copy_from_slice(&sum.to_be_bytes());
    file
}

#[test]
fn what_is_no_photo_is_refused_with_a_remedy() {
    let said = |file: Vec<u8>| kept(file).unwrap_err().to_string();
    assert_eq!(said(Vec::new()), "the file is empty, so there is no photo in it: name another file");
    for file in [&b"format = 1\n"[..], b"GIF89a\x01\0\x01\0", b"BM", &[0; 100]] {
        assert_eq!(
            said(file.to_vec()),
            "no photo: the file is neither a JPEG nor a PNG; save it as one of these"
        );
    }
    assert_eq!(
        said(vec![0xff; INPUT_BYTES + 1]),
        "the photo is 11 MB long, and 10 MB are taken at most: have it made smaller by the camera or a picture program"
    );
    let mut longest = png(8, 8);
    longest.resize(INPUT_BYTES, 0);
    kept(longest).unwrap();
    assert_eq!(
        said(claims(8_000, 5_001)),
        "the photo has 8000 x 5001 pixels, and 40 million are taken at most: have it made smaller by the camera or a \
         picture program"
    );
    assert_eq!(u64::from(8_000_u32 * 5_000), INPUT_PIXELS);
    for file in [claims(8_000, 5_000), png(60, 40)[..80].to_vec(), claims(0, 7)] {
        let words = said(file);
        assert!(words.starts_with("the photo cannot be read ("), "{words}");
        assert!(words.ends_with("take it again, or save it anew with a picture program"), "{words}");
    }
}

/// Files with a few bytes of another value are read or refused, and nothing comes of it but that.
#[test]
fn altered_photos_are_taken_or_refused_in_words() {
    let (_folder, records) = swept();
    let (whole, mut state) = ([jpeg(&drawn(40, 24)), png(40, 24), held(&drawn(24, 40), 8)], 7_u32);
    let mut below = |limit: usize| {
        state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        state as usize / 256 % limit
    };
    let (mut taken, mut refused) = (0, 0);
    for turn in 0..150 {
        let mut file = whole[turn % 3].clone();
        for _ in 0..=below(4) {
            let at = below(file.len());
            file[at] = below(256) as u8;
        }
        if turn % 5 == 0 {
            file.truncate(below(file.len()));
        }
        match records.photo("A-1", 1, "", file) {
            Ok(_) => taken += 1,
            Err(Error::Picture(error)) => refused += usize::from(error.to_string().len() > 20),
            Err(other) => panic!("turn {turn}: {other}"),
        }
    }
    assert_eq!(taken + refused, 150);
    assert!(taken > 5 && refused > 5, "{taken} taken, {refused} refused");
    assert!(records.check().unwrap().sound());
}

#[test]
fn photos_are_listed_and_shown_by_their_numbers() {
    let (_folder, records) = swept();
    records.receive(&["B-1".into()], None, 1).unwrap();
    let first = records.photo("A-1", 5, "crust at the cell", png(6, 4)).unwrap();
    let second = records.photo("B-1", 6, "", png(9, 9)).unwrap();
    assert_eq!((first, second), (PhotoId(1), PhotoId(2)));
    let unit = records.unit("A-1").unwrap();
    let photos: Vec<_> = unit.photos().map(|photo| (photo.id, photo.caption.as_str(), photo.at_us)).collect();
    assert_eq!(photos, [(first, "crust at the cell", 5)]);
    assert_eq!(records.check().unwrap().photos, 2);
    assert_eq!(
        records.picture(PhotoId(3)).unwrap_err().to_string(),
        format!(
            "no photo 3 in the records at {}; `copperwalk unit SN` names those of a unit",
            records.path().display()
        )
    );
    assert!(matches!(records.photo("C-1", 1, "", png(2, 2)), Err(Error::UnknownUnit { .. })));
    assert!(matches!(records.photo("A-1", 1, " x", png(2, 2)), Err(Error::Text(_))));
    assert!(matches!(records.photo("A-1", 1, "", vec![1]), Err(Error::Picture(PictureError::NoPhoto))));
}

/// By another program: the picture of one photo under the number of another, a row altered, a row taken away.
#[test]
fn a_photo_that_is_not_as_it_was_written_is_not_shown() {
    for (sql, what) in [
        (
            "UPDATE picture SET jpeg = (SELECT jpeg FROM picture WHERE photo_id = 2) WHERE photo_id = 1",
            "picture",
        ),
        ("DELETE FROM picture WHERE photo_id = 1", "picture"),
        ("UPDATE photo SET caption = 'x' WHERE photo_id = 1", "row"),
        (
            "UPDATE photo SET photo_id = 3 WHERE photo_id = 1; UPDATE picture SET photo_id = 3 WHERE photo_id = 1",
            "row",
        ),
        ("DELETE FROM photo WHERE photo_id = 1; DELETE FROM picture WHERE photo_id = 1", "row"),
        ("DELETE FROM ledger WHERE kind = 'photo' AND serial = 'A-1'", "ledger"),
    ] {
        let (_folder, records) = swept();
        records.receive(&["B-1".into()], None, 1).unwrap();
        records.photo("A-1", 5, "", png(6, 4)).unwrap();
        let other = records.photo("B-1", 6, "", png(9, 9)).unwrap();
        unlock(&records);
        run(&records, sql);
        assert!(records.picture(PhotoId(1)).is_err() && records.picture(PhotoId(3)).is_err(), "{sql}");
        assert_eq!(records.unit("A-1").is_ok(), what == "picture", "{sql}: a history has no pictures");
        assert!(records.picture(other).is_ok() && records.unit("B-1").is_ok(), "{sql}: others are shown");
        assert!(!records.check().unwrap().sound(), "{sql}");
    }
}
