//! What people may write into the records: serial numbers, lots, notes, repairs.
//!
//! Anything that can be seen is allowed, in any script, slashes and quotes included: every value is bound to its
//! query and file names are made elsewhere. Refused is what cannot be seen, because two serial numbers that look
//! the same must be the same; for the same reason serial numbers and lots are kept in Unicode's normal form C (UAX #15):
//! "é" typed as one character and as "e" with an accent are one text. Nothing else is trimmed or altered. Letters of
//! different scripts that happen to look alike, Latin A and Cyrillic А, stay different.

use unicode_normalization::UnicodeNormalization;
use unicode_properties::{GeneralCategory, UnicodeGeneralCategory};

use crate::visible;

/// Longest serial number, lot or action, in characters.
pub const NAME_CHARACTERS: usize = 64;
/// Longest place of a repair: two point names and more.
pub const PLACE_CHARACTERS: usize = 200;
/// Longest caption of a photo, or note to an answer: a line on a page.
pub const CAPTION_CHARACTERS: usize = 200;
/// Longest note: a few printed pages.
pub const NOTE_CHARACTERS: usize = 10_000;

/// Why a text cannot be kept. `what` is the thing that was to be named.
#[derive(Clone, PartialEq, Eq, Debug, thiserror::Error)]
#[allow(missing_docs)]
pub enum TextError {
    #[error("the {what} is empty: give at least one visible character")]
    Empty { what: &'static str },
    #[error("the {what} is {length} characters long; at most {longest} are kept: shorten it")]
    TooLong { what: &'static str, length: usize, longest: usize },
    #[error("the {what} {text:?} begins or ends with a blank, which nobody can see later: leave it out")]
    OuterBlank { what: &'static str, text: String },
    #[error(
        "the {what} {text:?} has a character that cannot be seen (U+{:04X}, the {position}. one): leave it out",
        *character as u32
    )]
    Invisible { what: &'static str, text: String, character: char, position: usize },
}

/// A serial number as scanned or typed: 1 to 64 visible characters, blanks only inside; given back in normal form C.
pub fn serial(text: &str) -> Result<String, TextError> {
    name("serial number", text)
}

/// The name of a lot, by the same rule.
pub fn lot(text: &str) -> Result<String, TextError> {
    name("lot", text)
}

fn name(what: &'static str, text: &str) -> Result<String, TextError> {
    // What was typed is looked at, so that a complaint names the character that was typed and its place.
    line(what, text, NAME_CHARACTERS)?;
    let normal: String = text.nfc().collect();
    // A few characters of old scripts come apart in this form, and so may a text of just under the longest.
    fits(what, &normal, NAME_CHARACTERS)?;
    Ok(normal)
}

/// One line that can be seen.
pub(super) fn line(what: &'static str, text: &str, longest: usize) -> Result<(), TextError> {
    fits(what, text, longest)?;
    let hidden = |&(_, c): &(usize, char)| is_invisible(c);
    if let Some((at, character)) = text.chars().enumerate().find(hidden) {
        return Err(TextError::Invisible { what, text: text.into(), character, position: at + 1 });
    }
    if text.starts_with(' ') || text.ends_with(' ') {
        return Err(TextError::OuterBlank { what, text: text.into() });
    }
    Ok(())
}

/// Free words over several lines.
pub(super) fn words(what: &'static str, text: &str) -> Result<(), TextError> {
    fits(what, text, NOTE_CHARACTERS)?;
    let hidden = |&(_, c): &(usize, char)| c.is_control() && !matches!(c, '\n' | '\r' | '\t');
    match text.chars().enumerate().find(hidden) {
        Some((at, character)) => {
            // A long text is not repeated in the message; the position finds the spot.
            let text = text.chars().take(NAME_CHARACTERS).collect();
            Err(TextError::Invisible { what, text, character, position: at + 1 })
        }
        None => Ok(()),
    }
}

fn fits(what: &'static str, text: &str, longest: usize) -> Result<(), TextError> {
    match text.chars().count() {
        _ if text.trim().is_empty() => Err(TextError::Empty { what }),
        length if length > longest => Err(TextError::TooLong { what, length, longest }),
        _ => Ok(()),
    }
}

/// Blanks other than the plain one, everything [`visible::hidden`] knows, and code points that no font has to show:
/// unassigned and private ones.
fn is_invisible(c: char) -> bool {
    use GeneralCategory::{PrivateUse, SpaceSeparator, Unassigned};
    visible::hidden(c).is_some()
        || (c != ' ' && matches!(c.general_category(), PrivateUse | SpaceSeparator | Unassigned))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn anything_visible_is_a_serial_number() {
        for text in
            ["A1", "7/2024", "it's \"B\"", "Gerät 7", "№ 12", "序号-3", "'; DROP TABLE unit; --", "🛠 1"]
        {
            assert_eq!(serial(text), Ok(text.into()), "kept as typed");
        }
        let longest = "ß".repeat(64);
        assert_eq!(serial(&longest), Ok(longest.clone()), "characters are counted, not bytes");
    }

    #[test]
    fn what_cannot_be_seen_is_refused_and_said() {
        let said = |text: &str| serial(text).unwrap_err().to_string();
        assert_eq!(said(""), "the serial number is empty: give at least one visible character");
        assert_eq!(said("  \t"), said(""));
        assert_eq!(
            said(&"7".repeat(10_000)),
            "the serial number is 10000 characters long; at most 64 are kept: shorten it"
        );
        assert_eq!(
            said("A 1 "),
            "the serial number \"A 1 \" begins or ends with a blank, which nobody can see later: leave it out"
        );
        assert_eq!(
            said("A\n1"),
            "the serial number \"A\\n1\" has a character that cannot be seen (U+000A, the 2. one): leave it out"
        );
        for hidden in [
            "A\u{0}1",
            "A\u{1b}[31m",
            "A\u{a0}1",
            "A\u{200b}1",
            "\u{feff}A1",
            "A\u{202e}1",
            "A\u{2028}1",
            "A\u{3164}1",
            "A\u{2800}1",
            "A\u{115f}1",
            "A\u{fe0f}1",
            "A\u{200d}1",
            "A\u{fffc}1",
            "A\u{34f}1",
            "A\u{3000}1",
            "A\u{e000}1",
            "A\u{378}1",
        ] {
            assert!(matches!(serial(hidden), Err(TextError::Invisible { .. })), "{hidden:?}");
        }
    }

    /// Pairs from UAX #15, figures 3 and 4 (from memory): composed and decomposed, a compatibility symbol and its letter.
    #[test]
    fn spellings_of_one_text_are_one_name() {
        for (typed, kept) in [
            ("Gera\u{308}t", "Gerät"),
            ("\u{212b}-1", "\u{c5}-1"), // the sign of the ångström
            ("\u{1e9b}\u{323}", "\u{1e9b}\u{323}"),
            ("\u{1100}\u{1161}", "\u{ac00}"),       // Hangul
            ("q\u{307}\u{323}", "q\u{323}\u{307}"), // marks in their order
        ] {
            assert_eq!(serial(typed), Ok(kept.into()), "{typed:?}");
            assert_eq!(lot(typed), Ok(kept.into()), "{typed:?}");
        }
        assert_ne!(serial("A-1"), serial("\u{410}-1"), "Cyrillic");
    }

    #[test]
    fn notes_may_have_lines_but_no_terminal_controls() {
        assert_eq!(words("note", "terminal bent\n\tstraightened\r\n"), Ok(()));
        assert!(words("note", "\u{1b}[2J").is_err());
        assert_eq!(words("note", " \n"), Err(TextError::Empty { what: "note" }));
        assert!(words("note", &"x".repeat(NOTE_CHARACTERS + 1)).is_err());
    }
}
