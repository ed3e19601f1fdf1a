//! Photos behind the drawing of a board: flattened, so that they lie where the copper does.

use std::fs;
use std::path::Path;

use crate::by_hand::place::Face;
use crate::draft::{PHOTOS, Photos, photo_file};
use crate::photograph::{Seen, Window};

/// Longest photo that is put into a report, bytes: the editor writes less than half a megabyte.
const LONGEST: u64 = 4 << 20;
/// Longest `photos.toml` that is looked into, bytes.
const LONGEST_PLACES: u64 = 64 << 10;

/// A flattened photo.
#[derive(Clone, PartialEq, Debug)]
pub struct Picture {
    /// Its address, or the picture itself as a `data:` address.
    pub address: String,
    /// The part of the board that it shows.
    pub window: Window,
}

/// The photos of both faces, where there are any.
#[derive(Clone, PartialEq, Debug, Default)]
pub struct Backdrop {
    front: Option<Picture>,
    back: Option<Picture>,
}

impl Backdrop {
    /// Photos of these places, each with its address as it is told for its side.
    pub fn new(photos: Photos, address: impl Fn(Seen) -> Option<String>) -> Self {
        let picture = |side| Some(Picture { window: photos.of(side)?, address: address(side)? });
        Self { front: picture(Seen::Front), back: picture(Seen::Back) }
    }

    /// Those beside a board or fixture file, as part of the page itself. What cannot be read is left out: a report is a report without photos, too.
    pub fn beside(file: &Path) -> Self {
        let read = |name: &str, longest: u64| {
            let path = file.with_file_name(name);
            let data = fs::metadata(&path).ok().filter(|data| data.is_file() && data.len() <= longest)?;
            (data.len() > 0).then(|| fs::read(&path).ok()).flatten()
        };
        let Some(places) = read(PHOTOS, LONGEST_PLACES) else { return Self::default() };
        let photos = Photos::parse(&String::from_utf8_lossy(&places));
        Self::new(photos, |side| {
            let jpeg = read(photo_file(side), LONGEST).filter(|file| file.starts_with(&[0xff, 0xd8]))?;
            Some(format!("data:image/jpeg;base64,{}", base64(&jpeg)))
        })
    }

    /// That of one face.
    pub fn of(&self, face: Face) -> Option<&Picture> {
        match face {
            Face::Front => self.front.as_ref(),
            Face::Back => self.back.as_ref(),
        }
    }
}

/// Base 64 (RFC 4648, section 4).
fn base64(bytes: &[u8]) -> String {
    const LETTERS: &[u8; 64] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    let mut text = String::with_capacity(bytes.len().div_ceil(3) * 4);
    for three in bytes.chunks(3) {
        let all = three.iter().chain(&[0, 0]).take(3).fold(0_u32, |all, byte| all << 8 | u32::from(*byte));
        for place in 0..4_usize {
            let letter = LETTERS[(all >> (18 - 6 * place)) as usize & 63];
            text.push(if place <= three.len() { char::from(letter) } else { '=' });
        }
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    /// RFC 4648, section 10: test vectors.
    #[test]
    fn base_64_as_published() {
        for (plain, coded) in [
            ("", ""),
            ("f", "Zg=="),
            ("fo", "Zm8="),
            ("foo", "Zm9v"),
            ("foob", "Zm9vYg=="),
            ("fooba", "Zm9vYmE="),
            ("foobar", "Zm9vYmFy"),
        ] {
            assert_eq!(base64(plain.as_bytes()), coded);
        }
    }

    #[test]
    fn photos_beside_a_file_are_part_of_the_page_and_missing_ones_are_left_out() {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("fixture.toml");
        assert_eq!(Backdrop::beside(&file), Backdrop::default());
        let window = Some(Window { low: [0.0, 0.0], high: [30.0, 20.0] });
        let photos = Photos { front: window, back: window };
        fs::write(folder.path().join(PHOTOS), photos.text()).unwrap();
        fs::write(folder.path().join("front.jpg"), [0xff, 0xd8, 0xff]).unwrap();
        fs::write(folder.path().join("back.jpg"), "no picture").unwrap();
        let found = Backdrop::beside(&file);
        assert_eq!(found.of(Face::Front).unwrap().address, "data:image/jpeg;base64,/9j/");
        assert_eq!(found.of(Face::Back), None);
    }
}
