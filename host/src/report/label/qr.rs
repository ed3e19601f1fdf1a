//! QR codes (ISO/IEC 18004), made by the crate `qrcode`.

use qrcode::bits::Bits;
use qrcode::{Color, EcLevel, QrCode, Version};

/// Restores about 15 % of a code that is lost to dirt and scratches: the usual level.
const LEVEL: EcLevel = EcLevel::M;

/// Blank on every side, modules.
pub const QUIET: f32 = 4.0;

/// Number by which a code says that its bytes are UTF-8 (AIM ECI).
const UTF_8: u32 = 26;

/// A square of modules.
pub struct Square {
    /// Modules along an edge.
    pub side: usize,
    /// Row by row, true where it is dark.
    pub dark: Vec<bool>,
}

/// The code of a text. `None` where the text is longer than any code.
pub fn square(text: &str) -> Option<Square> {
    // Bytes of other scripts say what they are, and are never taken for the double bytes of Kanji.
    let code = match text.is_ascii() {
        true => QrCode::with_error_correction_level(text, LEVEL).ok()?,
        false => (1..=40).find_map(|version| utf8(text, Version::Normal(version)))?,
    };
    let dark = code.to_colors().into_iter().map(|colour| colour == Color::Dark).collect();
    Some(Square { side: code.width(), dark })
}

fn utf8(text: &str, version: Version) -> Option<QrCode> {
    let mut bits = Bits::new(version);
    bits.push_eci_designator(UTF_8).ok()?;
    bits.push_byte_data(text.as_bytes()).ok()?;
    bits.push_terminator(LEVEL).ok()?;
    QrCode::with_bits(bits, LEVEL).ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_longer_text_takes_a_larger_code_until_none_is_large_enough() {
        for (text, side) in [("TG-0042", 21), ("Gerät 7", 21), ("序号-3", 21), (&"é".repeat(40), 37)] {
            let code = square(text).unwrap();
            assert_eq!((code.side, code.dark.len()), (side, side * side), "{text}");
            // The finder at the top left: a dark frame with a bright one inside.
            assert!(code.dark[..7].iter().all(|dark| *dark) && !code.dark[code.side + 1]);
        }
        assert!(square(&"x".repeat(5_000)).is_none() && square(&"é".repeat(3_000)).is_none());
    }
}
