//! Names and sentences made safe and made to fit.
//!
//! Widths are terminal columns as `unicode-width` counts them, so wide and combining characters keep a table
//! straight. Names come from people and files: anything that could move the cursor, change colours or turn the
//! writing direction is written out.

use std::borrow::Cow;

use unicode_width::UnicodeWidthStr;

pub(crate) use crate::visible::clean;

/// The text, or as much of its beginning as fits with an ellipsis.
pub fn cut(text: &str, width: usize) -> Cow<'_, str> {
    if text.width() <= width {
        return Cow::Borrowed(text);
    }
    match width {
        0 => Cow::Borrowed(""),
        _ => Cow::Owned(format!("{}…", text[..fitting(text, width - 1)].trim_end())),
    }
}

/// Length in bytes of the longest beginning that is at most so wide. The width of the whole beginning counts, not the
/// sum of its characters: a mark can change the width of the one before it.
fn fitting(text: &str, width: usize) -> usize {
    let mut end = 0;
    for (at, c) in text.char_indices() {
        let next = at + c.len_utf8();
        if text[..next].width() > width {
            break;
        }
        end = next;
    }
    end
}

/// The text in lines of at most so many columns, broken at blanks, and within a word only where the word alone is too
/// long. A no-break blank holds a figure and its unit together and is a plain one in the line, for those who search.
pub fn wrap(text: &str, width: usize) -> Vec<String> {
    let width = width.max(2); // a wide character must fit
    let mut lines = Vec::new();
    let mut line = String::new();
    for word in text.split(' ').filter(|word| !word.is_empty()) {
        if !line.is_empty() && line.width() + 1 + word.width() > width {
            lines.push(std::mem::take(&mut line));
        }
        if !line.is_empty() {
            line.push(' ');
        }
        let mut rest = word;
        while line.width() + rest.width() > width {
            let first = rest.chars().next().map_or(0, char::len_utf8);
            let (head, tail) = rest.split_at(fitting(rest, width).max(first));
            lines.push(head.to_owned());
            rest = tail;
        }
        line.push_str(rest);
    }
    if !line.is_empty() {
        lines.push(line);
    }
    lines.iter_mut().for_each(|line| *line = line.replace('\u{a0}', " "));
    lines
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn cutting_counts_columns_not_bytes() {
        assert_eq!(cut("power switch", 12), "power switch");
        assert_eq!(cut("power switch", 8), "power s…");
        assert_eq!(cut("power switch", 7), "power…");
        assert_eq!(cut("電源スイッチ", 6), "電源…");
        assert_eq!(cut("e\u{301}e\u{301}e\u{301}", 2), "e\u{301}…");
        assert_eq!(cut("abc", 0), "");
    }

    #[test]
    fn wrapping_breaks_between_words_and_long_words_where_it_must() {
        assert_eq!(wrap("a thin bare wire", 7), ["a thin", "bare", "wire"]);
        assert_eq!(wrap("abcdefghij kl", 4), ["abcd", "efgh", "ij", "kl"]);
        assert_eq!(wrap("", 4), Vec::<String>::new());
    }

    proptest! {
        #[test]
        fn no_line_is_wider_than_it_may_be(text in "\\PC{0,60}", width in 2usize..30) {
            prop_assert!(cut(&text, width).width() <= width);
            for line in wrap(&text, width) {
                prop_assert!(line.width() <= width, "{line:?} is wider than {width}");
            }
        }
    }
}
