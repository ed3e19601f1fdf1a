//! What people may write into the records: serial numbers, lots, notes, repairs.
//!
//! Anything that can be seen is allowed, in any script, slashes and quotes included: every value is bound to its
//! query and file names are made elsewhere. Refused is what cannot be seen, because two serial numbers that look
//! the same must be the same. Nothing is trimmed or altered silently: what was typed is what is kept.

/// Longest serial number, lot or action, in characters.
pub const NAME_CHARACTERS: usize = 64;
/// Longest place of a repair: two point names and more.
pub const PLACE_CHARACTERS: usize = 200;
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

/// A serial number as scanned or typed: 1 to 64 visible characters, blanks only inside.
pub fn serial(text: &str) -> Result<String, TextError> {
    line("serial number", text, NAME_CHARACTERS)
}

/// The name of a lot, by the same rule.
pub fn lot(text: &str) -> Result<String, TextError> {
    line("lot", text, NAME_CHARACTERS)
}

/// One line that can be seen.
pub(super) fn line(what: &'static str, text: &str, longest: usize) -> Result<String, TextError> {
    fits(what, text, longest)?;
    let hidden = |&(_, c): &(usize, char)| is_invisible(c);
    if let Some((at, character)) = text.chars().enumerate().find(hidden) {
        return Err(TextError::Invisible { what, text: text.into(), character, position: at + 1 });
    }
    if text.starts_with(' ') || text.ends_with(' ') {
        return Err(TextError::OuterBlank { what, text: text.into() });
    }
    Ok(text.into())
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

/// Controls, blanks other than the plain one, and the marks that join, hide or turn round their neighbours.
/// Source: Unicode general categories Cc, Zl, Zp, Zs and the format characters (Cf) in use; from memory.
fn is_invisible(c: char) -> bool {
    c.is_control()
        || (c.is_whitespace() && c != ' ')
        || matches!(c, '\u{ad}' | '\u{61c}' | '\u{180e}' | '\u{200b}'..='\u{200f}' | '\u{202a}'..='\u{202e}'
                     | '\u{2060}'..='\u{206f}' | '\u{feff}' | '\u{fff9}'..='\u{fffb}' | '\u{e0000}'..='\u{e007f}')
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
        for hidden in
            ["A\u{0}1", "A\u{1b}[31m", "A\u{a0}1", "A\u{200b}1", "\u{feff}A1", "A\u{202e}1", "A\u{2028}1"]
        {
            assert!(matches!(serial(hidden), Err(TextError::Invisible { .. })), "{hidden:?}");
        }
    }

    #[test]
    fn notes_may_have_lines_but_no_terminal_controls() {
        assert_eq!(words("note", "terminal bent\n\tstraightened\r\n"), Ok(()));
        assert!(words("note", "\u{1b}[2J").is_err());
        assert_eq!(words("note", " \n"), Err(TextError::Empty { what: "note" }));
        assert!(words("note", &"x".repeat(NOTE_CHARACTERS + 1)).is_err());
    }
}
