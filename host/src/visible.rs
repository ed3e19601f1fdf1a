//! Characters that act on a screen instead of standing on it: they move the cursor, change colours, turn the
//! writing direction, break a line or hide.
//!
//! Files that people write are refused when a name or a prompt holds one ([`first_hidden`]); every other text
//! that comes from outside (file names, arguments, what a device says of itself) passes [`clean`] on its way
//! to a terminal or a page. Which characters these are is settled by their Unicode general category, not by a
//! list that ages.

use std::borrow::Cow;
use std::fmt::Write;

use unicode_properties::{GeneralCategory, UnicodeGeneralCategory};

/// What a character does instead of being seen; `None` for one that is seen, blanks included.
///
/// Source: Unicode general categories Cc, Cf, Zl, Zp (UAX #44, table 12). The directional marks among Cf are
/// those of UAX #9, section 2. Characters of other categories that show nothing: the property
/// Default_Ignorable_Code_Point (DerivedCoreProperties.txt) and two symbols that are blank by design; from memory.
pub fn hidden(c: char) -> Option<&'static str> {
    match c {
        '\n' | '\r' => return Some("a line break"),
        '\t' => return Some("a tab"),
        '\u{feff}' => return Some("a byte order mark"),
        '\u{61c}' | '\u{200e}' | '\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}' => {
            return Some("a mark that turns the writing direction");
        }
        '\u{34f}'
        | '\u{180b}'..='\u{180d}'
        | '\u{180f}'
        | '\u{fe00}'..='\u{fe0f}'
        | '\u{e0100}'..='\u{e01ef}' => {
            return Some("a mark that only selects how its neighbour looks");
        }
        // Hangul fillers, Khmer inherent vowels, the empty Braille cell, the stand-in for an object.
        '\u{115f}' | '\u{1160}' | '\u{3164}' | '\u{ffa0}' | '\u{17b4}' | '\u{17b5}' | '\u{2800}'
        | '\u{fffc}' => {
            return Some("a character that shows nothing");
        }
        _ => {}
    }
    match c.general_category() {
        GeneralCategory::Control => Some("a control character"),
        GeneralCategory::Format => Some("an invisible format character"),
        GeneralCategory::LineSeparator | GeneralCategory::ParagraphSeparator => Some("a line break"),
        _ => None,
    }
}

/// The first hidden character of a text: its place in bytes, itself, and what it does.
pub fn first_hidden(text: &str) -> Option<(usize, char, &'static str)> {
    text.char_indices().find_map(|(at, c)| Some((at, c, hidden(c)?)))
}

/// The text with every hidden character written out: `\u{202e}`, `\n`.
pub fn clean(text: &str) -> Cow<'_, str> {
    if first_hidden(text).is_none() {
        return Cow::Borrowed(text);
    }
    let mut shown = String::with_capacity(text.len() + 8);
    for c in text.chars() {
        match hidden(c) {
            None => shown.push(c),
            Some(_) => written_out(&mut shown, c),
        }
    }
    Cow::Owned(shown)
}

/// The text with its line ends kept and every other hidden character written out: for messages of several lines.
pub fn clean_lines(text: &str) -> String {
    text.split('\n').map(clean).collect::<Vec<_>>().join("\n")
}

/// A file's name for a message: as the system has it, hidden characters written out.
pub fn path(path: &std::path::Path) -> String {
    clean(&path.display().to_string()).into_owned()
}

fn written_out(shown: &mut String, c: char) {
    // Writing to a string cannot fail.
    let _ = match c {
        '\n' | '\r' | '\t' => write!(shown, "{}", c.escape_default()),
        _ => write!(shown, "{}", c.escape_unicode()),
    };
}

/// The text with hidden characters replaced by visible ones of the same length in bytes, line ends and tabs kept,
/// so that places in it stay what they were.
pub fn same_length(text: &str) -> String {
    let mut shown = String::with_capacity(text.len());
    for c in text.chars() {
        match (c, hidden(c).map(|_| c.len_utf8())) {
            ('\n' | '\t', _) | (_, None) => shown.push(c),
            (_, Some(1)) => shown.push(' '),
            (_, Some(2)) => shown.push('¿'),
            (_, Some(3)) => shown.push('\u{fffd}'),
            (_, Some(_)) => shown.push_str("¿¿"),
        }
    }
    shown
}

/// Characters that a terminal must never get, with what each does. For the tests of everything that prints.
#[cfg(test)]
pub(crate) const NASTY: [(char, &str); 23] = [
    ('\u{0}', "a control character"),
    ('\u{7}', "a control character"),
    ('\u{8}', "a control character"),
    ('\u{1b}', "a control character"),
    ('\u{7f}', "a control character"),
    ('\u{9b}', "a control character"), // C1: begins a control sequence in one character
    ('\n', "a line break"),
    ('\r', "a line break"),
    ('\t', "a tab"),
    ('\u{2028}', "a line break"),
    ('\u{2029}', "a line break"),
    ('\u{61c}', "a mark that turns the writing direction"),
    ('\u{202e}', "a mark that turns the writing direction"),
    ('\u{2066}', "a mark that turns the writing direction"),
    ('\u{ad}', "an invisible format character"),
    ('\u{200b}', "an invisible format character"),
    ('\u{feff}', "a byte order mark"),
    ('\u{e0041}', "an invisible format character"), // tags: text nobody sees
    ('\u{3164}', "a character that shows nothing"),
    ('\u{2800}', "a character that shows nothing"),
    ('\u{fffc}', "a character that shows nothing"),
    ('\u{fe0f}', "a mark that only selects how its neighbour looks"),
    ('\u{34f}', "a mark that only selects how its neighbour looks"),
];

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn what_acts_on_a_screen_is_named_and_written_out() {
        for (c, what) in NASTY {
            assert_eq!(hidden(c), Some(what), "U+{:04X}", c as u32);
            let text = format!("a{c}b");
            assert_eq!(first_hidden(&text), Some((1, c, what)));
            assert_eq!(clean(&text), format!("a{}b", c.escape_default()));
        }
        assert_eq!(clean("a\u{1b}[31mb\r\nc\u{202e}d"), "a\\u{1b}[31mb\\r\\nc\\u{202e}d");
        assert_eq!(clean_lines("a\u{7}\nb"), "a\\u{7}\nb");
    }

    #[test]
    fn what_is_seen_stays_as_it_is() {
        for text in ["plain Ω", "日本語", "Größe", "e\u{301}", "🛠", "no\u{a0}break", "עברית", "عربي", ""]
        {
            assert!(matches!(clean(text), Cow::Borrowed(_)), "{text}");
        }
    }

    proptest! {
        #[test]
        fn nothing_hidden_is_left_and_places_stay(text in ".{0,40}") {
            prop_assert!(first_hidden(&clean(&text)).is_none());
            let shown = same_length(&text);
            prop_assert_eq!(shown.len(), text.len());
            prop_assert!(shown.chars().all(|c| hidden(c).is_none() || matches!(c, '\n' | '\t')));
        }
    }
}
